"""Blends: the published mixture model, an honest optimum, and scaling by the balance of masses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.trials import Dose, Judged, blend, next_batch, serving_orders
from analysis.trials.blending import mixture_terms, simplex

# Cornell, Experiments with Mixtures, 3rd edition, 2002, thread elongation of three fibres, as printed with the R
# package mixexp: the quadratic mixture model gives 11.7, 9.4, 16.4, 19.0, 11.4, -9.6 (in x1x2, x1x3, x2x3).
HALF = 0.5
LATTICE = (
    [(1, 0, 0)] * 2 + [(HALF, HALF, 0)] * 3 + [(0, 1, 0)] * 2 + [(0, HALF, HALF)] * 3 + [(0, 0, 1)] * 2
    + [(HALF, 0, HALF)] * 3
)  # fmt: skip
ELONGATION = [11, 12.4, 15, 14.8, 16.1, 8.8, 10, 10, 9.7, 11.8, 16.8, 16, 17.7, 16.4, 16.6]


def test_the_terms_are_those_of_the_published_mixture_model():
    found, *_ = np.linalg.lstsq(mixture_terms(np.array(LATTICE, dtype=float)), np.array(ELONGATION), rcond=None)
    # Our pairs are four times the product, so that halves give 1.
    assert found * [1, 1, 1, 4, 4, 4] == pytest.approx([11.7, 9.4, 16.4, 19.0, 11.4, -9.6], abs=0.05)


def test_all_shares_in_steps_of_a_tenth():
    for drinks in (2, 3, 4):
        grid = simplex(drinks)
        assert len(grid) == math.comb(10 + drinks - 1, drinks - 1)
        assert all(sum(shares) == pytest.approx(1.0) for shares in grid)
        assert len(set(grid)) == len(grid)


def session(tasted, worth, tasters: int, rng: np.random.Generator, rest: float):
    found = []
    for taster, order in enumerate(serving_orders(len(tasted), tasters, int(rng.integers(1 << 30)))):
        level = rng.normal(50, 8)
        for place, arm in enumerate(order):
            score = level + worth(tasted[arm]) + rng.normal(0, rest)
            found.append(Judged(taster, arm, place, float(np.clip(score, 0, 100))))
    return found


def gain_of_halves(shares):
    return 20 * shares[0] + 16 * shares[1] + 4 * 12 * shares[0] * shares[1]


TASTED = ((1.0, 0.0), (0.0, 1.0), (0.5, 0.5), (0.8, 0.2), (0.2, 0.8))


def test_the_shares_liked_best_are_found_with_their_uncertainty():
    rng = np.random.default_rng(4)
    found = blend(session(TASTED, gain_of_halves, 20, rng, rest=6.0), TASTED)
    assert found is not None
    # By hand: 20 x + 16 (1-x) + 48 x (1-x) is greatest at x = 52/96 = 0.54.
    assert found.shares[0].p10 <= 0.54 <= found.shares[0].p90
    assert abs(found.liked[0] - 0.54) <= 0.15
    assert found.gain.p10 > 0
    assert found.p_better > 0.9
    assert found.tried == 3


def test_few_tasters_leave_the_shares_open():
    rng = np.random.default_rng(6)
    few = blend(session(TASTED, gain_of_halves, 3, rng, rest=14.0), TASTED)
    many = blend(session(TASTED, gain_of_halves, 24, rng, rest=6.0), TASTED)
    assert few is not None
    assert many is not None
    assert few.shares[0].p90 - few.shares[0].p10 > many.shares[0].p90 - many.shares[0].p10


def test_drinks_that_were_only_tasted_alone_leave_it_open_whether_a_blend_is_better():
    alone = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    rng = np.random.default_rng(8)
    found = blend(session(alone, lambda s: 10 * s[0] + 8 * s[1], 8, rng, rest=8.0), alone)
    assert found is not None
    assert found.tried == 0
    assert found.p_better < 0.95
    assert 1 <= len(found.proposals) <= 4
    for shares in found.proposals:
        assert sum(shares) == pytest.approx(1.0)
        assert max(shares) < 1.0
        assert all(sum(abs(a - b) for a, b in zip(shares, other, strict=True)) >= 0.199 for other in alone)


def test_proposals_are_none_that_was_tried():
    rng = np.random.default_rng(9)
    found = blend(session(TASTED, gain_of_halves, 6, rng, rest=10.0), TASTED)
    assert found is not None
    assert not set(found.proposals) & set(TASTED)


def test_one_glass_each_tells_nothing_and_wrong_shares_are_refused():
    assert blend([Judged(0, 0, 0, 50), Judged(1, 1, 0, 60)], TASTED) is None
    with pytest.raises(ValueError, match="add up to 1"):
        blend([], ((0.5, 0.4), (1.0, 0.0)))
    with pytest.raises(ValueError, match="2 to 5 drinks"):
        blend([], ((1.0,),))


def test_a_blend_is_scaled_to_grams_of_each_hop_and_litres():
    # By hand: 60 % of 5 g/L and 40 % of 8 g/L in 20 L are 60 g and 64 g; a shared variety adds up.
    doses = [[Dose("Moss", 5.0), Dose("Reed", 1.0)], [Dose("Fern", 8.0), Dose("Reed", 2.0)]]
    found = next_batch((0.6, 0.4), doses, 20.0)
    assert found.litres == pytest.approx((12.0, 8.0))
    assert found.hops_g == pytest.approx({"Moss": 60.0, "Fern": 64.0, "Reed": 12.0 + 16.0})
    unknown = next_batch((0.6, 0.4), [[Dose("Moss", None)], doses[1]], 20.0)
    assert unknown.hops_g["Moss"] is None
    assert next_batch((1.0, 0.0), doses, 10.0).hops_g == pytest.approx({"Moss": 50.0, "Reed": 10.0})
    with pytest.raises(ValueError, match="litres"):
        next_batch((0.6, 0.4), doses, 0.0)
