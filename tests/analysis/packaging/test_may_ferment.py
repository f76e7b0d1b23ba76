from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from analysis import Event
from analysis.packaging import checked, sheet
from analysis.packaging.may_ferment import may_ferment
from analysis.packaging.refermentation import lowest_plausible
from analysis.planning import prefill
from tests.analysis.packaging.test_follow_up import HOUR, NOW, brew, finished

ALE: dict[str, Any] = {
    "drink": "ale",
    "package": "bottle",
    "volume_l": 20,
    "original_gravity_sg": 1.050,
    "final_gravity_sg": 1.011,
    "carbonation_volumes": 2.4,
    "warmest_c": 20,
    "finished": True,
    "hold_met": True,
    "hand_sample": True,
    "remaining_fall_sg": 0.0005,
    "bottle_rating_kpa": 800,
    "bottle_kind": "crown-cap beer bottle",
}


def worst(cause: Any, **changes: Any) -> float:
    return may_ferment(checked({**ALE, **changes})).of(cause).worst_volumes


def verdict(**changes: Any) -> str | None:
    answer = sheet({**ALE, **changes})
    return answer.keg_verdict if changes.get("package") == "keg" else answer.bottle_verdict


def test_malic_acid_gives_a_mol_of_gas_from_a_mol() -> None:
    # By hand: 1 g/L over 134.09 g/mol, 22.4 L of CO2 a mol, make 0.167 volume (stoichiometry; ideal gas).
    assert worst("malic acid", drink="cider", malic_acid_g_per_l=1) == pytest.approx(22.4 / 134.09, abs=0.003)
    assert worst("malic acid", drink="cider", malolactic_finished=True) == 0
    # What is not said is counted at the most that is usual: 8 g/L of cider, 5 g/L of wine, 8 of an unsaid drink.
    assert worst("malic acid", drink="cider") == pytest.approx(8 * 22.4 / 134.09, abs=0.02)
    assert worst("malic acid", drink="wine") == pytest.approx(5 * 22.4 / 134.09, abs=0.02)
    assert worst("malic acid", drink=None) == worst("malic acid", drink="cider")
    assert worst("malic acid") == 0


def test_a_filter_for_yeast_does_not_hold_back_the_bacteria_that_eat_malic_acid() -> None:
    cider = {**ALE, "drink": "cider", "final_gravity_sg": 0.998, "carbonation_volumes": None, "filtered": True}
    assert may_ferment(checked(cider)).of("malic acid").p90_volumes > 1


@pytest.mark.parametrize(("warm_days", "left"), [(0, 1.0), (14, 0.368), (300, 0.25)])
def test_hop_creep_fades_with_warm_days_and_never_to_nothing(warm_days: float, left: float) -> None:
    # Kirkpatrick and Shellhammer 2018: about 4.75 volumes in 40 days at 10 g/L.
    published = worst("hops", hops_g_per_l=10)
    assert published == pytest.approx(4.75, abs=0.1)
    later = worst("hops", hops_g_per_l=10, hops_warm_days=warm_days, hop_creep_fall_sg=0.0)
    assert later == pytest.approx(left * published, rel=0.01)


def test_a_hopped_bottle_goes_after_a_forced_test_of_it_or_in_a_bottle_that_holds_the_published_creep() -> None:
    fresh = {"forced_test_sg": 1.011, "forced_test_fresh_yeast": True}
    assert verdict(hops_g_per_l=6, **fresh) == "caution"
    assert verdict(hops_g_per_l=6, **fresh, forced_test_hopped=True) == "go"
    assert verdict(hops_g_per_l=2, **fresh, bottle_rating_kpa=1000) == "go"  # 0.95 volume: 3.9 in all


def test_a_forced_test_without_fresh_yeast_counts_for_less_and_below_the_usual_for_nothing() -> None:
    paused = {"final_gravity_sg": 1.018, "forced_test_sg": 1.018}  # 64 %; what drink and yeast reach is 1.006
    assert lowest_plausible(checked({**ALE, **paused}), 1.018) == pytest.approx(1.006)
    assert verdict(**paused) != "go"
    assert lowest_plausible(checked({**ALE, **paused, "forced_test_fresh_yeast": True}), 1.018) == pytest.approx(1.017)
    # 68 % lies three sevenths of the way from the least that ales reach to the usual; the test alone would say 1.010.
    short = checked({**ALE, "final_gravity_sg": 1.016, "forced_test_sg": 1.016})
    assert lowest_plausible(short, 1.016) == pytest.approx(1.006 + 3 / 7 * 0.004)
    usual = {"final_gravity_sg": 1.013, "forced_test_sg": 1.013}  # 74 %
    assert lowest_plausible(checked({**ALE, **usual}), 1.013) == pytest.approx(1.007)


