"""Own curves for the tests of assessment: what a float might send from a vessel, made up without the simulator."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from analysis.model import Floats
from analysis.schemas import READINGS

PITCHED = datetime(2026, 3, 2, 10, tzinfo=UTC)


def at(hour: float) -> datetime:
    """So many hours after pitching."""
    return PITCHED + timedelta(hours=hour)


def every_half_hour(days: float) -> Floats:
    """Hours since pitching of a float that reports twice an hour, shape (n,)."""
    return np.arange(0.25, 24 * days, 0.5)


def s_curve(
    hours: Floats, *, original: float = 1.051, end: float = 1.011, middle_h: float = 48, width_h: float = 10
) -> Floats:
    """Gravity that falls along a logistic from `original` to `end`, shape (n,)."""
    start = 1 / (1 + np.exp(middle_h / width_h))
    share = (1 / (1 + np.exp(-(hours - middle_h) / width_h)) - start) / (1 - start)
    return np.asarray(original - (original - end) * share)


def sent(
    hours: Floats,
    gravity_sg: Floats,
    *,
    temperature_c: float | Floats = 20.0,
    seed: int = 1,
    scatter_sg: float = 0.0003,
    by_hand: tuple[tuple[float, float], ...] = (),
) -> pl.DataFrame:
    """Readings, schema `READINGS`: gravity with an error that wanders from reading to reading, and hand samples."""
    rng = np.random.default_rng(seed)
    wander = np.zeros(hours.size)
    for i in range(1, hours.size):
        wander[i] = 0.7 * wander[i - 1] + rng.normal(0, 0.9 * scatter_sg)
    gravity = np.round(gravity_sg + wander + rng.normal(0, 0.6 * scatter_sg, hours.size), 4)
    warmth = np.broadcast_to(np.asarray(temperature_c, dtype=float), hours.shape) + rng.normal(0, 0.1, hours.size)
    frame = pl.DataFrame(
        {
            "measured_at": [at(float(h)) for h in hours],
            "gravity_sg": gravity,
            "temperature_c": warmth,
            "by_hand": [False] * hours.size,
        },
        schema=READINGS,
    )
    samples = {
        "measured_at": [at(h) for h, _ in by_hand],
        "gravity_sg": [sg for _, sg in by_hand],
        "temperature_c": [None for _ in by_hand],
        "by_hand": [True for _ in by_hand],
    }
    return pl.concat([frame, pl.DataFrame(samples, schema=READINGS)])
