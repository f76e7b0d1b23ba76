"""A batch without a float follows its siblings: wider than they are known, later rather than sooner, never decided."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis import Batch, assess
from analysis.following import Sibling, alike_warm, follow, sample_due, too_far_apart, undecided
from analysis.model import HandReading

PITCHED = datetime(2026, 3, 1, 10, tzinfo=UTC)


def assessed(days: float, middle: float = 1.6):
    hours = np.arange(0.2, days * 24, 0.5)
    gravity = 1.011 + 0.041 / (1 + np.exp((hours / 24 - middle) / 0.42))
    noise = np.random.default_rng(4).normal(0, 0.0004, hours.size)
    readings = pl.DataFrame(
        {
            "measured_at": pl.Series(
                [PITCHED + timedelta(hours=float(h)) for h in hours], dtype=pl.Datetime("us", "UTC")
            ),
            "gravity_sg": gravity + noise,
            "temperature_c": np.full(hours.size, 19.0),
        }
    )
    batch = Batch(pitched_at=PITCHED, original_gravity_sg=1.052, drink="ale")
    return assess(readings, batch, now=PITCHED + timedelta(days=days))


@pytest.fixture(scope="module")
def active():
    return assessed(2.0)


@pytest.fixture(scope="module")
def slower():
    return assessed(2.0, middle=2.2)


def now_of(assessment):
    return assessment.now


def test_it_is_wider_than_what_is_known_of_the_sibling_and_lies_about_it(active):
    told = follow([Sibling("Vessel 3", PITCHED, active, True)], PITCHED, (), active.now)
    assert told is not None
    ours, theirs = told.gravity_sg, active.gravity_sg
    assert ours.p10 < theirs.p10 < theirs.p90 < ours.p90
    assert ours.p50 == pytest.approx(theirs.p50, abs=0.001)
    early, _, late = told.finish
    assert early < active.finish.p10 < active.finish.p90 < late
    assert told.names == ("Vessel 3",)


def test_less_known_is_wider(active):
    known = follow([Sibling("Vessel 3", PITCHED, active, True)], PITCHED, (), active.now)
    unknown = follow([Sibling("Vessel 3", PITCHED, active, False)], PITCHED, (), active.now)
    assert unknown.gravity_sg.p90 - unknown.gravity_sg.p10 > known.gravity_sg.p90 - known.gravity_sg.p10
    assert unknown.finish[2] > known.finish[2]
    assert unknown.finish[0] < known.finish[0]
    assert not unknown.like_warm


def test_siblings_that_differ_make_it_wider(active, slower):
    one = follow([Sibling("Vessel 3", PITCHED, active, True)], PITCHED, (), active.now)
    both = follow(
        [Sibling("Vessel 3", PITCHED, active, True), Sibling("Vessel 4", PITCHED, slower, True)],
        PITCHED,
        (),
        active.now,
    )
    assert both.gravity_sg.p90 > one.gravity_sg.p90
    assert both.gravity_sg.p10 <= one.gravity_sg.p10


def test_a_sibling_without_a_date_takes_the_date_away(active):
    dateless = replace(active, finish=None)
    both = [Sibling("Vessel 3", PITCHED, active, True), Sibling("Vessel 4", PITCHED, dateless, True)]
    assert follow(both, PITCHED, (), active.now).finish is None


def test_an_own_sample_shifts_it_and_says_whether_it_agrees(active):
    sibling = [Sibling("Vessel 3", PITCHED, active, True)]
    bare = follow(sibling, PITCHED, (), active.now)
    near = follow(sibling, PITCHED, (HandReading(active.now, bare.gravity_sg.p50 + 0.001),), active.now)
    far = follow(sibling, PITCHED, (HandReading(active.now, bare.gravity_sg.p90 + 0.01),), active.now)
    assert near.agrees is True
    assert near.gravity_sg.p50 == pytest.approx(bare.gravity_sg.p50 + 0.001, abs=1e-6)
    assert near.gravity_sg.p90 - near.gravity_sg.p10 == pytest.approx(bare.gravity_sg.p90 - bare.gravity_sg.p10)
    assert far.agrees is False


def test_nothing_is_told_where_no_sibling_tells_anything():
    early = assess(
        pl.DataFrame(
            {"measured_at": [], "gravity_sg": []},
            schema={"measured_at": pl.Datetime("us", "UTC"), "gravity_sg": pl.Float64()},
        ),
        Batch(pitched_at=PITCHED),
        now=PITCHED,
    )
    assert follow([Sibling("Vessel 3", PITCHED, early, True)], PITCHED, (), PITCHED) is None
    assert follow([], PITCHED, (), PITCHED) is None


def test_a_sample_is_due_every_three_days_and_when_the_siblings_may_have_finished(active):
    told = follow([Sibling("Vessel 3", PITCHED, active, True)], PITCHED, (), active.now)
    day = timedelta(days=1)
    assert not sample_due(None, None, PITCHED, PITCHED + 2.9 * day)
    assert sample_due(None, None, PITCHED, PITCHED + 3 * day)
    assert not sample_due(None, PITCHED + 2 * day, PITCHED, PITCHED + 4 * day)
    done = told.finish[1]
    assert not sample_due(told, done - day / 2, PITCHED, done - day / 4)
    assert sample_due(told, done - 2 * day, PITCHED, done)
    assert not sample_due(told, done - day / 2, PITCHED, done)


def test_warmth_that_is_not_known_is_neither_alike_nor_too_far_apart():
    assert alike_warm(19.0, 20.0)
    assert not alike_warm(None, 20.0)
    assert not too_far_apart(None, 20.0)
    assert too_far_apart(17.0, 20.0)


def test_a_part_that_nobody_measured_is_never_finished():
    whole = assessed(9.0)
    assert whole.finished
    assert whole.hold_met
    part = undecided(whole)
    assert not part.finished
    assert not part.ready
    assert part.phase == "steady"
    assert part.held_h == 0
