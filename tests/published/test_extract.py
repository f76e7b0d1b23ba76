from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import units

HERE = Path(__file__).parent

# The tables are printed to 4 or 5 decimals, and the cubic has an error of its own; air and vacuum part by 0.00011 SG
# at 21 °P, so the handbook's table in vacuum gets that much more room.
TOLERANCE_SG = {"usda_air": 5e-5, "nbs_air": 1e-4, "icumsa_air": 6e-5, "handbook_vacuum": 1.6e-4}


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Source")
    return list(csv.DictReader(lines[1:]))


EXTRACT = rows("extract_table.csv")


@pytest.mark.parametrize("row", EXTRACT, ids=lambda r: f"{r['table']}-{r['extract_plato']}")
def test_gravity_of_an_extract_agrees_with_the_published_table(row: dict[str, str]) -> None:
    gravity_sg = units.plato_to_sg(float(row["extract_plato"]))
    assert gravity_sg == pytest.approx(float(row["gravity_sg"]), abs=TOLERANCE_SG[row["table"]])


@pytest.mark.parametrize("row", EXTRACT, ids=lambda r: f"{r['table']}-{r['extract_plato']}")
def test_extract_of_a_gravity_agrees_with_the_published_table(row: dict[str, str]) -> None:
    tolerance_plato = TOLERANCE_SG[row["table"]] * 260  # 260 °P to one SG near water
    extract_plato = units.sg_to_plato(float(row["gravity_sg"]))
    assert extract_plato == pytest.approx(float(row["extract_plato"]), abs=tolerance_plato)


@given(st.floats(0.98, 1.2))
def test_the_two_conversions_of_extract_undo_each_other(gravity_sg: float) -> None:
    assert units.plato_to_sg(units.sg_to_plato(gravity_sg)) == pytest.approx(gravity_sg, abs=1e-12)


def test_conversions_take_arrays_and_pass_missing_values_on() -> None:
    gravities = np.array([1.0, np.nan, 1.048])
    extracts = units.sg_to_plato(gravities)
    assert extracts.shape == (3,)
    assert np.isnan(extracts[1])
    assert units.plato_to_sg(extracts)[2] == pytest.approx(1.048)


@pytest.mark.parametrize("row", rows("water_density.csv"), ids=lambda r: r["temperature_c"])
def test_water_density_agrees_with_iapws_95(row: dict[str, str]) -> None:
    # The published formulas differ among themselves by up to 0.005 kg/m³ between 0 and 40 °C.
    density = units.water_density_kg_m3(float(row["temperature_c"]))
    assert density == pytest.approx(float(row["density_kg_m3"]), abs=0.005)


@pytest.mark.parametrize("temperature_c", [0.5, 20.0, 60.0, 95.0])
def test_water_density_agrees_with_the_iapws_library_from_ice_to_steam(temperature_c: float) -> None:
    iapws = pytest.importorskip("iapws", reason="needs iapws: pip install iapws")
    reference = iapws.IAPWS95(T=temperature_c + 273.15, P=0.101325).rho
    assert units.water_density_kg_m3(temperature_c) == pytest.approx(reference, abs=0.02)


@pytest.mark.parametrize(
    "row", rows("hydrometer_correction.csv"), ids=lambda r: f"{r['extract_plato']}P-{r['temperature_c']}C"
)
def test_a_hydrometer_read_warm_or_cold_is_corrected_to_the_published_gravity(row: dict[str, str]) -> None:
    corrected = units.temperature_corrected_sg(float(row["reading_sg"]), float(row["temperature_c"]))
    assert corrected == pytest.approx(float(row["true_sg"]), abs=2e-5)


@given(st.floats(0.0, 0.3), st.floats(0.0, 40.0), st.sampled_from(["20/20 °C", "60/60 °F", "15/15 °C", "20/4 °C"]))
def test_hydrometers_of_every_reference_agree_on_one_liquid(fraction: float, temperature_c: float, scale: str) -> None:
    # What each scale would show is the definition of its reference: mass of glass over the volume it pushes aside.
    liquid_c, water_c = units.reference_temperatures(scale)
    swollen = 1 + units.GLASS_PER_C * (temperature_c - liquid_c)
    shown = units.sucrose_density_kg_m3(fraction, temperature_c) * swollen / units.water_density_kg_m3(water_c)
    true_sg = units.sucrose_density_kg_m3(fraction, 20.0) / units.water_density_kg_m3(20.0)
    assert units.temperature_corrected_sg(shown, temperature_c, reference=scale) == pytest.approx(true_sg, abs=1e-8)


def test_a_60_f_hydrometer_reads_a_little_higher_than_a_20_c_one() -> None:
    # Wort expands a little more than water, so the same wort is a smaller multiple of water at 20 °C.
    assert units.temperature_corrected_sg(1.050, 20.0, reference="20/20 °C") == pytest.approx(1.050, abs=1e-9)
    assert 1.0495 < units.temperature_corrected_sg(1.050, 15.556, reference="60/60 °F") < 1.050


def test_a_20_4_scale_reads_against_water_at_its_densest() -> None:
    assert units.temperature_corrected_sg(1.0, 20.0, reference="20/4 °C") == pytest.approx(999.972 / 998.203, abs=1e-5)


def test_a_reference_that_cannot_be_read_is_refused_with_an_example() -> None:
    with pytest.raises(ValueError, match="20/20 °C or 60/60 °F"):
        units.reference_temperatures("room temperature")


# NIST Special Publication 811 (2008), appendix B.8: pound-force per square inch 6.894 757 E+00 kPa; gallon [U.S.]
# 3.785 412 E+00 L, by Handbook 44, appendix C, 3.785 411 784 L exactly; ounce (avoirdupois) 2.834 952 E+01 g; pound
# 4.535 924 E-01 kg; ounce per gallon [U.S.] 7.489 152 E+00 kg/m³, which is g/L.
def test_pressure_volume_and_temperature_convert_as_nist_prints() -> None:
    assert units.psi_to_kpa(1.0) == pytest.approx(6.894757)
    assert units.us_gal_to_litres(5.0) == pytest.approx(18.92706)
    assert units.us_gal_to_litres(1.0) == pytest.approx(3.785411784, rel=1e-12)
    assert units.oz_to_g(1.0) == pytest.approx(28.34952, rel=2e-7)
    assert units.oz_to_g(16.0) == pytest.approx(453.59237, rel=1e-12)
    assert units.oz_per_us_gal_to_g_per_l(1.0) == pytest.approx(7.489152, rel=2e-7)
    assert units.kpa_to_bar(250.0) == 2.5
    assert units.c_to_f(100.0) == 212.0
    assert units.f_to_c(units.c_to_f(-3.0)) == pytest.approx(-3.0)
    assert units.density_from_sg(units.sg_from_density(1048.0)) == pytest.approx(1048.0)


# National Bureau of Standards, Circular C440, table 114 (degrees Brix and specific gravity 20/20 °C; from memory).
@pytest.mark.parametrize(
    ("brix", "gravity_sg"),
    [(0.0, 1.0), (5.0, 1.01968), (10.0, 1.03998), (15.0, 1.06104), (20.0, 1.08287)],
)
def test_brix_is_the_published_table_of_sucrose(brix: float, gravity_sg: float) -> None:
    assert units.sg_to_brix(gravity_sg) == pytest.approx(brix, abs=0.015)
    assert units.brix_to_sg(brix) == pytest.approx(gravity_sg, abs=6e-5)
