from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from analysis.model import Assessment, Event
from analysis.planning.plan import Constraints, plan
from tests.analysis.situations import (
    DAY,
    HOUR,
    NOW,
    assessed,
    batch,
    blocks,
    done,
    heeds,
    hops_in,
    normal,
    sampled,
    why,
)


def test_three_days_of_contact_end_on_packaging_day() -> None:
    # Common practice, no source.
    made = plan(assessed(), batch(), Constraints(dry_hops=1), now=NOW)
    assert made.hop_day is not None
    assert made.packaging_day == made.hop_day + 3 * DAY
    assert made.hops_out_day == made.packaging_day


def test_the_hop_day_is_the_first_on_which_the_finish_and_its_hold_are_likely_enough() -> None:
    finish = normal(30, 15)
    made = plan(assessed(finish=finish), batch(), Constraints(dry_hops=1, confidence=0.8, day_hour=18), now=NOW)
    at_six = datetime(2026, 3, 7, 18, tzinfo=UTC)
    assert made.hop_day == date(2026, 3, 7)
    assert made.hop_chance == pytest.approx(finish.probability_by(at_six - 48 * HOUR))
    assert made.hop_chance >= 0.8 > finish.probability_by(at_six - DAY - 48 * HOUR)


def test_more_confidence_asked_for_never_brings_the_day_forward() -> None:
    days = [
        plan(assessed(), batch(), Constraints(dry_hops=1, confidence=c), now=NOW).packaging_day
        for c in (0.6, 0.8, 0.9, 0.95)
    ]
    assert None not in days
    assert days == sorted(days)  # type: ignore[type-var]
    assert days[0] < days[-1]  # type: ignore[operator]


def test_the_dates_follow_from_the_distribution_and_not_from_its_middle() -> None:
    sharp = plan(assessed(finish=normal(30, 2)), batch(), Constraints(dry_hops=1), now=NOW)
    vague = plan(assessed(finish=normal(30, 60)), batch(), Constraints(dry_hops=1), now=NOW)
    assert sharp.packaging_day < vague.packaging_day  # type: ignore[operator]


def test_both_days_fall_on_days_that_the_person_can_keep() -> None:
    constraints = Constraints(dry_hops=1, hop_weekdays=(2, 3), package_weekdays=(5, 6))
    made = plan(assessed(), batch(), constraints, now=NOW)
    assert made.hop_day is not None
    assert made.packaging_day is not None
    assert made.hop_day.weekday() in (2, 3)
    assert made.packaging_day.weekday() in (5, 6)
    assert made.packaging_day - made.hop_day == 3 * DAY
    assert "the first of your days" in why(made)


def test_a_busy_date_is_passed_over() -> None:
    free = plan(assessed(), batch(), Constraints(dry_hops=1), now=NOW)
    busy = plan(assessed(), batch(), Constraints(dry_hops=1, busy_dates=(free.packaging_day,)), now=NOW)  # type: ignore[arg-type]
    assert busy.packaging_day != free.packaging_day


@pytest.mark.parametrize("destination", ["undecided", "keg", "bottle"])
@pytest.mark.parametrize("days", [10, 14, 17, 21, 40])
def test_a_long_holiday_puts_the_days_off_and_does_not_remove_them(destination: Any, days: int) -> None:
    """Hops on Fridays, packaging on Mondays, and away from the day on which the hops would have come out."""
    wished = Constraints(dry_hops=1, hop_weekdays=(4,), package_weekdays=(0,), destination=destination)
    free = plan(done(), batch(), wished, now=NOW)
    assert free.hop_day is not None
    away = tuple(free.hop_day + n * DAY for n in range(1, days + 1))
    made = plan(done(), batch(), replace(wished, busy_dates=away), now=NOW)
    assert made.blocked_by is None
    assert made.hop_day is not None
    assert made.packaging_day is not None
    assert made.packaging_day > away[-1]
    assert made.packaging_day - away[-1] <= 18 * DAY  # a Friday, contact and hold, a Monday
    assert made.hop_day not in away
    assert made.packaging_day - made.hop_day <= 3 * DAY + 7 * DAY + (2 * DAY if destination == "bottle" else 0 * DAY)


