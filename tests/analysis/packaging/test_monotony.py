"""Less known, or worse, never gets a better verdict: every input of the sheet, taken away or made worse.

An action that is left out counts as not done; a fact that is left out as the worst that is plausible. What a person
says against the drink (a culture, hops, a sweetener, a lower floor, more acid than is usual, a place hotter or a rating
lower than any that is assumed) may make it worse than silence: those facts and the wishes are `AGAINST`.
Run it by hand over thousands: ``TUNROOM_SHEETS=5000 python -m pytest tests/analysis/packaging/test_monotony.py``.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.drinks import usual_malic_acid_g_per_l
from analysis.packaging import fields, sheet
from analysis.packaging.kinds import BOTTLE_KINDS, HIGHEST_KPA, STILL
from analysis.thresholds import HIGHEST_KEG_KPA, HOTTEST_C, UNRATED_KEG_KPA
from tests.analysis.packaging.test_ignorance import IN_FAVOUR, RANK, Sheet, sheets

EXAMPLES = int(os.environ.get("TUNROOM_SHEETS", "120"))

AGAINST = frozenset(
    {
        "diastatic", "mixed_culture", "dry_hopped", "hops_g_per_l", "hops_total_g", "hop_creep_fall_sg", "heat_treat",
        "sweetener", "sweetener_g", "sweeten_to_sg", "vessel_gauge_kpa", "lowest_plausible_sg", "carbonation_volumes",
        "priming_sugar", "package", "filtered", "stabilised", "sulfite_ppm", "sulfite_as", "sulfite_basis",
        "remaining_falls_sg", "spirit_abv_pct", "sulfite_present_ppm", "wine_colour", "tablet_g", "sorbate_ppm",
        "jurisdiction",
    }
)  # fmt: skip
"""Said against the drink or wished for, or judged by law: see `test_ignorance` for the reasons."""

DOSED = frozenset(
    {
        "alcohol_tolerance_pct", "priming_shares", "priming_gravity_sg", "priming_brix", "priming_sugar_g_per_l",
        "fresh_yeast", "sulfite_present_as", "sulfite_present_total_ppm", "tablet_salt_g", "tablet_so2_mg",
        "pasteurised", "altitude_m",
    }
)  # fmt: skip
"""Weighed in `test_dosed_ignorance`, where doses are drawn; the altitude in `test_missing`."""

NOT_WEIGHED = frozenset({"acid_g_per_l", "hop_shares", "scale_resolution_g"})
"""Grams to weigh, which no verdict rests on."""


def verdict(inputs: Mapping[str, Any]) -> int:
    answer = sheet(inputs)
    return max(RANK[answer.bottle_verdict or "go"], RANK[answer.keg_verdict or "go"])


@st.composite
def fuller_sheets(draw: st.DrawFn) -> Sheet:
    """Sheets that also say what only some drinks and packages have."""
    found = draw(sheets() | sheets(sound=True))
    more: dict[str, st.SearchStrategy[Any]] = {
        "bottle_kind": st.sampled_from(list(BOTTLE_KINDS)),
        "held_days": st.floats(0, 120),
        "forced_test_fresh_yeast": st.booleans(),
        "forced_test_hopped": st.booleans(),
        "lactose_g_per_l": st.floats(0, 60),
        "malic_acid_g_per_l": st.floats(0, 10),
        "malolactic_finished": st.booleans(),
        "hops_warm_days": st.floats(0, 60),
    }
    for key in draw(st.sets(st.sampled_from(sorted(more)), max_size=4)):
        found[key] = draw(more[key])
    return found


def in_favour(key: str, inputs: Sheet) -> bool:
    """Whether what is said under a key is no worse than what is assumed without it."""
    if key == "bottle_kind":
        return "bottle_rating_kpa" not in inputs and inputs[key] != STILL
    if key == "malic_acid_g_per_l":
        return bool(inputs[key] <= usual_malic_acid_g_per_l(inputs.get("drink")))
    return IN_FAVOUR[key](inputs) if key in IN_FAVOUR else True


def test_every_input_is_a_fact_or_an_action_and_is_weighed_here() -> None:
    assert {each.role for each in fields()} == {"fact", "action"}
    ruled = {"held_days", "forced_test_fresh_yeast", "forced_test_hopped", "lactose_g_per_l", "malic_acid_g_per_l",
             "malolactic_finished", "hops_warm_days", "bottle_kind"}  # fmt: skip
    assert {each.key for each in fields()} == AGAINST | DOSED | NOT_WEIGHED | set(IN_FAVOUR) | ruled


@given(fuller_sheets())
@settings(max_examples=EXAMPLES, deadline=None)
def test_leaving_anything_out_never_improves_the_verdict(inputs: Sheet) -> None:
    known = verdict(inputs)
    for key in sorted(inputs.keys() - AGAINST):
        if in_favour(key, inputs):
            assert verdict({k: v for k, v in inputs.items() if k != key}) >= known, key


def worse(inputs: Sheet, much: float) -> dict[str, Sheet]:
    """The same sheet with one thing worse, by name."""
    package = inputs["package"]
    found: dict[str, Sheet] = {
        "hops": {**inputs, "hops_g_per_l": inputs.get("hops_g_per_l", 0.0) + 20 * much},
        "creep": {**inputs, "hop_creep_fall_sg": inputs.get("hop_creep_fall_sg", 0.0) + 0.01 * much},
        "warmth": {**inputs, "storage_c": min(70.0, inputs.get("storage_c", HOTTEST_C) + 30 * much)},
        "fall": {**inputs, "remaining_fall_sg": inputs.get("remaining_fall_sg", 0.2) + 0.01 * much},
    }
    if inputs.get("remaining_fall_sg") is None:
        del found["fall"]
    if "hops_g_per_l" in inputs and inputs.get("hop_creep_fall_sg") is None:
        del found["creep"]
    if "final_gravity_sg" in inputs:
        highest = inputs.get("original_gravity_sg", 1.2)
        found["final gravity"] = {**inputs, "final_gravity_sg": min(highest, inputs["final_gravity_sg"] + 0.03 * much)}
    if inputs.get("sweetener") == "honey" and "sweetener_g" in inputs:  # a dose nobody knows is a stop by itself
        found["sugar"] = {**inputs, "sweetener_g": inputs["sweetener_g"] + 500 * much}
    if "malic_acid_g_per_l" in inputs:
        found["acid"] = {**inputs, "malic_acid_g_per_l": inputs["malic_acid_g_per_l"] + 10 * much}
    rating, highest_kpa = f"{package}_rating_kpa", HIGHEST_KPA if package == "bottle" else HIGHEST_KEG_KPA
    if "bottle_kind" in inputs and package == "bottle":
        highest_kpa = BOTTLE_KINDS[inputs["bottle_kind"]].highest_kpa
    if inputs.get(rating, highest_kpa + 1) <= highest_kpa:  # beyond, it is no rating but a slip, and doubted
        found["rating"] = {**inputs, rating: max(50.0, (1 - much) * inputs[rating])}
    return found


@given(fuller_sheets(), st.floats(0.01, 0.9))
@settings(max_examples=EXAMPLES, deadline=None)
def test_nothing_that_is_worse_improves_the_verdict(inputs: Sheet, much: float) -> None:
    known = verdict(inputs)
    for name, changed in worse(inputs, much).items():
        assert verdict(changed) >= known, name


def test_the_lowest_ratings_assumed_are_those_of_the_weakest_package() -> None:
    assert UNRATED_KEG_KPA <= HIGHEST_KEG_KPA
    assert all(kind.lowest_kpa < kind.highest_kpa <= HIGHEST_KPA for kind in BOTTLE_KINDS.values())
