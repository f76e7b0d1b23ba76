from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Assessment, Batch, Creep, Event, Forecast, Range
from analysis.planning import Plan, Wishes, moved, plan

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)  # a Tuesday
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def normal(mean_h: float, sd_h: float, reached: float = 1.0) -> Forecast:
    """A finish that lies `mean_h` ahead, and never comes with the chance 1 - reached."""
    shares = [n / 200 for n in range(1, 200)]
    instants = [(NOW + NormalDist(mean_h, sd_h).inv_cdf(p) * HOUR).timestamp() for p in shares]
    return Forecast(tuple(instants), tuple(p * reached for p in shares))


def assessed(**given: Any) -> Assessment:
    usual: dict[str, Any] = {
        "now": NOW,
        "phase": "slowing",
        "finished": False,
        "stalled": False,
        "p_finished": 0.1,
        "finish": normal(30, 15),
        "held_since": None,
        "held_h": 0.0,
        "hold_met": False,
        "gravity_sg": None,
        "terminal_gravity_sg": None,
        "remaining_fall_sg": None,
        "original_gravity_sg": None,
        "apparent_attenuation": None,
        "temperature_c": 20.0,
        "evidence": (),
        "newest_reading_at": NOW,
    }
    return Assessment(**{**usual, **given})


def done(held_h: float = 60.0, **given: Any) -> Assessment:
    usual: dict[str, Any] = {
        "phase": "finished",
        "finished": True,
        "p_finished": 0.97,
        "finish": normal(-held_h - 6, 4),
        "held_since": NOW - held_h * HOUR,
        "held_h": held_h,
        "hold_met": held_h >= 48,
    }
    return assessed(**{**usual, **given})


def creeping(**given: Any) -> Assessment:
    usual: dict[str, Any] = {
        "phase": "creeping",
        "p_finished": 0.05,
        "finish": normal(60, 30),
        "creep": Creep(Range(0.001, 0.002, 0.003), NOW - DAY),
    }
    return assessed(**{**usual, **given})


def batch(*events: Event, **given: Any) -> Batch:
    return Batch(**{"pitched_at": NOW - 8 * DAY, "drink": "ale", "events": events, **given})


def hops_in(days_ago: float) -> Event:
    return Event("dry hop", NOW - days_ago * DAY)


def hops_out(days_ago: float) -> Event:
    return Event("hops out", NOW - days_ago * DAY)


def test_three_days_of_contact_end_on_packaging_day() -> None:
    # Common practice, no source.
    made = plan(assessed(), batch(), Wishes(), now=NOW)
    assert made.hop_day is not None
    assert made.packaging_day == made.hop_day + 3 * DAY
    assert made.hops_out_day == made.packaging_day


def test_the_hop_day_is_the_first_on_which_the_finish_and_its_hold_are_likely_enough() -> None:
    finish = normal(30, 15)
    made = plan(assessed(finish=finish), batch(), Wishes(confidence=0.8, day_hour=18), now=NOW)
    at_six = datetime(2026, 3, 7, 18, tzinfo=UTC)
    assert made.hop_day == date(2026, 3, 7)
    assert made.hop_chance == pytest.approx(finish.probability_by(at_six - 48 * HOUR))
    assert made.hop_chance >= 0.8 > finish.probability_by(at_six - DAY - 48 * HOUR)


def test_more_confidence_asked_for_never_brings_the_day_forward() -> None:
    days = [plan(assessed(), batch(), Wishes(confidence=c), now=NOW).packaging_day for c in (0.6, 0.8, 0.9, 0.95)]
    assert None not in days
    assert days == sorted(days)  # type: ignore[type-var]
    assert days[0] < days[-1]  # type: ignore[operator]


def test_the_dates_follow_from_the_distribution_and_not_from_its_middle() -> None:
    sharp = plan(assessed(finish=normal(30, 2)), batch(), Wishes(), now=NOW)
    vague = plan(assessed(finish=normal(30, 60)), batch(), Wishes(), now=NOW)
    assert sharp.packaging_day < vague.packaging_day  # type: ignore[operator]


