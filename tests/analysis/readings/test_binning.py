from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.model import Batch
from analysis.readings import mark, summarise
from analysis.schemas import READINGS

PITCHED = datetime(2026, 3, 1, tzinfo=UTC)
BATCH = Batch(pitched_at=PITCHED, original_gravity_sg=1.050, drink="ale")


def by_hand(rows: int, days: float) -> pl.DataFrame:
    hours = np.linspace(1.0, 24.0 * days, rows)
    scatter = np.random.default_rng(1).normal(0.0, 0.0007, rows)
    return pl.DataFrame(
        {
            "measured_at": [PITCHED + timedelta(hours=float(h)) for h in hours],
            "gravity_sg": 1.010 + 0.040 / (1.0 + np.exp((hours - 45.0) / 9.0)) + scatter,
            "temperature_c": np.full(rows, 19.0),
            "by_hand": np.full(rows, True),
        },
        schema=READINGS,
    )


@pytest.mark.parametrize("days", [14, 60])
def test_a_log_of_thousands_of_rows_by_hand_is_no_more_work_than_a_floats(days):
    now = PITCHED + timedelta(days=days)
    series = summarise(mark(by_hand(2000, days), BATCH, now=now), BATCH, now=now)
    # One bin a row took half a minute: the work grows with the third power of the bins.
    assert series.hours.size <= 150
    assert series.by_hand.all()
    assert series.count.sum() == pytest.approx(2000)
    # However many there are, one hand and one hydrometer err alike: half of a single reading's error at the least.
    assert series.white_sd_sg.min() >= 0.00035 - 1e-12
    assert np.abs(series.gravity_sg - (1.010 + 0.040 / (1.0 + np.exp((series.hours - 45.0) / 9.0)))).max() < 0.002


def test_a_notebook_keeps_every_reading_as_it_is():
    now = PITCHED + timedelta(days=14)
    log = by_hand(15, 14)
    series = summarise(mark(log, BATCH, now=now), BATCH, now=now)
    assert series.gravity_sg.tolist() == log["gravity_sg"].to_list()
