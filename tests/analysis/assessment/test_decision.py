"""The decision, from courses that are given: what it takes to call a batch finished."""

from __future__ import annotations

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
        Priors().prior(BATCH),
        BATCH,
        NOW,
        Hysteresis(was_finished, was_stalled),
    )


UNSURE = {0.3: 0.5, 1.4: 0.43, 2.6: 0.07}
"""Half of it done, and seven in a hundred for two points or more."""


def test_two_points_left_must_be_as_good_as_excluded() -> None:
    assert decided({0.3: 0.72, 1.4: 0.25, 2.6: 0.03}, held_h=30.0).finished
    assert not decided({0.3: 0.88, 1.4: 0.02, 2.6: 0.10}, held_h=30.0).finished
    assert not decided({0.3: 0.6, 1.4: 0.39, 2.6: 0.01}, held_h=30.0).finished


@pytest.mark.parametrize(("held_h", "finished"), [(30.0, False), (47.0, False), (48.0, True), (200.0, True)])
def test_what_has_held_as_long_as_the_trade_asks_needs_less_certainty(held_h: float, finished: bool) -> None:
    verdict = decided(UNSURE, held_h=held_h)
    assert verdict.finished is finished
    assert verdict.by_hold is finished


def test_only_a_call_that_rests_on_its_hold_says_so() -> None:
    assert not decided({0.3: 0.9, 1.4: 0.1}, held_h=200.0).by_hold
    carried = decided(UNSURE, held_h=20.0, was_finished=True)
    assert carried.finished
    assert not carried.by_hold


def test_a_long_hold_is_not_enough() -> None:
    """In the cold, far above where it should end, somewhat above it with a halt likely, or with two points left."""
    assert not decided(UNSURE, held_h=200.0, chilled=True).finished
    assert not decided(UNSURE, held_h=200.0, attenuation=0.60).finished
    assert not decided(UNSURE, held_h=200.0, attenuation=0.735, lasting=0.2).finished
    assert decided(UNSURE, held_h=200.0, attenuation=0.735, lasting=0.05).finished
    assert not decided({0.3: 0.6, 1.4: 0.2, 2.6: 0.2}, held_h=200.0).finished
    assert not decided({0.3: 0.3, 1.4: 0.7}, held_h=200.0).finished


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


def test_the_further_above_the_usual_the_end_lies_the_longer_it_must_hold() -> None:
    """In steps; further still, only a forced test is believed."""
    prior = Priors().prior(BATCH)
    expected = float(prior.mean[-1])
    sd = float(np.hypot(prior.sd[-1], GAIN_SD * expected))
    sure = {0.3: 0.98, 1.4: 0.02}
    for above, least_h in ((-1.0, 12.0), (-2.0, 72.0), (-2.9, 120.0)):
        at = expected + above * sd
        assert not decided(sure, held_h=least_h - 1, attenuation=at).finished
        assert decided(sure, held_h=least_h, attenuation=at).finished
    assert not decided(sure, held_h=400.0, attenuation=expected - 3.5 * sd).finished
