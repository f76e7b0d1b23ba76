from __future__ import annotations

import pytest

from analysis import sugars
from analysis.sugars import INGREDIENTS


# 44.0095 a mole of CO2: 4 from sucrose (342.2965), 2 from glucose (180.156; 198.171 with its water).
@pytest.mark.parametrize(
    ("name", "grams"), [("sucrose", 0.5143), ("glucose anhydrous", 0.4886), ("glucose monohydrate", 0.4442)]
)
def test_pure_sugars_give_the_gas_of_their_atomic_masses_and_nothing_is_uncertain(name: str, grams: float) -> None:
    gas = INGREDIENTS[name].co2_g_per_g()
    assert gas.middle == pytest.approx(grams, abs=1e-4)
    assert gas.certain


def test_honey_holds_the_water_and_the_sugars_of_the_survey() -> None:
    # White et al. 1962, USDA Technical Bulletin 1261: 17.2 % water (13.4 to 22.9), 77.9 % sugars; USDA prints 82.1 %.
    honey = INGREDIENTS["honey"]
    assert honey.extract_g_per_g is not None
    assert honey.extract_g_per_g.middle == pytest.approx(1 - 0.172)
    gas = honey.co2_g_per_g()
    assert 0.779 <= gas.middle / sugars.CO2_PER_HEXOSE <= 0.8212
    assert gas.low / sugars.CO2_PER_HEXOSE < 0.779
    assert gas.high / sugars.CO2_PER_HEXOSE == pytest.approx(1 - 0.134)


def test_a_litre_of_apple_juice_gives_49_grams_of_gas() -> None:
    # By hand: 11.5 °Bx, 9.637 % sugars (PMC3471321), SG 1.04627: 0.09637 * 1.04627 * 998.203 * 0.4886 = 49.18 g/L.
    gas = INGREDIENTS["fruit juice"].co2_g_per_g(0.115)
    assert 1000 * sugars.density_kg_per_l(0.115) * gas.middle == pytest.approx(49.18, abs=0.05)
    assert gas.low < gas.middle < gas.high == pytest.approx(0.115 * 0.4886, abs=1e-4)


def test_wort_ferments_as_far_as_published_beers_did() -> None:
    # Apparent 0.63 to 0.86 (Wahl and Henius; Cutaia et al. 2009), real 0.81 of it (MEBAK B-590.80.530).
    fermented = INGREDIENTS["wort"].fermented
    assert (fermented.low, fermented.high) == (
        pytest.approx(0.81 * 0.63, abs=0.005),
        pytest.approx(0.81 * 0.86, abs=0.005),
    )
    # Balling: 0.4629 g of CO2 from a gram of extract.
    assert INGREDIENTS["wort"].co2_g_per_g(0.12).middle == pytest.approx(0.12 * 0.65 * 0.4629, rel=1e-3)


@pytest.mark.parametrize("name", ["wort", "dry malt extract", "liquid malt extract"])
def test_a_culture_that_eats_dextrins_may_get_more_gas_out_of_malt(name: str) -> None:
    usual, most = (INGREDIENTS[name].co2_g_per_g(0.9, glutton=glutton) for glutton in (False, True))
    assert most.high > usual.high
    assert (most.low, most.middle) == (usual.low, usual.middle)
    honey = INGREDIENTS["honey"]
    assert honey.co2_g_per_g(glutton=True) == honey.co2_g_per_g()


@pytest.mark.parametrize("name", ["wort", "fruit juice", "juice concentrate"])
def test_what_has_no_usual_strength_must_tell_it(name: str) -> None:
    with pytest.raises(ValueError, match="give its gravity, °Bx or sugar"):
        INGREDIENTS[name].co2_g_per_g()


def test_the_density_of_juice_is_that_of_the_published_sum() -> None:
    # By hand with ICUMSA densities: 2.000 L of 11.5 °Bx weigh 2.0888 kg.
    assert 2 * sugars.density_kg_per_l(0.115) == pytest.approx(2.0888, abs=5e-4)
    assert sugars.extract_of_gravity(1.04627) == pytest.approx(0.115, abs=1e-4)
