"""Scores: who tasted and where a glass stood are taken out; few tasters give wide answers."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.trials import Judged, as_scores, points_of, scores, serving_orders
from analysis.trials.scoring import believed


def panel(worth: list[float], tasters: int, rng: np.random.Generator, *, rest: float, place: float = 0.0):
    """Tasters with levels of their own score every drink; the first glass gets `place` more."""
    found = []
    for taster, order in enumerate(serving_orders(len(worth), tasters, int(rng.integers(1 << 30)))):
        level = rng.normal(55, 12)
        for at, arm in enumerate(order):
            score = level + worth[arm] + (place if at == 0 else 0.0) + rng.normal(0, rest)
            found.append(Judged(taster, arm, at, float(np.clip(score, 0, 100))))
    return found


def test_a_hard_taster_takes_nothing_from_the_drinks_they_got():
    # Two of three drinks each; the third taster gives 40 less to everything.
    judged = [Judged(0, 0, 0, 70), Judged(0, 1, 1, 60), Judged(1, 1, 0, 61), Judged(1, 2, 1, 51)]
    judged += [Judged(2, 2, 0, 11), Judged(2, 0, 1, 31)]
    found = scores(judged, 3)
    assert found is not None
    assert found.arms[0].score.p50 > found.arms[1].score.p50 > found.arms[2].score.p50


def test_what_the_first_place_does_is_taken_out():
    rng = np.random.default_rng(3)
    judged = panel([0.0, 0.0, 0.0, 0.0], 4, rng, rest=2.0, place=15.0)
    found = scores(judged, 4)
    assert found is not None
    assert max(arm.p_best for arm in found.arms) < 0.9


def test_fewer_tasters_give_a_wider_answer():
    def width(tasters: int) -> float:
        found = scores(panel([12.0, 4.0, 0.0, -6.0], tasters, np.random.default_rng(5), rest=10.0), 4)
        assert found is not None
        return float(np.mean([arm.score.p90 - arm.score.p10 for arm in found.arms]))

    assert width(4) > 1.2 * width(12)


def test_a_drink_that_nobody_scored_is_as_any_other_only_surer_of_nothing():
    judged = panel([5.0, 0.0], 4, np.random.default_rng(2), rest=5.0)
    found = scores(judged, 3)
    assert found is not None
    unknown = found.arms[2].score
    assert unknown.p90 - unknown.p10 > max(a.score.p90 - a.score.p10 for a in found.arms[:2])
    assert found.arms[2].judged == 0


def test_one_glass_each_tells_nothing():
    assert scores([Judged(0, 0, 0, 50), Judged(1, 1, 0, 70)], 2) is None
    assert scores([], 2) is None


def test_two_scores_of_one_drink_by_one_taster_count_as_one():
    once = panel([8.0, 0.0, -8.0], 5, np.random.default_rng(9), rest=8.0)
    twice = once + once
    first, second = scores(once, 3), scores(twice, 3)
    assert first is not None
    assert second is not None
    assert second.arms[0].score.p10 == pytest.approx(first.arms[0].score.p10)


def test_intervals_hold_what_they_say_and_no_difference_is_seldom_claimed():
    # 30 panels of six tasters and five drinks: 150 intervals of 80 %.
    rng = np.random.default_rng(20)
    inside = claimed = 0
    for _ in range(30):
        worth = rng.normal(0, 8, size=5)
        found = scores(panel(list(worth), 6, rng, rest=11.0), 5, seed=int(rng.integers(1 << 30)))
        assert found is not None
        low, high = np.quantile(found.draws, (0.1, 0.9), axis=0)
        inside += int(((low <= worth - worth.mean()) & (worth - worth.mean() <= high)).sum())
        alike = scores(panel([0.0] * 5, 6, rng, rest=11.0), 5, seed=int(rng.integers(1 << 30)))
        assert alike is not None
        claimed += max(arm.p_best for arm in alike.arms) >= 0.9
    assert 0.70 <= inside / 150 <= 0.90  # three standard errors of 80 %
    assert claimed <= 3


def test_ranks_become_evenly_spaced_points():
    assert as_scores(np.array([2.0, 1.0, 3.0])) == pytest.approx([50, 100, 0])
    assert as_scores(np.array([1.0, np.nan, 3.0])) == pytest.approx([100, np.nan, 0], nan_ok=True)
    assert as_scores(np.array([2.0, np.nan, 1.0])) == pytest.approx([0, np.nan, 100], nan_ok=True)


def test_points_that_are_drawn_towards_nothing_are_the_means_of_complete_blocks():
    # By hand: where everybody scored every drink, drinks differ by their means, each with the error rest / √tasters.
    rng = np.random.default_rng(8)
    judged = panel([10.0, 0.0, -10.0], 6, rng, rest=8.0)
    found = points_of(judged)
    means = np.array([np.mean([each.score for each in judged if each.arm == arm]) for arm in range(3)])
    assert [found[arm][0] for arm in range(3)] == pytest.approx(list(means - means.mean()), abs=1.0)
    rest = scores(judged, 3).rest_sd.p50
    assert [found[arm][1] for arm in range(3)] == pytest.approx([rest / np.sqrt(6)] * 3, rel=0.1)


def test_with_three_tasters_an_error_holds_how_little_is_known_of_the_variance():
    # Of a mixture of normals about one mean the variance is the mean of theirs, which lies above their middle.
    judged = panel([10.0, 0.0, -10.0], 3, np.random.default_rng(8), rest=8.0)
    variance = np.square(believed(judged, np.random.default_rng(0)).rest)
    for _, error in points_of(judged).values():
        assert error >= 0.98 * np.sqrt(variance.mean() / 3)
        assert error > 1.02 * np.sqrt(np.median(variance) / 3)


def test_who_scored_one_drink_alone_tells_nothing_of_it():
    assert points_of([Judged(0, 0, 0, 70), Judged(1, 1, 0, 50)]) == {}
    found = points_of([Judged(0, 0, 0, 70), Judged(0, 1, 1, 50), Judged(1, 2, 0, 90)])
    assert set(found) == {0, 1}
