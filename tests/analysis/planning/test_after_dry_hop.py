from __future__ import annotations

from datetime import date

from analysis.planning.plan import Constraints, plan
from tests.analysis.situations import NOW, batch, creeping, done, heeds, hops_in, hops_out, why


def test_after_hops_the_plan_follows_the_day_they_went_in() -> None:
    made = plan(done(), batch(hops_in(2)), Constraints(), now=NOW)
    assert made.hop_day == date(2026, 3, 1)
    assert made.packaging_day == date(2026, 3, 4)
    assert made.bottling_day == date(2026, 3, 6)
    assert made.hop_chance == 1.0


def test_a_renewed_fall_moves_the_packaging_day_but_not_that_of_a_cold_keg() -> None:
    before = plan(done(), batch(hops_in(2)), Constraints(), now=NOW)
    after = plan(creeping(), batch(hops_in(2)), Constraints(), now=NOW)
    assert after.packaging_day > before.packaging_day  # type: ignore[operator]
    assert after.cold_keg_day == before.packaging_day
    assert "2.0 points so far" in why(after)
    keg = plan(creeping(), batch(hops_in(2)), Constraints(destination="keg"), now=NOW)
    assert keg.packaging_day == before.packaging_day
    assert "stays cold" in why(keg)


def test_hops_out_ends_the_contact_and_starts_the_renewed_hold() -> None:
    made = plan(
        done(hand_sample_agrees=True), batch(hops_in(4), hops_out(1)), Constraints(destination="bottle"), now=NOW
    )
    assert made.hops_out_day == date(2026, 3, 2)
    assert made.packaging_day == date(2026, 3, 4)
    assert not made.may_package


def test_hops_forgotten_in_the_beer_are_called_out() -> None:
    made = plan(done(), batch(hops_in(9)), Constraints(), now=NOW)
    assert any("take them out" in c for c in heeds(made))
    assert made.bottling_day >= date(2026, 3, 5)  # type: ignore[operator]


def test_the_second_dose_is_planned_after_the_first() -> None:
    made = plan(done(), batch(hops_in(1)), Constraints(dry_hops=2, hop_interval_days=2), now=NOW)
    assert made.hop_days == (date(2026, 3, 2), date(2026, 3, 4))
    assert made.hop_day == date(2026, 3, 4)
    assert made.packaging_day == date(2026, 3, 7)


def test_a_contact_cut_short_is_not_said_to_have_lasted() -> None:
    minutes = 4 / (24 * 60)
    made = plan(done(), batch(hops_in(1 + minutes), hops_out(1)), Constraints(), now=NOW)
    assert "The hops came out on Monday 2 Mar after 4 minutes of contact, less than the three days asked for" in (
        why(made)
    )
    keg = plan(creeping(), batch(hops_in(2.5), hops_out(1)), Constraints(destination="keg"), now=NOW)
    assert "after 36 hours of contact, less than the three days asked for. The gravity is falling" in why(keg)


def test_a_contact_says_when_it_ends_and_that_it_ended_only_then() -> None:
    ahead = plan(done(), batch(hops_in(1)), Constraints(), now=NOW)
    assert why(ahead).startswith("Three days of contact end on Thursday 5 Mar")
    # It has held longer than was asked for: the chance that stands beside it is that of its end.
    assert "held for 60 hours; it is done by then, with a chance of more than" in why(ahead)
    assert "will" not in why(ahead)
    over = plan(done(), batch(hops_in(5)), Constraints(), now=NOW)
    assert why(over).startswith("Three days of contact ended on Sunday 1 Mar")
    full = plan(done(), batch(hops_in(5), hops_out(1)), Constraints(), now=NOW)
    assert why(full).startswith("The hops came out on Monday 2 Mar after 4 days of contact")
    assert "less than" not in why(full)
    one = plan(done(), batch(hops_in(0)), Constraints(contact_days=1), now=NOW)
    assert why(one).startswith("One day of contact ends on Wednesday 4 Mar")


def test_hops_out_alone_says_that_hops_were_in_and_plans_no_more_of_them() -> None:
    """A person who forgot to log them in must not be asked for a second dose; bottles wait as after any hops."""
    made = plan(done(), batch(hops_out(1)), Constraints(destination="undecided"), now=NOW)
    assert why(made).startswith("The hops came out on Monday 2 Mar; when they went in was not logged")
    assert not any(day >= NOW.date() for day in made.hop_days)
    bottled = plan(done(), batch(hops_out(1)), Constraints(destination="bottle"), now=NOW)
    assert (
        bottled.packaging_day
        == plan(done(), batch(hops_in(4), hops_out(1)), Constraints(destination="bottle"), now=NOW).packaging_day
    )
