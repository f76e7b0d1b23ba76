"""Go, caution or stop for bottles: the pressure to come, the worst case beside it, and every reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from analysis.attenuation import gravity_at_attenuation
from analysis.display_units import DisplayUnits, percent, rare_chance
from analysis.packaging import safety
from analysis.packaging.carbonation import (
    heated_gauge_kpa,
    package_gauge_kpa,
    pressure_spread,
    residual_volumes,
    volumes_of_fall,
)
from analysis.packaging.hops import CREEP_DOSE_G_PER_L, creep_volumes
from analysis.packaging.safety import Verdict
from analysis.packaging.sulfite import BEERS
from analysis.packaging.sweetener_dose import fermentable, refusal, stabilised
from analysis.packaging.sweetening import SWEETENERS

WINE_LIKE = ("mead", "cider", "wine")
DRY_SG = 1.006
"""A mead, cider or wine above this still holds sugar that yeast can eat (common practice: dry is 0.990 to 1.004)."""
DRIEST_SG = 0.994
"""Where a mead, cider or wine can end if everything ferments (published ranges: 0.990 to 1.002)."""
BEER_LOW, BEER_HIGH = 0.62, 0.88
"""Apparent attenuation of beers unless the yeast says otherwise: most lie between (means of 532 brews: 0.78 to "
"0.86)."""
GLUTTON_SG = 1.000
"""Where a diastatic yeast or a mixed culture can take a beer (common practice, no source)."""
FORCED_TEST_WITHIN_SG = 0.002
COLDEST_CELLAR_C = 0.0
"""Where nobody says how warm it has been since it finished, as much gas as it can hold there is counted."""
LEAST_CHANCE = 0.001
"""A chance of passing the rating from here on is told as a number."""
NO_PRIMING = (
    "It is said to be stabilised, and stabilised yeast will not carbonate it: no priming sugar is given. Carbonate it "
    "in a keg and fill cold."
)


@dataclass
class Bottle:
    """What is said about bottles; `reasons` are the sentences behind the verdict, the gravest first."""

    verdict: Verdict = "go"
    volumes: float | None = None
    worst_volumes: float | None = None
    gauge_kpa: float | None = None
    worst_gauge_kpa: float | None = None
    chance_above_rating: float | None = None
    heated_gauge_kpa: float | None = None
    distribution: list[dict[str, float]] = field(default_factory=list)
    refusals: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    def stop(self, sentence: str, *, refuse: bool = True) -> None:
        """Refuse the bottle; with `refuse` False the reason stands among the cautions."""
        self.verdict = "stop"
        (self.refusals if refuse else self.reasons).append(sentence)

    def caution(self, sentence: str) -> None:
        """At most caution from here on."""
        if self.verdict == "go":
            self.verdict = "caution"
        self.reasons.append(sentence)


def judge(given: Mapping[str, Any], residual: float | None, final_sg: float | None, say: DisplayUnits) -> Bottle:
    """The verdict on bottles.

    Parameters
    ----------
    given
        Checked inputs of the sheet.
    residual
        Volumes still dissolved, None where the warmest temperature is not given.
    final_sg
        Gravity before any sweetener.
    say
        The units for the sentences.
    """
    said = Bottle()
    _fermentation(said, given, final_sg, say)
    _sweetener(said, given)
    _priming(said, given, residual)
    _pressure(said, given, residual, final_sg, say)
    _heated(said, given, say)
    return said


def _fermentation(said: Bottle, given: Mapping[str, Any], final_sg: float | None, say: DisplayUnits) -> None:
    for key, stopped, unsaid in (
        ("finished", "It has not finished: no bottle before it has.", "It is not said whether it has finished"),
        (
            "hold_met",
            "The gravity has not been seen to hold for as long as you asked: no bottle before it has.",
            "It is not said whether the gravity was seen to hold",
        ),
    ):
        if given.get(key) is False:
            said.stop(stopped)
        elif key not in given:
            said.stop(f"{unsaid}: do not fill a bottle until you know.", refuse=False)
    if given.get("hand_sample") is not True:
        said.caution("No hand sample confirms the gravity: a float that is stuck or fouled looks just like a finish.")
    if given.get("diastatic"):
        said.caution("A diastatic yeast eats dextrins and creeps for weeks: more gas than this sheet expects may come.")
    if given.get("mixed_culture"):
        said.caution("A mixed culture goes on for months: more gas than this sheet expects may come.")
    _where_it_ended(said, given, final_sg, say)


def _where_it_ended(said: Bottle, given: Mapping[str, Any], final_sg: float | None, say: DisplayUnits) -> None:
    if final_sg is None:
        said.caution("The final gravity is not given, so what may still ferment cannot be judged.")
        return
    forced = given.get("forced_test_sg")
    if forced is not None and final_sg <= forced + FORCED_TEST_WITHIN_SG:
        return
    highest = expected_highest(given)
    if forced is not None:
        said.stop(
            f"The gravity, {say.gravity(final_sg)}, is above the end of its forced test, {say.gravity(forced)}: it is "
            "not done."
        )
    elif highest is None:
        said.caution("Without the original gravity it cannot be judged whether it ended where it should.")
    elif final_sg > highest + 0.0005 and not stabilised(given).counts:
        said.stop(
            f"The gravity, {say.gravity(final_sg)}, is above where this drink is expected to end, "
            f"{say.gravity(highest)} or lower: what is left may ferment in the bottle. Make a forced test, or "
            f"{'filter it free of yeast' if given.get('drink') in BEERS else 'stabilise it'}."
        )


def expected_highest(given: Mapping[str, Any]) -> float | None:
    """The highest final gravity that is expected, from the yeast's range or the drink's; None where unknown."""
    original = given.get("original_gravity_sg")
    if "expected_low" in given and original is not None:
        return gravity_at_attenuation(original, given["expected_low"])
    if given.get("drink") in WINE_LIKE:
        return DRY_SG
    return None if original is None else gravity_at_attenuation(original, BEER_LOW)


def lowest_plausible(given: Mapping[str, Any], final_sg: float) -> tuple[float, bool]:
    """The lowest plausible gravity, and whether it is firm enough to bind the verdict."""
    if "lowest_plausible_sg" in given:
        return float(given["lowest_plausible_sg"]), True
    if "forced_test_sg" in given:
        return min(final_sg, float(given["forced_test_sg"])), True
    if given.get("drink") in WINE_LIKE:
        return min(final_sg, DRIEST_SG), True
    if given.get("diastatic") or given.get("mixed_culture"):
        return min(final_sg, GLUTTON_SG), True
    original = given.get("original_gravity_sg")
    if original is None:
        return min(final_sg, GLUTTON_SG), False
    if "expected_high" in given:
        return min(final_sg, gravity_at_attenuation(original, given["expected_high"])), True
    return min(final_sg, gravity_at_attenuation(original, BEER_HIGH)), False


def _sweetener(said: Bottle, given: Mapping[str, Any]) -> None:
    held = stabilised(given)
    sweet = fermentable(given)
    if sweet is not None and not held.counts:
        said.stop(f"{held.why_not} {refusal(sweet.name)}".lstrip())
    elif sweet is not None:
        said.caution(
            f"{sweet.name.capitalize()} ferments, and stabilising can fail: keep these bottles cold and watch a test "
            "bottle."
        )
    if sweet is not None and sweet.volumes is None:
        said.caution(f"How much {sweet.name} goes in is not known, so no pressure here counts it.")
    if "sweetener" in given and SWEETENERS[given["sweetener"]].note:
        said.reasons.append(SWEETENERS[given["sweetener"]].note)


def _priming(said: Bottle, given: Mapping[str, Any], residual: float | None) -> None:
    wished = given.get("carbonation_volumes")
    if wished is not None and wished > (1.0 if residual is None else residual) + 0.05 and stabilised(given).said:
        said.stop(NO_PRIMING)


def _pressure(
    said: Bottle, given: Mapping[str, Any], residual: float | None, final_sg: float | None, say: DisplayUnits
) -> None:
    wished = given.get("carbonation_volumes")
    if wished is None and residual is None:
        said.caution("Neither a carbonation nor the warmest temperature is given, so the pressure is unknown.")
        return
    held = residual
    if held is None:
        held = residual_volumes(COLDEST_CELLAR_C, given.get("vessel_gauge_kpa", 0.0))
        if wished is not None and held > wished + 0.05:
            said.reasons.append(
                f"The warmest temperature since it finished is not given: up to {held:.1f} volumes may still be "
                f"dissolved, more than the {wished:.1f} you wish for, and are counted."
            )
    base = max(wished or 0.0, held)
    if wished is None:
        said.reasons.append("No carbonation is wished for: it is counted as still, with what it already holds.")
    if wished is not None and residual is not None and residual > wished + 0.05:
        said.reasons.append(f"It already holds {residual:.1f} volumes, more than the {wished:.1f} you wish for.")
    live = not stabilised(given).counts
    sweet = fermentable(given)
    sweet_volumes = 0.0 if sweet is None else sweet.volumes or 0.0
    if live:
        base += sweet_volumes
    from_sg = 1.010 if final_sg is None else final_sg
    fall = given.get("remaining_fall_sg")
    if fall is None and live:
        said.caution("What may still ferment is not known, so the pressure counts none of it.")
    fall_volumes = volumes_of_fall(from_sg, fall or 0.0)
    creep = given.get("hop_creep_fall_sg")
    dose_g_per_l = _hop_dose(given)
    if dose_g_per_l and creep is None:
        said.caution("What the hops may start is not given, so the pressure counts none of it.")
    creep_given = volumes_of_fall(from_sg, creep or 0.0)
    said.volumes = base + fall_volumes + creep_given
    storage_c = float(given.get("storage_c", safety.HOTTEST_C))
    said.gauge_kpa = package_gauge_kpa(said.volumes, storage_c)

    binding = False
    dormant = 0.0
    if final_sg is not None:
        lowest, binding = lowest_plausible(given, final_sg)
        dormant = volumes_of_fall(final_sg, final_sg - lowest)
    hop_worst = creep_given if creep is not None else creep_volumes(dose_g_per_l)
    worst = base + max(dormant, fall_volumes) + max(hop_worst, creep_given) + (0.0 if live else sweet_volumes)
    said.worst_volumes = worst
    said.worst_gauge_kpa = package_gauge_kpa(worst, storage_c)

    spread = pressure_spread(base, storage_c, fall_p90_volumes=fall_volumes, creep_p90_volumes=creep_given)
    said.distribution = [
        {"chance": float(c), "gauge_kpa": round(float(p), 1)}
        for c, p in zip(spread.chances, spread.gauge_kpa, strict=True)
    ]
    rating = given.get("bottle_rating_kpa")
    if rating is not None:
        said.chance_above_rating = round(spread.chance_above(rating), 4)
    # The tail counts only as far as there is something left to ferment.
    tail_fall = safety.TAIL * fall_volumes
    if binding and given.get("lowest_plausible_sg") is not None:
        tail_fall = min(tail_fall, max(dormant, fall_volumes))
    tail = base + 0.3 + tail_fall + safety.TAIL * creep_given
    if rating is None:
        _against_practice(said, worst, tail, binding, say)
    else:
        _against_rating(said, given, rating, storage_c, tail, say)


def _hop_dose(given: Mapping[str, Any]) -> float:
    """Dry hops in g/L; where only their presence is known, the dose of the published test."""
    if given.get("hops_g_per_l"):
        return float(given["hops_g_per_l"])
    if given.get("hops_total_g"):
        return float(given["hops_total_g"]) / given["volume_l"] if "volume_l" in given else CREEP_DOSE_G_PER_L
    return CREEP_DOSE_G_PER_L if given.get("dry_hopped") else 0.0


def _heated(said: Bottle, given: Mapping[str, Any], say: DisplayUnits) -> None:
    if not given.get("heat_treat"):
        return
    if said.volumes is None:
        said.caution(safety.HEATING + safety.HEATING_UNKNOWN + safety.HEATING_PRACTICE)
        return
    _, said.heated_gauge_kpa = heated_gauge_kpa(said.volumes, safety.PASTEURISING_C)
    said.caution(
        f"{safety.HEATING}These {said.volumes:.1f} volumes reach about {say.pressure(said.heated_gauge_kpa)} at "
        f"{say.temperature(safety.PASTEURISING_C)}. {safety.HEATING_PRACTICE}"
    )
    rating = given.get("bottle_rating_kpa")
    air, air_words = _air(given, say)
    if rating is not None and said.heated_gauge_kpa + air > rating:
        said.stop(
            f"Heated, these bottles would reach about {say.pressure(said.heated_gauge_kpa)}{air_words}, above their "
            f"rating of {say.pressure(rating)}: do not heat them."
        )


def _against_practice(said: Bottle, worst: float, tail: float, binding: bool, say: DisplayUnits) -> None:
    volumes = said.volumes or 0.0
    if volumes > safety.STOP_VOLUMES:
        said.stop(
            f"{volumes:.1f} volumes are to be expected, above {safety.STOP_VOLUMES} in a bottle of unknown rating "
            "(common practice)."
        )
    elif volumes > safety.CAUTION_VOLUMES:
        said.caution(f"{volumes:.1f} volumes are to be expected. " + safety.RATING_UNKNOWN)
    elif tail > safety.ORDINARY_BOTTLE_VOLUMES:
        said.caution(
            f"About once in ten thousand it would pass {tail:.1f} volumes, more than an ordinary bottle is rated for. "
            + safety.RATING_UNKNOWN
        )
    else:
        said.reasons.append(safety.RATING_UNKNOWN)
    if binding and worst > safety.STOP_VOLUMES:
        said.caution(
            f"In the worst case it reaches {worst:.1f} volumes, {say.pressure(said.worst_gauge_kpa or 0.0)}; the "
            "bottle's rating is not given. A forced test would narrow this."
        )


def _air(given: Mapping[str, Any], say: DisplayUnits) -> tuple[float, str]:
    """What air in the neck may add, and the words for it."""
    if given.get("purged"):
        return 0.0, ""
    return safety.HEAD_SPACE_KPA, f" and up to {say.pressure(safety.HEAD_SPACE_KPA)} from air in the neck"


def _against_rating(
    said: Bottle, given: Mapping[str, Any], rating: float, storage_c: float, tail: float, say: DisplayUnits
) -> None:
    gauge, worst = said.gauge_kpa or 0.0, said.worst_gauge_kpa or 0.0
    air, air_words = _air(given, say)
    expected = f"{say.pressure(gauge)} are to be expected at {say.temperature(storage_c)}"
    if gauge > rating:
        said.stop(f"{expected}, above the bottle's rating of {say.pressure(rating)}.")
    elif gauge + air > rating:
        said.stop(f"{expected}{air_words}, together above the bottle's rating of {say.pressure(rating)}.")
    elif gauge + air > (1 - safety.RATING_MARGIN) * rating:
        said.caution(
            f"{expected}{air_words}, within {percent(safety.RATING_MARGIN)} of the bottle's rating of "
            f"{say.pressure(rating)}."
        )
    chance = said.chance_above_rating or 0.0
    if chance >= LEAST_CHANCE and gauge <= rating:
        said.caution(
            f"The chance that the pressure passes the bottle's rating of {say.pressure(rating)} is "
            f"{rare_chance(chance)}."
        )
    elif package_gauge_kpa(tail, storage_c) + air > rating >= gauge:
        said.caution(
            f"About once in ten thousand the pressure would pass the bottle's rating of {say.pressure(rating)}"
            f"{air_words.replace(' and', ', counting', 1)}."
        )
    if worst + air > rating:
        sweet = fermentable(given)
        eaten = f" and with all the {sweet.name} eaten" if sweet is not None else ""
        said.caution(
            f"In the worst case, down to the lowest plausible gravity{eaten}, it reaches {say.pressure(worst)}"
            f"{air_words}, above the bottle's rating of {say.pressure(rating)}."
            f"{'' if eaten else ' A forced test would narrow this.'}"
        )
