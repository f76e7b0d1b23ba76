"""A triangle of few tasters shows little, and says so."""

from __future__ import annotations

import pytest

from analysis.trials import agreement, power, tasters_needed, triangle


def test_three_tasters_could_hardly_have_shown_anything():
    found = triangle(3, 3)
    assert found.needed == 3
    assert found.power == pytest.approx((2 / 3) ** 3)  # all three must be right, each with 1/3 + 2/3 * 1/2
    assert triangle(1, 2).needed is None
    assert not triangle(2, 2).shown


def test_more_tasters_give_more_power_and_a_number_that_is_enough():
    assert power(24) > power(12) > power(6)
    enough = tasters_needed()
    assert power(enough) >= 0.8 > power(enough - 1)


def test_who_is_right_as_often_as_by_guessing_may_tell_nothing():
    found = triangle(4, 12)
    assert found.telling.p50 == 0.0
    assert found.telling.p90 > 0.0
    assert not found.shown


@pytest.mark.parametrize(("right", "tasters"), [(-1, 3), (4, 3), (0, 0)])
def test_impossible_counts_are_refused(right, tasters):
    with pytest.raises(ValueError, match="tasters who answered"):
        triangle(right, tasters)


def test_agreement_needs_two_tasters_with_two_glasses():
    nan = float("nan")
    assert agreement([[1.0, 2.0, 3.0]]) is None
    assert agreement([[1.0, nan, nan], [2.0, 1.0, 3.0]]) is None
    assert agreement([[1.0, 1.0], [2.0, 2.0]]) is None
