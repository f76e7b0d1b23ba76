"""Priming: how much of what, and whether yeast will make gas of it, said before any amount is."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.packaging import PRIMING_SUGARS, SheetInputError, checked
from analysis.packaging.priming import Primer, carbonation_doubts, primer, priming_excess_volumes
from analysis.packaging.so2_balance import alcohol_pct
from tests.analysis.packaging.answers import sheet
from tests.examples import examples

DRY: dict[str, Any] = {
    "drink": "cider", "jurisdiction": "US", "package": "bottle", "volume_l": 20, "original_gravity_sg": 1.060,
    "final_gravity_sg": 0.999, "forced_test_sg": 0.999, "carbonation_volumes": 2.5, "warmest_c": 20, "finished": True,
    "hold_met": True, "hand_sample": True, "remaining_fall_sg": 0.0, "bottle_rating_kpa": 1000, "ph": 3.5,
    "purged": True, "forced_test_fresh_yeast": True, "malolactic_finished": True, "storage_c": 20,
}  # fmt: skip


def told(**changes: Any) -> dict[str, Any]:
    return sheet({k: v for k, v in {**DRY, **changes}.items() if v is not None})


# By hand: 20.00 L at 20 °C, from 0.8388 volumes left (fit of the ASBC chart) to 2.50 at 1.977 g/L: 65.685 g of CO2;
# over 0.5143, 0.4886 and 0.4442 (atomic masses), without yeast growth.
@pytest.mark.parametrize(
    ("sugar", "grams"), [("sucrose", 127.72), ("glucose anhydrous", 134.44), ("glucose monohydrate", 147.87)]
)
def test_a_pure_sugar_is_weighed_by_stoichiometry(sugar: str, grams: float) -> None:
    answer = told(priming_sugar=sugar)
    assert answer["priming_g"] == pytest.approx(grams, abs=0.2)
    assert answer["bottle_verdict"] == "go"
    assert priming_excess_volumes(checked({**DRY, "priming_sugar": sugar}), 0.8388) == pytest.approx(0.0, abs=1e-9)


def test_apple_juice_is_poured_by_its_sugar_and_is_carbonated_itself() -> None:
    # By hand: 11.5 °Bx, 49.177 g of CO2 a litre (PMC3471321); 20 * 1.6612 * 1.977 / (49.177 - 2.5 * 1.977) = 1.485 L.
    for strength in ({"priming_brix": 11.5}, {"priming_gravity_sg": 1.04627}):
        assert told(priming_sugar="fruit juice", **strength)["priming_l"] == pytest.approx(1.485, abs=0.005)
    # The same litre told by the sugar on its label: 0.09637 * 1.04627 * 998.203 = 100.65 g/L.
    labelled = told(priming_sugar="fruit juice", priming_sugar_g_per_l=100.65)
    assert labelled["priming_l"] == pytest.approx(1.485, abs=0.005)
    strong = told(priming_sugar="juice concentrate", priming_brix=70)
    assert strong["priming_l"] < 0.2


def test_wort_is_poured_by_its_gravity() -> None:
    # By hand: 1.050 is 12.39 °P, 1.0481 kg/L; 65 % of 129.8 g/L fermented (real) at 0.4629 (Balling) is 39.1 g of CO2
    # a litre: 65.685 / (39.1 - 4.94) = 1.924 L.
    answer = told(priming_sugar="wort", priming_gravity_sg=1.050)
    assert answer["priming_l"] == pytest.approx(1.924, abs=0.01)
    assert answer["priming_g"] == pytest.approx(1924 * 1.048, abs=12)


def test_a_mix_is_shared_out_by_mass() -> None:
    # By hand, 2 to 1: (2 * 0.5143 + 0.4442) / 3 = 0.4909 g of CO2 a gram; 65.685 / 0.4909 = 133.8 g.
    answer = told(priming_shares={"sucrose": 2, "glucose monohydrate": 1})
    assert answer["priming_g"] == pytest.approx(133.8, abs=0.2)
    assert answer["priming_parts_g"] == {
        "sucrose": pytest.approx(89.2, abs=0.2),
        "glucose monohydrate": pytest.approx(44.6, abs=0.2),
    }
    mixed = told(priming_shares={"sucrose": 1, "fruit juice": 9}, priming_brix=11.5)
    assert 0 < mixed["priming_l"] < 1.485


@pytest.mark.parametrize("sugar", sorted(set(PRIMING_SUGARS) - {"sucrose", "glucose monohydrate", "glucose anhydrous"}))
def test_a_sugar_that_varies_says_its_range_and_the_worst_case_takes_the_strong_end(sugar: str) -> None:
    strength = {"priming_gravity_sg": 1.050}
    plain, varied = told(), told(priming_sugar=sugar, **strength)
    [said] = [c for c in varied["cautions"] if "varies from lot to lot" in c]
    assert "the worst case counts the most" in said
    excess = priming_excess_volumes(checked({**DRY, "priming_sugar": sugar, **strength}), 0.8388)
    assert varied["bottle_worst_volumes"] == pytest.approx(plain["bottle_worst_volumes"] + excess, abs=0.01)
    assert excess > 0.05
    # What the amount makes at the strong end, worked out the long way round.
    with_what = primer(checked({**DRY, "priming_sugar": sugar, **strength}))
    assert isinstance(with_what, Primer)
    reach = with_what.volumes(varied["priming_g"], 0.8388, 20.0)
    assert reach.middle == pytest.approx(2.5, abs=0.01)
    assert reach.high == pytest.approx(2.5 + excess, abs=0.01)
    assert reach.low < 2.5


def test_a_diastatic_yeast_may_make_more_of_malt() -> None:
    inputs = {**DRY, "priming_sugar": "dry malt extract"}
    usual, glutton = (priming_excess_volumes(checked({**inputs, "diastatic": d}), 0.8388) for d in (False, True))
    assert glutton > usual + 0.2


@pytest.mark.parametrize(
    ("sugar", "asked"),
    [("fruit juice", "its °Bx"), ("juice concentrate", "its °Bx"), ("wort", "enter its gravity")],
)
def test_what_has_no_usual_strength_is_asked_for_it(sugar: str, asked: str) -> None:
    answer = told(priming_sugar=sugar)
    assert answer["priming_g"] is None
    assert answer["bottle_verdict"] == "caution"
    assert any(asked in reason for reason in answer["bottle_reasons"])
    assert priming_excess_volumes(checked({**DRY, "priming_sugar": sugar}), 0.8388) > 0.05


def test_a_juice_too_weak_to_carbonate_itself_is_said_so() -> None:
    answer = told(priming_sugar="fruit juice", priming_brix=1.0)
    assert answer["priming_g"] is None
    assert answer["bottle_verdict"] == "caution"
    assert any("too weak to carbonate even itself" in caution for caution in answer["cautions"])


def test_without_a_name_the_grams_are_of_the_sugar_that_gives_most_gas() -> None:
    answer = told()
    assert any("No priming sugar is named" in caution for caution in answer["cautions"])
    assert all(
        answer["priming_g"] <= told(priming_sugar=name)["priming_g"] for name in ("honey", "glucose monohydrate")
    )
    assert not any("No priming sugar is named" in c for c in told(priming_sugar="sucrose")["cautions"])


@pytest.mark.parametrize(
    ("changes", "key", "said"),
    [
        ({"priming_shares": {"sukrose": 1}}, "priming_shares", "Did you mean sucrose?"),
        ({"priming_shares": {"wort": 1, "fruit juice": 1}}, "priming_shares", "a strength of their own"),
        (
            {"priming_shares": {"honey": 1}, "priming_sugar": "sucrose"},
            "priming_shares",
            "leaves out the priming sugar",
        ),
        ({"priming_brix": 12, "priming_gravity_sg": 1.05}, "priming_brix", "tells the strength already"),
    ],
    ids=str,
)
def test_priming_that_contradicts_itself_is_refused(changes: dict[str, Any], key: str, said: str) -> None:
    with pytest.raises(SheetInputError, match=said.replace("?", r"\?")) as error:
        told(**changes)
    assert error.value.key == key


MEAD = {"drink": "mead", "original_gravity_sg": 1.130, "final_gravity_sg": 0.998, "forced_test_sg": 0.998}
FREE_60 = {"sulfite_present_ppm": 60, "sulfite_present_as": "free", "sulfite_present_total_ppm": 90}


# What yeast bears: common practice, no published source; the figures stand in `analysis.thresholds`.
@pytest.mark.parametrize(
    ("changes", "verdict", "said"),
    [
        ({"sorbate_ppm": 100}, "stop", "priming will not carbonate it"),
        ({"sorbate_ppm": 200}, "stop", "priming will not carbonate it"),
        ({"sorbate_ppm": 40}, "caution", "priming may not carbonate it"),
        ({"sulfite_ppm": 340, "sulfite_as": "so2", **MEAD}, "stop", "yeast will not carbonate it"),
        ({"sulfite_ppm": 120, "sulfite_as": "so2"}, "caution", "yeast may not carbonate it"),
        (FREE_60, "stop", "yeast will not carbonate it"),
        ({**FREE_60, "ph": None}, "stop", "yeast will not carbonate it"),
        ({"sulfite_present_ppm": 60}, "stop", "yeast will not carbonate it"),  # not said as what: it may all be free
        ({"sulfite_present_ppm": 20}, "caution", "yeast may not carbonate it"),
        ({"sulfite_present_ppm": 20, "sulfite_present_as": "total"}, "caution", "yeast may not carbonate it"),
        (MEAD, "caution", "yeast may not carbonate it"),
        ({**MEAD, "alcohol_tolerance_pct": 14}, "stop", "will not carbonate it"),
        ({"original_gravity_sg": None}, "caution", "whether yeast will still carbonate it"),
        ({"filtered": True}, "stop", "taken the yeast away"),
        ({"pasteurised": True}, "stop", "taken the yeast away"),
        ({"filtered": True, "stabilised": True}, "stop", "taken the yeast away"),
        ({"stabilised": True}, "stop", "stabilised yeast will not carbonate it"),
        ({"stabilised": True, "fresh_yeast": True}, "stop", "stabilised yeast will not carbonate it"),
        ({"heat_treat": True, "carbonation_volumes": 1.9}, "caution", "once the bottles have been heated"),
    ],
    ids=str,
)
@pytest.mark.parametrize("package", ["bottle", "keg"])
def test_priming_that_will_not_carbonate_is_said_before_any_amount(
    package: str, changes: dict[str, Any], verdict: str, said: str
) -> None:
    keg = {"keg_rating_kpa": 900, "serving_c": 6, "priming_sugar": "sucrose"}
    answer = told(**{**keg, "package": package, **changes})
    assert answer[f"{package}_verdict"] == verdict
    assert any(said in reason for reason in answer[f"{package}_reasons"])
    if verdict == "stop":
        assert answer["priming_g"] is None


def test_seventeen_point_nine_per_cent_is_more_than_an_unknown_yeast_is_trusted_with() -> None:
    strong = {**DRY, **MEAD}
    assert alcohol_pct(checked(strong)) == pytest.approx(17.9, abs=0.3)
    answer = told(**MEAD)
    assert answer["bottle_verdict"] == "caution"
    assert answer["bottle_reasons"][0].startswith("At 1")
    assert told(**MEAD, alcohol_tolerance_pct=20)["bottle_verdict"] == "go"


@pytest.mark.parametrize("key", ["filtered", "pasteurised"])
def test_fresh_yeast_carbonates_what_a_filter_or_heat_has_cleared(key: str) -> None:
    answer = told(**{key: True}, fresh_yeast=True)
    assert answer["priming_g"] == pytest.approx(127.72, abs=0.2)
    assert answer["bottle_verdict"] == "go"


def test_an_ordinary_dose_against_oxygen_does_not_hold_up_an_ale() -> None:
    # 25 to 35 mg/L of the salt is usual at packaging (common practice), 20 mg/L of SO2 at most.
    ale = {"drink": "ale", "ph": 4.3, "original_gravity_sg": 1.05, "final_gravity_sg": 1.011, "forced_test_sg": 1.011}
    answer = told(**ale, jurisdiction="EU", sulfite_ppm=30, sulfite_as="salt")
    assert answer["bottle_verdict"] == "go"
    assert answer["priming_g"] > 0


def test_still_drinks_hear_nothing_of_it() -> None:
    still = checked({**DRY, **FREE_60, "sorbate_ppm": 200, "carbonation_volumes": None})
    assert list(carbonation_doubts(still, 0.84)) == []
    carbonated = checked({**DRY, "package": "keg", "filtered": True})  # by the cylinder: no sugar is named
    assert list(carbonation_doubts(carbonated, 0.84)) == []


@given(
    st.sampled_from(sorted(PRIMING_SUGARS)),
    st.floats(1.0, 4.0),
    st.floats(0.3, 1.5),
    st.floats(1.035, 1.12),
    st.booleans(),
)
@settings(max_examples=examples(70), deadline=None)
def test_the_strong_end_is_never_below_the_wish(
    sugar: str, wished: float, held: float, gravity: float, glutton: bool
) -> None:
    inputs = checked(
        {
            **DRY,
            "carbonation_volumes": wished,
            "priming_sugar": sugar,
            "priming_gravity_sg": gravity,
            "diastatic": glutton,
        }
    )
    excess = priming_excess_volumes(inputs, held)
    assert 0 <= excess < 2 * wished + 1e-9
    # Less known of what is dissolved means more of the sugar may vary.
    assert priming_excess_volumes(inputs, None) >= excess - 1e-9
