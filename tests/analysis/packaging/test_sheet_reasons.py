"""What a packaging sheet says of sweetened, stabilised, sulfited and hot bottles: every reason, and no two answers."""

from __future__ import annotations

from typing import Any

import pytest

from analysis.display_units import DisplayUnits
from analysis.packaging import SheetInputError, checked, sulfite
from analysis.packaging.sweetening import stabilised
from analysis.wording.sheet import worded
from analysis.wording.sheet_cautions import against_oxygen
from tests.analysis.packaging.answers import sheet

ALE: dict[str, Any] = {
    "drink": "ale",
    "jurisdiction": "EU",
    "package": "bottle",
    "volume_l": 19,
    "original_gravity_sg": 1.050,
    "final_gravity_sg": 1.011,
    "carbonation_volumes": 2.4,
    "warmest_c": 20,
    "finished": True,
    "hold_met": True,
    "hand_sample": True,
    "remaining_fall_sg": 0.0005,
    "lowest_plausible_sg": 1.010,
    "bottle_rating_kpa": 800,
}
MEAD: dict[str, Any] = {
    **ALE,
    "drink": "mead",
    "original_gravity_sg": 1.090,
    "final_gravity_sg": 0.998,
    "lowest_plausible_sg": None,
    "carbonation_volumes": None,
    "ph": 3.4,
    "sweetener": "honey",
}

STABLE: dict[str, Any] = {
    "stabilised": True,
    "sorbate_ppm": 200,
    "sulfite_present_ppm": 40,
    "sulfite_present_as": "free",
    "sulfite_present_total_ppm": 90,
}


