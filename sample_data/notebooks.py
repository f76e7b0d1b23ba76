"""Simulated runs as a notebook has them: a hydrometer, read by hand once a day or more seldom, to a whole point."""

from __future__ import annotations

import zlib
from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl

from analysis.model import FinishedBatch
from sample_data.runs import Run

READ_SD_SG = 0.0007
"""Error of a careful hand reading, SG (common practice: a third of a division to one division)."""
DIGIT_SG = 0.001
_LATE_H = 4.0


def _moments(end_h: float, every_h: float, rng: np.random.Generator) -> np.ndarray:
    """When somebody looks: some hours sooner or later than planned."""
    planned = np.arange(every_h, end_h, every_h)
    return np.clip(planned + rng.uniform(-_LATE_H, _LATE_H, planned.size), 1.0, end_h)


def _read(gravity_sg: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return np.asarray(np.round((gravity_sg + rng.normal(0.0, READ_SD_SG, gravity_sg.size)) / DIGIT_SG) * DIGIT_SG)


def kept_by_hand(run: Run, every_h: float) -> Run:
    """The same fermentation, of which only a notebook tells."""
    rng = np.random.default_rng(zlib.crc32(run.name.encode()))
    at = _moments(run.end_h, every_h, rng)
    known = np.isfinite(run.row_temperature_c)
    warmth = (
        np.interp(at, run.at_h[known], run.row_temperature_c[known]) if known.any() else np.full(at.size, float("nan"))
    )
    return replace(
        run,
        at_h=at,
        received_h=at,
        gravity_sg=_read(np.interp(at, run.times_h, run.true_gravity_sg), rng),
        row_temperature_c=warmth,
        by_hand=np.full(at.size, True),
    )


def notebook_of(one: FinishedBatch, every_h: float) -> FinishedBatch:
    """An earlier batch as a notebook has it: the middle of its float's readings around each look."""
    rows = one.readings.filter(pl.col("gravity_sg").is_not_null()).sort("measured_at")
    hours = (rows["measured_at"] - one.batch.pitched_at).dt.total_seconds().to_numpy() / 3600.0
    rng = np.random.default_rng(rows.height)
    at, level, warmth = [], [], []
    for hour in _moments(float(hours[-1]), every_h, rng):
        near = np.abs(hours - hour) <= 2.0
        if near.any():
            at.append(one.batch.pitched_at + timedelta(hours=float(hour)))
            level.append(float(np.median(rows["gravity_sg"].to_numpy()[near])))
            warmth.append(float(np.nanmedian(rows["temperature_c"].to_numpy()[near])))
    frame = pl.DataFrame(
        {
            "measured_at": at,
            "gravity_sg": _read(np.array(level), rng),
            "temperature_c": warmth,
            "by_hand": np.full(len(at), True),
        },
        schema=one.readings.schema,
    )
    return replace(one, readings=frame)
