from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, FinishedBatch, Priors, learn
from analysis.inference.population import BatchLikelihood, Expected, pooled
from analysis.inference.prior import FEATURES, general
from analysis.inference.training import without_prior


@pytest.fixture(scope="module")
def cellar(fermentation: Callable[..., Any]) -> list[FinishedBatch]:
    made = [
        fermentation(seed=k, attenuation=att, half_h=half, days=12)
        for k, (att, half) in enumerate([(0.80, 44), (0.81, 47), (0.82, 45), (0.80, 49), (0.81, 46), (0.82, 48)])
    ]
    return [
        FinishedBatch(Batch(pitched_at=m.at(0), original_gravity_sg=1.052, drink="ale", yeast="Marrow"), m.readings)
        for m in made
    ]


@pytest.fixture(scope="module")
def learnt(cellar: list[FinishedBatch]) -> Priors:
    return learn(cellar)


def test_earlier_batches_move_the_expected_attenuation_and_narrow_it(
    cellar: list[FinishedBatch], learnt: Priors
) -> None:
    batch = cellar[0].batch
    before, after = Priors().prior(batch), learnt.prior(batch)
    assert after.mean[-1] == pytest.approx(0.81, abs=0.03)
    assert after.sd[-1] < 0.6 * before.sd[-1]
    assert after.same_yeast == len(cellar)


def test_another_yeast_leans_on_the_drink_and_stays_wider(cellar: list[FinishedBatch], learnt: Priors) -> None:
    own = learnt.prior(cellar[0].batch)
    other = learnt.prior(Batch(pitched_at=cellar[0].batch.pitched_at, drink="ale", yeast="Dune"))
    general_sd = Priors().prior(cellar[0].batch).sd
    assert other.same_yeast == 0
    assert other.same_drink == len(cellar)
    assert own.sd[-1] < other.sd[-1] < general_sd[-1]


def test_another_drink_learns_from_ales_how_the_cellar_ferments_but_not_where_it_ends(
    cellar: list[FinishedBatch], learnt: Priors
) -> None:
    mead, ale = (Batch(pitched_at=cellar[0].batch.pitched_at, drink=drink) for drink in ("mead", "ale"))
    before, after, taught = Priors().prior(mead), learnt.prior(mead), learnt.prior(ale)
    assert after.mean[-1] == before.mean[-1]
    assert after.attenuation == before.attenuation
    assert after.same_drink == 0
    wander = FEATURES.index("log_wander")
    moved = taught.mean[wander] - Priors().prior(ale).mean[wander]
    assert 0.3 < (after.mean[wander] - before.mean[wander]) / moved < 1.0


def test_learning_in_two_steps_lands_where_one_step_does(cellar: list[FinishedBatch], learnt: Priors) -> None:
    steps = learn(cellar[3:], start=learn(cellar[:3]))
    once, twice = learnt.prior(cellar[0].batch), steps.prior(cellar[0].batch)
    assert len(steps.likelihoods["ale"]) == len(cellar)
    assert abs(once.mean[-1] - twice.mean[-1]) < once.sd[-1]
    assert np.all(np.abs(once.mean - twice.mean) < 1.5 * general(cellar[0].batch)[1])


def test_priors_survive_the_trip_through_text(cellar: list[FinishedBatch], learnt: Priors) -> None:
    back = Priors.from_json(learnt.to_json())
    assert back == learnt
    np.testing.assert_array_equal(back.prior(cellar[0].batch).mean, learnt.prior(cellar[0].batch).mean)


def test_priors_of_another_version_are_refused_with_the_way_out(learnt: Priors) -> None:
    data = json.loads(learnt.to_json())
    data["version"] = 0
    with pytest.raises(ValueError, match="learn them again"):
        Priors.from_json(json.dumps(data))


def test_batches_that_cannot_teach_are_passed_over(fermentation: Callable[..., Any]) -> None:
    made = fermentation(days=2)
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    empty = made.readings.clear()
    few = made.readings.head(3)
    unended = made.readings
    assert learn([FinishedBatch(batch, f) for f in (empty, few, unended)]) == Priors()


def test_an_expected_range_pulls_the_attenuation_towards_it() -> None:
    facts: dict[str, Any] = {"pitched_at": "2026-01-01T00:00:00+00:00"}
    from datetime import datetime

    facts["pitched_at"] = datetime.fromisoformat(facts["pitched_at"])
    open_ = Priors().prior(Batch(**facts, drink="ale"))
    told = Priors().prior(Batch(**facts, drink="ale", expected_attenuation=(0.66, 0.70)))
    assert told.mean[-1] < open_.mean[-1] - 0.04
    assert told.sd[-1] < open_.sd[-1]


def test_taking_the_prior_out_of_a_normal_posterior_gives_the_likelihood_back() -> None:
    random = np.random.default_rng(5)
    root = random.normal(size=(4, 4))
    likelihood = root @ root.T + 2.0 * np.eye(4)
    pull = random.normal(size=4)
    prior_cov = np.diag([1.0, 0.5, 2.0, 1.5])
    prior_mean = np.array([0.3, -0.2, 0.0, 1.0])
    cov = np.linalg.inv(np.linalg.inv(prior_cov) + likelihood)
    mean = cov @ (np.linalg.inv(prior_cov) @ prior_mean + pull)
    precision, towards = without_prior(mean, cov, prior_mean, prior_cov)
    np.testing.assert_allclose(precision, likelihood, rtol=1e-6)
    np.testing.assert_allclose(towards, pull, rtol=1e-6, atol=1e-8)


def test_pooling_recovers_the_mean_and_spread_of_a_group() -> None:
    random = np.random.default_rng(8)
    size = len(FEATURES)
    truth = random.normal(size=size)
    members = truth + 0.3 * random.standard_normal((200, size))
    precision = 25.0 * np.eye(size)
    likelihoods = [
        BatchLikelihood.of(
            precision,
            precision @ (m + 0.2 * random.standard_normal(size)),
            yeast=None,
            lingers=False,
            strength=0.0,
            ending=(0.0, 0.1),
        )
        for m in members
    ]
    group = pooled(
        likelihoods, Expected(np.zeros(size), np.zeros(size), np.eye(size), pull=0.5, slope_pull=2.0, shape=6.0)
    )
    np.testing.assert_allclose(group.mean, truth, atol=0.1)
    np.testing.assert_allclose(np.sqrt(np.diag(group.within)), 0.35, atol=0.08)


def test_a_strong_batch_is_expected_where_strong_ones_went() -> None:
    size = len(FEATURES)
    precision = 100.0 * np.eye(size)
    slope = np.linspace(-0.4, 0.4, size)
    likelihoods = [
        BatchLikelihood.of(precision, precision @ (slope * s), yeast=None, lingers=False, strength=s, ending=(0.0, 0.1))
        for s in np.linspace(-2, 2, 40)
    ]
    group = pooled(
        likelihoods, Expected(np.zeros(size), np.zeros(size), 0.2 * np.eye(size), pull=0.5, slope_pull=2.0, shape=6.0)
    )
    np.testing.assert_allclose(group.slope, slope, atol=0.04)


def test_lessons_do_not_grow_with_the_age_of_the_cellar(cellar: list[FinishedBatch], learnt: Priors) -> None:
    from analysis.inference import prior

    many = Priors({"ale": learnt.likelihoods["ale"] * 40})
    more = learn(cellar[:1], start=many)
    assert len(more.likelihoods["ale"]) == prior.KEPT_PER_DRINK
    assert isinstance(cellar[0].readings, pl.DataFrame)
