"""Less known of a dosed, stabilised or primed drink never gets it a better verdict, nor a bolder dose.

Left out of the rule, as they speak against the drink: the doses themselves and what is present, a tolerance that is
below the alcohol, a mixed culture, and the total beside free SO2 where it is over the limit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.packaging import checked
from analysis.packaging.so2_balance import alcohol_pct
from analysis.packaging.sweetening import stabilised
from tests.analysis.packaging.answers import sheet
from tests.examples import examples

Sheet = dict[str, Any]
RANK = {"go": 0, "caution": 1, "stop": 2}


def verdict(inputs: Sheet) -> int:
    answer = sheet(inputs)
    return max(RANK[answer["bottle_verdict"] or "go"], RANK[answer.get("keg_verdict") or "go"])


def bears_it(inputs: Sheet) -> bool:
    alcohol = alcohol_pct(checked(inputs))
    return alcohol is not None and alcohol < inputs["alcohol_tolerance_pct"]


def under_the_limit(inputs: Sheet) -> bool:
    return not any("at or over the limit" in said for said in sheet(inputs)["refusals"])


def no_more_than_usual(inputs: Sheet) -> bool:
    """A stronger drink than any that is assumed is a fact against its yeast, unless that is known to bear it."""
    return inputs.get("alcohol_tolerance_pct") is None


IN_FAVOUR: dict[str, Callable[[Sheet], bool]] = {
    "drink": lambda s: True,
    "jurisdiction": lambda s: True,
    "wine_colour": lambda s: True,
    "ph": lambda s: True,
    "original_gravity_sg": no_more_than_usual,
    "sulfite_present_as": lambda s: "sulfite_present_total_ppm" not in s,
    "sulfite_present_total_ppm": under_the_limit,
    "alcohol_tolerance_pct": bears_it,
    "stabilised": lambda s: "carbonation_volumes" not in s,
    "filtered": lambda s: "carbonation_volumes" not in s,
    "pasteurised": lambda s: "carbonation_volumes" not in s,
    "volume_l": lambda s: True,
}


@st.composite
def dosed(draw: st.DrawFn) -> Sheet:
    """A finished drink with some of what sulfite, sorbate, stabilising and priming ask for."""
    drink = draw(st.sampled_from(["cider", "mead", "wine", "ale", "other"]))
    final = draw(st.floats(0.992, 1.004))
    package = draw(st.sampled_from(["bottle", "keg"]))
    found: Sheet = {
        "drink": drink, "package": package, "finished": True, "hold_met": True, "hand_sample": True, "volume_l": 20.0,
        "original_gravity_sg": draw(st.floats(1.040, 1.130)), "final_gravity_sg": final, "forced_test_sg": final,
        "remaining_fall_sg": 0.0, "warmest_c": 18.0, "serving_c": 8.0, "storage_c": 20.0, "purged": True,
        "bottle_rating_kpa": 1200.0, "keg_rating_kpa": 900.0, "priming_sugar": "sucrose",
    }  # fmt: skip
    found.pop("keg_rating_kpa" if package == "bottle" else "bottle_rating_kpa")
    some: dict[str, st.SearchStrategy[Any]] = {
        "jurisdiction": st.sampled_from(["EU", "US", "CA", "Codex", "NZ"]),
        "wine_colour": st.sampled_from(["red", "white"]),
        "ph": st.floats(2.9, 4.6),
        "carbonation_volumes": st.floats(0.5, 3.5),
        "alcohol_tolerance_pct": st.floats(5.0, 20.0),
        "sorbate_ppm": st.floats(0, 350),
        "stabilised": st.just(True),
        "filtered": st.just(True),
        "pasteurised": st.just(True),
        "fresh_yeast": st.booleans(),
        "sweetener": st.sampled_from(["honey", "sucrose", "erythritol"]),
        "sweetener_g": st.floats(0, 300),
        "mixed_culture": st.booleans(),
        "sulfite_present_ppm": st.floats(0, 250),
        "sulfite_present_as": st.sampled_from(["free", "total", "added"]),
        "sulfite_basis": st.sampled_from(["free", "total", "added"]),
    }
    for key in draw(st.sets(st.sampled_from(sorted(some)), max_size=9)):
        found[key] = draw(some[key])
    if draw(st.booleans()):
        found |= {"sulfite_ppm": draw(st.floats(0, 250)), "sulfite_as": draw(st.sampled_from(["so2", "salt"]))}
    if found.get("sulfite_present_as") == "free" and "sulfite_present_ppm" in found and draw(st.booleans()):
        found["sulfite_present_total_ppm"] = found["sulfite_present_ppm"] + draw(st.floats(0, 100))
    return found


@given(dosed())
@settings(max_examples=examples(60), deadline=None)
def test_taking_away_a_fact_about_a_dose_never_improves_the_verdict(inputs: Sheet) -> None:
    known = verdict(inputs)
    for key, in_favour in IN_FAVOUR.items():
        if key in inputs and in_favour(inputs):
            assert verdict({k: v for k, v in inputs.items() if k != key}) >= known, key


@given(dosed(), st.floats(0, 100))
@settings(max_examples=examples(60), deadline=None)
def test_more_sorbate_or_sulfite_never_makes_priming_look_surer(inputs: Sheet, more: float) -> None:
    primed = {k: v for k, v in inputs.items() if k not in ("stabilised", "sweetener", "sweetener_g")}
    for key in ("sorbate_ppm", "sulfite_ppm", "sulfite_present_ppm"):
        if key in primed and "sulfite_present_total_ppm" not in primed and primed.get("sulfite_basis") is None:
            assert verdict({**primed, key: primed[key] + more}) >= verdict(primed), key


@given(dosed())
@settings(max_examples=examples(50), deadline=None)
def test_a_word_alone_never_counts_as_stabilised(inputs: Sheet) -> None:
    held = stabilised(checked(inputs))
    if not held.counts:
        return
    if (inputs.get("filtered") or inputs.get("pasteurised")) and not inputs.get("fresh_yeast"):
        return
    assert inputs["stabilised"]
    assert inputs["drink"] not in ("ale", "lager", "beer")
    assert inputs["sorbate_ppm"] > 0
    assert inputs["sulfite_present_as"] == "free"
    assert inputs["sulfite_present_ppm"] > 0
    assert "ph" in inputs