def told(base: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return sheet({k: v for k, v in {**base, **changes}.items() if v is not None})


def test_a_bottle_is_never_to_be_filled_to_the_brim() -> None:
    # A full bottle has no room for the drink's own expansion (common practice, no source).
    [filling] = [line for line in against_oxygen("bottle") if "cap on foam" in line]
    assert "2 to 3 cm of headspace" in filling
    assert not any("top of the neck" in line for line in against_oxygen("bottle"))


def test_what_is_said_of_oxygen_is_said_of_the_package_that_is_filled() -> None:
    keg = " ".join(against_oxygen("keg"))
    assert "bottle" not in keg
    assert "keg" not in " ".join(against_oxygen("bottle"))
    assert "Purge the receiving keg or bottles" in against_oxygen(None)[0]


@pytest.mark.parametrize("stabilised", [False, True])
def test_sweetening_to_a_gravity_and_by_mass_give_one_and_the_same_answer(stabilised: bool) -> None:
    said = STABLE if stabilised else {}
    by_gravity = told(MEAD, sweeten_to_sg=1.012, **said)
    by_mass = told(MEAD, sweetener_g=by_gravity["sweetener_needed_g"], **said)
    assert by_gravity["bottle_worst_volumes"] == pytest.approx(by_mass["bottle_worst_volumes"], abs=0.01)
    assert by_gravity["bottle_worst_gauge_kpa"] == pytest.approx(by_mass["bottle_worst_gauge_kpa"], abs=1)
    assert by_gravity["bottle_gauge_kpa"] == pytest.approx(by_mass["bottle_gauge_kpa"], abs=1)
    assert by_gravity["bottle_verdict"] == by_mass["bottle_verdict"] == ("caution" if stabilised else "stop")
    assert len(by_gravity["bottle_reasons"]) == len(by_mass["bottle_reasons"])
    # By hand: 852 g of honey, 82.8 % solids, at most 86.6, 0.489 g of CO2 a gram of hexose, in 19 L: 9.6 volumes.
    without = told(MEAD, sweetener=None)
    assert by_gravity["bottle_worst_volumes"] - without["bottle_worst_volumes"] == pytest.approx(9.6, abs=0.1)
    assert any("with all the honey eaten, it reaches" in reason for reason in by_gravity["bottle_reasons"])


def test_a_sweetener_that_live_yeast_can_eat_counts_in_the_pressure_to_expect() -> None:
    live = told(MEAD, sweeten_to_sg=1.012)
    held = told(MEAD, sweeten_to_sg=1.012, **STABLE)
    assert live["bottle_volumes"] - held["bottle_volumes"] == pytest.approx(9.6, abs=0.1)
    assert live["bottle_verdict"] == "stop"


@pytest.mark.parametrize("stabilised", [False, True])
def test_a_sweetener_of_unknown_amount_is_not_passed_over(stabilised: bool) -> None:
    answer = told(MEAD, **(STABLE if stabilised else {}))
    assert answer["bottle_verdict"] == ("caution" if stabilised else "stop")
    assert any("How much honey goes in is not known" in reason for reason in answer["bottle_reasons"])


def test_every_reason_is_named_beside_the_first() -> None:
    lively = told(ALE, carbonation_volumes=4.0, remaining_fall_sg=0.0015, lowest_plausible_sg=1.004, purged=True)
    text = " ".join(lively["bottle_reasons"])
    assert "within 20\u202f% of the bottle's rating" in text
    assert "In the worst case" in text
    creeping = told(ALE, carbonation_volumes=3.0, hops_g_per_l=5, hop_creep_fall_sg=0.004, lowest_plausible_sg=1.004)
    text = " ".join(creeping["bottle_reasons"])
    assert creeping["chance_above_rating"] > 0.001
    assert f"{100 * creeping['chance_above_rating']:.1f}\u202f%" in text
    assert "In the worst case" in text


def test_a_worst_case_above_the_rating_is_named_where_no_lowest_gravity_is_given() -> None:
    answer = told(ALE, lowest_plausible_sg=None, bottle_rating_kpa=600)
    assert answer["bottle_worst_gauge_kpa"] > 600
    assert answer["bottle_verdict"] == "caution"
    assert any("In the worst case" in reason for reason in answer["bottle_reasons"])


def test_a_place_so_hot_that_pressure_and_air_pass_the_rating_is_a_stop() -> None:
    hot = told(ALE, storage_c=60)
    assert hot["bottle_gauge_kpa"] < 800 < hot["bottle_gauge_kpa"] + 100
    assert hot["bottle_verdict"] == "stop"
    assert "from air in the neck, together above the bottle's rating" in hot["refusals"][0]
    assert told(ALE, storage_c=60, purged=True)["bottle_verdict"] == "caution"


def test_heating_is_told_with_one_figure() -> None:
    answer = told(ALE, heat_treat=True, bottle_rating_kpa=1000)
    [said] = [reason for reason in answer["bottle_reasons"] if "65" in reason]
    assert f"{answer['heated_gauge_kpa']:.0f}\u202fkPa" in said
    assert "600\u202fkPa" not in " ".join(answer["cautions"])
    unknown = told(ALE, heat_treat=True, carbonation_volumes=None, warmest_c=None)
    assert any("2.5 volumes reach roughly 600\u202fkPa" in reason for reason in unknown["bottle_reasons"])


STRONG_ALE: dict[str, Any] = {"drink": "ale", "original_gravity_sg": 1.05, "final_gravity_sg": 1.011}


@pytest.mark.parametrize(
    ("changes", "why_not"),
    [
        ({}, None),
        ({"ph": None}, "give its pH first"),
        ({"drink": None, "final_gravity_sg": 0.998}, "give its drink first"),
        ({"sorbate_ppm": None}, "give its dose of potassium sorbate first"),
        ({"sulfite_present_as": "total", "sulfite_present_total_ppm": None}, "give its measured free SO2"),
        ({"sulfite_present_as": "added", "sulfite_present_total_ppm": None}, "give its measured free SO2"),
        ({"sulfite_present_as": None}, "give its measured free SO2"),
        # Aimed at is not measured: part of a dose gets bound.
        ({"sulfite_present_ppm": None, "sulfite_ppm": 60, "sulfite_as": "so2", "sulfite_basis": "free"}, "free SO2"),
        ({"sulfite_present_ppm": None, "sulfite_present_total_ppm": None}, "give its measured free SO2"),
        ({"ph": 4.4}, "molecular SO2 is below the 0.8 mg/L"),
        ({"ph": 4.4, "sulfite_present_ppm": None}, "at pH 4.4 a usual dose"),
        ({"sulfite_present_ppm": 10}, "molecular SO2 is below the 0.8 mg/L"),
        ({"sorbate_ppm": 60}, "less than the"),
        ({"mixed_culture": True}, "of a mixed culture bear"),
        ({"fresh_yeast": True}, "fresh yeast goes in with it"),
        (STRONG_ALE, "in beer sulfite and sorbate stabilise nothing"),
        ({**STRONG_ALE, "filtered": True}, None),
        ({**STRONG_ALE, "sorbate_ppm": None, "pasteurised": True}, None),
        ({**STRONG_ALE, "sorbate_ppm": None, "filtered": True, "fresh_yeast": True}, "in beer sulfite and sorbate"),
    ],
    ids=str,
)
def test_stabilised_counts_only_with_what_makes_it_count(changes: dict[str, Any], why_not: str | None) -> None:
    given = {**MEAD, **STABLE, "sweetener_g": 300, "jurisdiction": "US", **changes}
    held = stabilised(checked(given))
    assert held.counts is (why_not is None)
    if held.why_not is not None:
        said = worded(held.why_not, DisplayUnits())
        assert "counts as holding live yeast" in said
        assert why_not is not None
        assert why_not in said
        assert told(given)["bottle_verdict"] == "stop"


def test_a_stabilised_and_sweetened_mead_gets_no_more_than_a_caution() -> None:
    assert told(MEAD, **STABLE, sweetener_g=300, jurisdiction="EU")["bottle_verdict"] == "caution"


def test_weak_drinks_take_more_sorbate_than_strong_ones() -> None:
    # Peynaud's table (from memory): 150 mg/L of sorbic acid at 10 % vol, 100 at 12, 50 at 14; 0.7464 of the salt.
    for alcohol, acid in ((6.0, 150), (10.0, 150), (12.0, 100), (14.0, 50), (16.0, 50)):
        assert sulfite.sorbate_needed_ppm(alcohol) * 0.7464 == pytest.approx(acid, abs=1.0)
    assert sulfite.sorbate_needed_ppm(None) == sulfite.sorbate_needed_ppm(0.0)


@pytest.mark.parametrize("package", ["bottle", "keg"])
def test_no_priming_sugar_is_handed_out_for_a_stabilised_drink(package: str) -> None:
    sparkling = {"stabilised": True, "carbonation_volumes": 2.5, "priming_sugar": "sucrose", "package": package}
    sparkling |= {"keg_rating_kpa": 900, "storage_c": 10}
    answer = told(MEAD, sweetener=None, **sparkling)
    assert answer["priming_g"] is None
    assert any("will not carbonate" in said for said in [*answer["refusals"], *answer["cautions"]])
    assert told(MEAD, sweetener=None, **{**sparkling, "stabilised": False})["priming_g"] > 0


@pytest.mark.parametrize(("package", "verdict"), [("bottle", "bottle_verdict"), ("keg", "keg_verdict")])
@pytest.mark.parametrize("ppm", [20, 200])
def test_a_refused_sulfite_dose_never_stands_beside_a_go(package: str, verdict: str, ppm: float) -> None:
    sound = {"package": package, "keg_rating_kpa": 900, "storage_c": 10, "serving_c": 4}
    assert told(ALE, **sound)[verdict] == "go"
    answer = told(ALE, **sound, sulfite_ppm=ppm, sulfite_as="so2")
    assert "the limit of 20 mg/L" in answer["refusals"][0]
    assert answer[verdict] == "stop"
    assert answer["refusals"][0] == answer[f"{package}_reasons"][0]
    assert answer["priming_g"] is None


@pytest.mark.parametrize("ph", [1.0, 2.0, 9.0])
def test_a_ph_that_no_drink_has_is_answered_with_the_usual_range(ph: float) -> None:
    with pytest.raises(SheetInputError, match=r"Usual is 2\.5 to 5"):
        told(ALE, ph=ph)


def test_sulfite_in_a_sour_drink_is_not_said_to_do_nothing() -> None:
    # 10 mg/L free at pH 2.6 and 5.1 % vol: pKa 1.90 (OIV-MA-AS323-04C), 1.67 mg/L molecular, well above 0.8. Of the
    # mead's alcohol, 5.1 % too, so of both.
    for drink in ("ale", "mead"):
        answer = told(ALE, drink=drink, sweetener=None, ph=2.6, sulfite_ppm=10, sulfite_as="so2")
        assert answer["molecular_so2_ppm"] == pytest.approx(1.67, abs=0.02)
        assert not any("stabilises nothing" in c for c in answer["cautions"])


def test_a_warm_keg_of_sweetened_drink_hears_what_the_sweetener_would_make() -> None:
    keg = told(MEAD, package="keg", carbonation_volumes=2.4, keg_rating_kpa=900, storage_c=30, sweeten_to_sg=1.012)
    assert any("all the honey ferments" in reason for reason in keg["keg_reasons"])


def test_a_bottle_for_which_no_carbonation_is_wished_says_that_it_counts_as_still() -> None:
    still = told(ALE, carbonation_volumes=None)
    assert any("counted as still" in reason for reason in still["bottle_reasons"])
    assert not any("counted as still" in reason for reason in told(ALE)["bottle_reasons"])
    assert told(ALE, carbonation_volumes=None, hand_sample=None)["bottle_verdict"] == "caution"


def test_gas_that_may_still_be_dissolved_is_counted_where_its_temperature_is_not_said() -> None:
    still = {"package": "bottle", "drink": "mead", "carbonation_volumes": 0.0, "final_gravity_sg": 1.0}
    still["remaining_fall_sg"] = 0.0
    answer = sheet(still)
    # At 0 °C, vented, by the fit of the ASBC chart that the residual gas is read from: 1.59 volumes.
    assert answer["bottle_volumes"] == pytest.approx(1.59, abs=0.01)
    assert any("warmest temperature since it finished is not given" in each for each in answer["bottle_reasons"])
    wished = sheet({**still, "carbonation_volumes": 2.4})
    assert wished["bottle_volumes"] == pytest.approx(2.4)
    under_pressure = sheet({**still, "carbonation_volumes": 2.4, "vessel_gauge_kpa": 100.0})
    assert under_pressure["bottle_volumes"] > 3.0
