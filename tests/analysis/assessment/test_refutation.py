"""A fall of two points takes back that it had ended; what only looks like one does not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, Event, assess
from analysis.assessment.refutation import stands_anew, stood_above
from analysis.display_units import DisplayUnits
from analysis.readings.binning import Series, summarise
from analysis.readings.cleaning import mark
from analysis.thresholds import STILL_FALLING
from analysis.wording.evidence import sentences
from tests.analysis.conftest import PITCHED

Curve = Callable[[np.ndarray], np.ndarray]
ENDED_H = 90.0


def at(hour: float) -> Any:
    return PITCHED + timedelta(hours=hour)


def readings(
    more: Curve, *, end_sg: float = 1.011, days: float = 30, noise_sg: float = 0.0002, temperature_c: Any = 20.0
):
    """A plain fermentation from 1.050 to `end_sg`, over by about 90 h, and what comes on top of it."""
    hours = np.arange(0.0, 24 * days, 0.5)
    random = np.random.default_rng(5)
    gravity = 1.050 - (1.050 - end_sg) / (1 + np.exp(-(hours - 40) * 0.11)) + more(hours)
    warmth = temperature_c(hours) if callable(temperature_c) else np.full(hours.size, temperature_c)
    return pl.DataFrame(
        {
            "measured_at": [at(float(h)) for h in hours],
            "gravity_sg": gravity + noise_sg * random.standard_normal(hours.size),
            "temperature_c": warmth,
        }
    )


def brew(*events: Event) -> Batch:
    return Batch(pitched_at=PITCHED, original_gravity_sg=1.050, drink="ale", events=events)


def series(rows: pl.DataFrame, hour: float) -> Series:
    return summarise(mark(rows, brew(), now=at(hour)), brew(), now=at(hour))


def last_stood(rows: pl.DataFrame, hour: float, from_h: float = ENDED_H) -> float | None:
    stood = stood_above(series(rows, hour), until_h=hour, from_h=from_h)
    return None if stood is None else stood.last_h


def falls(points_a_day: float, from_h: float, to_sg: float = 0.009) -> Curve:
    return lambda h: -np.clip((h - from_h) * points_a_day * 0.001 / 24, 0, to_sg)


def test_a_fall_of_two_points_is_seen_with_when_it_last_stood_there() -> None:
    # One point a day from 200 h on: at 300 h it has fallen by 4.2 points and stood two higher 48 h before.
    assert last_stood(readings(falls(1.0, 200)), 300) == pytest.approx(252, abs=9)
    assert last_stood(readings(falls(1.0, 200)), 230) is None


@pytest.mark.parametrize(
    "more",
    [
        lambda h: 0.0 * h,
        lambda h: -np.maximum(h - 100, 0) * 0.001 / 720,  # a drift of a point a month
        lambda h: np.where((h > 500) & (h < 518), 0.004, 0.0),  # lifted by foam for less than a day
    ],
)
def test_noise_drift_and_a_passing_lift_are_no_fall(more: Curve) -> None:
    rows = readings(more, days=70, noise_sg=0.0006)
    assert [last_stood(rows, hour) for hour in (300, 530, 900, 1600)] == [None] * 4


def test_a_colder_float_is_not_compared_with_a_warmer_one() -> None:
    cooled = readings(falls(5.0, 240, 0.0025), temperature_c=lambda h: np.where(h < 240, 20.0, 15.0))
    assert last_stood(cooled, 400) is None
    unknown = cooled.with_columns(pl.lit(None, dtype=pl.Float64).alias("temperature_c"))
    assert last_stood(unknown, 400) is not None


def test_what_was_read_of_another_liquid_or_place_does_not_count() -> None:
    assert last_stood(readings(falls(1.0, 200)), 300, from_h=270) is None


def test_a_stand_after_a_fall_is_told_from_a_fall_that_goes_on_as_slowly() -> None:
    stopped, goes_on = readings(falls(1.0, 200, 0.004)), readings(falls(0.2, 200))
    for rows, hour, stands in ((stopped, 312, False), (stopped, 450, True), (goes_on, 600, False)):
        one = series(rows, hour)
        stood = stood_above(one, until_h=hour, from_h=ENDED_H)
        assert stood is not None
        assert stands_anew(one, stood, held_h=72.0, until_h=hour) is stands


@pytest.mark.parametrize("remembered", [True, False])
@pytest.mark.parametrize("events", [(), (Event("dry hop", at(180.0)),)])
def test_a_pause_that_resumes_is_taken_back(remembered: bool, events: tuple[Event, ...]) -> None:
    rows = readings(falls(1.2, 190, 0.007), end_sg=1.0125)
    batch = brew(*events)
    paused = assess(rows, batch, now=at(170))
    assert paused.finished
    fell = assess(rows, batch, now=at(246), previous=paused if remembered else None)
    assert not fell.finished
    assert fell.phase != "finished"
    assert fell.p_finished is not None
    if remembered:
        assert fell.p_finished <= STILL_FALLING
        assert any("points since it was called finished" in s for s in sentences(fell.evidence, DisplayUnits()))
    assert fell.finish is None or fell.finish.last > fell.now
    again = assess(rows, batch, now=at(252), previous=fell)
    assert not again.finished


def test_a_slow_creep_is_taken_back_and_its_age_told() -> None:
    # 0.15 point a day: the hold of the trade never sees it.
    rows = readings(falls(0.15, 100))
    called = assess(rows, brew(), now=at(170))
    assert called.finished
    crept = assess(rows, brew(), now=at(560), previous=called)
    assert not crept.finished
    assert not crept.ready
    assert any("it was called finished about 16 days ago" in s for s in sentences(crept.evidence, DisplayUnits()))
    assert crept.finish is None or crept.finish.p50 > crept.now


@pytest.mark.parametrize("remembered", [True, False])
def test_a_chilled_float_that_reads_two_points_lower_stays_finished(remembered: bool) -> None:
    rows = readings(falls(2.5, 240, 0.0025), temperature_c=lambda h: np.clip(20 - (h - 240) * 0.7, 3, 20))
    warm = assess(rows, brew(), now=at(230))
    assert warm.finished
    cold = assess(rows, brew(), now=at(330), previous=warm if remembered else None)
    assert cold.phase == "chilled"
    assert cold.finished


def test_a_drift_of_a_point_a_month_takes_nothing_back() -> None:
    rows = readings(lambda h: -np.maximum(h - 100, 0) * 0.001 / 720, days=32)
    called = assess(rows, brew(), now=at(170))
    for hour in (400, 600, 750):
        for previous in (called, None):
            assert assess(rows, brew(), now=at(hour), previous=previous).finished
