from __future__ import annotations

from datetime import timedelta

import numpy as np

from analysis.planning import Caution
from analysis.planning.plan import Constraints, plan, steady_plan
from analysis.thresholds import EARLIER_BY, LATER_BY
from tests.analysis.situations import DAY, HOUR, NOW, assessed, batch, done, normal


def test_a_said_day_stays_while_its_chance_dithers_about_the_wished_one() -> None:
    """The middle of the forecast goes two hours up and down, as noise has it; the said days must not."""
    rng = np.random.default_rng(1)
    day = plan(assessed(finish=normal(30, 15)), batch(), Constraints(dry_hops=1), now=NOW).hop_day
    border = next(
        m
        for m in np.arange(30, 60, 0.5)
        if plan(assessed(finish=normal(m, 15)), batch(), Constraints(dry_hops=1), now=NOW).hop_day != day
    )
    said, days, raw = None, set(), set()
    for _ in range(60):
        finish = normal(float(border + rng.normal(0, 1.5)), 15)
        made = steady_plan(assessed(finish=finish), batch(), Constraints(dry_hops=1), now=NOW, said=said)
        said = (made.hop_day, made.packaging_day)
        days.add(said)
        raw.add(plan(assessed(finish=finish), batch(), Constraints(dry_hops=1), now=NOW).hop_day)
    assert len(raw) > 1  # without steadying it would have moved
    assert len(days) == 1


def test_a_said_day_moves_when_the_forecast_clearly_does() -> None:
    first = plan(assessed(finish=normal(30, 10)), batch(), Constraints(dry_hops=1), now=NOW)
    said = (first.hop_day, first.packaging_day)
    later = steady_plan(assessed(finish=normal(78, 10)), batch(), Constraints(dry_hops=1), now=NOW, said=said)
    assert later.hop_day == first.hop_day + 2 * DAY  # type: ignore[operator]
    said = (later.hop_day, later.packaging_day)
    earlier = steady_plan(assessed(finish=normal(30, 10)), batch(), Constraints(dry_hops=1), now=NOW, said=said)
    assert earlier.hop_day == first.hop_day


def test_a_day_is_kept_only_within_the_stated_margins() -> None:
    constraints = Constraints(dry_hops=1, confidence=0.8)
    for middle in np.linspace(20, 60, 41):
        assessment = assessed(finish=normal(float(middle), 12))
        made = plan(assessment, batch(), constraints, now=NOW)
        for shift in (-1, 1):
            said = (made.hop_day + shift * DAY, made.packaging_day + shift * DAY)  # type: ignore[operator]
            steady = steady_plan(assessment, batch(), constraints, now=NOW, said=said)
            if steady.hop_day == made.hop_day:
                continue
            assert (steady.hop_day, steady.packaging_day) == said
            assert steady.hop_chance is not None
            if shift < 0:  # an earlier day was said: it may have a little less chance than wished
                assert constraints.confidence - LATER_BY <= steady.hop_chance < constraints.confidence
            else:  # a later day was said: the earlier one is not yet clearly good enough
                assert made.hop_chance is not None
                assert made.hop_chance < constraints.confidence + EARLIER_BY


def test_a_day_gone_by_is_not_kept() -> None:
    said = (NOW.date() - DAY, NOW.date() + 2 * DAY)
    made = steady_plan(
        assessed(finish=normal(30, 10)), batch(), Constraints(dry_hops=1), now=NOW + timedelta(hours=1), said=said
    )
    assert made.hop_day is not None
    assert made.hop_day >= NOW.date()


def test_hops_that_are_due_today_are_not_called_off_by_a_hold_that_noise_cut_short() -> None:
    evening = NOW + 5 * HOUR  # the work is at 18:00
    first = plan(done(49, now=evening, held_since=evening - 49 * HOUR), batch(), Constraints(dry_hops=1), now=evening)
    assert first.hop_day == evening.date()
    said = (first.hop_day, first.packaging_day)
    short = done(43, now=evening, held_since=evening - 43 * HOUR, finish=normal(-46, 4), p_finished=0.72)
    assert (
        plan(short, batch(), Constraints(dry_hops=1), now=evening).hop_day != first.hop_day
    )  # what it would say by itself
    kept = steady_plan(short, batch(), Constraints(dry_hops=1), now=evening, said=said)
    assert (kept.hop_day, kept.packaging_day) == said
    assert not kept.may_package
    assert Caution.FORECAST_ONLY in kept.cautions


def test_hops_that_are_due_today_are_called_off_where_the_hold_is_clearly_gone() -> None:
    evening = NOW + 5 * HOUR
    first = plan(done(49, now=evening, held_since=evening - 49 * HOUR), batch(), Constraints(dry_hops=1), now=evening)
    gone = done(20, now=evening, held_since=evening - 20 * HOUR, finish=normal(-46, 4))
    moved = steady_plan(gone, batch(), Constraints(dry_hops=1), now=evening, said=(first.hop_day, first.packaging_day))
    assert moved.hop_day is not None
    assert moved.hop_day > evening.date()


def test_a_packaging_day_without_hops_is_never_kept_by_a_shortened_hold() -> None:
    evening = NOW + 5 * HOUR
    mead = batch(drink="mead")
    first = plan(done(49, now=evening, held_since=evening - 49 * HOUR), mead, Constraints(), now=evening)
    assert first.packaging_day == evening.date()
    short = done(43, now=evening, held_since=evening - 43 * HOUR, finish=normal(-46, 4))
    moved = steady_plan(short, mead, Constraints(), now=evening, said=(None, first.packaging_day))
    assert moved.packaging_day is not None
    assert moved.packaging_day > evening.date()
