"""A small fermentation for the tests of the analysis: two pools of sugar, a warmth law, a float with wandering error.

It is not the family of curves that the estimator weighs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

PITCHED = datetime(2026, 3, 1, 10, tzinfo=UTC)


@dataclass(frozen=True)
class Made:
    """Readings and the truth behind them; hours count from pitching."""

    readings: pl.DataFrame
    hours: np.ndarray
    gravity_sg: np.ndarray
    left_sg: np.ndarray

    @property
    def finish_h(self) -> float:
        return float(self.hours[np.flatnonzero(self.left_sg >= 0.001)[-1]])

    def at(self, hour: float) -> datetime:
        return PITCHED + timedelta(hours=float(hour))

    def paused(self, from_h: float, to_h: float) -> Made:
        """The same batch with a pause: it went on from `to_h` as it would have from `from_h`."""
        went_on = np.where(self.hours < from_h, self.hours, np.maximum(self.hours - (to_h - from_h), from_h))
        shift = np.interp(went_on, self.hours, self.gravity_sg) - self.gravity_sg
        readings = self.readings.with_columns(pl.col("gravity_sg") + pl.Series(shift))
        return replace(
            self,
            readings=readings,
            gravity_sg=self.gravity_sg + shift,
            left_sg=np.interp(went_on, self.hours, self.left_sg),
        )


def ferment(
    *,
    days: float = 14,
    original_sg: float = 1.052,
    attenuation: float = 0.77,
    half_h: float = 50.0,
    slow_share: float = 0.15,
    stops_at: float | None = None,
    temperature_c: Callable[[np.ndarray], np.ndarray] | None = None,
    noise_sg: float = 0.0003,
    offset_sg: float = 0.0008,
    spacing_h: float = 0.5,
    seed: int = 1,
) -> Made:
    hours = np.arange(0.0, 24.0 * days, spacing_h)
    warmth = np.full(hours.size, 20.0) if temperature_c is None else temperature_c(hours)
    speed = 2.2 ** ((warmth - 20.0) / 10.0) * (warmth > 8.0)
    tau = np.concatenate([[0.0], np.cumsum(speed[1:] * np.diff(hours))])
    fall = original_sg * 0 + attenuation * (original_sg - 1.0)
    quick = 1.0 / (1.0 + np.exp(-(tau - half_h) * 4.4 / half_h))
    quick = (quick - quick[0]) / (1.0 - quick[0])
    slow = 1.0 - np.exp(-np.maximum(tau - half_h, 0.0) / (0.7 * half_h))
    done = (1.0 - slow_share) * quick + slow_share * slow
    if stops_at is not None:
        done = np.minimum(done, stops_at)
    gravity = original_sg - fall * done
    random = np.random.default_rng(seed)
    wander = np.zeros(hours.size)
    keep = np.exp(-spacing_h / 10.0)
    for i in range(1, hours.size):
        wander[i] = keep * wander[i - 1] + np.sqrt(1 - keep**2) * noise_sg * random.standard_normal()
    said = gravity + offset_sg + wander + 0.7 * noise_sg * random.standard_normal(hours.size)
    readings = pl.DataFrame(
        {
            "measured_at": [PITCHED + timedelta(hours=float(h)) for h in hours],
            "gravity_sg": said,
            "temperature_c": warmth + 0.1 * random.standard_normal(hours.size),
        }
    )
    return Made(readings, hours, gravity, fall * (1.0 - done))


@pytest.fixture(scope="session")
def fermentation() -> Callable[..., Made]:
    return ferment