def test_both_days_fall_on_days_that_the_person_can_keep() -> None:
    wishes = Wishes(hop_weekdays=(2, 3), package_weekdays=(5, 6))
    made = plan(assessed(), batch(), wishes, now=NOW)
    assert made.hop_day is not None
    assert made.packaging_day is not None
    assert made.hop_day.weekday() in (2, 3)
    assert made.packaging_day.weekday() in (5, 6)
    assert made.packaging_day - made.hop_day == 3 * DAY
    assert "the first of your days" in made.reason


def test_a_busy_date_is_passed_over() -> None:
    free = plan(assessed(), batch(), Wishes(), now=NOW)
    busy = plan(assessed(), batch(), Wishes(busy_dates=(free.packaging_day,)), now=NOW)  # type: ignore[arg-type]
    assert busy.packaging_day != free.packaging_day


def test_hops_come_out_on_time_where_no_packaging_day_fits_the_contact() -> None:
    made = plan(assessed(), batch(), Wishes(hop_weekdays=(0,), package_weekdays=(5,)), now=NOW)
    assert made.hop_day is not None
    assert made.hops_out_day == made.hop_day + 3 * DAY
    assert made.packaging_day == made.hop_day + 5 * DAY
    assert any("Take the hops out on Thursday" in c for c in made.cautions)


def test_bottles_wait_for_a_hold_after_the_hops_are_out() -> None:
    made = plan(assessed(), batch(), Wishes(destination="bottle"), now=NOW)
    assert made.packaging_day == made.hops_out_day + 2 * DAY  # type: ignore[operator]
    assert [s.name for s in made.steps][-3:] == ["hops out", "hold again", "package"]


def test_hops_come_out_of_a_bottled_beer_on_a_day_that_the_person_has() -> None:
    wishes = Wishes(destination="bottle", hop_weekdays=(2, 5, 6), package_weekdays=(5, 6))
    made = plan(assessed(), batch(), wishes, now=NOW)
    assert made.hops_out_day is not None
    assert made.hops_out_day.weekday() in (2, 5, 6)
    assert made.hops_out_day - made.hop_day == 3 * DAY  # type: ignore[operator]


def test_a_drink_without_hops_is_packaged_after_its_hold() -> None:
    made = plan(assessed(), batch(drink="cider"), Wishes(), now=NOW)
    assert made.hop_day is None
    assert made.packaging_day == date(2026, 3, 7)
    assert "Saturday 7 Mar is the first free day after the gravity will have held for two days, with 95" in made.reason


def test_a_rest_puts_the_day_off_by_its_length() -> None:
    without = plan(assessed(), batch(drink="mead"), Wishes(), now=NOW)
    rested = plan(assessed(), batch(drink="mead"), Wishes(rest_days=14), now=NOW)
    assert rested.packaging_day - without.packaging_day == 14 * DAY  # type: ignore[operator]


def test_a_crash_that_counts_as_contact_moves_nothing_and_one_that_does_not_moves_the_day() -> None:
    plain = plan(assessed(), batch(), Wishes(), now=NOW)
    within = plan(assessed(), batch(), Wishes(crash_days=2), now=NOW)
    after = plan(assessed(), batch(), Wishes(crash_days=2, crash_counts_as_contact=False), now=NOW)
    assert within.packaging_day == plain.packaging_day
    assert after.packaging_day == plain.packaging_day + 2 * DAY  # type: ignore[operator]
    assert after.hops_out_day == plain.hops_out_day


def test_several_doses_end_their_contact_together() -> None:
    made = plan(assessed(), batch(), Wishes(dry_hops=3, hop_interval_days=2), now=NOW)
    first, second, third = made.hop_days
    assert (second - first, third - second) == (2 * DAY, 2 * DAY)
    assert made.packaging_day == third + 3 * DAY


