from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import PHASES, Assessment, Batch
from analysis.packaging.prefill import prefill
from analysis.planning.plan import Constraints, plan, steady_plan
from analysis.planning.release import Condition, release
from analysis.thresholds import FRESH_WITHIN
from tests.analysis.situations import DAY, HOUR, NOW, batch, creeping, done, heeds, hops_in, hops_out, why

TODAY = date(2026, 3, 3)


def asked(assessment: Assessment, **given: Any) -> Any:
    usual: dict[str, Any] = {
        "now": NOW, "hold_h": 48.0, "hops_done": True, "packaging_day": TODAY, "today": TODAY,
    }  # fmt: skip
    return release(assessment, **{**usual, **given})


def sure(**given: Any) -> Assessment:
    return done(**{"hand_sample_agrees": True, **given})


def test_what_meets_every_condition_is_released_with_its_evidence() -> None:
    said = asked(sure())
    assert said.may_package
    assert said.unmet == ()
    assert said.reading_age == timedelta(0)
    assert said.held_h == 60.0
    assert {condition for condition, _ in said.conditions} == set(Condition)


@pytest.mark.parametrize(
    ("assessment", "given", "unmet"),
    [
        (sure(finished=False), {}, Condition.FINISHED),
        (sure(stalled=True), {}, Condition.FINISHED),
        (sure(), {"hold_h": 61.0}, Condition.HOLD_SEEN),
        (sure(), {"hold_from": NOW - 40 * HOUR}, Condition.HOLD_SEEN),
        (sure(newest_reading_at=NOW - 25 * HOUR), {}, Condition.READING_FRESH),
        (sure(newest_reading_at=NOW + timedelta(seconds=1)), {}, Condition.READING_FRESH),
        (sure(newest_reading_at=None), {}, Condition.READING_FRESH),
        (sure(phase="creeping"), {}, Condition.NO_RENEWED_FALL),
        (sure(hand_sample_agrees=False), {}, Condition.HAND_SAMPLE_AGREES),
        (sure(hand_sample_agrees=None), {}, Condition.HAND_SAMPLE_AGREES),
        (sure(), {"hops_done": False}, Condition.HOPS_DONE),
        (sure(), {"packaging_day": TODAY + DAY}, Condition.DAY_DUE),
        (sure(), {"packaging_day": None}, Condition.DAY_DUE),
    ],
)
def test_each_condition_alone_withholds_the_release(
    assessment: Assessment, given: dict[str, Any], unmet: Condition
) -> None:
    assert asked(assessment, **given).unmet == (unmet,)


def test_an_instant_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        asked(sure(), now=datetime(2026, 3, 3))  # noqa: DTZ001


AGES = st.one_of(
    st.none(),
    st.timedeltas(timedelta(minutes=-90), timedelta(hours=30)),
    st.timedeltas(timedelta(days=-30), timedelta(weeks=8)),
)


@st.composite
def situations(draw: Callable[..., Any]) -> tuple[Assessment, Batch, Constraints, datetime]:
    age = draw(AGES)
    newest = None if age is None else NOW - age
    heard = min(newest or NOW, NOW)
    held = draw(st.floats(0, 400))
    look = creeping if draw(st.integers(0, 9)) == 0 else done
    given: dict[str, Any] = {
        "now": heard,
        "newest_reading_at": newest,
        "held_since": heard - held * HOUR,
        "held_h": held,
        "hold_met": held >= 48,
        "hand_sample_agrees": draw(st.sampled_from([True, True, True, False, None])),
    }
    if look is done:
        given["phase"] = draw(st.sampled_from(["finished", "finished", *PHASES]))
    events = []
    if draw(st.booleans()):
        events.append(hops_in(draw(st.floats(0.1, 60))))
        if draw(st.booleans()):
            events.append(hops_out(draw(st.floats(0.05, 40))))
    constraints = Constraints(
        hold_h=draw(st.sampled_from([24.0, 48.0, 72.0])),
        package_weekdays=tuple(draw(st.sets(st.integers(0, 6), min_size=3))),
        dry_hops=draw(st.integers(0, 2)),
        early_dry_hop=draw(st.booleans()),
        crash_days=draw(st.sampled_from([0.0, 2.0])),
        destination=draw(st.sampled_from(["undecided", "keg", "bottle"])),
        time_zone=draw(st.sampled_from(["UTC", "America/Los_Angeles", "Pacific/Auckland"])),
    )
    return look(**given), batch(*events, pitched_at=NOW - 70 * DAY), constraints, NOW


