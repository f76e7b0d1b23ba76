"""Before a fall nothing holds, nothing has stalled, and no date is given."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import Assessment, Batch, assess
from analysis.display_units import DisplayUnits
from analysis.evidence import Advice, ColdForIt, NotBegun
from analysis.planning import Constraints, Obstacle
from analysis.planning.plan import plan
from analysis.wording import Voice, plan_facts, three_notions, verdict
from analysis.wording.formatting import zone_of
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent

ALE = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale")
HOURS = every_half_hour(6)
FLAT = sent(HOURS, np.full(HOURS.size, 1.051), temperature_c=12.0)


def said(a: Assessment) -> str:
    return verdict(a, 48, Voice(DisplayUnits(), zone_of("UTC"), a.now))


@pytest.mark.parametrize("hour", [24, 48, 70, 96, 140])
def test_an_ale_in_the_cold_that_has_not_begun_has_neither_held_nor_stalled_nor_a_date(hour: float) -> None:
    a = assess(FLAT, ALE, now=at(hour))
    assert (a.phase, a.finished, a.stalled) == ("lag", False, False)
    assert (a.held_h, a.held_since, a.hold_met) == (0.0, None, False)
    assert a.finish is None
    assert any(isinstance(one, NotBegun) for one in a.evidence)
    made = plan(a, ALE, Constraints(dry_hops=1), now=a.now)
    assert made.blocked_by is Obstacle.NOT_BEGUN
    facts = plan_facts(made, DisplayUnits())
    assert [name for name, value in facts.items() if name.endswith("_day") and value] == []
    assert facts["steps"] == []
    assert said(a).startswith("No fall yet")
    assert "stalled" not in said(a).lower()
    assert [small for _, _, small in three_notions(a, 48, Voice(DisplayUnits(), zone_of("UTC"), a.now))][2] == (
        "The fall has not begun."
    )


def test_what_helps_it_to_begin_is_said_and_when_to_worry() -> None:
    early, late = (assess(FLAT, ALE, now=at(hour)) for hour in (48, 96))
    assert [one for one in early.evidence if isinstance(one, ColdForIt)]
    assert early.advice == (Advice.WARM_TO_BEGIN, Advice.WAIT_FOR_THE_FALL)
    assert late.advice == (Advice.SAMPLE_BEFORE_THE_FALL, Advice.WARM_TO_BEGIN, Advice.PITCH_ANEW)
    assert said(late) == "No fall yet, 4 days after pitching: look to yeast, warmth and oxygen."
    warm = sent(HOURS, np.full(HOURS.size, 1.051), temperature_c=20.0)
    assert assess(warm, ALE, now=at(48)).advice == (Advice.WAIT_FOR_THE_FALL,)
    assert assess(warm, ALE, now=at(12)).advice == ()


def test_of_one_that_has_just_begun_no_hold_is_said() -> None:
    slow = 1.051 - 0.0015 * np.clip((HOURS - 40) / 30, 0, 1) - 0.0002 * np.maximum(HOURS - 70, 0)
    readings = sent(HOURS, slow, temperature_c=12.0, seed=3)
    for hour in (48, 60, 70, 76):
        a = assess(readings, ALE, now=at(hour))
        assert a.held_h == 0
        assert a.phase in ("lag", "active")
        assert "eld" not in said(a)


def test_a_float_that_came_when_the_fall_was_over_shows_a_hold_all_the_same() -> None:
    hours = np.arange(24 * 8, 24 * 14, 0.5)
    a = assess(sent(hours, s_curve(hours)), ALE, now=at(24 * 14))
    assert a.hold_met
    assert a.finished


def test_a_hold_is_counted_from_the_fall_on() -> None:
    hours = every_half_hour(14)
    readings = sent(hours, s_curve(hours, middle_h=120))
    assert assess(readings, ALE, now=at(72)).held_h == 0
    a = assess(readings, ALE, now=at(24 * 14))
    assert a.hold_met
    assert a.held_since is not None
    assert a.held_since > at(120)


@pytest.mark.parametrize("hour", [12, 24])
def test_while_it_is_too_early_there_is_no_date_anywhere(hour: float) -> None:
    """An ale that ends on its eighth day: on the first nobody knows more than that it was pitched."""
    hours = every_half_hour(14)
    a = assess(sent(hours, s_curve(hours, middle_h=75, width_h=17)), ALE, now=at(hour))
    assert "too early to give a date" in said(a)
    assert a.finish is None
    made = plan(a, ALE, Constraints(dry_hops=1), now=a.now)
    assert (made.hop_day, made.packaging_day, made.steps) == (None, None, ())
    assert made.blocked_by in (Obstacle.NOT_BEGUN, Obstacle.FALL_JUST_BEGUN)
    answers = three_notions(a, 48, Voice(DisplayUnits(), zone_of("UTC"), a.now))
    assert answers[0][1] == "Too early to say"


@pytest.mark.parametrize(("middle_h", "width_h"), [(75, 17), (60, 12), (90, 20)])
def test_the_first_date_comes_by_half_of_the_fall_and_the_end_lies_within_it_and_all_later_ones(
    middle_h: int, width_h: int
) -> None:
    """The last point of forty falls width × ln 39 after the middle of a logistic, by hand."""
    readings = sent(every_half_hour(14), s_curve(every_half_hour(14), middle_h=middle_h, width_h=width_h))
    end = at(middle_h + width_h * np.log(39.0))
    looks = [assess(readings, ALE, now=at(hour)).finish for hour in range(24, middle_h + 25, 6)]
    dates = [(k, one) for k, one in enumerate(looks) if one is not None]
    assert 24 + 6 * dates[0][0] <= middle_h
    for _, date in dates:
        assert date.p10 <= end
        assert date.p90 is None or end <= date.p90


def test_a_mead_that_is_nearly_done_has_a_date_however_wide() -> None:
    hours = np.arange(1.0, 24 * 40, 2.0)
    gravity = 0.994 + 0.096 * np.exp(-np.maximum(hours - 20, 0) / 150)
    mead = Batch(pitched_at=PITCHED, original_gravity_sg=1.090, drink="mead")
    a = assess(sent(hours, gravity, temperature_c=19.0), mead, now=at(24 * 23))
    assert not a.finished
    assert a.finish is not None
    assert "too early" not in said(a)


def test_a_finished_batch_is_not_said_to_finish_perhaps_later() -> None:
    hours = every_half_hour(10)
    a = assess(sent(hours, s_curve(hours)), ALE, now=at(24 * 5.5))
    assert a.finished
    answers = three_notions(a, 48, Voice(DisplayUnits(), zone_of("UTC"), a.now))
    assert answers[0][1] == "Done by now, as far as can be told"