def test_early_hops_go_in_before_the_finish_and_shorten_the_way() -> None:
    usual = plan(assessed(), batch(), Wishes(), now=NOW)
    early = plan(assessed(), batch(), Wishes(early_dry_hop=True), now=NOW)
    assert early.packaging_day < usual.packaging_day  # type: ignore[operator]
    assert early.packaging_day - early.hop_day == 3 * DAY  # type: ignore[operator]
    assert "during the last of the fermentation" in early.reason


def test_a_finished_batch_whose_hold_was_seen_gets_its_hops_today() -> None:
    assert plan(done(60), batch(), Wishes(), now=NOW).hop_day == date(2026, 3, 3)


def test_a_hold_already_seen_is_not_asked_for_again_while_the_finish_is_still_weighed() -> None:
    steady = assessed(
        phase="steady",
        p_finished=0.84,
        finish=normal(-10, 10),
        held_since=NOW - 52 * HOUR,
        held_h=52.0,
        hold_met=True,
    )
    made = plan(steady, batch(), Wishes(confidence=0.8), now=NOW)
    assert made.hop_day == date(2026, 3, 3)
    assert made.hop_chance == pytest.approx(0.84, abs=0.01)
    assert not made.may_package


def test_a_stand_still_before_the_fall_is_no_hold() -> None:
    lag = assessed(phase="lag", p_finished=0.0, finish=normal(200, 20), held_since=NOW - 50 * HOUR, held_h=50.0)
    made = plan(lag, batch(drink="cider"), Wishes(), now=NOW)
    assert made.packaging_day is not None
    assert Wishes().instant(made.packaging_day) > NOW + 248 * HOUR


def test_a_hold_that_is_half_seen_waits_for_its_other_half() -> None:
    made = plan(done(24), batch(drink="cider"), Wishes(day_hour=18), now=NOW)
    assert made.packaging_day == date(2026, 3, 4)
    assert not made.may_package


def test_a_silent_sensor_adds_nothing_to_the_hold() -> None:
    heard_last = NOW - 40 * HOUR
    quiet = done(20, now=heard_last, held_since=heard_last - 20 * HOUR, newest_reading_at=heard_last, hold_met=False)
    made = plan(quiet, batch(drink="cider"), Wishes(), now=NOW)
    assert made.packaging_day is not None
    assert Wishes().instant(made.packaging_day) >= NOW + 28 * HOUR
    assert any("silence is not stability" in c for c in made.cautions)


@pytest.mark.parametrize(
    ("change", "may"),
    [
        ({"hand_sample_agrees": True}, True),
        ({"hand_sample_agrees": None}, False),
        ({"hand_sample_agrees": False}, False),
        ({"hand_sample_agrees": True, "finished": False}, False),
        ({"hand_sample_agrees": True, "held_h": 30.0, "held_since": NOW - 30 * HOUR}, False),
        ({"hand_sample_agrees": True, "newest_reading_at": NOW - 30 * HOUR}, False),
    ],
)
def test_nobody_is_told_to_package_on_a_forecast_or_on_a_float_alone(change: dict[str, Any], may: bool) -> None:
    assert plan(done(**change), batch(drink="cider"), Wishes(), now=NOW).may_package is may


def test_a_plan_that_rests_on_a_forecast_says_so() -> None:
    made = plan(assessed(), batch(), Wishes(), now=NOW)
    assert any("never on a forecast alone" in c for c in made.cautions)


def test_after_hops_the_plan_follows_the_day_they_went_in() -> None:
    made = plan(done(), batch(hops_in(2)), Wishes(), now=NOW)
    assert made.hop_day == date(2026, 3, 1)
    assert made.packaging_day == date(2026, 3, 4)
    assert made.bottling_day == date(2026, 3, 6)
    assert made.hop_chance == 1.0