@given(situations())
@settings(max_examples=500, deadline=None)
def test_nothing_is_released_on_stale_readings_whatever_else_is_true(
    situation: tuple[Assessment, Batch, Constraints, datetime],
) -> None:
    assessment, made_of, constraints, now = situation
    made = plan(assessment, made_of, constraints, now=now)
    kept = steady_plan(assessment, made_of, constraints, now=now, said=(made.hop_day, constraints.local_day(now)))
    filled = prefill(assessment, made_of, now=now)
    newest = assessment.newest_reading_at
    fresh = newest is not None and now - FRESH_WITHIN <= newest <= now
    if not fresh:
        assert not made.may_package
        assert not kept.may_package
        assert filled.hold_met is False
        assert filled.finished is not True
        said = " ".join((why(made), *heeds(made), *heeds(kept)))
        assert "A keg that stays cold may be filled" not in said
        if made.packaging_day is not None:
            assert "See the gravity before you" in said
    for one in (made, kept):
        if one.may_package:
            assert one.release is not None
            assert not one.release.unmet
            assert assessment.hand_sample_agrees is True
            assert assessment.held_h >= constraints.hold_h


# Two and a half days without a reading.
@pytest.mark.parametrize("destination", ["undecided", "keg", "bottle"])
@pytest.mark.parametrize("events", [(), (hops_in(9),), (hops_in(9), hops_out(5))])
def test_a_fresh_reading_is_what_releases(destination: Any, events: tuple[Any, ...]) -> None:
    constraints = Constraints(destination=destination, dry_hops=len(events[:1]))
    released = plan(sure(held_h=100.0), batch(*events), constraints, now=NOW)
    still_in = len(events) == 1
    assert released.may_package is (not still_in or destination == "keg")
    heard = NOW - 60 * HOUR
    silent = sure(now=heard, newest_reading_at=heard, held_h=100.0, held_since=heard - 100 * HOUR)
    made = plan(silent, batch(*events), constraints, now=NOW)
    assert not made.may_package
    assert any("The newest reading is 2 days old: silence is not stability." in c for c in heeds(made))
    assert made.release is not None
    assert Condition.READING_FRESH in made.release.unmet


def test_a_cold_keg_is_not_offered_on_stale_readings() -> None:
    hopped = batch(hops_in(4))
    for constraints in (Constraints(destination="keg"), Constraints()):
        fresh = plan(creeping(), hopped, constraints, now=NOW)
        assert "A keg that stays cold may be filled from" in why(fresh)
        stale = plan(creeping(now=NOW - 3 * DAY, newest_reading_at=NOW - 3 * DAY), hopped, constraints, now=NOW)
        assert "may be filled" not in why(stale)
        assert "The newest reading is 3 days old" in why(stale)


def test_a_plan_says_that_a_reading_of_the_future_does_not_count() -> None:
    made = plan(sure(newest_reading_at=NOW + 3 * DAY), batch(drink="cider"), Constraints(), now=NOW)
    assert any("dated 3 days in the future" in c for c in heeds(made))
    unread = plan(replace(sure(), newest_reading_at=None), batch(drink="cider"), Constraints(), now=NOW)
    assert any("nothing is known of it" in c for c in heeds(unread))
