"""The schemas of the frames that pass between the functions of the analysis."""

from __future__ import annotations

from typing import Final

import polars as pl

UTC_TIME: Final = pl.Datetime("us", "UTC")

READINGS: Final = pl.Schema(
    {
        "measured_at": UTC_TIME,
        "gravity_sg": pl.Float64(),
        "temperature_c": pl.Float64(),
        "by_hand": pl.Boolean(),
    }
)
"""What `assess` and `learn` take: one row a reading; null gravity where the row has none (a probe)."""

MARKED: Final = pl.Schema({**READINGS, "set_aside": pl.String()})
"""Readings after cleaning, in time order: `set_aside` says why a row is not used, null where it is."""

COURSE: Final = pl.Schema(
    {
        "at": UTC_TIME,
        "gravity_p10_sg": pl.Float64(),
        "gravity_p50_sg": pl.Float64(),
        "gravity_p90_sg": pl.Float64(),
    }
)
"""The inferred course of true gravity, from pitching to some time past the likely finish."""


def empty(schema: pl.Schema) -> pl.DataFrame:
    """A frame of this schema without rows."""
    return pl.DataFrame(schema=schema)
