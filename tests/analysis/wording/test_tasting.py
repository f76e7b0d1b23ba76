"""A tasting in sentences: never surer than its tasters."""

from __future__ import annotations

import numpy as np

from analysis.trials import Judged, agreement, scores, triangle
from analysis.wording import tasting


def told(points: list[list[float]]):
    judged = [Judged(t, a, a, p) for t, row in enumerate(points) for a, p in enumerate(row)]
    found = scores(judged, len(points[0]))
    assert found is not None
    return found


def test_a_clear_best_is_named_and_an_open_one_is_called_open():
    clear = told([[80, 40, 35], [85, 42, 44], [78, 39, 40], [88, 50, 41], [82, 45, 40]])
    assert tasting.best(clear, ["amber", "birch", "cedar"]).startswith("Amber is liked best")
    open_ = told([[60, 58, 61], [50, 55, 52]])
    assert "is open" in tasting.best(open_, ["amber", "birch", "cedar"])


def test_few_tasters_are_said_to_say_little():
    assert "say little" in tasting.few(3)
    assert tasting.few(20) == ""


def test_agreement_names_its_statistic_by_the_design():
    points = np.array([[3.0, 2.0, 1.0]] * 6)
    assert "Kendall's W 1.00" in tasting.agreed(agreement(points), 3)
    assert "Durbin" in tasting.agreed(agreement(np.array([[3, 2, np.nan], [np.nan, 2, 1.0], [3, np.nan, 1]])), 3)
    assert "find them all alike" in tasting.agreed(agreement(np.full((3, 3), 50.0)), 3)
    assert "birch" not in tasting.far_apart(agreement(points), ["amber", "birch", "cedar"])
    assert "cedar" in tasting.far_apart(agreement(points), ["amber", "birch", "cedar"])


def test_a_triangle_that_shows_nothing_says_how_little_it_could_have_shown():
    said = tasting.told_apart(triangle(2, 4))
    assert "does not make them alike" in said
    assert "none of six tasters found" in tasting.told_apart(triangle(0, 6))
    assert tasting.told_apart(triangle(10, 12)).startswith("The two drinks differ")
