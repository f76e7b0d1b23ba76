"""Go, caution or stop for kegs: the pressure to set, what warmth and further fermentation would make of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.display_units import DisplayUnits
from analysis.packaging import safety
from analysis.packaging.carbonation import keg_gauge_kpa, package_gauge_kpa
from analysis.packaging.refermentation import Judged, gas, hop_dose_g_per_l, judge_end
from analysis.packaging.sweetener_dose import fermentable, stabilised


@dataclass
class Keg(Judged):
    """What is said about kegs; `gauge_kpa`, the setting, is None where it is refused or cannot be said."""

    gauge_kpa: float | None = None
    worst_gauge_kpa: float = 0.0


def judge_keg(given: Mapping[str, Any], residual: float | None, say: DisplayUnits) -> Keg:
    """The verdict on kegs.

    Parameters
    ----------
    given
        Checked inputs of the sheet.
    residual
        Volumes still dissolved, None where the warmest temperature is not given.
    say
        The units for the sentences.
    """
    said = Keg()
    _vessel(said, given, say)
    _setting(said, given, say)
    judge_end(said, given, say, "keg")
    if given.get("finished") is not True or given.get("hold_met") is not True:
        said.caution(
            "It has not been seen to finish and hold: only a keg with a working relief valve, its pressure checked "
            "daily, may be filled now, and kept cold."
        )
    if given.get("hand_sample") is not True:
        said.caution("No hand sample confirms the gravity: a float that is stuck or fouled looks just like a finish.")
    if given.get("diastatic") or given.get("mixed_culture"):
        said.caution("This culture may go on for weeks: keep the keg cold and check its pressure.")
    if hop_dose_g_per_l(given) and "hop_creep_fall_sg" not in given:
        said.caution("Dry hops can start a renewed fall whose size is not known here: the keg must stay cold.")
    if not stabilised(given).counts and "remaining_fall_sg" not in given:
        said.caution("What may still ferment is not known: it is counted down to the lowest plausible gravity.")
    _sweetener(said, given)
    _primed(said, given)
    _warmed(said, given, residual, say)
    if "keg_rating_kpa" not in given:
        said.caution(
            f"First read the keg's marking and enter its rating in {say.pressure_unit}: with an unknown rating there "
            f"is no go, and until then it counts as {say.pressure(safety.UNRATED_KEG_KPA)}.",
            first=True,
        )
    elif given["keg_rating_kpa"] > safety.HIGHEST_KEG_KPA:
        said.reasons.append(
            f"A rating of {say.pressure(given['keg_rating_kpa'])} counts as {say.pressure(_rating(given))}, the most "
            "that small kegs are marked for; read the marking again, with its unit."
        )
    return said


def _rating(given: Mapping[str, Any]) -> float:
    """What the keg is held against: its rating as far as one is believed, else the weakest usual one."""
    return min(float(given.get("keg_rating_kpa", safety.UNRATED_KEG_KPA)), safety.HIGHEST_KEG_KPA)


def _its_rating(given: Mapping[str, Any], say: DisplayUnits) -> str:
    rating = say.pressure(_rating(given))
    return f"the keg's rating of {rating}" if "keg_rating_kpa" in given else f"the {rating} of a keg of unknown rating"


def _setting(said: Keg, given: Mapping[str, Any], say: DisplayUnits) -> None:
    wished = given.get("carbonation_volumes")
    if wished is None or "serving_c" not in given:
        missing = "The serving temperature" if wished is not None else "The carbonation"
        said.caution(f"{missing} is not given: enter it, or no pressure to set can be said.")
        return
    gauge = keg_gauge_kpa(wished, given["serving_c"])
    if gauge > _rating(given):
        said.stop(
            f"Holding {wished:.1f} volumes at {say.temperature(given['serving_c'])} takes {say.pressure(gauge)}, above "
            f"{_its_rating(given, say)}. Usual is {say.pressure(50)} to {say.pressure(200)}: serve it colder, or wish "
            "for less.",
            refuse="keg_rating_kpa" in given,
        )
    else:
        said.gauge_kpa = gauge


def _vessel(said: Keg, given: Mapping[str, Any], say: DisplayUnits) -> None:
    standing = given.get("vessel_gauge_kpa", 0.0)
    if standing > _rating(given):
        said.stop(
            f"The vessel stands at {say.pressure(standing)}, above {_its_rating(given, say)}. Vent it first; usual in "
            f"a keg is {say.pressure(50)} to {say.pressure(200)}.",
            refuse="keg_rating_kpa" in given,
        )


def _sweetener(said: Keg, given: Mapping[str, Any]) -> None:
    sweet, held = fermentable(given), stabilised(given)
    if sweet is None:
        return
    if sweet.volumes is None:
        said.stop(
            f"How much {sweet.name} goes in is not known, so no pressure here counts it: do not fill a keg until you "
            "know.",
            refuse=False,
        )
    if held.counts:
        return
    why_not = f"{held.why_not} " if held.why_not else ""
    said.caution(
        f"{why_not}{sweet.name.capitalize()} ferments with live yeast: keep the keg cold, check its pressure, and read "
        "its marking."
    )


def _primed(said: Keg, given: Mapping[str, Any]) -> None:
    """Sugar on top of a fermentation that still runs adds to a pressure that nobody can say."""
    if "priming_sugar" not in given:
        return
    for key, unmet in (("finished", "it has finished"), ("hold_met", "its gravity has been seen to hold")):
        if given.get(key) is not True:
            said.stop(f"No priming sugar goes into a keg before {unmet}.", refuse=given.get(key) is False)


def _warmed(said: Keg, given: Mapping[str, Any], residual: float | None, say: DisplayUnits) -> None:
    """What the closed keg reaches in the warmest place it may stand, as expected and at worst."""
    hottest = float(given.get("storage_c", safety.HOTTEST_C))
    inside = gas(given, residual)
    warm, worst = package_gauge_kpa(inside.expected, hottest), package_gauge_kpa(inside.worst, hottest)
    said.worst_gauge_kpa = worst
    rating, room = _rating(given), (1 - safety.RATING_MARGIN) * _rating(given)
    sweet = fermentable(given)
    eaten = f" and all the {sweet.name} ferments" if sweet is not None else " and all ferments that may"
    when = f"If the keg warms to {say.temperature(hottest)}"
    warmed = f"{when}{eaten if sweet is not None and inside.live else ''} it reaches {say.pressure(warm)}"
    at_worst = f"{when}{eaten}, down to the lowest plausible gravity, it reaches {say.pressure(worst)}"
    way_out = (
        "Keep it cold and enter that as the hottest place it may stand, or show by a forced test that less is left; a "
        "relief valve is the last resort, not a plan."
    )
    known = "keg_rating_kpa" in given
    if warm > rating:
        said.stop(f"{warmed}, above {_its_rating(given, say)}. {way_out}", refuse=known)
    elif worst > rating:
        said.stop(f"{at_worst}, above {_its_rating(given, say)}. {way_out}", refuse=known)
    elif not known:
        return  # it is at most a caution already
    elif warm > room:
        said.caution(f"{warmed}, near {_its_rating(given, say)}. Keep it cold.")
    elif worst > room:
        said.caution(f"{at_worst}, near {_its_rating(given, say)}. Keep it cold.")
