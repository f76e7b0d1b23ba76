"""The decision, from courses that are given: what it takes to call a batch finished."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from analysis.assessment.decision import Verdict, decide
from analysis.assessment.observations import Observations
from analysis.inference.hypotheses import HypothesisMixture
from analysis.inference.likelihood import GAIN_SD
from analysis.inference.posterior import PosteriorDraws
from analysis.inference.prior import Priors
from analysis.model import Batch, Hysteresis
from analysis.readings.binning import Series
from analysis.readings.stability import Hold

NOW = datetime(2026, 3, 20, 8, tzinfo=UTC)
BATCH = Batch(
    pitched_at=NOW - timedelta(hours=300), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.79)
)
AT = np.array([0.0, 150.0, 200.0, 300.0])


def decided(
    shares: dict[float, float],
    *,
    held_h: float,
    attenuation: float = 0.765,
    chilled: bool = False,
    lasting: float = 0.0,
    batch: Batch = BATCH,
    was_finished: bool = False,
    was_stalled: bool = False,
    halted_h: float | None = None,
    scatter_sg: float = 0.0,
    falls_sg_day: float = 0.0,
) -> Verdict:
    """The verdict where each amount left (points) has its share of the weight.

    `halted_h` is for how long it has stood by the courses with more than two points left; the readings scatter and
    fall as said.
    """
    left = np.array(list(shares)) / 1000
    fall = 0.052 * attenuation
    posterior = PosteriorDraws(
        weight=np.array(list(shares.values())),
        fall_sg=fall + left,
        finish_h=np.full(left.size, 250.0),
        left_now_sg=left,
        crept_sg=np.zeros(left.size),
        halted_from_h=np.full(left.size, np.inf)
        if halted_h is None
        else np.where(left > 0.002, 300 - halted_h, np.inf),
        at_h=AT,
        gravity_sg=np.full((left.size, AT.size), 1.052 - fall),
        left_sg=np.repeat(left[:, None], AT.size, axis=1),
        terminal_sg=1.052 - fall - left,
        done_now=fall / (fall + left),
        effective=100.0,
    )
    share: dict[Any, float] = {"none": 1.0 - lasting, "lasting": lasting}
    hours = np.arange(200.0, 300.0, 3.0)
    flat = 1.052 - fall + falls_sg_day / 24 * (300.0 - hours)
    flat = flat + np.random.default_rng(3).normal(0.0, scatter_sg, hours.size)
    ones, none = np.ones(hours.size), np.zeros(hours.size)
    warm = np.full(hours.size, 19.0)
    series = Series(
        hours, flat, 1e-4 * ones, ones, none, none.astype(bool), hours, warm, 300.0, 19.0, 20.0, temperature_known=True
    )
    held = Hold(300.0 - held_h, 300.0, held_h, 0.0002, 0.0001)
    return decide(
        Observations(series, held, chill_h=200.0 if chilled else None),
        HypothesisMixture(posterior, 1.052, True, share),
        Priors().prior(batch),
        batch,
        NOW,
        Hysteresis(was_finished, was_stalled),
    )


@pytest.mark.parametrize("chilled", [False, True])
def test_two_points_left_must_be_as_good_as_excluded(chilled: bool) -> None:
    """The one rule: at most four in a hundred for two points or more; how much is left below that decides nothing."""
    assert decided({0.3: 0.72, 1.4: 0.25, 2.6: 0.03}, held_h=30.0, chilled=chilled).finished
    assert decided({0.3: 0.45, 1.4: 0.52, 2.6: 0.03}, held_h=30.0, chilled=chilled).finished
    assert not decided({0.3: 0.93, 1.4: 0.02, 2.6: 0.05}, held_h=30.0, chilled=chilled).finished


@pytest.mark.parametrize(("held_h", "finished"), [(0.0, False), (11.5, False), (12.0, True), (200.0, True)])
def test_it_must_have_held_for_half_a_day(held_h: float, finished: bool) -> None:
    assert decided({0.3: 0.9, 1.4: 0.08, 2.6: 0.02}, held_h=held_h).finished is finished


@pytest.mark.parametrize(("held_h", "finished"), [(30.0, False), (47.5, False), (48.0, True), (200.0, True)])
def test_what_has_held_for_two_days_in_the_warm_needs_half_as_much(held_h: float, finished: bool) -> None:
    unsure = {0.3: 0.6, 1.4: 0.33, 2.6: 0.07}
    assert decided(unsure, held_h=held_h).finished is finished
    assert not decided(unsure, held_h=held_h, chilled=True).finished


@pytest.mark.parametrize(("falls_sg_day", "finished"), [(0.0006, True), (0.0014, False)])
def test_nothing_that_falls_by_a_point_a_day_has_finished_however_surely_others_ended(
    falls_sg_day: float, finished: bool
) -> None:
    surely = {0.3: 0.99, 2.6: 0.01}
    assert decided(surely, held_h=13.0, falls_sg_day=falls_sg_day).finished is finished
    assert decided(surely, held_h=50.0, falls_sg_day=falls_sg_day).finished  # two days of a hold say so themselves


def test_a_long_hold_does_not_make_up_for_two_points() -> None:
    assert not decided({0.3: 0.91, 2.6: 0.09}, held_h=400.0).finished
    assert not decided({0.3: 0.6, 1.4: 0.2, 2.6: 0.2}, held_h=400.0).finished


def test_what_was_called_finished_is_taken_back_only_by_a_real_doubt() -> None:
    assert decided({0.3: 0.3, 1.4: 0.36, 2.6: 0.34}, held_h=3.0, was_finished=True).finished
    assert not decided({0.3: 0.5, 1.4: 0.14, 2.6: 0.36}, held_h=3.0, was_finished=True).finished
    fallen = decided({0.3: 0.98, 1.4: 0.02}, held_h=0.0, falls_sg_day=0.003, was_finished=True)
    assert not fallen.finished
    assert fallen.p_finished <= 0.05


HALTED = {0.5: 0.05, 8.0: 0.95}
"""It stands eight points short, as good as surely."""


def test_a_halt_is_called_a_stall_once_it_has_stood() -> None:
    assert decided(HALTED, held_h=34.0, attenuation=0.62, halted_h=40.0).stalled
    assert not decided(HALTED, held_h=20.0, attenuation=0.62, halted_h=24.0).stalled
    assert not decided({0.5: 0.3, 8.0: 0.7}, held_h=36.0, attenuation=0.62, halted_h=60.0).stalled
    assert decided({0.5: 0.3, 8.0: 0.7}, held_h=41.0, attenuation=0.62, halted_h=60.0).stalled
    assert not decided({0.5: 0.5, 8.0: 0.5}, held_h=90.0, attenuation=0.62, halted_h=90.0).stalled
    assert not decided(HALTED, held_h=60.0, attenuation=0.62, halted_h=60.0, chilled=True).stalled


def test_where_the_levels_cannot_show_that_it_stands_the_course_does() -> None:
    """A float that scatters by points; but no fall may be seen beyond that scatter, as in a slow plateau."""
    noisy = decided(HALTED, held_h=0.0, attenuation=0.62, halted_h=45.0, scatter_sg=0.002)
    assert noisy.stalled
    assert noisy.stands_since_h == pytest.approx(255.0)
    assert not decided(HALTED, held_h=0.0, attenuation=0.62, halted_h=25.0, scatter_sg=0.002).stalled
    assert not decided(HALTED, held_h=0.0, attenuation=0.62, halted_h=45.0, falls_sg_day=0.001).stalled


def test_a_stall_is_taken_back_only_by_something() -> None:
    doubtful = {0.5: 0.3, 8.0: 0.7}
    assert decided(doubtful, held_h=20.0, attenuation=0.62, halted_h=60.0, was_stalled=True).stalled
    assert not decided({0.5: 0.5, 8.0: 0.5}, held_h=60.0, attenuation=0.62, halted_h=60.0, was_stalled=True).stalled
    fell = decided(HALTED, held_h=0.0, attenuation=0.62, halted_h=60.0, falls_sg_day=0.002, was_stalled=True)
    assert not fell.stalled
    assert fell.stands_since_h is None


def test_an_end_far_above_the_usual_is_believed_only_by_a_forced_test() -> None:
    prior = Priors().prior(BATCH)
    expected = float(prior.mean[-1])
    sd = float(np.hypot(prior.sd[-1], GAIN_SD * expected))
    sure = {0.3: 0.98, 1.4: 0.02}
    for above in (-1.0, -2.0, -3.0):
        assert not decided(sure, held_h=11.0, attenuation=expected + above * sd).finished
        assert decided(sure, held_h=12.0, attenuation=expected + above * sd).finished
    assert not decided(sure, held_h=400.0, attenuation=expected - 3.5 * sd).finished


def test_where_only_habits_are_known_a_high_end_must_hold_for_days_and_a_likely_halt_is_no_end() -> None:
    unknown = replace(BATCH, expected_attenuation=None)
    prior = Priors().prior(unknown)
    expected = float(prior.mean[-1])
    sd = float(np.hypot(prior.sd[-1], GAIN_SD * expected))
    sure = {0.3: 0.98, 1.4: 0.02}
    # That it only pauses stays possible, the more the higher it ends: far above, nobody may be so sure.
    for above, least_h in ((-0.2, 12.0), (-0.7, 48.0), (-1.2, 96.0), (-2.4, np.inf)):
        at = expected + above * sd
        for held_h in (11.0, 12.0, 47.0, 48.0, 95.0, 96.0, 500.0):
            finished = decided(sure, held_h=held_h, attenuation=at, batch=unknown).finished
            assert finished is (held_h >= least_h), (above, held_h)
    assert decided(sure, held_h=60.0, attenuation=expected - 0.7 * sd, lasting=0.08, batch=unknown).finished
    assert not decided(sure, held_h=600.0, attenuation=expected - 0.7 * sd, lasting=0.12, batch=unknown).finished