def test_a_renewed_fall_moves_the_packaging_day_but_not_that_of_a_cold_keg() -> None:
    before = plan(done(), batch(hops_in(2)), Wishes(), now=NOW)
    after = plan(creeping(), batch(hops_in(2)), Wishes(), now=NOW)
    assert after.packaging_day > before.packaging_day  # type: ignore[operator]
    assert after.cold_keg_day == before.packaging_day
    assert "2.0 points so far" in after.reason
    keg = plan(creeping(), batch(hops_in(2)), Wishes(destination="keg"), now=NOW)
    assert keg.packaging_day == before.packaging_day
    assert "stays cold" in keg.reason


def test_hops_out_ends_the_contact_and_starts_the_renewed_hold() -> None:
    made = plan(done(hand_sample_agrees=True), batch(hops_in(4), hops_out(1)), Wishes(destination="bottle"), now=NOW)
    assert made.hops_out_day == date(2026, 3, 2)
    assert made.packaging_day == date(2026, 3, 4)
    assert not made.may_package


def test_hops_forgotten_in_the_beer_are_called_out() -> None:
    made = plan(done(), batch(hops_in(9)), Wishes(), now=NOW)
    assert any("take them out" in c for c in made.cautions)
    assert made.bottling_day >= date(2026, 3, 5)  # type: ignore[operator]


def test_the_second_dose_is_planned_after_the_first() -> None:
    made = plan(done(), batch(hops_in(1)), Wishes(dry_hops=2, hop_interval_days=2), now=NOW)
    assert made.hop_days == (date(2026, 3, 2), date(2026, 3, 4))
    assert made.hop_day == date(2026, 3, 4)
    assert made.packaging_day == date(2026, 3, 7)


def test_a_crash_that_has_begun_is_not_waited_for_twice() -> None:
    cold = Event("crash", NOW - DAY)
    made = plan(done(), batch(cold, drink="cider"), Wishes(crash_days=2), now=NOW)
    assert made.packaging_day == date(2026, 3, 4)


@pytest.mark.parametrize(
    ("assessment", "word"),
    [
        (assessed(stalled=True, phase="stalled", finish=None), "hand sample"),
        (assessed(phase="chilled"), "chilled"),
        (assessed(phase="lag", finish=None), "Too early"),
        (assessed(finish=normal(30, 15, reached=0.6)), "less than"),
    ],
)
def test_where_no_date_can_be_given_the_plan_says_why_and_what_to_do(assessment: Assessment, word: str) -> None:
    made = plan(assessment, batch(), Wishes(), now=NOW)
    assert made.hop_day is None
    assert made.packaging_day is None
    assert made.blocked_by is not None
    assert word in made.blocked_by


def test_a_packaged_batch_keeps_its_day() -> None:
    made = plan(done(), batch(hops_in(5), Event("package", NOW - DAY)), Wishes(), now=NOW)
    assert (made.hop_day, made.packaging_day, made.packaging_chance) == (date(2026, 2, 26), date(2026, 3, 2), 1.0)


def test_dates_are_those_of_the_persons_own_calendar() -> None:
    late = datetime(2026, 3, 3, 14, tzinfo=UTC)  # already the 4th, early in the morning, in Auckland
    made = plan(done(now=late), batch(drink="cider"), Wishes(time_zone="Pacific/Auckland"), now=late)
    assert made.packaging_day == date(2026, 3, 4)


