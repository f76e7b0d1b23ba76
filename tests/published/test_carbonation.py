from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.packaging import carbonation as co2
from analysis.packaging import hops
from analysis.units import f_to_c, psi_to_kpa

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Source")
    return list(csv.DictReader(lines[1:]))


CHART = rows("co2_chart.csv")


@pytest.mark.parametrize("row", CHART, ids=lambda r: f"{r['temperature_f']}F-{r['gauge_psi']}psi")
def test_dissolved_gas_agrees_with_every_point_of_the_printed_chart(row: dict[str, str]) -> None:
    volumes = co2.dissolved_volumes(psi_to_kpa(float(row["gauge_psi"])), f_to_c(float(row["temperature_f"])))
    assert volumes == pytest.approx(float(row["volumes"]), abs=0.06)


def test_dissolved_gas_agrees_with_the_chart_on_the_whole() -> None:
    errors = [
        co2.dissolved_volumes(psi_to_kpa(float(r["gauge_psi"])), f_to_c(float(r["temperature_f"])))
        - float(r["volumes"])
        for r in CHART
    ]
    assert len(errors) == 148
    assert math.sqrt(sum(e * e for e in errors) / len(errors)) < 0.025


@pytest.mark.parametrize("row", CHART, ids=lambda r: f"{r['temperature_f']}F-{r['gauge_psi']}psi")
def test_henrys_law_for_water_is_within_six_per_cent_of_the_beer_chart(row: dict[str, str]) -> None:
    # Beer is not water: the chart's beer holds 4.2 % alcohol and 5.8 °P of real extract (Speers and MacIntosh 2013).
    volumes, gauge = float(row["volumes"]), psi_to_kpa(float(row["gauge_psi"]))
    absolute = co2.henry_gauge_kpa(volumes, f_to_c(float(row["temperature_f"]))) + 101.325
    assert absolute == pytest.approx(gauge + 101.325, rel=0.064)


@pytest.mark.parametrize("row", rows("bottle_pressure.csv"), ids=lambda r: f"{r['volumes']}vol-{r['temperature_c']}C")
def test_bottle_pressure_agrees_with_both_published_relations(row: dict[str, str]) -> None:
    volumes, temperature_c = float(row["volumes"]), float(row["temperature_c"])
    assert co2.chart_gauge_kpa(volumes, temperature_c) == pytest.approx(100 * float(row["chart_bar"]), abs=1)
    assert co2.henry_gauge_kpa(volumes, temperature_c) == pytest.approx(100 * float(row["henry_bar"]), abs=3)
    assert co2.package_gauge_kpa(volumes, temperature_c) >= co2.chart_gauge_kpa(volumes, temperature_c)


@pytest.mark.parametrize("row", rows("residual_co2.csv"), ids=lambda r: r["temperature_c"])
def test_residual_gas_of_a_vented_vessel_agrees_with_the_published_fits(row: dict[str, str]) -> None:
    assert co2.residual_volumes(float(row["temperature_c"])) == pytest.approx(float(row["volumes"]), abs=0.03)


def test_a_vessel_under_one_bar_holds_twice_the_residual_gas() -> None:
    # The ASBC chart's relation at 20 °C: 0.84 volumes vented, 1.7 at 1 bar gauge.
    assert co2.residual_volumes(20.0) == pytest.approx(0.84, abs=0.01)
    assert co2.residual_volumes(20.0, 100.0) == pytest.approx(1.7, abs=0.05)


def test_a_lager_at_6_c_holds_what_was_measured_in_one() -> None:
    # ACS Omega 2021 (PMC8047704): 5.49 ± 0.08 g/L measured in a commercial lager, Henry constant about 2.4 g/L/bar.
    absolute_kpa = 100 * 5.49 / 2.4
    held = co2.grams_of_volumes(co2.dissolved_volumes(absolute_kpa - 101.325, 6.0))
    assert held == pytest.approx(5.49, rel=0.07)


STOICHIOMETRY = {row["what"]: float(row["grams_per_gram"]) for row in rows("stoichiometry.csv")}


