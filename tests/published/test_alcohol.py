from __future__ import annotations

import csv
import statistics
from pathlib import Path

import pytest

from analysis import attenuation
from analysis.units import sg_to_plato

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Source")
    return list(csv.DictReader(lines[1:]))


ALCOHOL = rows("alcohol.csv")


def of(kind: str) -> list[dict[str, str]]:
    return [row for row in ALCOHOL if row["kind"] == kind]


@pytest.mark.parametrize("row", of("worked"), ids=lambda r: r["case"])
def test_alcohol_and_real_extract_follow_the_worked_examples(row: dict[str, str]) -> None:
    original, final = float(row["original_sg"]), float(row["final_sg"])
    real = attenuation.real_extract_plato(sg_to_plato(original), sg_to_plato(final))
    assert real == pytest.approx(float(row["real_pct"]), abs=0.005)
    assert attenuation.alcohol_abv_pct(original, final) == pytest.approx(float(row["abv_pct"]), abs=0.005)


@pytest.mark.parametrize("row", of("usda"), ids=lambda r: r["case"])
def test_alcohol_is_within_the_old_chemistry_of_each_measured_beer(row: dict[str, str]) -> None:
    # Gravities and alcohol were measured by distillation in 1911 to 1917, at 15.6/15.6 °C.
    abv = attenuation.alcohol_abv_pct(float(row["original_sg"]), float(row["final_sg"]))
    assert abv == pytest.approx(float(row["abv_pct"]), abs=0.6)


def test_alcohol_is_right_on_the_mean_of_the_measured_beers() -> None:
    errors = [
        attenuation.alcohol_abv_pct(float(r["original_sg"]), float(r["final_sg"])) - float(r["abv_pct"])
        for r in of("usda")
    ]
    assert len(errors) == 14
    assert abs(statistics.mean(errors)) < 0.25


@pytest.mark.parametrize("row", of("cutaia"), ids=lambda r: r["case"])
def test_alcohol_and_real_extract_agree_with_the_means_of_532_brews(row: dict[str, str]) -> None:
    original, apparent = float(row["original_plato"]), float(row["apparent_plato"])
    assert attenuation.alcohol_abw_pct(original, apparent) == pytest.approx(float(row["abw_pct"]), abs=0.15)
    assert attenuation.real_extract_plato(original, apparent) == pytest.approx(float(row["real_pct"]), abs=0.25)


@pytest.mark.parametrize("row", of("lager"), ids=lambda r: r["case"])
def test_alcohol_agrees_with_the_lagers_of_the_nineteenth_century(row: dict[str, str]) -> None:
    abw = attenuation.alcohol_abw_pct(float(row["original_plato"]), float(row["apparent_plato"]))
    assert abw == pytest.approx(float(row["abw_pct"]), abs=0.25)


@pytest.mark.parametrize("row", rows("alcohol_factors.csv"), ids=lambda r: r["original_plato"])
def test_alcohol_by_mass_agrees_with_ballings_table_of_factors(row: dict[str, str]) -> None:
    # The table and the closed form drift apart with strength: 0.4 % at 6 °P, 2.4 % at 30 °P.
    original = float(row["original_plato"])
    apparent = original / 4
    assert attenuation.alcohol_abw_pct(original, apparent) == pytest.approx(
        float(row["factor"]) * (original - apparent), rel=0.025
    )


def test_alcohol_agrees_with_the_encyclopedias_worked_example() -> None:
    # "Gravity (alcoholic beverage)": 1.050 to 1.010 gives 5.23 % by its full formula and 5.31 % by the simple one.
    assert 5.18 < attenuation.alcohol_abv_pct(1.050, 1.010) < 5.36


def test_real_attenuation_is_about_four_fifths_of_the_apparent() -> None:
    # The Scotch Whisky Research Institute printed 81.46 % as the mean of 52 determinations (1996).
    ratio = attenuation.real_attenuation(1.050, 1.010) / attenuation.apparent_attenuation(1.050, 1.010)
    assert ratio == pytest.approx(0.8146, abs=0.006)


def test_a_dry_mead_attenuates_by_more_than_all_its_extract() -> None:
    assert attenuation.apparent_attenuation(1.100, 0.996) > 1 > attenuation.real_attenuation(1.100, 0.996)


def test_a_final_gravity_above_the_original_is_refused_with_the_usual_range() -> None:
    with pytest.raises(ValueError, match=r"final_gravity_sg 1\.060 is above original_gravity_sg 1\.050.*0\.990"):
        attenuation.alcohol_abv_pct(1.050, 1.060)
