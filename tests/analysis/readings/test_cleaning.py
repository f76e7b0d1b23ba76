from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, Event
from analysis.readings.cleaning import (
    AFTER_PACKAGING,
    BEFORE_PITCHING,
    DUPLICATE,
    IMPOSSIBLE,
    NO_GRAVITY,
    SPIKE,
    STUCK,
    mark,
)
from analysis.schemas import MARKED


@pytest.fixture
def made(fermentation: Callable[..., Any]) -> Any:
    return fermentation(days=6)


def marks(frame: pl.DataFrame) -> dict[str, int]:
    return dict(frame["set_aside"].drop_nulls().value_counts().rows())


def test_clean_readings_are_all_used_and_come_in_time_order(made: Any) -> None:
    shuffled = made.readings.sample(fraction=1.0, shuffle=True, seed=1)
    frame = mark(shuffled, Batch(pitched_at=made.at(0)), now=made.at(1000))
    assert frame.schema == MARKED
    assert frame["measured_at"].is_sorted()
    assert len(frame) == len(made.readings)
    assert marks(frame).get(DUPLICATE, 0) == 0
    assert frame["set_aside"].null_count() > 0.98 * len(frame)


def test_nothing_is_deleted_but_the_future(made: Any) -> None:
    frame = mark(made.readings, Batch(pitched_at=made.at(0)), now=made.at(50))
    assert frame["measured_at"].max() <= made.at(50)
    assert len(frame) == (made.hours <= 50).sum()


def test_each_fault_is_named(made: Any) -> None:
    gravity = made.readings["gravity_sg"].to_numpy().copy()
    gravity[100] += 0.020
    gravity[150] = 1.9
    rows = made.readings.with_columns(gravity_sg=pl.Series(gravity))
    rows = pl.concat([rows, rows[[200, 201]], rows[[210]].with_columns(gravity_sg=pl.lit(None, dtype=pl.Float64))])
    batch = Batch(pitched_at=made.at(5), events=(Event("package", made.at(130)),))
    found = marks(mark(rows, batch, now=made.at(1000)))
    assert found[SPIKE] >= 1
    assert found[IMPOSSIBLE] == 1
    assert found[DUPLICATE] >= 2
    assert found[NO_GRAVITY] == 1
    assert found[BEFORE_PITCHING] == 10
    assert found[AFTER_PACKAGING] > 20


def test_a_float_that_repeats_itself_for_hours_is_stuck(made: Any) -> None:
    gravity = made.readings["gravity_sg"].to_numpy().copy()
    gravity[120:160] = gravity[120]
    frame = mark(
        made.readings.with_columns(gravity_sg=pl.Series(gravity)), Batch(pitched_at=made.at(0)), now=made.at(999)
    )
    assert frame["set_aside"][121:160].to_list() == [STUCK] * 39
    assert frame["set_aside"][120] is None


@pytest.mark.parametrize("digit_sg", [0.001, 0.0005, 0.0001])
@pytest.mark.parametrize("noise_sg", [0.00002, 0.0001, 0.0003, 0.001])
@pytest.mark.parametrize("stops_at", [0.6, 1.0])
def test_a_coarse_display_is_not_stuck(
    fermentation: Callable[..., Any], digit_sg: float, noise_sg: float, stops_at: float
) -> None:
    """A quiet float with three decimals says the same for days where the gravity stands, at the end or before it."""
    made = fermentation(noise_sg=noise_sg, stops_at=stops_at, days=20)
    coarse = np.round(made.readings["gravity_sg"].to_numpy() / digit_sg) * digit_sg
    frame = mark(
        made.readings.with_columns(gravity_sg=pl.Series(coarse)), Batch(pitched_at=made.at(0)), now=made.at(999)
    )
    assert STUCK not in marks(frame)


def test_a_float_that_scatters_by_more_than_its_digit_is_seen_to_be_stuck(fermentation: Callable[..., Any]) -> None:
    made = fermentation(noise_sg=0.0012, spacing_h=0.25)
    coarse = np.round(made.readings["gravity_sg"].to_numpy(), 4)
    coarse[800:900] = coarse[800]
    frame = mark(
        made.readings.with_columns(gravity_sg=pl.Series(coarse)), Batch(pitched_at=made.at(0)), now=made.at(999)
    )
    assert frame["set_aside"][801:900].to_list() == [STUCK] * 99


def test_a_steep_fall_is_no_spike(made: Any) -> None:
    batch = Batch(pitched_at=made.at(0))
    steep = made.readings.filter(pl.col("measured_at") > batch.pitched_at + timedelta(hours=40))
    assert marks(mark(steep, batch, now=made.at(80))).get(SPIKE, 0) <= 1
