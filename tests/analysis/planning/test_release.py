from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import EVENT_KINDS, PHASES, Assessment, Batch, Event, HandReading, Range, Trend
from analysis.packaging import may_ferment
from analysis.planning import MayFermentOn
from analysis.planning.plan import Constraints, plan, steady_plan
from analysis.planning.release import SHIFTS_THE_FLOAT, Asked, Condition, Release, release, release_of_the_gravity
from analysis.planning.sheet_inputs import prefill
from analysis.thresholds import FRESH_WITHIN
from analysis.wording.plan import caution
from tests.analysis.situations import (
    DAY,
    HOUR,
    NOW,
    batch,
    creeping,
    done,
    heeds,
    hops_in,
    hops_out,
    sampled,
    sure,
    why,
)
from tests.examples import examples

TODAY = date(2026, 3, 3)
LONG_AGO = NOW - 70 * DAY
FALLING = Trend(since_h=100.0, days=6.0, fall_sg_day=0.00015, error_sg_day=0.00006)
STANDING = Trend(since_h=100.0, days=6.0, fall_sg_day=0.00001, error_sg_day=0.00006)


def asked(assessment: Assessment, of: Batch | None = None, *, now: datetime = NOW, **given: Any) -> Release:
    usual: dict[str, Any] = {"hold_h": 48.0, "hops_done": True, "packaging_day": TODAY, "today": TODAY}
    return release(assessment, of or batch(pitched_at=LONG_AGO), Asked(**{**usual, **given}), now=now)


def by_hand(*samples: HandReading, **given: Any) -> Assessment:
    usual: dict[str, Any] = {"hand_samples": samples, "followed_by_hand": True, "hand_sample_agrees": None}
    return done(72.0, **{**usual, **given})


def test_what_meets_every_condition_is_released_with_its_evidence() -> None:
    said = asked(sure())
    assert said.may_package
    assert said.ready
    assert said.unmet == ()
    assert said.reading_age == timedelta(0)
    assert said.held_h == 60.0
    assert said.samples == (sampled(),)
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
        (sure(falls_again=True), {}, Condition.NO_RENEWED_FALL),
        (sure(trend=FALLING), {}, Condition.NO_SLOW_FALL),
        (sure(remaining_fall_sg=Range(0.0, 0.0011, 0.0015)), {}, Condition.NO_FALL_EXPECTED),
        (sure(remaining_fall_sg=Range(0.0, 0.0002, 0.0021)), {}, Condition.NO_FALL_EXPECTED),
        (sure(remaining_fall_sg=None), {}, Condition.NO_FALL_EXPECTED),
        (sure(hand_sample_agrees=False), {}, Condition.HAND_SAMPLE_AGREES),
        (sure(hand_sample_agrees=None), {}, Condition.HAND_SAMPLE_AGREES),
        (sure(hand_samples=()), {}, Condition.HAND_SAMPLE_AGREES),
        (sure(), {"hops_done": False}, Condition.HOPS_DONE),
        (sure(), {"packaging_day": TODAY + DAY}, Condition.DAY_DUE),
        (sure(), {"packaging_day": None}, Condition.DAY_DUE),
    ],
)
def test_each_condition_alone_withholds_the_release(
    assessment: Assessment, given: dict[str, Any], unmet: Condition
) -> None:
    said = asked(assessment, **given)
    assert said.unmet == (unmet,)
    assert said.ready is (unmet is Condition.DAY_DUE)
    assert said.ended is (unmet not in (Condition.FINISHED, Condition.NO_RENEWED_FALL, Condition.NO_SLOW_FALL,
                                        Condition.NO_FALL_EXPECTED))  # fmt: skip


def test_the_gate_asks_the_distribution_that_the_sheet_asks() -> None:
    cider = batch(pitched_at=LONG_AGO, drink="cider")
    gate = asked(sure(), cider)
    inputs = prefill(sure(), cider, now=NOW)
    assert gate.ferments == may_ferment(inputs)
    assert gate.ferments.of("malic acid").worst_volumes > 1
    # Seven courses in eight have ended; by the others eight points are left.
    tail = replace(sure(), remaining_falls_sg=(0.0,) * 35 + (0.008,) * 5, remaining_fall_sg=Range(0.0, 0.0, 0.008))
    assert asked(tail, cider).unmet == (Condition.NO_FALL_EXPECTED,)


def test_what_beside_its_sugar_may_ferment_is_said_with_the_plan() -> None:
    made = plan(sure(), batch(pitched_at=LONG_AGO, drink="cider"), Constraints(), now=NOW)
    [told] = [one for one in made.cautions if isinstance(one, MayFermentOn)]
    assert told.causes == ("malic acid",)
    assert "malic acid may still make up to" in caution(told)
    ale = plan(sure(), batch(pitched_at=LONG_AGO, drink="ale"), Constraints(), now=NOW)
    assert not [one for one in ale.cautions if isinstance(one, MayFermentOn)]