def test_a_day_of_the_clock_change_is_planned_at_its_local_hour() -> None:
    wishes = Wishes(time_zone="Europe/Paris", day_hour=18)
    assert wishes.instant(date(2026, 3, 28)) == datetime(2026, 3, 28, 17, tzinfo=UTC)
    assert wishes.instant(date(2026, 3, 29)) == datetime(2026, 3, 29, 16, tzinfo=UTC)


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"confidence": 1.5}, "0.7 to 0.95"),
        ({"hold_h": -1}, "24 to 96 hours"),
        ({"hop_weekdays": ()}, "at least one weekday"),
        ({"package_weekdays": (7,)}, "Monday is 0"),
        ({"time_zone": "Mars/Olympus"}, "Europe/Paris"),
        ({"contact_days": -3}, "2 to 5 days"),
        ({"busy_dates": ("next week",)}, "2026-12-24"),
    ],
)
def test_a_wish_that_cannot_be_is_refused_with_what_is_usual(wrong: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        Wishes(**wrong)


def test_a_move_of_more_than_a_day_becomes_a_sentence() -> None:
    assert moved(date(2026, 3, 7), date(2026, 3, 8), "Packaging day") is None
    assert moved(date(2026, 3, 7), date(2026, 3, 10), "Packaging day") == (
        "Packaging day moved 3 days later, from Saturday 7 Mar to Tuesday 10 Mar."
    )
    assert moved(None, date(2026, 3, 10), "Packaging day") is None


def test_the_plan_is_json_ready() -> None:
    as_json = plan(assessed(), batch(), Wishes(), now=NOW).as_dict()
    assert as_json["hop_day"] == "2026-03-07"
    assert as_json["packaging_day"] == "2026-03-10"
    assert 0.8 <= as_json["hop_chance"] <= 1
    assert as_json["reason"]


@st.composite
def situations(draw: Callable[..., Any]) -> tuple[Assessment, Batch, Wishes]:
    held = draw(st.floats(0, 100))
    finished = draw(st.booleans())
    look = done if finished else assessed
    given: dict[str, Any] = {"finish": normal(draw(st.floats(-100, 300)), draw(st.floats(1, 100)))}
    if finished:
        given |= {"held_since": NOW - held * HOUR, "held_h": held, "hold_met": held >= 48}
    given["hand_sample_agrees"] = draw(st.sampled_from([True, False, None]))
    events = []
    if draw(st.booleans()):
        events.append(hops_in(draw(st.floats(0.1, 6))))
        if draw(st.booleans()):
            events.append(hops_out(0.05))
    wishes = Wishes(
        hold_h=draw(st.sampled_from([24.0, 48.0, 72.0])),
        contact_days=draw(st.sampled_from([2.0, 3.0, 4.5])),
        confidence=draw(st.floats(0.5, 0.95)),
        hop_weekdays=tuple(draw(st.sets(st.integers(0, 6), min_size=1))),
        package_weekdays=tuple(draw(st.sets(st.integers(0, 6), min_size=1))),
        rest_days=draw(st.sampled_from([0.0, 2.0])),
        dry_hops=draw(st.integers(0, 2)),
        early_dry_hop=draw(st.booleans()),
        crash_days=draw(st.sampled_from([0.0, 2.0])),
        crash_counts_as_contact=draw(st.booleans()),
        destination=draw(st.sampled_from(["undecided", "keg", "bottle"])),
        time_zone=draw(st.sampled_from(["UTC", "Europe/Paris", "America/Los_Angeles", "Pacific/Auckland"])),
    )
    return look(**given), batch(*events), wishes


@given(situations())
@settings(max_examples=400, deadline=None)
def test_every_plan_keeps_its_promises(situation: tuple[Assessment, Batch, Wishes]) -> None:
    assessment, made_of, wishes = situation
    made: Plan = plan(assessment, made_of, wishes, now=NOW)
    today = wishes.local_day(NOW)
    assert made.reason
    if made.packaging_day is None:
        assert made.blocked_by
        assert not made.may_package
        return
    assert wishes.can_package(made.packaging_day)
    assert made.packaging_day >= today
    assert made.packaging_chance is not None
    assert made.packaging_chance >= wishes.confidence - 1e-9
    if made.hop_days and not made_of.events:
        assert all(wishes.can_hop(day) for day in made.hop_days)
        contact = made.packaging_day - made.hop_days[-1]
        assert contact >= timedelta(days=wishes.contact_days)
    if made.may_package:
        assert assessment.finished
        assert assessment.held_h >= wishes.hold_h
        assert assessment.hand_sample_agrees is True
    if made.latest_packaging is not None:
        assert made.latest_packaging >= made.packaging_day
