"""Scores of many tastings drawn together: how far their ranges can be trusted, and what they may not claim."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.trials import Measured, ScoreComparison, compare_scores

HOPS = 5


def tasted(rng: np.random.Generator, *, between: float, tastings: int = 4) -> tuple[np.ndarray, list[Measured]]:
    """What hops are worth, and the points of two to four of them in each tasting, as high as that panel scores."""
    worth = rng.normal(0.0, between, HOPS)
    found = []
    for tasting in range(tastings):
        level = rng.normal(0.0, 12.0)
        for hop in rng.choice(HOPS, int(rng.integers(2, 5)), replace=False):
            error = float(rng.uniform(3.0, 6.0))
            points = level + worth[hop] + rng.normal(0.0, 6.0) + rng.normal(0.0, error)
            found.append(Measured(group=str(hop), value=float(points), standard_error=error, lot=str(tasting)))
    return worth, found


def simulated(between: float, count: int) -> list[tuple[np.ndarray, ScoreComparison]]:
    rng = np.random.default_rng(11)
    drawn = [tasted(rng, between=between) for _ in range(count)]
    return [(worth, compare_scores(measured)) for worth, measured in drawn]


def test_ranges_of_scores_hold_the_truth_as_often_as_they_say():
    # Eight in ten; of 80 comparisons with some nine correlated differences each the share scatters by about 0.03.
    held = [
        d.amount.p10 <= worth[int(d.first)] - worth[int(d.second)] <= d.amount.p90
        for worth, found in simulated(8.0, 80)
        for d in found.differences
    ]
    assert np.mean(held) == pytest.approx(0.8, abs=0.08)


def test_hops_that_do_not_differ_are_hardly_ever_told_apart():
    claiming = [any(d.verdict == "differ" for d in found.differences) for _, found in simulated(0.0, 60)]
    assert np.mean(claiming) <= 0.05


def test_how_high_a_panel_scores_says_nothing_of_what_it_tasted():
    def two(level: float) -> list[Measured]:
        points = {("Moss", "a"): 0.0, ("Fern", "a"): 4.0, ("Reed", "b"): level, ("Sedge", "b"): level + 3.0}
        return [Measured(group=g, value=v, standard_error=3.0, lot=lot) for (g, lot), v in points.items()]

    for level in (0.0, 30.0):
        across = next(d for d in compare_scores(two(level)).differences if (d.first, d.second) == ("Moss", "Reed"))
        assert across.verdict == "open"
        assert abs(across.amount.p50) < 5.0


def test_groups_are_told_beside_their_mean_and_one_drink_each_is_too_few():
    found = compare_scores([
        Measured(group=hop, value=value, standard_error=4.0, lot="one")
        for hop, value in (("Fern", -9.0), ("Moss", 12.0), ("Reed", -3.0))
    ])  # fmt: skip
    assert sum(mean.value.p50 for mean in found.means) == pytest.approx(0.0, abs=1.5)
    assert all(d.verdict == "open" for d in found.differences)
    assert {name: greatest for name, _, greatest in found.best}["Moss"] > 0.6
    assert compare_scores([]).means == ()
