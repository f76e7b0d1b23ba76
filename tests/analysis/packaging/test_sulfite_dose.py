"""Free, total and added SO2 are kept apart: what is missing is asked for, and no number rests on a guess."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.packaging import SheetInputError, checked
from analysis.packaging.so2_balance import so2_balance
from tests.analysis.packaging.answers import sheet

WINE: dict[str, Any] = {
    "drink": "wine", "wine_colour": "white", "jurisdiction": "EU", "volume_l": 100, "ph": 3.3, "sulfite_as": "so2",
}  # fmt: skip


def told(**changes: Any) -> dict[str, Any]:
    return sheet({k: v for k, v in {**WINE, **changes}.items() if v is not None})


# By hand: 10 mg/L in 100 L is 1 g of SO2, and 1 / 0.5763 is 1.735 g of potassium metabisulfite; 35 mg/L are 6.07 g.
@pytest.mark.parametrize(
    ("basis", "present", "told_as", "grams"),
    [
        ("free", 25, "free", 1.735),
        ("free", 40, "free", 0.0),
        ("free", 0, None, 6.073),
        ("free", None, None, 6.073),
        ("total", 25, "total", 1.735),
        ("total", 25, "added", 1.735),
        ("added", 25, "free", 6.073),
        ("added", 25, "total", 6.073),
        (None, 25, "added", 6.073),
    ],
)
def test_the_dose_is_what_is_missing_of_the_kind_that_is_aimed_at(
    basis: str | None, present: float | None, told_as: str | None, grams: float
) -> None:
    answer = told(sulfite_ppm=35, sulfite_basis=basis, sulfite_present_ppm=present, sulfite_present_as=told_as)
    assert answer["potassium_metabisulfite_g"] == pytest.approx(grams, abs=0.002)


@pytest.mark.parametrize(
    ("basis", "told_as", "asked"),
    [
        ("free", None, "measure the free SO2"),
        ("free", "total", "measure the free SO2"),
        ("free", "added", "measure the free SO2"),
        ("total", None, "measure the total"),
        ("total", "free", "measure the total"),
    ],
)
def test_without_knowing_what_the_so2_present_is_no_grams_are_said(basis: str, told_as: str | None, asked: str) -> None:
    answer = told(sulfite_ppm=35, sulfite_basis=basis, sulfite_present_ppm=25, sulfite_present_as=told_as)
    assert answer["potassium_metabisulfite_g"] is None
    assert answer["tablets"] is None
    assert any(asked in caution and "until then no mass is said" in caution for caution in answer["cautions"])


def test_a_total_beside_the_free_so2_answers_both() -> None:
    both = {"sulfite_present_ppm": 25, "sulfite_present_as": "free", "sulfite_present_total_ppm": 90}
    free = told(sulfite_ppm=35, sulfite_basis="free", **both)
    assert free["potassium_metabisulfite_g"] == pytest.approx(1.735, abs=0.002)
    assert free["so2_total_ppm"] == pytest.approx(100)
    total = told(sulfite_ppm=100, sulfite_basis="total", **both)
    assert total["potassium_metabisulfite_g"] == pytest.approx(1.735, abs=0.002)
    assert not any("the total is not known" in c for c in [*free["cautions"], *total["cautions"]])
    # 195 in all and 10 more are over the 200 of a white wine (Delegated Regulation (EU) 2019/934).
    assert told(sulfite_ppm=35, sulfite_basis="free", **{**both, "sulfite_present_total_ppm": 195})["refusals"]


def test_an_unknown_total_is_asked_for_and_held_against_the_limit_at_its_least() -> None:
    free = {"sulfite_present_ppm": 25, "sulfite_present_as": "free", "sulfite_basis": "free"}
    answer = told(sulfite_ppm=35, **free)
    assert any("at least 35 mg/L" in c and "limit of 200 mg/L" in c for c in answer["cautions"])
    assert told(sulfite_ppm=250, **free)["refusals"]
    assert told(sulfite_ppm=190, sulfite_present_ppm=20)["refusals"]


@pytest.mark.parametrize("package", ["bottle", "keg"])
def test_no_package_gets_a_go_on_so2_that_is_not_known(package: str) -> None:
    still = {
        "package": package, "original_gravity_sg": 1.090, "final_gravity_sg": 0.995, "forced_test_sg": 0.995,
        "finished": True, "hold_met": True, "hand_sample": True, "remaining_fall_sg": 0.0, "warmest_c": 20,
        "bottle_rating_kpa": 900, "keg_rating_kpa": 900, "carbonation_volumes": 0.85, "serving_c": 10,
        "sulfite_ppm": 35, "sulfite_basis": "free", "sulfite_present_ppm": 25,
    }  # fmt: skip
    free = {"sulfite_present_as": "free"}
    assert told(**still)[f"{package}_verdict"] == told(**still, **free)[f"{package}_verdict"] == "caution"
    assert told(**still, **free, sulfite_present_total_ppm=80)[f"{package}_verdict"] == "go"


def test_molecular_so2_is_taken_of_what_is_free_not_of_the_total() -> None:
    # By hand at pKa 1.798 (no alcohol known): 35 mg/L at pH 3.3 is 1.07 mg/L, whatever is bound beside it.
    bound = {"sulfite_present_ppm": 25, "sulfite_present_as": "free", "sulfite_present_total_ppm": 150}
    answer = told(sulfite_ppm=35, sulfite_basis="free", **bound)
    assert answer["molecular_so2_ppm"] == pytest.approx(1.07, abs=0.005)
    added = told(sulfite_ppm=35)
    assert added["molecular_so2_ppm"] == pytest.approx(1.07, abs=0.005)
    assert any("at most the figure here" in caution for caution in added["cautions"])


AMOUNT = st.floats(1, 300)
KINDS = st.sampled_from(["free", "total", "added", None])


@given(AMOUNT, st.sampled_from(["added", "free", "total"]), AMOUNT, KINDS, st.floats(1, 300) | st.none())
def test_less_told_of_the_so2_never_makes_it_look_like_less(
    wished: float, basis: str, present: float, told_as: str | None, bound: float | None
) -> None:
    given: dict[str, Any] = {
        "sulfite_ppm": wished, "sulfite_as": "so2", "sulfite_basis": basis, "sulfite_present_ppm": present,
        "sulfite_present_as": told_as,
    }  # fmt: skip
    if told_as == "free" and bound is not None:
        given["sulfite_present_total_ppm"] = present + bound
    so2 = so2_balance(checked(given))
    assert so2 is not None
    assert (so2.add_ppm is None) == (so2.ask is not None)
    assert so2.total_ppm >= present
    assert so2.free_most_ppm <= so2.total_ppm + 1e-9 or not so2.total_known
    if so2.add_ppm is not None:
        assert 0 <= so2.add_ppm <= wished
        assert so2.total_ppm >= so2.add_ppm
    # What counts as free for protection is only what was measured as free.
    assert so2.free_ppm == (present if told_as == "free" else None)


def test_a_tablet_counts_by_what_its_label_declares() -> None:
    dose = {"sulfite_ppm": 50, "volume_l": 20}  # 1 g of SO2, 1.735 g of the salt by hand
    bare = told(**dose, tablet_g=0.5)
    assert bare["tablets"] is None
    assert bare["potassium_metabisulfite_g"] == pytest.approx(1.735, abs=1e-3)
    assert any("its label declares" in caution for caution in bare["cautions"])
    salt = told(**dose, tablet_g=0.5, tablet_salt_g=0.44)
    assert salt["tablets"] == pytest.approx(1.735 / 0.44, abs=0.01)
    so2 = told(**dose, tablet_so2_mg=250)
    assert so2["tablets"] == pytest.approx(4.0, abs=0.01)
    assert not any("its label declares" in c for c in [*salt["cautions"], *so2["cautions"]])


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"tablet_g": 0.4, "tablet_salt_g": 0.5}, "tablet_salt_g"),
        ({"tablet_salt_g": 0.4, "tablet_so2_mg": 300}, "tablet_so2_mg"),
        (
            {"sulfite_present_ppm": 40, "sulfite_present_as": "free", "sulfite_present_total_ppm": 30},
            "sulfite_present_total_ppm",
        ),
        (
            {"sulfite_present_ppm": 40, "sulfite_present_as": "total", "sulfite_present_total_ppm": 50},
            "sulfite_present_total_ppm",
        ),
    ],
    ids=str,
)
def test_what_cannot_be_is_refused_by_its_key(changes: dict[str, Any], key: str) -> None:
    with pytest.raises(SheetInputError) as error:
        told(sulfite_ppm=35, **changes)
    assert error.value.key == key


def test_acid_is_not_said_to_reach_a_ph() -> None:
    answer = told(acid_g_per_l=1.0, sulfite_ppm=35)
    assert answer["acid_g"] == pytest.approx(100.0)
    [said] = [caution for caution in answer["cautions"] if "acid moves the pH" in caution]
    assert "is not worked out" in said
    assert "measure the pH" in said
    assert "enter the new one before you dose" in said