def test_sugars_give_the_gas_that_atomic_masses_say() -> None:
    for name, row in (
        ("sucrose", "stoich_sucrose"),
        ("glucose anhydrous", "stoich_glucose_anhydrous"),
        ("glucose monohydrate", "stoich_glucose_monohydrate"),
    ):
        gas = co2.PRIMING_SUGARS[name].co2_g_per_g()
        assert gas.middle == pytest.approx(STOICHIOMETRY[row], abs=1e-4)
        assert gas.certain


def test_extract_gives_the_gas_that_balling_says() -> None:
    assert pytest.approx(STOICHIOMETRY["balling_co2"], abs=1e-4) == co2.CO2_PER_EXTRACT


@pytest.mark.parametrize(("from_sg", "grams_per_l"), [(1.002, 0.978), (1.010, 0.973)])
def test_a_point_of_further_fall_makes_half_a_volume(from_sg: float, grams_per_l: float) -> None:
    # Worked by hand: ASBC cubic, real extract 0.8192 of apparent, Balling 0.9565/2.0665.
    volumes = co2.volumes_of_fall(from_sg, 0.001)
    assert co2.grams_of_volumes(volumes) == pytest.approx(grams_per_l, abs=0.012)
    assert volumes == pytest.approx(0.49, abs=0.01)


def test_a_sweet_mead_held_at_1_020_still_carries_about_twelve_volumes() -> None:
    assert co2.volumes_of_fall(1.020, 0.025) == pytest.approx(12, abs=0.6)


def test_dry_hops_may_start_what_was_published() -> None:
    # Kirkpatrick and Shellhammer 2018, J. Agric. Food Chem.: 4.75 volumes after 40 days at 10 g/L and 20 °C.
    assert hops.creep_volumes(10.0) == pytest.approx(4.75, abs=0.1)
    assert hops.creep_volumes(10.0, days=5) == pytest.approx(4.75 / 2, abs=0.1)


def test_heating_filled_bottles_to_65_c_makes_six_bar_and_more() -> None:
    low, high = co2.heated_gauge_kpa(2.5)
    assert low == pytest.approx(600, rel=0.05)
    assert high > low


def test_sparkling_wine_reaches_the_three_bar_of_the_european_definition() -> None:
    # EU wine definitions: sparkling wine has at least 3 bar of excess pressure at 20 °C; some 3.3 volumes make it.
    assert co2.package_gauge_kpa(3.4, 20.0) > 300 > co2.package_gauge_kpa(3.2, 20.0)


@given(st.floats(0.5, 6.0), st.floats(0.0, 40.0), st.floats(0.01, 2.0))
def test_more_gas_and_more_warmth_always_mean_more_pressure(volumes: float, temperature_c: float, more: float) -> None:
    here = co2.package_gauge_kpa(volumes, temperature_c)
    assert co2.package_gauge_kpa(volumes + more, temperature_c) >= here
    assert co2.package_gauge_kpa(volumes, temperature_c + more) >= here


@given(st.floats(-80.0, 500.0), st.floats(-1.0, 40.0))
def test_pressure_and_dissolved_gas_undo_each_other(gauge_kpa: float, temperature_c: float) -> None:
    volumes = co2.dissolved_volumes(gauge_kpa, temperature_c)
    assert co2.chart_gauge_kpa(volumes, temperature_c) == pytest.approx(gauge_kpa, abs=1e-6)


@given(st.sampled_from(sorted(co2.PRIMING_SUGARS)), st.floats(0.5, 2.0), st.floats(2.0, 4.0), st.floats(1, 500))
def test_the_priming_sugar_makes_exactly_the_gas_that_was_wished(
    name: str, residual: float, wished: float, volume_l: float
) -> None:
    gas = co2.PRIMING_SUGARS[name].co2_g_per_g(0.9).middle
    mass = co2.priming_g(wished, residual, volume_l, gas)
    assert mass is not None
    assert residual + co2.volumes_of_grams(mass * gas / volume_l) == pytest.approx(wished)


def test_no_sugar_is_wanted_where_the_drink_already_holds_more() -> None:
    assert co2.priming_g(1.5, 1.7, 20.0, 0.5143) == 0
