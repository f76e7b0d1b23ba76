"""Go, caution or stop for bottles: the pressure to come, the worst case beside it, and every reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from analysis.display_units import DisplayUnits, percent, rare_chance
from analysis.packaging import safety
from analysis.packaging.carbonation import heated_gauge_kpa, package_gauge_kpa, pressure_spread
from analysis.packaging.refermentation import (
    Gas,
    Judged,
    believed_test,
    gas,
    held_volumes,
    hop_dose_g_per_l,
    judge_end,
    lowest_plausible,
)
from analysis.packaging.sweetener_dose import fermentable, refusal, stabilised
from analysis.packaging.sweetening import SWEETENERS

LEAST_CHANCE = 0.001
"""A chance of passing the rating from here on is told as a number."""
NO_PRIMING = (
    "It is said to be stabilised, and stabilised yeast will not carbonate it: no priming sugar is given. Carbonate it "
    "in a keg and fill cold."
)


@dataclass
class Bottle(Judged):
    """What is said about bottles; `reasons` are the sentences behind the verdict, what is to be done first."""

    volumes: float | None = None
    worst_volumes: float | None = None
    gauge_kpa: float | None = None
    worst_gauge_kpa: float | None = None
    chance_above_rating: float | None = None
    heated_gauge_kpa: float | None = None
    distribution: list[dict[str, float]] = field(default_factory=list)


def judge(given: Mapping[str, Any], residual: float | None, say: DisplayUnits) -> Bottle:
    """The verdict on bottles.

    Parameters
    ----------
    given
        Checked inputs of the sheet.
    residual
        Volumes still dissolved, None where the warmest temperature is not given.
    say
        The units for the sentences.
    """
    said = Bottle()
    _fermentation(said, given, say)
    _sweetener(said, given)
    _priming(said, given, residual)
    _pressure(said, given, residual, say)
    _heated(said, given, say)
    if "bottle_rating_kpa" not in given:
        said.caution(_ask_for_the_rating(say), first=True)
    return said


def _ask_for_the_rating(say: DisplayUnits) -> str:
    return (
        f"First read on the maker's sheet what the bottles are rated for, in {say.pressure_unit}, and enter it: with "
        f"an unknown rating there is no go. Until then they count as the weakest ordinary bottles, "
        f"{say.pressure(safety.UNRATED_BOTTLE_KPA)} with 3.0 volumes at most (common practice); those for still wine, "
        "with swing tops or of thin glass may hold less."
    )


def _rating(given: Mapping[str, Any]) -> float:
    """What the bottles are held against: their rating as far as one is believed, else the weakest ordinary one."""
    return min(float(given.get("bottle_rating_kpa", safety.UNRATED_BOTTLE_KPA)), safety.HIGHEST_BOTTLE_KPA)


def _fermentation(said: Bottle, given: Mapping[str, Any], say: DisplayUnits) -> None:
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
    judge_end(said, given, say, "bottle")


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
    if wished is not None and wished > (residual or 0.0) + 0.05 and stabilised(given).said:
        said.stop(NO_PRIMING)


def _pressure(said: Bottle, given: Mapping[str, Any], residual: float | None, say: DisplayUnits) -> None:
    wished = given.get("carbonation_volumes")
    if wished is None and residual is None:
        said.stop(
            "Neither a carbonation nor the warmest temperature is given, so the pressure is unknown: do not fill a "
            "bottle until you know.",
            refuse=False,
        )
        return
    _held(said, wished, residual, held_volumes(given, residual))
    inside = gas(given, residual)
    final = given.get("final_gravity_sg")
    if inside.live and "remaining_fall_sg" not in given:
        counted = "none of it is counted"
        if final is not None:
            counted = (
                f"it is counted down to the lowest plausible gravity, {say.gravity(lowest_plausible(given, final))}"
            )
        said.caution(f"What may still ferment is not known: {counted}.")
    if hop_dose_g_per_l(given) and "hop_creep_fall_sg" not in given:
        said.caution("What the hops may start is not given, so the pressure to expect counts none of it.")
    storage_c = float(given.get("storage_c", safety.HOTTEST_C))
    said.volumes, said.worst_volumes = inside.expected, inside.worst
    said.gauge_kpa = package_gauge_kpa(said.volumes, storage_c)
    said.worst_gauge_kpa = package_gauge_kpa(said.worst_volumes, storage_c)

    base = said.volumes - inside.fall - inside.creep
    spread = pressure_spread(base, storage_c, fall_p90_volumes=inside.fall, creep_p90_volumes=inside.creep)
    said.distribution = [
        {"chance": float(c), "gauge_kpa": round(float(p), 1)}
        for c, p in zip(spread.chances, spread.gauge_kpa, strict=True)
    ]
    if "bottle_rating_kpa" in given:
        said.chance_above_rating = round(spread.chance_above(_rating(given)), 4)
        tail = package_gauge_kpa(_tail_volumes(given, base, inside), storage_c)
        _against_rating(said, given, storage_c, tail, say)
    else:
        _unrated(said, given, storage_c, say)
    if said.volumes > safety.STOP_VOLUMES and "bottle_rating_kpa" in given:
        said.caution(
            f"{said.volumes:.1f} volumes are to be expected, more than ordinary bottles are filled with (above "
            f"{safety.STOP_VOLUMES}, common practice): use only bottles whose maker names such a use."
        )


def _held(said: Bottle, wished: float | None, residual: float | None, held: float) -> None:
    """What is dissolved already, beside the wish."""
    if wished is None:
        said.reasons.append("No carbonation is wished for: it is counted as still, with what it already holds.")
    elif residual is None:
        more = ""
        if held > wished + 0.05:
            more = (
                f" Up to {held:.1f} volumes may still be dissolved, more than the {wished:.1f} you wish for, and are "
                "counted."
            )
        said.caution(
            f"The warmest temperature since it finished is not given: enter it, or no priming sugar can be said.{more}"
        )
    elif residual > wished + 0.05:
        said.reasons.append(f"It already holds {residual:.1f} volumes, more than the {wished:.1f} you wish for.")


def _tail_volumes(given: Mapping[str, Any], base: float, inside: Gas) -> float:
    """Volumes that come about once in ten thousand; a forced test says how far there is anything left to ferment."""
    tail_fall = safety.TAIL * inside.fall
    if believed_test(given) is not None:
        tail_fall = min(tail_fall, inside.worst_fall)
    return base + 0.3 + tail_fall + safety.TAIL * inside.creep


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
    rating = _rating(given)
    air, air_words = _air(given, say)
    if said.heated_gauge_kpa + air > rating:
        said.stop(
            f"Heated, these bottles would reach about {say.pressure(said.heated_gauge_kpa)}{air_words}, above "
            f"{_their_rating(given, say)}: do not heat them.",
            refuse="bottle_rating_kpa" in given,
        )


def _their_rating(given: Mapping[str, Any], say: DisplayUnits) -> str:
    if "bottle_rating_kpa" in given:
        return f"their rating of {say.pressure(_rating(given))}"
    return f"the {say.pressure(safety.UNRATED_BOTTLE_KPA)} that bottles of unknown rating are trusted with"


def _unrated(said: Bottle, given: Mapping[str, Any], storage_c: float, say: DisplayUnits) -> None:
    """By the same sums as the weakest ordinary bottle, and by volumes; never better than a caution."""
    volumes, worst = said.volumes or 0.0, said.worst_gauge_kpa or 0.0
    gauge = said.gauge_kpa or 0.0
    air, air_words = _air(given, say)
    if gauge + air > safety.UNRATED_BOTTLE_KPA:
        said.stop(
            f"{say.pressure(gauge)} are to be expected at {say.temperature(storage_c)}{air_words}, above "
            f"{_their_rating(given, say)}.",
            refuse=False,
        )
    if volumes > safety.STOP_VOLUMES:
        said.stop(
            f"{volumes:.1f} volumes are to be expected, above {safety.STOP_VOLUMES} in a bottle of unknown rating "
            "(common practice)."
        )
    elif volumes > safety.CAUTION_VOLUMES:
        said.caution(
            f"{volumes:.1f} volumes are to be expected, above {safety.CAUTION_VOLUMES:.1f} in a bottle of unknown "
            "rating (common practice)."
        )
    if worst + air > safety.NEW_BOTTLE_TEST_KPA:
        said.stop(
            f"In the worst case it reaches {say.pressure(worst)}{air_words}, more than the "
            f"{say.pressure(safety.NEW_BOTTLE_TEST_KPA)} with which new beer bottles are tested for a minute. A forced "
            "test would narrow this.",
            refuse=False,
        )
    elif worst + air > safety.UNRATED_BOTTLE_KPA:
        said.caution(
            f"In the worst case it reaches {(said.worst_volumes or 0.0):.1f} volumes, {say.pressure(worst)}{air_words}."
            " A forced test would narrow this."
        )


def _air(given: Mapping[str, Any], say: DisplayUnits) -> tuple[float, str]:
    """What air in the neck may add, and the words for it."""
    if given.get("purged"):
        return 0.0, ""
    return safety.HEAD_SPACE_KPA, f" and up to {say.pressure(safety.HEAD_SPACE_KPA)} from air in the neck"


def _against_rating(said: Bottle, given: Mapping[str, Any], storage_c: float, tail: float, say: DisplayUnits) -> None:
    rating = _rating(given)
    if given["bottle_rating_kpa"] > rating:
        said.reasons.append(
            f"A rating of {say.pressure(given['bottle_rating_kpa'])} is not believed and counts as "
            f"{say.pressure(rating)}, with which new bottles for sparkling wine are tested: no bottle is made to work "
            "above that. Check the number and its unit."
        )
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
    elif tail + air > rating >= gauge:
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