@pytest.mark.parametrize(("doses", "early"), [(0, False), (1, False), (1, True)])
def test_where_every_day_is_taken_the_reason_says_so_and_asks_for_no_other_weekday(doses: int, early: bool) -> None:
    away = tuple(NOW.date() + n * DAY for n in range(400))
    constraints = Constraints(dry_hops=doses, early_dry_hop=early, busy_dates=away)
    made = plan(done(), batch(), constraints, now=NOW)
    assert blocks(made) == "Every day that would fit is among the dates on which you cannot. Free one of them."
    never = Constraints(dry_hops=2, hop_interval_days=2, hop_weekdays=(0,), busy_dates=away)  # never two days apart
    assert "Open another weekday" in blocks(plan(done(), batch(), never, now=NOW))


@pytest.mark.parametrize(
    ("contact", "says"),
    [
        (1, "one day of contact ends on"),
        (3, "three days of contact end on"),
        (0, "without a contact asked for, they come out on"),
    ],
)
@pytest.mark.parametrize("early", [False, True])
def test_the_contact_is_said_in_sound_sentences(contact: float, says: str, early: bool) -> None:
    wished = Constraints(dry_hops=1, contact_days=contact, early_dry_hop=early)
    made = plan(assessed(), batch(), wished, now=NOW)
    assert says in why(made)
    told = " ".join([why(made), *heeds(made)])
    for wrong in ("one day of contact end ", "o days of contact", "one day of contact do "):
        assert wrong not in told


def test_early_hops_on_a_finished_batch_are_not_said_to_go_in_while_it_ferments() -> None:
    made = plan(done(), batch(), Constraints(dry_hops=1, early_dry_hop=True), now=NOW)
    assert made.hop_day is not None
    assert "during the last of the fermentation" not in why(made)
    assert "since it has ended" in why(made)


def test_hops_come_out_on_time_where_no_packaging_day_fits_the_contact() -> None:
    made = plan(assessed(), batch(), Constraints(dry_hops=1, hop_weekdays=(0,), package_weekdays=(5,)), now=NOW)
    assert made.hop_day is not None
    assert made.hops_out_day == made.hop_day + 3 * DAY
    assert made.packaging_day == made.hop_day + 5 * DAY
    assert any("Take the hops out on Thursday" in c for c in heeds(made))


def test_bottles_wait_for_a_hold_after_the_hops_are_out() -> None:
    made = plan(assessed(), batch(), Constraints(dry_hops=1, destination="bottle"), now=NOW)
    assert made.packaging_day == made.hops_out_day + 2 * DAY  # type: ignore[operator]
    assert [s.name for s in made.steps][-3:] == ["hops out", "hold again", "package"]


def test_hops_come_out_of_a_bottled_beer_on_a_day_that_the_person_has() -> None:
    constraints = Constraints(dry_hops=1, destination="bottle", hop_weekdays=(2, 5, 6), package_weekdays=(5, 6))
    made = plan(assessed(), batch(), constraints, now=NOW)
    assert made.hops_out_day is not None
    assert made.hops_out_day.weekday() in (2, 5, 6)
    assert made.hops_out_day - made.hop_day == 3 * DAY  # type: ignore[operator]


def test_a_drink_without_hops_is_packaged_after_its_hold() -> None:
    made = plan(assessed(), batch(drink="cider"), Constraints(), now=NOW)
    assert made.hop_day is None
    assert made.packaging_day == date(2026, 3, 7)
    assert "Saturday 7 Mar is the first free day after the gravity will have held for two days" in why(made)
    assert "with a chance of 95" in why(made)


def test_a_rest_puts_the_day_off_by_its_length() -> None:
    without = plan(assessed(), batch(drink="mead"), Constraints(), now=NOW)
    rested = plan(assessed(), batch(drink="mead"), Constraints(rest_days=14), now=NOW)
    assert rested.packaging_day - without.packaging_day == 14 * DAY  # type: ignore[operator]


def test_a_crash_that_counts_as_contact_moves_nothing_and_one_that_does_not_moves_the_day() -> None:
    plain = plan(assessed(), batch(), Constraints(dry_hops=1), now=NOW)
    within = plan(assessed(), batch(), Constraints(dry_hops=1, crash_days=2), now=NOW)
    after = plan(assessed(), batch(), Constraints(dry_hops=1, crash_days=2, crash_counts_as_contact=False), now=NOW)
    assert within.packaging_day == plain.packaging_day
    assert after.packaging_day == plain.packaging_day + 2 * DAY  # type: ignore[operator]
    assert after.hops_out_day == plain.hops_out_day


