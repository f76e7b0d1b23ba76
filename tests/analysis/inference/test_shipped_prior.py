from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from analysis import Batch, FinishedBatch, Priors, assess, learn
from analysis.inference.prior import FEATURES
from analysis.inference.shipped_prior import SHIPPED
from analysis.inference.tail_duration import CellarEndings, Kind
from tests.benchmarks import ship_prior

PITCHED = datetime(2026, 1, 1, tzinfo=UTC)
# Of a logistic that falls 40 points, the last stretch takes this share of the middle one, as a logarithm: by hand,
# (ln 39 - ln 9) / ln 9. The logistic described industrial lagers best (Speers and others, J. Inst. Brew. 109, 2003).
LOGISTIC_ENDING = float(np.log((np.log(39.0) - np.log(9.0)) / np.log(9.0)))


@pytest.mark.parametrize("drink", ["ale", "lager"])
def test_a_beer_without_history_is_expected_to_end_about_as_industrial_ones_do(drink: Any) -> None:
    batch = Batch(pitched_at=PITCHED, drink=drink, original_gravity_sg=1.052)
    before, after = (p.prior(batch).implied_ending(1.052) for p in (Priors(shipped={}), Priors()))
    assert abs(after.mean - LOGISTIC_ENDING) < min(after.sd, 0.3)
    assert before.mean > after.mean
    assert after.sd > 0.3, "cellars differ: it must stay wide"


@pytest.mark.parametrize("drink", ["ale", "lager"])
def test_a_beer_without_history_is_expected_to_fall_straight_until_near_its_end(drink: Any) -> None:
    """Drawn from the table, the stretches are what the sources behind it say on the mean, by hand.

    From half to three quarters a logistic takes as long as from a quarter to half, and from there to nine tenths again
    (ln 9 - ln 3 = ln 3): nought as logarithms.
    """
    its = SHIPPED[drink]
    lower = np.zeros((len(FEATURES), len(FEATURES)))
    lower[np.tril_indices(len(FEATURES))] = its.covariance
    root = np.linalg.cholesky(lower + np.tril(lower, -1).T)
    drawn = np.random.default_rng(3).standard_normal((4000, len(FEATURES)))
    middle, spread = ship_prior.usual_of(ship_prior.implied(drink, np.array(its.mean) + drawn @ root.T))
    # The other sources: 0.27 and 1.10 below nought before, 0.31 above to 0.02 below, 0.37 below to 0.13 above.
    assert middle[0] == pytest.approx(-0.31, abs=0.06)
    assert middle[1] == pytest.approx(0.06, abs=0.06)
    assert middle[2] == pytest.approx(-0.10, abs=0.10)
    assert middle[3] == pytest.approx(its.ending[0], abs=0.08)
    assert (spread > 0.15).all(), "cellars differ: it must stay wide"


@pytest.mark.parametrize("drink", ["mead", "cider", "wine", "other"])
def test_a_drink_without_evidence_keeps_the_wide_general_prior(drink: Any) -> None:
    batch = Batch(pitched_at=PITCHED, drink=drink)
    with_it, without = Priors().prior(batch), Priors(shipped={}).prior(batch)
    assert drink not in SHIPPED
    np.testing.assert_array_equal(with_it.root, without.root)
    np.testing.assert_array_equal(with_it.mean, without.mean)
    assert with_it.ending is None


@pytest.mark.parametrize("what", ["diastatic", "mixed_culture"])
def test_what_lingers_is_not_expected_to_end_as_ordinary_beers_do(what: str) -> None:
    batch = replace(Batch(pitched_at=PITCHED, drink="ale"), **{what: True})  # type: ignore[arg-type]
    np.testing.assert_array_equal(Priors().prior(batch).mean, Priors(shipped={}).prior(batch).mean)
    assert Priors().prior(batch).ending is None


def test_the_table_holds_a_covariance_no_surer_than_any_one_feature_is_known() -> None:
    size = len(FEATURES)
    for drink, one in SHIPPED.items():
        assert len(one.mean) == size
        lower = np.zeros((size, size))
        lower[np.tril_indices(size)] = one.covariance
        full = lower + np.tril(lower, -1).T
        assert np.linalg.eigvalsh(full).min() > 0.05, drink
        assert one.ending[1] > 0.3, drink


def test_the_cellars_own_endings_outweigh_what_shipped() -> None:
    own = [(Kind("ale"), 0.7, 0.03)]
    shipped = SHIPPED["ale"].ending
    usual = [CellarEndings.of(own * count, {"ale": shipped}).of_next(Kind("ale"))[0] for count in (2, 5, 40)]
    assert usual == sorted(usual)
    # Conjugate normal, by hand: the cellar's mean of n batches, each 0.3² + 0.03, against the shipped one.
    own_precision = 2 / (0.3**2 + 0.03)
    by_hand = (0.7 * own_precision + shipped[0] / shipped[1] ** 2) / (own_precision + shipped[1] ** -2)
    assert usual[0] == pytest.approx(by_hand, abs=0.12)
    assert usual[-1] == pytest.approx(0.7, abs=0.1)


def test_what_shipped_does_not_come_back_as_a_lesson(fermentation: Callable[..., Any]) -> None:
    made = fermentation(seed=3, days=12)
    one = FinishedBatch(Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale"), made.readings)
    with_it, without = learn([one]), learn([one], start=Priors(shipped={}))
    assert with_it.likelihoods["ale"][0].ending == without.likelihoods["ale"][0].ending
    assert without.shipped == {}


def test_nobody_is_told_of_tails_of_earlier_batches_where_there_were_none(fermentation: Callable[..., Any]) -> None:
    from analysis.evidence import TailTakes

    made = fermentation(seed=4, days=4)
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    said = assess(made.readings, batch, now=made.at(72))
    assert not any(isinstance(line, TailTakes) for line in said.evidence)