def test_an_instant_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        asked(sure(), now=datetime(2026, 3, 3))  # noqa: DTZ001


@pytest.mark.parametrize("kind", SHIFTS_THE_FLOAT)
def test_a_hand_sample_vouches_for_a_float_only_since_it_was_last_changed(kind: Any) -> None:
    before, after = (batch(Event(kind, NOW - h * HOUR), pitched_at=LONG_AGO) for h in (0.5, 1.5))
    assert Condition.HAND_SAMPLE_AGREES in asked(sure(), before).unmet
    assert Condition.HAND_SAMPLE_AGREES not in asked(sure(), after).unmet


def test_another_calibration_asks_for_another_hand_sample() -> None:
    changed = batch(pitched_at=LONG_AGO, float_changed_at=(NOW - 0.5 * HOUR,))
    assert asked(sure(), changed).unmet == (Condition.HAND_SAMPLE_AGREES,)


def test_what_leaves_the_float_alone_asks_for_no_new_sample() -> None:
    harmless = [kind for kind in EVENT_KINDS if kind not in SHIFTS_THE_FLOAT and kind not in ("pitch", "package")]
    assert asked(sure(), batch(*(Event(k, NOW - 0.5 * HOUR) for k in harmless), pitched_at=LONG_AGO)).may_package


# Common practice, no source: the same gravity twice, two days apart.
@pytest.mark.parametrize(
    ("samples", "agree"),
    [
        ((sampled(50), sampled(1)), True),
        ((sampled(49), sampled(1)), True),
        ((sampled(48.5), sampled(1)), False),
        ((sampled(1),), False),
        ((), False),
        ((sampled(80), sampled(25)), False),
        ((sampled(50, 1.0111), sampled(1)), False),
        ((sampled(50, 1.0109), sampled(1)), True),
        ((sampled(60), sampled(30, 1.012), sampled(1)), False),
        ((sampled(60), sampled(50), sampled(30), sampled(1)), True),
        ((sampled(50), sampled(-1)), False),
    ],
)
def test_by_hand_two_samples_two_days_apart_must_agree(samples: tuple[HandReading, ...], agree: bool) -> None:
    said = asked(by_hand(*samples))
    assert said.by_hand
    assert said.holds(Condition.HAND_SAMPLE_AGREES) is agree


@pytest.mark.parametrize(
    ("assessment", "of", "says"),
    [
        (by_hand(), {}, "take a degassed hand sample, and another one 48 hours later"),
        (by_hand(sampled(1)), {}, "take another degassed hand sample, at least 48 hours after the first"),
        (sure(hand_sample_agrees=None), {}, "Take a hand sample before you package"),
        (sure(hand_sample_agrees=False), {}, "disagree"),
        (sure(trend=FALLING), {}, "still come down slowly"),
        (sure(remaining_fall_sg=Range(0.0, 0.0002, 0.004)), {}, "let a fall be expected"),
        (sure(), {"diastatic": True}, "must be seen to hold for three weeks"),
        (sure(), {"float_changed_at": (NOW - 0.5 * HOUR,)}, "it vouches for it no longer"),
    ],
)
def test_what_is_lacking_is_said_to_the_person(assessment: Assessment, of: dict[str, Any], says: str) -> None:
    made = plan(assessment, batch(drink="cider", pitched_at=LONG_AGO, **of), Constraints(), now=NOW)
    assert not made.may_package
    assert any(says in each for each in heeds(made))


# Common practice, no source: weeks for what is known to eat on, unless a forced test agrees.
@pytest.mark.parametrize("culture", ["diastatic", "mixed_culture"])
@pytest.mark.parametrize(
    ("held_h", "tested_sg", "may"),
    [
        (100.0, None, False),
        (503.0, None, False),
        (505.0, None, True),
        (100.0, 1.009, True),
        (100.0, 1.0075, False),
    ],
)
def test_a_culture_that_eats_on_needs_weeks_or_a_forced_test(
    culture: str, held_h: float, tested_sg: float | None, may: bool
) -> None:
    events = () if tested_sg is None else (Event("forced test", NOW - DAY, tested_sg),)
    of = Batch(pitched_at=LONG_AGO, events=events, **{culture: True})  # type: ignore[arg-type]
    assert asked(sure(held_h), of).may_package is may


def test_a_forced_test_that_agrees_settles_a_slow_fall() -> None:
    tested = batch(Event("forced test", NOW - DAY, 1.0095), pitched_at=LONG_AGO)
    assert asked(sure(trend=FALLING), tested).may_package
    assert asked(sure(trend=STANDING)).may_package