def test_several_doses_end_their_contact_together() -> None:
    made = plan(assessed(), batch(), Constraints(dry_hops=3, hop_interval_days=2), now=NOW)
    first, second, third = made.hop_days
    assert (second - first, third - second) == (2 * DAY, 2 * DAY)
    assert made.packaging_day == third + 3 * DAY


def test_early_hops_go_in_before_the_finish_and_shorten_the_way() -> None:
    usual = plan(assessed(), batch(), Constraints(dry_hops=1), now=NOW)
    early = plan(assessed(), batch(), Constraints(dry_hops=1, early_dry_hop=True), now=NOW)
    assert early.packaging_day < usual.packaging_day  # type: ignore[operator]
    assert early.packaging_day - early.hop_day == 3 * DAY  # type: ignore[operator]
    assert "during the last of the fermentation" in why(early)


def test_a_finished_batch_whose_hold_was_seen_gets_its_hops_today() -> None:
    assert plan(done(60), batch(), Constraints(dry_hops=1), now=NOW).hop_day == date(2026, 3, 3)


def test_a_hold_already_seen_is_not_asked_for_again_while_the_finish_is_still_weighed() -> None:
    steady = assessed(
        phase="steady",
        p_finished=0.84,
        finish=normal(-10, 10),
        held_since=NOW - 52 * HOUR,
        held_h=52.0,
        hold_met=True,
    )
    made = plan(steady, batch(), Constraints(dry_hops=1, confidence=0.8), now=NOW)
    assert made.hop_day == date(2026, 3, 3)
    assert made.hop_chance == pytest.approx(0.84, abs=0.01)
    assert not made.may_package


def test_a_stand_still_before_the_fall_is_no_hold() -> None:
    lag = assessed(phase="lag", p_finished=0.0, finish=normal(200, 20), held_since=NOW - 50 * HOUR, held_h=50.0)
    made = plan(lag, batch(drink="cider"), Constraints(), now=NOW)
    assert made.packaging_day is not None
    assert Constraints().instant(made.packaging_day) > NOW + 248 * HOUR


def test_a_hold_that_is_half_seen_waits_for_its_other_half() -> None:
    made = plan(done(24), batch(drink="cider"), Constraints(day_hour=18), now=NOW)
    assert made.packaging_day == date(2026, 3, 4)
    assert not made.may_package


def test_a_silent_sensor_adds_nothing_to_the_hold() -> None:
    heard_last = NOW - 40 * HOUR
    quiet = done(20, now=heard_last, held_since=heard_last - 20 * HOUR, newest_reading_at=heard_last, hold_met=False)
    made = plan(quiet, batch(drink="cider"), Constraints(), now=NOW)
    assert made.packaging_day is not None
    assert Constraints().instant(made.packaging_day) >= NOW + 28 * HOUR
    assert any("silence is not stability" in c for c in heeds(made))


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
    made = plan(done(**change, hand_samples=(sampled(),)), batch(drink="cider"), Constraints(), now=NOW)
    assert made.may_package is may


def test_a_plan_that_rests_on_a_forecast_says_so() -> None:
    made = plan(assessed(), batch(), Constraints(dry_hops=1), now=NOW)
    assert any("never on a forecast alone" in c for c in heeds(made))


def test_a_crash_that_has_begun_is_not_waited_for_twice() -> None:
    cold = Event("crash", NOW - DAY)
    made = plan(done(), batch(cold, drink="cider"), Constraints(crash_days=2), now=NOW)
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
    made = plan(assessment, batch(), Constraints(dry_hops=1), now=NOW)
    assert made.hop_day is None
    assert made.packaging_day is None
    assert made.blocked_by is not None
    assert word in blocks(made)


def test_a_packaged_batch_keeps_its_day() -> None:
    made = plan(done(), batch(hops_in(5), Event("package", NOW - DAY)), Constraints(dry_hops=1), now=NOW)
    assert (made.hop_day, made.packaging_day, made.packaging_chance) == (date(2026, 2, 26), date(2026, 3, 2), 1.0)


def test_a_hold_is_told_in_whole_hours_that_have_passed() -> None:
    made = plan(done(59.7), batch(drink="mead"), Constraints(), now=NOW)
    assert "has held for 59 hours" in why(made)
