"""What a sheet was not told is asked for by name, and no answer is null without its reason."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.packaging import field_of
from analysis.wording.sheet_json import ANSWERS
from tests.analysis.packaging.answers import sheet
from tests.analysis.packaging.test_ignorance import sheets
from tests.examples import examples

BOTTLE: dict[str, Any] = {
    "drink": "ale",
    "jurisdiction": "EU",
    "package": "bottle",
    "volume_l": 19,
    "original_gravity_sg": 1.050,
    "final_gravity_sg": 1.011,
    "carbonation_volumes": 2.3,
    "warmest_c": 20,
    "finished": True,
    "hold_met": True,
    "hand_sample": True,
    "remaining_fall_sg": 0.0002,
    "lowest_plausible_sg": 1.0105,
    "forced_test_sg": 1.0105,
    "bottle_rating_kpa": 1000,
}
KEG: dict[str, Any] = {
    **{k: v for k, v in BOTTLE.items() if k not in ("bottle_rating_kpa", "warmest_c")},
    "package": "keg",
    "keg_rating_kpa": 900,
    "serving_c": 6,
    "storage_c": 12,
}


def verdict(answer: dict[str, Any]) -> str | None:
    return answer["bottle_verdict"] or answer.get("keg_verdict")


@pytest.mark.parametrize("whole", [BOTTLE, KEG], ids=lambda s: s["package"])
def test_a_whole_sheet_misses_nothing_and_may_go(whole: dict[str, Any]) -> None:
    answer = sheet(whole)
    assert verdict(answer) == "go"
    assert answer["missing"] == []


@pytest.mark.parametrize(
    ("whole", "key"),
    [
        *((BOTTLE, key) for key in ("volume_l", "warmest_c", "bottle_rating_kpa", "original_gravity_sg", "drink")),
        *((BOTTLE, key) for key in ("finished", "hold_met", "hand_sample", "final_gravity_sg")),
        *((KEG, key) for key in ("serving_c", "carbonation_volumes", "keg_rating_kpa", "final_gravity_sg", "drink")),
    ],
    ids=lambda v: v if isinstance(v, str) else v["package"],
)
def test_each_input_that_an_answer_asks_for_is_asked_for_by_name_and_there_is_no_go(
    whole: dict[str, Any], key: str
) -> None:
    answer = sheet({k: v for k, v in whole.items() if k != key})
    assert verdict(answer) != "go"
    assert key in {each["input"] for each in answer["missing"]}
    assert any(field_of(key).label in each["why"] for each in answer["missing"])


@pytest.mark.parametrize(
    ("dose", "key", "unsaid"),
    [
        ({"sulfite_ppm": 10, "sulfite_as": "so2", "ph": 3.4}, "volume_l", "potassium_metabisulfite_g"),
        ({"sulfite_ppm": 10, "sulfite_as": "so2"}, "ph", "molecular_so2_ppm"),
        ({"hops_g_per_l": 4}, "volume_l", "hops_g"),
        ({"priming_sugar": "sucrose"}, "warmest_c", "priming_g"),
    ],
)
def test_a_dose_that_cannot_be_weighed_says_what_it_wants(dose: dict[str, Any], key: str, unsaid: str) -> None:
    answer = sheet({**{k: v for k, v in KEG.items() if k != "volume_l"}, **dose, "volume_l": 19} | {key: None})
    assert answer[unsaid] is None
    assert field_of(key).label in answer["unsaid"][unsaid]
    assert key in {each["input"] for each in answer["missing"]}
    assert verdict(answer) != "go"


LEFT_OUT = st.sets(st.sampled_from(sorted({*BOTTLE, *KEG})), max_size=6)


@given(sheets() | st.sampled_from([BOTTLE, KEG]), LEFT_OUT)
@settings(max_examples=examples(50), deadline=None)
def test_no_answer_is_null_without_its_reason_and_what_misses_an_input_is_no_go(
    whole: dict[str, Any], left_out: set[str]
) -> None:
    answer = sheet({k: v for k, v in whole.items() if k not in left_out})
    assert set(answer["unsaid"]) == {key for key in ANSWERS if answer[key] is None}
    for reason in answer["unsaid"].values():
        assert reason.endswith(".")
        assert "None" not in reason
        assert reason != "Not given: ."
    if answer["missing"]:
        assert verdict(answer) != "go"
    # Whatever is null for want of an input names it.
    for key in ("priming_g", "keg_gauge_kpa"):
        if answer[key] is None and verdict(answer) == "go":
            assert "Not given" not in answer["unsaid"][key]


def test_what_is_counted_without_being_entered_is_listed() -> None:
    counted = sheet(BOTTLE)["assumed"]
    assert counted == {
        "diastatic": False,
        "mixed_culture": False,
        "priming_sugar": "sucrose",
        "vessel_gauge_kpa": 0.0,
        "storage_c": 30.0,
        "altitude_m": 1500.0,  # the worst that is usual
        "purged": False,
        "fresh_yeast": False,
        "heat_treat": False,
    }
    assert "storage_c" not in sheet({**BOTTLE, "storage_c": 20})["assumed"]
    assert "priming_sugar" not in sheet(KEG)["assumed"]


def test_the_worst_case_says_what_it_rests_on_and_adds_up() -> None:
    answer = sheet({**BOTTLE, "hops_g_per_l": 5})
    [said] = answer["worst_case"]
    assert "2.3 volumes wished for" in said
    assert "down to 1.006, set by the forced test" in said
    assert "from what dry hops may set free" in said
    assert "at 30.0\u202f°C and an altitude of 1500\u202fm, as none is given" in said
    assert "air in the neck" in said
    assert "2000\u202fm" in sheet({**BOTTLE, "altitude_m": 2000})["worst_case"][0]


def test_the_parts_of_the_worst_case_are_those_of_its_volumes() -> None:
    from analysis import packaging

    for extra in ({}, {"hops_g_per_l": 5}, {"sweetener": "honey", "sweetener_g": 200}):
        worked = packaging.sheet({**BOTTLE, **extra})
        case = worked.worst_case
        assert case is not None
        parts = case.base_volumes + case.fall_volumes + case.creep_volumes + case.sweetener_volumes
        assert parts == pytest.approx(worked.bottle_worst_volumes, abs=0.001)


def cautions(**changes: Any) -> str:
    return " ".join(sheet({**BOTTLE, **changes})["cautions"])


def test_each_package_has_the_cautions_of_its_kind_and_not_the_others() -> None:
    bottle, keg = cautions(), " ".join(sheet(KEG)["cautions"])
    for word in ("crown caps", "cork under gas", "Swing tops"):
        assert word in bottle
        assert word not in keg
    for word in ("regulator that fails", "relief valve opens and shuts"):
        assert word in keg
        assert word not in bottle
    for said in (bottle, keg):
        assert "acid on a chlorine cleaner gives off chlorine" in said
        assert "local codes" in said
        assert "licensed practice" in said
        # OSHA, NIOSH and ACGIH limits, as read on secondary pages.
        for limit in ("5,000 ppm", "30,000 ppm", "40,000 ppm"):
            assert limit in said
    assert "fresh yeast" in bottle  # it is to carbonate in the bottle
    assert "fresh yeast" not in cautions(carbonation_volumes=None)


def test_herbs_and_gluten_are_named_where_they_matter() -> None:
    assert "botulism" not in cautions()
    assert "botulism" in cautions(drink="mead")
    assert "grain with gluten" in cautions()
    assert "grain with gluten" not in cautions(drink="mead")
    assert "milk (lactose)" in cautions(drink="mead")
    assert " ".join(sheet({})["cautions"]).count("cleaner") == 0  # no package is asked about


def test_a_sweet_drink_with_little_alcohol_wants_heat_or_a_filter() -> None:
    weak = {**BOTTLE, "original_gravity_sg": 1.022, "final_gravity_sg": 1.008, "forced_test_sg": 1.008}
    weak |= {"lowest_plausible_sg": 1.008, "expected_low": 0.6}
    answer = sheet(weak)
    assert verdict(answer) == "caution"
    assert any("makes people ill" in each for each in answer["bottle_reasons"])
    assert not any("makes people ill" in each for each in sheet({**weak, "filtered": True})["bottle_reasons"])
    assert not any("makes people ill" in each for each in sheet(BOTTLE)["bottle_reasons"])


def test_a_drink_with_too_little_acid_is_no_go() -> None:
    # 21 CFR part 114 (from memory): acidified foods are to have a pH of 4.6 or below.
    assert verdict(sheet({**BOTTLE, "ph": 4.6})) == "go"
    answer = sheet({**BOTTLE, "ph": 4.8})
    assert verdict(answer) == "caution"
    assert any("botulism" in each for each in answer["bottle_reasons"])