AGES = st.one_of(
    st.none(),
    st.timedeltas(timedelta(minutes=-90), timedelta(hours=30)),
    st.timedeltas(timedelta(days=-30), timedelta(weeks=8)),
)
HOURS_AGO = st.one_of(st.floats(-30, 60), st.floats(0, 600))


@st.composite
def gravities(draw: Callable[..., Any]) -> tuple[Assessment, datetime]:
    """An assessment, and the moment that the server takes for now: its clock may have jumped by two hours."""
    age = draw(AGES)
    newest = None if age is None else NOW - age
    heard = min(newest or NOW, NOW)
    held = draw(st.one_of(st.floats(0, 400), st.floats(480, 1200)))
    often = [True, True, True, True]
    given: dict[str, Any] = {
        "now": heard,
        "newest_reading_at": newest,
        "held_since": heard - held * HOUR,
        "held_h": held,
        "hold_met": held >= 48,
        "hand_sample_agrees": draw(st.sampled_from([*often, False, None])),
        "hand_samples": tuple(
            sampled(ago, draw(st.sampled_from([1.010, 1.010, 1.0104, 1.013])))
            for ago in sorted(draw(st.lists(HOURS_AGO, max_size=4)), reverse=True)
        ),
        "followed_by_hand": draw(st.booleans()),
        "trend": draw(st.sampled_from([None, None, STANDING, STANDING, FALLING])),
        "falls_again": draw(st.integers(0, 9)) == 0,
        "remaining_fall_sg": draw(
            st.sampled_from([None, *(Range(0.0, low, high) for low in (0.0, 0.0012) for high in (0.0015, 0.004))])
        ),
    }
    look = creeping if draw(st.integers(0, 9)) == 0 else done
    if look is done:
        given["phase"] = draw(st.sampled_from(["finished", "finished", *PHASES]))
    jump = draw(st.sampled_from([timedelta(0), timedelta(0), timedelta(hours=2), -timedelta(hours=2)]))
    return look(**given), NOW + jump


@st.composite
def situations(draw: Callable[..., Any]) -> tuple[Assessment, Batch, Constraints, datetime]:
    assessment, now = draw(gravities())
    events: list[Event] = []
    if draw(st.booleans()):
        events.append(hops_in(draw(st.floats(0.1, 60))))
        if draw(st.booleans()):
            events.append(hops_out(draw(st.floats(0.05, 40))))
    for kind in draw(st.lists(st.sampled_from(["float moved", "transfer", "feed", "dilute", "crash"]), max_size=2)):
        events.append(Event(kind, NOW - draw(st.floats(0, 60)) * DAY))
    if draw(st.integers(0, 3)) == 0:
        events.append(Event("forced test", NOW - 3 * DAY, draw(st.sampled_from([1.004, 1.009, 1.010]))))
    constraints = Constraints(
        hold_h=draw(st.sampled_from([24.0, 48.0, 72.0])),
        package_weekdays=tuple(draw(st.sets(st.integers(0, 6), min_size=3))),
        dry_hops=draw(st.integers(0, 2)),
        early_dry_hop=draw(st.booleans()),
        crash_days=draw(st.sampled_from([0.0, 2.0])),
        destination=draw(st.sampled_from(["undecided", "keg", "bottle"])),
        time_zone=draw(st.sampled_from(["UTC", "America/Los_Angeles", "Pacific/Auckland"])),
    )
    culture = draw(st.sampled_from([{}, {}, {"diastatic": True}, {"mixed_culture": True}]))
    return assessment, batch(*events, pitched_at=LONG_AGO, **culture), constraints, now


def in_words(assessment: Assessment, of: Batch, now: datetime) -> bool:
    """What must be so of the gravity, said once more and plainly: who packages must be able to see all of it."""
    newest = assessment.newest_reading_at
    if newest is None or not timedelta(0) <= now - newest <= timedelta(hours=24):
        return False
    left = assessment.remaining_fall_sg
    if left is None or left.p50 >= 0.001 or left.p90 >= 0.002:
        return False
    tests = [e.gravity_sg or 0.0 for e in of.events if e.kind == "forced test" and e.at <= now]
    tested = bool(tests) and tests[-1] + 0.002 >= 1.010  # all that holds here holds at 1.010
    if assessment.trend is FALLING and not tested:
        return False
    if (of.diastatic or of.mixed_culture) and assessment.held_h < 21 * 24 and not tested:
        return False
    shifts = ("dry hop", "hops out", "feed", "dilute", "transfer", "float moved")
    since = max((e.at for e in of.events if e.kind in shifts and e.at <= now), default=LONG_AGO)
    samples = [s for s in assessment.hand_samples if since <= s.at <= now]
    if assessment.followed_by_hand:
        pairs = [(a, b) for a in samples for b in samples[-1:] if b.at - a.at >= timedelta(hours=48)]
        return any(abs(a.gravity_sg - b.gravity_sg) < 0.0011 and now - b.at <= timedelta(hours=24) for a, b in pairs)
    return bool(samples) and assessment.hand_sample_agrees is True


