"""Which stories are told of a record, and what they weigh against one another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, assess
from analysis.inference.hypotheses import HypothesisMixture, weigh_hypotheses
from analysis.inference.prior import Priors
from analysis.readings.binning import summarise
from analysis.readings.cleaning import mark
from analysis.thresholds import FAR, FAR_SG

Ferment = Callable[..., Any]


def told(made: Any, hour: float) -> HypothesisMixture:
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    series = summarise(mark(made.readings, batch, now=made.at(hour)), batch, now=made.at(hour))
    mixture = weigh_hypotheses(series, batch, Priors().prior(batch), series.now_h)
    assert mixture is not None
    return mixture


def test_a_plain_fermentation_is_told_of_no_halt(fermentation: Ferment) -> None:
    assert told(fermentation(), 60.0).share == {"none": 1.0}


@pytest.mark.parametrize("stops_at", [0.75, 0.85, 0.9])
def test_a_stand_is_no_more_an_end_the_longer_it_lasts(fermentation: Ferment, stops_at: float) -> None:
    """It stops for good, four to ten points short of the usual; whether that is its end, standing on cannot tell."""
    early, late, far = [], [], []
    for seed in range(4):
        made = fermentation(stops_at=stops_at, days=20, seed=seed)
        early.append(told(made, 150.0).share["lasting"])
        mixture = told(made, 420.0)
        late.append(mixture.share["lasting"])
        weight = mixture.posterior.weight
        far.append(float(weight[mixture.posterior.left_now_sg >= FAR_SG].sum() / weight.sum()))
    assert np.mean(late) > 0.8 * np.mean(early)
    # What keeps it from being called finished, each of them.
    assert min(far) > FAR[0][0]


@pytest.mark.parametrize("seed", [1])
def test_a_halt_after_a_pause_is_not_explained_away_by_the_pause(fermentation: Ferment, seed: int) -> None:
    made = fermentation(stops_at=0.75, days=14, seed=seed).paused(50.0, 90.0)
    share = told(made, 160.0).share
    assert share["again"] > 0.5, share
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
    kept = None
    called = False
    for hour in np.arange(100.0, 330.0, 30.0):
        kept = assess(made.readings, batch, now=made.at(hour), previous=kept)
        assert not kept.finished, hour
        called = called or kept.stalled
    assert called


@pytest.mark.parametrize("seed", [2])
def test_a_halt_is_told_of_also_right_after_a_gap(fermentation: Ferment, seed: int) -> None:
    """The float was silent for two days and is heard again for an hour: the stand is no shorter for that."""
    made = fermentation(stops_at=0.75, days=14, seed=seed)
    silent = pl.Series((made.hours > 110.0) & (made.hours < 158.0))
    made = replace(made, readings=made.readings.filter(~silent))
    assert told(made, 159.0).share["lasting"] > 0.3


@pytest.mark.parametrize("stops_at", [0.95, 1.0])
def test_an_end_where_one_is_usual_is_asked_whether_it_is_a_halt(fermentation: Ferment, stops_at: float) -> None:
    """It stands where many ales end; others would have gone two points further, so the question stays open."""
    share = told(fermentation(stops_at=stops_at, days=14), 300.0).share
    assert 0.02 < share["lasting"] < 0.3


def test_an_end_beyond_which_hardly_any_goes_is_not_asked(fermentation: Ferment) -> None:
    assert told(fermentation(attenuation=0.90, days=14), 300.0).share == {"none": 1.0}


def test_odd_hours_at_the_end_do_not_silence_the_story_of_a_halt(fermentation: Ferment) -> None:
    """Three hours of readings two points low, after four days of standing."""
    made = fermentation(stops_at=0.75, half_h=75.0, days=14)
    low = pl.Series(np.where(made.hours > 217.0, 0.002, 0.0))
    odd = made.readings.with_columns(pl.col("gravity_sg") - low)
    assert told(replace(made, readings=odd), 220.0).share.get("lasting", 0.0) > 0.5
