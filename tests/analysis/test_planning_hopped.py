from __future__ import annotations

from datetime import date

from analysis.planning import Wishes, plan
from tests.analysis.situations import NOW, batch, creeping, done, hops_in, hops_out


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
