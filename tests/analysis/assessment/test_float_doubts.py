"""A float that drifts, swings, sticks or shows what cannot be is named, and a hand sample asked for."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from analysis import Assessment, Batch, assess
from analysis.display_units import DisplayUnits
from analysis.evidence import Advice, CannotBe, EvenFall, SameFigure, Swings
from analysis.model import STEADY_SG, Floats
from analysis.planning import Constraints, Obstacle
from analysis.planning.plan import plan
from analysis.wording import Voice, verdict
from analysis.wording.formatting import zone_of
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent

ALE = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale")


def said(a: Assessment) -> str:
    return verdict(a, 48, Voice(DisplayUnits(), zone_of("UTC"), a.now))


def asks_for_a_sample(a: Assessment) -> bool:
    return a.advice == (Advice.HAND_SAMPLE_OF_A_DOUBT,) and "hand sample" in said(a)


def drifting(days: float) -> tuple[Floats, Floats]:
    hours = np.arange(0.5, 24 * days, 1.0)
    return hours, s_curve(hours) - 0.00035 * hours / 24


@pytest.mark.parametrize("day", [14, 20, 30, 45])
def test_a_float_that_drifts_for_weeks_is_named_and_the_batch_is_not_called_stalled(day: int) -> None:
    hours, gravity = drifting(45.2)
    a = assess(sent(hours, gravity), ALE, now=at(24 * day))
    [drift] = [one for one in a.evidence if isinstance(one, EvenFall)]
    assert drift.per_day_sg == pytest.approx(0.00035, abs=0.0001)
    assert not a.stalled
    assert not a.finished
    assert asks_for_a_sample(a)
    assert said(a).startswith("Falls evenly, by")
    made = plan(a, ALE, Constraints(dry_hops=1), now=a.now)
    assert (made.blocked_by, made.packaging_day) == (Obstacle.FLOAT_DOUBTED, None)


def test_a_hand_sample_of_late_answers_the_doubt() -> None:
    hours, gravity = drifting(20)
    sampled = sent(hours, gravity, by_hand=((24 * 19, 1.011),))
    assert [one for one in assess(sampled, ALE, now=at(24 * 20)).evidence if isinstance(one, EvenFall)] == []


def test_the_tail_of_a_mead_that_slows_down_is_no_drift() -> None:
    hours = np.arange(0.5, 24 * 40, 1.0)
    gravity = 0.994 + 0.096 * np.exp(-np.maximum(hours - 20, 0) / 120)
    mead = Batch(pitched_at=PITCHED, original_gravity_sg=1.090, drink="mead")
    for seed in range(2):
        readings = sent(hours, gravity, seed=seed)
        for day in (18, 30):
            told = assess(readings, mead, now=at(24 * day)).evidence
            assert [one for one in told if isinstance(one, EvenFall | Swings | CannotBe)] == [], (seed, day)


@pytest.mark.parametrize("day", [6, 8, 10, 14, 20])
def test_a_float_that_bubbles_lift_and_leave_is_named(day: int) -> None:
    hours = every_half_hour(21)
    sawtooth = s_curve(hours) + 0.004 * (hours % 10) / 10
    a = assess(sent(hours, sawtooth), ALE, now=at(24 * day))
    [swings] = [one for one in a.evidence if isinstance(one, Swings)]
    assert swings.by_sg == pytest.approx(0.0036, abs=0.0006)
    assert asks_for_a_sample(a)
    assert "The float swings by about" in said(a)


def test_an_ordinary_ale_leaves_no_doubt_of_its_float() -> None:
    hours = every_half_hour(14)
    for seed in range(2):
        readings = sent(hours, s_curve(hours), seed=seed)
        for day in (1, 3, 6, 13):
            told = assess(readings, ALE, now=at(24 * day)).evidence
            assert [one for one in told if isinstance(one, EvenFall | Swings | CannotBe | SameFigure)] == [], (
                seed,
                day,
            )


@pytest.mark.parametrize("day", [2, 6, 14])
def test_a_float_against_the_wall_that_shows_one_figure_is_named(day: int) -> None:
    hours = every_half_hour(15)
    readings = sent(hours, np.full(hours.size, 1.032), scatter_sg=0.0)
    a = assess(readings, ALE, now=at(24 * day))
    assert (a.phase, a.hold_met, a.finished, a.stalled, a.finish) == ("lag", False, False, False, None)
    [same] = [one for one in a.evidence if isinstance(one, SameFigure)]
    assert (same.gravity_sg, round(same.hours)) == (1.032, 24 * day)
    assert asks_for_a_sample(a)
    assert "has shown 1.032 to the last digit" in said(a)


def test_a_display_of_whole_points_may_show_one_figure_for_days() -> None:
    hours = every_half_hour(14)
    readings = sent(hours, np.round(s_curve(hours), 3), scatter_sg=0.0)
    told = assess(readings, ALE, now=at(24 * 13)).evidence
    assert [one for one in told if isinstance(one, SameFigure)] == []


@pytest.mark.parametrize(("gravity", "above"), [(1.170, True), (0.980, False)])
@pytest.mark.parametrize("day", [1, 4, 6, 10])
def test_a_gravity_that_cannot_be_is_neither_finished_nor_dated(gravity: float, above: bool, day: int) -> None:
    hours = every_half_hour(11)
    ale = Batch(pitched_at=PITCHED, original_gravity_sg=1.050, drink="ale")
    a = assess(sent(hours, np.full(hours.size, gravity), scatter_sg=0.0001), ale, now=at(24 * day))
    assert (a.finished, a.stalled, a.hold_met, a.finish) == (False, False, False, None)
    assert a.p_finished is not None
    assert a.p_finished <= 0.5
    assert [one.above for one in a.evidence if isinstance(one, CannotBe)] == [above]
    assert asks_for_a_sample(a)
    assert said(a).startswith(f"The float shows {gravity:.3f}")
    made = plan(a, ale, Constraints(dry_hops=1), now=a.now)
    assert (made.blocked_by, made.hop_day, made.packaging_day) == (Obstacle.FLOAT_DOUBTED, None, None)


# Balling: real attenuation is 0.8192 of the apparent; when all extract is gone, the apparent is 1 / 0.8192 = 122 %.
def test_as_low_as_a_drink_can_go_is_believed() -> None:
    hours = np.arange(0.5, 24 * 40, 1.0)
    gravity = 0.988 + 0.102 * np.exp(-np.maximum(hours - 20, 0) / 100)  # 113 % of 1.090
    mead = Batch(pitched_at=PITCHED, original_gravity_sg=1.090, drink="mead")
    told = assess(sent(hours, gravity), mead, now=at(24 * 39)).evidence
    assert [one for one in told if isinstance(one, CannotBe)] == []


def swinging(by_sg: float, days_a_swing: float) -> pl.DataFrame:
    hours = every_half_hour(13)
    swing = by_sg / 2 * np.sin(2 * np.pi * hours / 24 / days_a_swing)
    return sent(hours, s_curve(hours) + np.where(hours > 72, swing, 0.0))


@pytest.mark.parametrize(("by_sg", "days_a_swing"), [(0.004, 1.1), (0.008, 1.4), (0.006, 1.8)])
@pytest.mark.parametrize("day", [10.5, 12.0])
def test_a_float_that_swings_for_more_than_a_day_each_time_leaves_open_whether_it_has_ended(
    by_sg: float, days_a_swing: float, day: float
) -> None:
    a = assess(swinging(by_sg, days_a_swing), ALE, now=at(24 * day))
    [swings] = [one for one in a.evidence if isinstance(one, Swings)]
    assert swings.slowly
    assert swings.by_sg == pytest.approx(by_sg, rel=0.25)
    assert (a.finished, a.hold_met, a.finish) == (False, False, None)
    assert a.p_finished is not None
    assert a.p_finished <= 0.5
    assert a.remaining_fall_sg is not None
    assert a.remaining_fall_sg.p90 >= STEADY_SG  # a point may yet fall: the chance of that is a half
    assert asks_for_a_sample(a)
    assert said(a).startswith("The float swings up and down by about")
    assert plan(a, ALE, Constraints(), now=a.now).blocked_by == Obstacle.FLOAT_DOUBTED


def test_a_quick_swing_that_the_levels_do_not_follow_hides_no_end() -> None:
    hours = every_half_hour(13)
    a = assess(sent(hours, s_curve(hours) + 0.004 * (hours % 10) / 10), ALE, now=at(24 * 12))
    [swings] = [one for one in a.evidence if isinstance(one, Swings)]
    assert not swings.slowly
    assert a.finished


def test_the_course_is_drawn_up_to_now_however_long_ago_it_should_have_ended() -> None:
    hours = every_half_hour(13)
    a = assess(sent(hours, s_curve(hours)), ALE, now=at(24 * 12))
    assert a.finish is not None
    assert a.finish.p90 is not None
    assert a.finish.p90 < at(24 * 6)
    assert a.course["at"].max() == a.now


@pytest.mark.parametrize("day", [3.5, 4.0, 4.5, 5.0, 5.5, 6.5])
@pytest.mark.parametrize("scatter_sg", [0.0004, 0.0008, 0.0012])
def test_a_fall_that_bends_under_a_float_that_scatters_is_no_swing(day: float, scatter_sg: float) -> None:
    hours = every_half_hour(7)
    told = assess(sent(hours, s_curve(hours), scatter_sg=scatter_sg), ALE, now=at(24 * day)).evidence
    assert [one for one in told if isinstance(one, Swings) and one.slowly] == []


def test_the_half_days_of_a_float_that_scatters_by_points_are_no_slow_swing() -> None:
    hours = every_half_hour(20)
    rows, slow = sent(hours, s_curve(hours), scatter_sg=0.005), 0
    for day in np.arange(8.0, 20.0, 0.5):
        found = assess(rows, ALE, now=at(24 * float(day))).evidence
        slow += any(isinstance(one, Swings) and one.slowly for one in found)
    assert slow == 0
