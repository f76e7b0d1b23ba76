"""Ranks, scores and triangles against published examples of sensory science and statistics."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from analysis.trials import Judged, agreement, least_significant_difference, triangle
from analysis.trials.discrimination import at_least, least_right
from analysis.trials.scoring import Deviations, effects, scores

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Source")
    return list(csv.DictReader(lines[1:]))


DATA = rows("sensory_data.csv")


def table(dataset: str) -> np.ndarray:
    """Shape (blocks, treatments); NaN where a block does not have a treatment."""
    chosen = [r for r in DATA if r["dataset"] == dataset]
    blocks = list(dict.fromkeys(r["block"] for r in chosen))
    treatments = sorted({r["treatment"] for r in chosen})
    found = np.full((len(blocks), len(treatments)), np.nan)
    for r in chosen:
        found[blocks.index(r["block"]), treatments.index(r["treatment"])] = float(r["value"])
    return found


# The printed statistics: R 4.2.2 on the rounding times; the NAG manual prints 8.583 without a correction for ties, with
# it 8.704; pingouin's documentation prints the three wines. Beer brands: computed from the printed ranks.
@pytest.mark.parametrize(
    ("dataset", "statistic", "df", "tolerance"),
    [
        ("rounding_times", 11.1429, 2, 5e-5),
        ("nag_g08aef", 8.704, 2, 5e-4),
        ("wine_three", 2.0, 2, 1e-9),
        ("beer_brands", 11.40541, 2, 5e-5),
        ("ranking_six", 34.51, 5, 5e-3),
    ],
)
def test_friedmans_statistic_is_the_published_one_with_ties(dataset, statistic, df, tolerance):
    found = agreement(table(dataset))
    assert found is not None
    assert found.statistic == pytest.approx(statistic, abs=tolerance)
    assert found.degrees_of_freedom == df
    assert found.p_large_sample == pytest.approx(stats.chi2.sf(statistic, df), rel=2e-3)


@pytest.mark.parametrize(
    ("dataset", "w", "tolerance"),
    [("nag_g08daf", 0.828, 5e-4), ("wine_three", 0.083333, 5e-7), ("anxiety", 0.5396569, 5e-8)],
)
def test_kendalls_w_is_the_published_one(dataset, w, tolerance):
    found = agreement(table(dataset))
    assert found is not None
    assert found.kendall_w == pytest.approx(w, abs=tolerance)


def test_durbins_statistic_is_the_published_one_of_seven_kinds_of_ice_cream():
    # Conover 1999, p. 391: each of seven people ranks three of seven; T = 12 with 6 degrees of freedom, p = 0.062.
    found = agreement(table("ice_cream"))
    assert found is not None
    assert found.statistic == pytest.approx(12.0, abs=1e-9)
    assert found.degrees_of_freedom == 6
    assert found.p_large_sample == pytest.approx(0.0620, abs=5e-5)
    assert found.kendall_w is None  # nobody ranked all
    # A worked sheet of the same example prints its F form, 8 with 6 and 8 degrees of freedom, with p = 0.005. Both are
    # approximations for many; seven people are few, and shuffling, which is exact, lies between the two.
    assert 0.005 < found.p_value < 0.062


def test_shuffling_gives_the_exact_table_of_friedman():
    # Beer brands: the book's exact critical values for ten judges of three are 6.2 (5 %) and 9.6 (1 %).
    beers = agreement(table("beer_brands"))
    assert beers is not None
    assert beers.p_value < 0.01
    ten = np.array([[1, 2, 3]] * 6 + [[2, 3, 1]] * 3 + [[3, 1, 2]] * 1, dtype=float)
    sums = ten.sum(axis=0)
    found = agreement(ten)
    assert found is not None
    statistic = 12 / (10 * 3 * 4) * float((sums**2).sum()) - 3 * 10 * 4
    assert found.statistic == pytest.approx(statistic)
    assert (found.p_value <= 0.05) == (statistic >= 6.2)


def test_the_least_significant_difference_of_rank_sums_is_the_standards_own():
    # NF ISO 8587, example of its annex as quoted: 8 assessors, 5 products, 1.96 * sqrt(40) = 12.396. Another sheet
    # prints a divisor of df = 5 for six products, 15.06; the standard's is 6, 13.72.
    assert least_significant_difference(8, 5) == pytest.approx(12.396, abs=5e-4)
    assert least_significant_difference(7, 6) == pytest.approx(13.72, abs=5e-3)


def test_a_triangle_needs_as_many_right_answers_as_the_published_table():
    printed = rows("triangle.csv")
    assert len(printed) > 40
    for row in printed:
        for column, alpha in (("a10", 0.1), ("a05", 0.05), ("a01", 0.01), ("a001", 0.001)):
            needed = least_right(int(row["tasters"]), alpha)
            assert ("-" if needed is None else str(needed)) == row[column], (row["tasters"], alpha)


def test_eleven_right_of_twenty_is_the_published_chance():
    assert at_least(11, 20) == pytest.approx(0.03764, abs=5e-6)  # SensoMineR, triangle.pair.test, example output
    found = triangle(11, 20)
    assert found.shown
    assert found.needed == 11
    assert found.telling.p10 < (11 / 20 - 1 / 3) * 1.5 < found.telling.p90


def test_the_fit_of_crossed_effects_is_the_published_one():
    # lme4's Penicillin: 24 plates, 6 samples. REML criterion 330.8606, standard deviations 0.8467, 1.9316, 0.5499.
    # Our scores are from 0 to 100, so is its scale here; plates are tasters, samples are drinks.
    y = table("penicillin")
    judged = [Judged(i, j, 0, float(y[i, j])) for i in range(24) for j in range(6)]
    found = effects(judged, Deviations(rest=0.54992, arm=1.93159, place=0.0, taster=0.84671))
    assert -2 * found.log_likelihood == pytest.approx(330.8606, abs=5e-4)
    assert found.mean[0] == pytest.approx(22.97, abs=5e-3)
    blups = [2.187058, -1.010476, 1.9379, -0.096895, -0.013842, -3.003745]
    assert found.mean[-6:] == pytest.approx(blups, abs=2e-4)
    # The published deviations are where it is most likely.
    for factor in (0.8, 1.25):
        other = effects(judged, Deviations(rest=0.54992 * factor, arm=1.93159, place=0.0, taster=0.84671))
        assert other.log_likelihood < found.log_likelihood


def test_scores_have_the_published_order_and_sizes():
    # The same data, spread to our scale of a hundred points.
    y = 5 * table("penicillin") - 70
    found = scores([Judged(i, j, 0, float(y[i, j])) for i in range(24) for j in range(6)], 6)
    assert found is not None
    blups = 5 * np.array([2.187058, -1.010476, 1.9379, -0.096895, -0.013842, -3.003745])
    assert np.nanmean(found.draws, axis=0) == pytest.approx(blups - blups.mean(), abs=0.5)
    assert found.rest_sd.p10 < max(5 * 0.5499, 3.0) * 1.1
    assert found.arms[0].p_best > 0.9
    assert math.fsum(arm.p_best for arm in found.arms) == pytest.approx(1.0)
