"""The milestones of batches side by side, with their files."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from analysis.wording import Voice, milestone_table
from dashboard.queries import milestones
from dashboard.templates import fill
from dashboard.ui import components
from ingest.monitoring import Outlook


def show(batches: Sequence[tuple[str, Outlook]], say: Voice, file_name: str) -> None:
    """A table of the batches by name, and the ways to take it along."""
    found = [(name, milestones.of(outlook)) for name, outlook in batches]
    headings, rows = milestone_table(found, say.units)
    if not rows:
        st.html('<p class="quiet">No milestone is reached yet.</p>')
        return
    st.html(components.table(headings, rows, caption="Milestones, with ranges of eight chances in ten"))
    st.html(
        fill(
            '<p class="figures">Each is defined in {{ link }}. What lies ahead is not told.</p>',
            link=components.link("how-it-works", "How it works, under Trials", part="trials"),
        )
    )
    outlooks = [outlook for _, outlook in batches]
    with st.container(horizontal=True):
        for kind, make, mime in (
            ("CSV", milestones.csv, "text/csv"),
            ("Parquet", milestones.parquet, "application/vnd.apache.parquet"),
        ):
            st.download_button(
                f"Download the milestones ({kind})",
                data=lambda make=make: make(outlooks),  # type: ignore[misc]
                file_name=f"{file_name}-milestones.{kind.lower()}",
                mime=mime,
                on_click="ignore",
                key=f"milestones {file_name} {kind}",
            )
