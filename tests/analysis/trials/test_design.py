"""What differs between the arms of a trial, and what can be concluded from it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.display_units import DisplayUnits
from analysis.trials import ArmBatch, Measured, TastingResult, compare_groups, conclude, design_of
from analysis.wording import (
    conclusion_sentence,
    design_sentence,
    next_sentences,
    unknown_sentence,
    vessels_sentence,
)

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
UNITS = DisplayUnits()


def batch(arm: str, **facts: object) -> ArmBatch:
    usual = {
        "pitched_at": T, "drink": "ale", "wort": "Tuesday wort", "yeast": "Marrow", "original_gravity_sg": 1.050,
        "volume_l": 10.0, "temperature_c": 19.0,
    }  # fmt: skip
    return ArmBatch(arm=arm, **{**usual, **facts})


def test_two_yeasts_in_one_wort_differ_in_the_yeast_alone():
    design = design_of([batch("Marrow"), batch("Dune", yeast="Dune")])
    assert design.differing == ("yeast",)
    assert design.tells_which
    assert {each.factor for each in design.equal} >= {"wort", "temperature", "original gravity", "volume", "nutrient"}
    assert design_sentence(design) == "Only the yeast differs."


def test_a_second_thing_that_differs_is_named_and_the_trial_cannot_tell():
    design = design_of([batch("Marrow"), batch("Dune", yeast="Dune", temperature_c=21.5)])
    assert design.differing == ("yeast", "temperature")
    assert not design.tells_which
    assert design_sentence(design) == "Yeast and temperature differ: this trial cannot tell which of them did it."


@pytest.mark.parametrize(
    ("other", "factor"),
    [
        ({"wort": "Thursday wort"}, "wort"),
        ({"original_gravity_sg": 1.056}, "original gravity"),
        ({"volume_l": 5.0}, "volume"),
        ({"pitched_at": T + timedelta(days=2)}, "pitching day"),
        ({"drink": "cider"}, "drink"),
        ({"additions": "honey 20 g/L"}, "additions"),
        ({"nutrient": "nutrient 0.3 g/L"}, "nutrient"),
    ],
)
def test_every_respect_that_is_written_down_is_compared(other, factor):
    assert design_of([batch("a"), batch("b", **other)]).differing == (factor,)


def test_what_a_thermostat_and_a_hydrometer_let_pass_is_no_difference():
    design = design_of([batch("a"), batch("b", temperature_c=19.6, original_gravity_sg=1.0515, volume_l=9.2)])
    assert design.differing == ()
    assert design_sentence(design).startswith("Nothing that is written down differs")


HOPPED = {"hop_variety": "Plover", "hop_form": "pellets", "hop_g_per_l": 4.0, "hop_day": 6.0, "contact_days": 3.0}


def test_one_hop_beside_another_differs_in_variety_and_a_dose_in_dose():
    plover, wren = batch("Plover", **HOPPED), batch("Wren", **{**HOPPED, "hop_variety": "Wren"})
    assert design_of([plover, wren]).differing == ("hop variety",)
    assert design_of([plover, replace(plover, arm="double", hop_g_per_l=8.0)]).differing == ("hop dose",)
    assert design_of([plover, replace(plover, arm="long", contact_days=7.0)]).differing == ("hop contact",)


def test_hops_beside_none_are_one_difference_and_not_four():
    assert design_of([batch("bare"), batch("hopped", **HOPPED)]).differing == ("hop variety",)


def test_what_nobody_wrote_down_is_said():
    design = design_of([batch("a"), batch("b", yeast="Dune", temperature_c=None)])
    assert design.unknown == ("temperature",)
    assert "perhaps different: temperature" in unknown_sentence(design)
    assert unknown_sentence(design_of([batch("a"), batch("b", yeast="Dune")])) == ""


def test_replicates_that_have_both_worts_alike_are_balanced():
    worts = [batch(arm, yeast=arm, wort=wort) for arm in ("Marrow", "Dune") for wort in ("one", "two")]
    assert design_of(worts).differing == ("yeast",)
    assert design_of(worts[:3]).differing == ("yeast", "wort")


def test_what_a_person_states_counts_once():
    two = [batch("a"), batch("b")]
    assert design_of(two, stated_differs=("oak",)).differing == ("oak",)
    assert design_of([two[0], batch("b", yeast="Dune")], stated_differs=("Yeast",)).differing == ("yeast",)
    assert design_of([two[0], batch("b", yeast="Dune")], stated_differs=("oak",)).differing == ("yeast", "oak")


# --- what is concluded


def arms(values: dict[str, list[float]], quantity="finish_h", like=()):
    measured = [
        Measured(group=arm, value=v, standard_error=0.01 * v, temperature_c=19.0, original_gravity_sg=1.050, lot="w")
        for arm, each in values.items()
        for v in each
    ]
    return compare_groups(quantity, measured, like=like)


def design(vessels: int, **other: object):
    each = [batch("Marrow")] * vessels
    return design_of([*each, *[batch("Dune", yeast="Dune", **other)] * vessels])


def test_a_clear_lead_over_replicates_is_concluded_with_its_chance():
    found = conclude(
        design(4), "finish_h", arms({"Marrow": [120.0, 123.0, 118.0, 121.0], "Dune": [200.0, 195.0, 207.0, 199.0]})
    )
    assert (found.leader, found.other, found.verdict) == ("Marrow", "Dune", "differ")
    assert found.chance > 0.95
    told = conclusion_sentence(found, design(4), UNITS)
    assert told.startswith("Marrow finishes sooner than Dune, by about 3")
    assert "%" in told
    assert "Make Marrow next." in next_sentences(found, design(4))


def test_one_vessel_an_arm_is_said_to_compare_vessels_and_asks_for_two():
    comparison = arms({"Marrow": [120.0], "Dune": [138.0]})
    found = conclude(design(1), "finish_h", comparison)
    assert found.verdict == "open"
    assert conclusion_sentence(found, design(1), UNITS).startswith("Too few batches to tell")
    assert vessels_sentence(design(1), comparison, UNITS).startswith("One vessel an arm compares vessels")
    assert "no replicates were seen" in vessels_sentence(design(1), comparison, UNITS)
    assert "Two vessels an arm would tell arms from vessels." in next_sentences(found, design(1))


def test_replicates_elsewhere_say_how_far_vessels_differ():
    alone = {"Marrow": [120.0], "Dune": [150.0]}
    alike = arms(alone, like=[[100.0, 101.0, 99.0], [140.0, 142.0], [88.0, 87.0, 88.5]])
    apart = arms(alone, like=[[100.0, 150.0, 80.0], [140.0, 200.0], [88.0, 60.0, 120.0]])
    assert alike.replicates == apart.replicates == 5
    assert alike.vessel_spread.p50 < apart.vessel_spread.p50
    one, other = (each.differences[0].amount for each in (alike, apart))
    assert one.p90 - one.p10 < other.p90 - other.p10
    assert "taken from five replicates" in vessels_sentence(design(1), alike, UNITS)


def test_a_lead_that_two_things_may_have_made_says_so():
    two = design(4, temperature_c=22.0)
    found = conclude(two, "finish_h", arms({"Marrow": [120.0, 122.0, 119.0] * 2, "Dune": [260.0, 255.0, 262.0] * 2}))
    told = conclusion_sentence(found, two, UNITS)
    assert told.endswith("but yeast and temperature differ, and this cannot tell which did it.")
    assert next_sentences(found, two)[0].startswith("Next time let one thing differ")


def test_arms_that_agree_on_many_vessels_are_alike():
    same = [150.0, 151.0, 149.0, 150.5, 149.5, 150.0]
    found = conclude(design(6), "finish_h", arms({"Marrow": same, "Dune": [v + 1.0 for v in same]}))
    assert found.verdict == "alike"
    assert conclusion_sentence(found, design(6), UNITS).startswith("The arms are alike within 12 hours")


def test_the_amount_is_the_leaders_less_the_others_whichever_comes_first():
    far = {"A": [0.80, 0.81, 0.80, 0.81], "B": [0.70, 0.71, 0.70, 0.71]}
    first = conclude(design(4), "apparent_attenuation", arms(far, "apparent_attenuation"))
    turned = {"A": far["B"], "B": far["A"]}
    second = conclude(design(4), "apparent_attenuation", arms(turned, "apparent_attenuation"))
    assert (first.leader, second.leader) == ("A", "B")
    assert first.amount.p50 == pytest.approx(second.amount.p50)
    assert first.amount.p50 > 0
    assert first.chance == pytest.approx(second.chance, abs=1e-6)


def test_before_two_arms_are_there_nothing_is_concluded():
    found = conclude(design(1), "finish_h", arms({"Marrow": [120.0]}))
    assert found.chance is None
    assert conclusion_sentence(found, design(1), UNITS).startswith("Nothing to tell yet")
    assert conclude(design(1), "finish_h", arms({})).verdict is None


def test_a_tasting_decides_where_it_is_asked_to():
    waiting = conclude(design(1), "tasting", None)
    assert "a tasting decides" in conclusion_sentence(waiting, design(1), UNITS)
    assert next_sentences(waiting, design(1))[0].startswith("Taste the arms blind")
    tasted = TastingResult("Dune was liked best.", {}, {}, (("Marrow", 0.06), ("Dune", 0.94)))
    found = conclude(design(1), "tasting", None, tasted)
    assert (found.leader, found.verdict, found.chance) == ("Dune", "differ", 0.94)
    assert conclusion_sentence(found, design(1), UNITS, tasted.sentence) == "Dune was liked best."


def test_a_tasting_of_arms_that_differ_in_two_things_says_so_with_its_claim():
    two = design(1, temperature_c=22.0)
    tasted = TastingResult(
        "Dune was liked best. Six tasters can say little.", {}, {}, (("Marrow", 0.06), ("Dune", 0.94))
    )
    told = conclusion_sentence(conclude(two, "tasting", None, tasted), two, UNITS, tasted.sentence)
    assert told == (
        "Dune was liked best; but yeast and temperature differ, and this cannot tell which did it. "
        "Six tasters can say little."
    )
