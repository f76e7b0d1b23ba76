"""Go, caution or stop for kegs: the pressure to set, what warmth and further fermentation would make of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from analysis.display_units import DisplayUnits
from analysis.packaging import safety
from analysis.packaging.carbonation import keg_gauge_kpa, package_gauge_kpa, volumes_of_fall
from analysis.packaging.safety import Verdict
from analysis.packaging.sweetener_dose import fermentable, stabilised


@dataclass
class Keg:
    """What is said about kegs; `gauge_kpa` is None where it is refused or cannot be said."""

    verdict: Verdict = "go"
    gauge_kpa: float | None = None
    refusals: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    def stop(self, sentence: str) -> None:
        """Refuse."""
        self.verdict = "stop"
        self.refusals.append(sentence)

    def caution(self, sentence: str) -> None:
        """At most caution from here on."""
        if self.verdict == "go":
            self.verdict = "caution"
        self.reasons.append(sentence)


def judge_keg(given: Mapping[str, Any], say: DisplayUnits) -> Keg:
    """The verdict on kegs, from the checked inputs of the sheet."""
    said = Keg()
    _setting(said, given, say)
    _vessel(said, given, say)
    if given.get("finished") is not True or given.get("hold_met") is not True:
        said.caution("It has not been seen to finish and hold: a keg filled now must stay cold, its pressure checked.")
    if given.get("hand_sample") is not True:
        said.caution("No hand sample confirms the gravity: a float that is stuck or fouled looks just like a finish.")
    if given.get("diastatic") or given.get("mixed_culture"):
        said.caution("This culture may go on for weeks: keep the keg cold and check its pressure.")
    if any(given.get(k) for k in ("dry_hopped", "hops_g_per_l", "hops_total_g")) and "hop_creep_fall_sg" not in given:
        said.caution("Dry hops can start a renewed fall whose size is not known here: the keg must stay cold.")
    if given.get("keg_rating_kpa") is None:
        said.caution("The keg's rating is not entered; read its marking.")
    _sweetener(said, given)
    _warmed(said, given, say)
    return said


def _setting(said: Keg, given: Mapping[str, Any], say: DisplayUnits) -> None:
    wished, rating = given.get("carbonation_volumes"), given.get("keg_rating_kpa")
    if wished is None or "serving_c" not in given:
        return
    gauge = keg_gauge_kpa(wished, given["serving_c"])
    if rating is not None and gauge > rating:
        said.stop(
            f"Holding {wished:.1f} volumes at {say.temperature(given['serving_c'])} takes {say.pressure(gauge)}, above "
            f"the keg's rating of {say.pressure(rating)}. Usual is {say.pressure(50)} to {say.pressure(200)}: serve it "
            "colder, or wish for less."
        )
    else:
        said.gauge_kpa = gauge


def _vessel(said: Keg, given: Mapping[str, Any], say: DisplayUnits) -> None:
    standing, rating = given.get("vessel_gauge_kpa", 0.0), given.get("keg_rating_kpa")
    if rating is not None and standing > rating:
        said.stop(
            f"The vessel stands at {say.pressure(standing)}, above the keg's rating of {say.pressure(rating)}. Vent it "
            f"first; usual in a keg is {say.pressure(50)} to {say.pressure(200)}."
        )


def _sweetener(said: Keg, given: Mapping[str, Any]) -> None:
    sweet, held = fermentable(given), stabilised(given)
    if sweet is None or held.counts:
        return
    why_not = f"{held.why_not} " if held.why_not else ""
    said.caution(
        f"{why_not}{sweet.name.capitalize()} ferments with live yeast: keep the keg cold, check its pressure, and read "
        "its marking."
    )


def _warmed(said: Keg, given: Mapping[str, Any], say: DisplayUnits) -> None:
    wished, rating = given.get("carbonation_volumes"), given.get("keg_rating_kpa")
    if wished is None or rating is None:
        return
    hottest = float(given.get("storage_c", safety.HOTTEST_C))
    from_sg = given.get("final_gravity_sg", 1.010)
    more = given.get("remaining_fall_sg", 0.0) + given.get("hop_creep_fall_sg", 0.0)
    warm = package_gauge_kpa(wished + volumes_of_fall(from_sg, more), hottest)
    sweet = fermentable(given)
    if sweet is not None and sweet.volumes is not None and not stabilised(given).counts:
        eaten = package_gauge_kpa(wished + sweet.volumes + volumes_of_fall(from_sg, more), hottest)
        if eaten > (1 - safety.RATING_MARGIN) * rating:
            said.caution(
                f"If the keg warms to {say.temperature(hottest)} and all the {sweet.name} ferments, it reaches "
                f"{say.pressure(eaten)}; its rating is {say.pressure(rating)}. Keep it cold."
            )
    if warm > (1 - safety.RATING_MARGIN) * rating:
        said.caution(
            f"If the keg warms to {say.temperature(hottest)} it reaches {say.pressure(warm)}; its rating is "
            f"{say.pressure(rating)}. Keep it cold."
        )
