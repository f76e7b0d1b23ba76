"""Everything that was said of a tasting as a table: one row for each taster and glass."""

from __future__ import annotations

from io import BytesIO

import polars as pl

from dashboard.queries import tastings
from ingest.transfer import for_spreadsheets

SAID: pl.Schema = pl.Schema(
    {
        "taster": pl.String(),
        "drink": pl.String(),
        "code": pl.String(),
        "place": pl.Int64(),
        "score": pl.Float64(),
        "rank": pl.Int64(),
        "odd": pl.Boolean(),
        "passed": pl.Boolean(),
        "aromas": pl.String(),
        "note": pl.String(),
    }
)
"""`place` is counted from 1 in the order of serving; aromas have commas between them."""


def as_frame(found: tastings.Result) -> pl.DataFrame:
    """What was said, by taster in the order of serving."""
    rows = [
        {
            "taster": each.taster,
            "drink": found.names[each.arm],
            "code": each.answer.code,
            "place": each.place + 1,
            "score": each.answer.score,
            "rank": each.answer.rank,
            "odd": each.answer.odd,
            "passed": each.answer.passed,
            "aromas": ", ".join(each.answer.aromas),
            "note": each.answer.note,
        }
        for each in found.said
    ]
    return pl.DataFrame(rows, schema=SAID)


def as_csv(found: tastings.Result) -> bytes:
    """The table as CSV."""
    return for_spreadsheets(as_frame(found)).write_csv().encode()


def as_parquet(found: tastings.Result) -> bytes:
    """The table as Parquet."""
    file = BytesIO()
    as_frame(found).write_parquet(file, compression="zstd")
    return file.getvalue()
