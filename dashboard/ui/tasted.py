"""What tasters' scores say of yeasts, hops, doses and contact, as tables."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from analysis.wording import capital, plural, tasting
from dashboard.templates import fill
from dashboard.ui import components, links
from ingest.monitoring import TastedComparison


def show(compared: Sequence[TastedComparison]) -> None:
    """The groups of each respect, and the groups in pairs; nothing where nothing can be compared."""
    for each in compared:
        of = f"{capital(each.factor)}, by the scores of {plural(each.tastings, 'tasting')}"
        rows = [
            [*row, links.batches([(batch.batch_id, batch.name) for batch in each.batches(row[0])])]
            for row in tasting.made_with_rows(each.comparison)
        ]
        st.html(components.table(tasting.MADE_WITH_HEADINGS, rows, caption=of))
        pairs = f"{capital(each.factor)}, in pairs"
        st.html(components.table(tasting.PAIR_HEADINGS, tasting.pair_rows(each.comparison), caption=pairs))
    if compared:
        st.html(fill('<p class="figures">{{ told }}</p>', told=tasting.POOLED))