@pytest.mark.parametrize(("culture", "weeks"), [("diastatic", 3), ("mixed_culture", 9)])
def test_a_culture_that_creeps_needs_a_hold_of_weeks_or_a_forced_test(culture: str, weeks: int) -> None:
    said = {culture: True, "bottle_rating_kpa": 900}
    assert verdict(**said) == "caution"
    assert verdict(**said, held_days=7 * weeks - 4) == "caution"
    assert verdict(**said, held_days=7 * weeks) == "go"
    assert verdict(**said, forced_test_sg=1.011) == "caution"
    assert verdict(**said, forced_test_sg=1.011, forced_test_fresh_yeast=True) == "go"


def test_declared_lactose_lifts_where_it_should_end_but_not_for_bacteria() -> None:
    # 30 g/L of lactose (95 % solids): 2.85 % of extract lifts by 11 points (0.00386 SG for a per cent).
    stout = {"original_gravity_sg": 1.065, "final_gravity_sg": 1.027, "bottle_rating_kpa": 1000}
    assert verdict(**stout) == "stop"
    assert verdict(**stout, lactose_g_per_l=30, forced_test_sg=1.027, forced_test_fresh_yeast=True) == "go"
    assert lowest_plausible(checked({**ALE, **stout, "lactose_g_per_l": 30}), 1.027) == pytest.approx(
        1 + 0.054 * 0.12 + 0.011, abs=0.0005
    )
    soured = checked({**ALE, **stout, "lactose_g_per_l": 30, "mixed_culture": True})
    assert lowest_plausible(soured, 1.027) < 1.0


def test_a_batch_attenuates_beyond_the_range_of_its_yeast() -> None:
    ranged = checked({**ALE, "expected_low": 0.72, "expected_high": 0.76})
    assert lowest_plausible(ranged, 1.011) == pytest.approx(1 + 0.050 * (1 - 0.82))
    half = checked({**ALE, "expected_low": 0.80})  # a farmhouse yeast: 80 to 95 % (common practice)
    assert lowest_plausible(half, 1.0077) == pytest.approx(1 + 0.050 * (1 - 0.95))


@pytest.mark.parametrize(
    ("kind", "counted"),
    [("crown-cap beer bottle", 527), ("sparkling-wine bottle", 600), ("still-wine bottle", 137), (None, 527)],
)
def test_without_a_rating_the_weakest_of_the_kind_counts_and_nothing_goes(kind: str | None, counted: int) -> None:
    answer = sheet({k: v for k, v in {**ALE, "bottle_kind": kind}.items() if k != "bottle_rating_kpa"})
    assert answer.bottle_verdict != "go"
    [unknown] = [each for each in answer.bottle_reasons if type(each).__name__ == "BottleRatingUnknown"]
    assert unknown.counted_kpa == counted  # type: ignore[union-attr]


def test_a_bottle_for_still_wine_is_never_filled_with_a_sparkling_drink() -> None:
    assert verdict(bottle_kind="still-wine bottle", bottle_rating_kpa=None) == "stop"
    assert verdict(bottle_kind="still-wine bottle") == "stop"


def test_only_days_on_which_it_was_seen_to_be_warm_count_for_hop_creep() -> None:
    batch = brew(Event("dry hop", NOW - timedelta(days=400)))
    assert prefill(finished(), brew(), now=NOW).hops_warm_days is None
    filled = prefill(finished(), batch, now=NOW).hops_warm_days
    assert filled is not None
    assert filled <= 7  # the readings cover less, whatever the calendar says
    assert prefill(finished(), batch, now=NOW + 30 * HOUR).held_days is None


@pytest.mark.parametrize(
    ("original", "reached", "ends"), [(1.053, 0.825, 0.92), (1.067, 0.812, 0.91), (1.050, 0.86, 0.95)]
)
def test_a_beer_of_an_unsaid_yeast_that_went_far_may_go_further(original: float, reached: float, ends: float) -> None:
    # Farmhouse yeasts reach 0.80 to 0.95 (common practice, no source): nobody said that it is not one of them.
    final = 1 + (original - 1) * (1 - reached)
    told = {**ALE, "original_gravity_sg": original, "final_gravity_sg": final}
    lowest = lowest_plausible(checked(told), final)
    assert lowest <= 1 + (original - 1) * (1 - ends)
    for said in ({"expected_low": 0.72, "expected_high": 0.80}, {"forced_test_sg": final}):
        assert lowest_plausible(checked(told | said), final) > lowest


def test_of_an_unsaid_yeast_a_higher_gravity_never_leaves_less_to_ferment() -> None:
    falls = [worst("drink", final_gravity_sg=1 + sg / 1000) for sg in range(0, 30)]
    assert falls == sorted(falls)
