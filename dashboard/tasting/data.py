"""Everything that was said of a tasting as a table: one row for each taster and glass."""

from __future__ import annotations

from io import BytesIO

import polars as pl

from dashboard.queries import tastings
from ingest.monitoring import SAID_FILE, said_facts
from ingest.transfer import for_spreadsheets


def as_frame(found: tastings.Result) -> pl.DataFrame:
    """What was said, by taster in the order of serving."""
    return pl.DataFrame(said_facts(found), schema=SAID_FILE)


def as_csv(found: tastings.Result) -> bytes:
    """The table as CSV."""
    return for_spreadsheets(as_frame(found)).write_csv().encode()


def as_parquet(found: tastings.Result) -> bytes:
    """The table as Parquet."""
    file = BytesIO()
    as_frame(found).write_parquet(file, compression="zstd")
    return file.getvalue()