@given(situations())
@settings(max_examples=examples(100), deadline=None)
def test_nothing_is_released_that_should_not_be_whatever_else_is_true(
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
            assert in_words(assessment, made_of, now)
            assert assessment.finished
            assert not assessment.stalled
            assert not assessment.falls_again
            assert assessment.phase != "creeping"
            assert assessment.held_h >= constraints.hold_h
    if filled.finished and filled.hold_met and filled.hand_sample:
        assert in_words(assessment, made_of, now)


@given(gravities(), st.sampled_from(["undecided", "keg", "bottle"]))
@settings(max_examples=examples(50), deadline=None)
def test_to_know_less_never_releases(given: tuple[Assessment, datetime], destination: Any) -> None:
    assessment, now = given
    of = batch(drink="cider", pitched_at=LONG_AGO)
    constraints = Constraints(destination=destination)
    if plan(assessment, of, constraints, now=now).may_package:
        return
    for less in (
        {"hand_samples": assessment.hand_samples[:-1]},
        {"hand_sample_agrees": None},
        {"newest_reading_at": None},
        {"remaining_fall_sg": None},
        {"held_h": 0.5 * assessment.held_h},
    ):
        # Of samples in the future or apart, fewer may agree: that is another question.
        if "hand_samples" in less and any(s.gravity_sg != 1.010 or s.at > now for s in assessment.hand_samples):
            continue
        assert not plan(replace(assessment, **less), of, constraints, now=now).may_package


def test_the_properties_above_see_releases_too() -> None:
    for destination in ("undecided", "keg", "bottle"):
        for events in ((), (hops_in(9), hops_out(5))):
            of = batch(*events, pitched_at=LONG_AGO)
            constraints = Constraints(destination=destination, dry_hops=len(events[:1]))  # type: ignore[arg-type]
            assessment = by_hand(sampled(60), sampled(2))
            assert plan(assessment, of, constraints, now=NOW).may_package
            assert in_words(assessment, of, NOW)


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


def test_the_sheet_takes_over_what_the_gate_says_of_the_gravity() -> None:
    of = batch(pitched_at=LONG_AGO)
    for assessment in (sure(), sure(trend=FALLING), sure(hand_samples=()), by_hand(sampled(60), sampled(2))):
        gate, filled = release_of_the_gravity(assessment, of, now=NOW), prefill(assessment, of, now=NOW)
        assert filled.finished is gate.ended
        assert filled.hold_met is gate.holds(Condition.HOLD_SEEN)
        assert filled.hand_sample is gate.holds(Condition.HAND_SAMPLE_AGREES)


ROOT = Path(__file__).parents[3]
# What says "finished" or "held" to the person, and never that packaging is right.
TELLS_ONLY = {
    "analysis/model.py", "analysis/assessment/assess.py", "analysis/wording/verdict.py", "ingest/model.py",
    "ingest/monitoring/watcher.py", "ingest/commands.py", "ingest/monitoring/notifier.py",
    "dashboard/demo/backfill.py", "ingest/dataset/judge.py", "analysis/wording/ended.py",
}  # fmt: skip


def _sources() -> Iterator[tuple[str, ast.AST]]:
    for room in ("analysis", "ingest", "dashboard"):
        for path in sorted((ROOT / room).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def test_no_other_place_decides_that_packaging_is_right() -> None:
    made, judged, defined = set(), set(), set()
    for name, tree in _sources():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Release":
                made.add(name)
            if isinstance(node, ast.FunctionDef) and node.name == "may_package":
                defined.add(name)
            of_an_assessment = isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name | ast.Attribute)
            if of_an_assessment and node.attr in ("hold_met", "hand_sample_agrees"):  # type: ignore[attr-defined]
                judged.add(name)
    assert made == {"analysis/planning/release.py"}
    assert defined == {"analysis/planning/release.py", "analysis/planning/constraints.py"}
    sheets = {name for name in judged if name.startswith("analysis/packaging/")}  # the person's own answers
    gates = {"analysis/planning/release.py", "analysis/planning/grounds.py"}
    assert judged - sheets <= TELLS_ONLY | gates
    assert "analysis/planning/sheet_inputs.py" not in judged or "release_of_the_gravity" in (
        ROOT / "analysis/planning/sheet_inputs.py"
    ).read_text(encoding="utf-8")
