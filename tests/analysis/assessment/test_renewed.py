from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from analysis.assessment.renewed import NOT_RENEWED, Renewed
from analysis.model import Trend
from analysis.thresholds import (
    FAR_SG,
    RENEWED_CULTURE_ODDS,
    RENEWED_ODDS,
    RENEWED_SG_DAY,
    STILL_FALLING,
    STORED_DAYS,
    TREND_SG_DAY,
)


def of(fall_sg_day: float, error_sg_day: float, *, lingers: bool = False, falls_again: bool = False) -> Renewed:
    return Renewed.of(Trend(100.0, 10.0, fall_sg_day, error_sg_day), lingers=lingers, falls_again=falls_again)


@pytest.mark.parametrize(("fall", "error"), [(0.0, 0.0001), (0.0002, 0.0001), (-0.0003, 0.0002), (0.0006, 0.00015)])
def test_the_chance_is_bayes_rule_done_by_numbers(fall: float, error: float) -> None:
    by_slope, _ = quad(
        lambda slope: 2 * norm.pdf(slope, 0, RENEWED_SG_DAY) * norm.pdf(fall, slope, error), 0, 0.005, limit=200
    )
    ended = norm.pdf(fall, 0, np.hypot(error, TREND_SG_DAY))
    expected = RENEWED_ODDS * by_slope / (RENEWED_ODDS * by_slope + (1 - RENEWED_ODDS) * ended)
    assert of(fall, error).chance == pytest.approx(expected, rel=1e-3)


def test_the_slopes_are_those_of_the_cut_normal() -> None:
    seen, error = 0.0002, 0.0001
    sample = np.random.default_rng(1).normal(0, RENEWED_SG_DAY, 2_000_000)
    sample = sample[sample > 0]
    weight = norm.pdf(seen, sample, error)
    expected = np.quantile(sample, [0.1, 0.5, 0.9], weights=weight, method="inverted_cdf")
    assert np.quantile(of(seen, error).fall_sg_day, [0.1, 0.5, 0.9]) == pytest.approx(expected, abs=1e-5)


def test_what_falls_more_surely_or_is_known_to_creep_is_more_likely_anew() -> None:
    chances = [of(fall, 0.0001).chance for fall in (0.0, 0.0001, 0.0002, 0.0003, 0.0004)]
    assert chances == sorted(chances)
    assert chances[0] < RENEWED_ODDS < chances[-1]
    assert of(0.0001, 0.0001, lingers=True).chance > of(0.0001, 0.0001).chance


def test_less_known_is_never_surer_of_the_end() -> None:
    # A line that lies flat speaks for the end the more, the smaller its error.
    chances = [of(0.0, error).chance for error in (0.00002, 0.0001, 0.0003, 0.01)]
    assert chances == sorted(chances)
    assert Renewed.of(None, lingers=False, falls_again=False).chance == RENEWED_ODDS > chances[0]
    assert Renewed.of(None, lingers=True, falls_again=False).chance == RENEWED_CULTURE_ODDS


def test_an_end_that_is_taken_back_is_as_good_as_surely_anew() -> None:
    assert of(0.0004, 0.0001, falls_again=True).chance >= 1 - STILL_FALLING


def test_it_goes_on_for_as_long_as_bottles_stand_and_no_further_than_it_can() -> None:
    left = of(0.0002, 0.00001).left_sg(1.0)
    assert np.median(left) == pytest.approx(STORED_DAYS * 0.0002, rel=0.02)
    assert of(0.0002, 0.00001).left_sg(0.004).max() == 0.004
    assert of(0.0002, 0.00001).left_sg(-1.0).max() == FAR_SG
    assert NOT_RENEWED.chance == 0
