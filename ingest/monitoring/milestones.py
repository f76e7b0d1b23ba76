"""The milestones of the cellar's batches, and all of them as one frame."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

import polars as pl

from ingest.model import BatchRecord
from ingest.monitoring.outlook import Outlook, Outlooks

if TYPE_CHECKING:
    from analysis.trials import Milestones

MILESTONE_FILE: Final = pl.Schema(
    {
        "batch_id": pl.String(),
        "batch": pl.String(),
        "drink": pl.String(),
        "yeast": pl.String(),
        "milestone": pl.String(),
        "unit": pl.String(),
        "value": pl.Float64(),
        "standard_error": pl.Float64(),
        "p10": pl.Float64(),
        "p90": pl.Float64(),
    }
)
"""A file of milestones: one row a batch and milestone that is told."""


def batch_milestones(outlooks: Outlooks, outlook: Outlook) -> Milestones:
    """The milestones of a batch as its outlook has it; weighs its courses once more, more finely in time."""
    from analysis.trials import milestones_of  # late: it infers, and no start is to wait for what does

    assessment = outlook.assessment
    return milestones_of(
        outlook.readings,
        outlook.batch,
        now=assessment.now,
        finished=assessment.finished,
        priors=outlooks.priors_of(outlook.record.batch_id),
    )


def milestone_frame(batches: Iterable[tuple[BatchRecord, Milestones]]) -> pl.DataFrame:
    """The milestones of batches, schema `MILESTONE_FILE`."""
    from analysis.trials import milestone_rows

    rows = [
        {"batch_id": record.batch_id, "batch": record.name, "drink": record.drink, "yeast": record.yeast, **row}
        for record, found in batches
        for row in milestone_rows(found)
    ]
    return pl.DataFrame(rows, schema=MILESTONE_FILE)
