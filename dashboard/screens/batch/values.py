"""What the picture of a batch shows, in numbers: for whoever cannot, or does not want to, aim at a point."""

from __future__ import annotations

from typing import Final

import numpy as np
import polars as pl
import streamlit as st

from analysis.model import Floats
from analysis.wording import Voice
from dashboard.charts import base
from dashboard.queries import queries
from dashboard.ui import components
from ingest.monitoring import Outlook

MOST: Final = 60
"""Rows; of more readings every so many are listed, and the file of readings has all."""


def show(outlook: Outlook, looked_at: base.Zoom | None, say: Voice) -> None:
    """The part that is looked at as a table, made only where it is opened."""
    part = st.expander("The picture in numbers", key=f"values {outlook.record.batch_id}", on_change="rerun")
    if part.open:
        with part:
            st.html(components.table(*table(outlook, looked_at, say), caption="The picture in numbers", wide=True))


def table(outlook: Outlook, looked_at: base.Zoom | None, say: Voice) -> tuple[list[str], list[list[str]]]:
    """Headings and rows, the newest first: what was read, by whom, and what we infer of the same moment."""
    marked = queries.up_to_date(outlook).marked.sort("measured_at", descending=True)
    if looked_at is not None:
        marked = marked.filter(pl.col("measured_at").is_between(looked_at.from_at, looked_at.to_at))
    seen = marked.gather_every(-(-marked.height // MOST) or 1)
    likely = _likely(outlook, seen["measured_at"])
    rows = [
        [
            say.exact(row["measured_at"]),
            say.gravity(row["gravity_sg"]) if row["gravity_sg"] is not None else "",
            say.gravity(inferred) if np.isfinite(inferred) else "",
            say.temperature(row["temperature_c"]) if row["temperature_c"] is not None else "",
            row["set_aside"] or ("hand sample" if row["by_hand"] else ""),
        ]
        for row, inferred in zip(seen.iter_rows(named=True), likely, strict=True)
    ]
    return ["When", "Read", "Likely gravity", "Temperature", ""], rows


def _likely(outlook: Outlook, at: pl.Series) -> Floats:
    course, judged = outlook.assessment.course.drop_nulls().sort("at"), outlook.assessment.newest_reading_at
    if course.is_empty() or judged is None:
        return np.full(at.len(), np.nan)
    known, asked = (each.dt.epoch("us").to_numpy().astype(float) for each in (course["at"], at))
    likely: Floats = np.interp(asked, known, course["gravity_p50_sg"].to_numpy(), left=np.nan)
    return np.where((at <= judged).to_numpy(), likely, np.nan)
