"""Where a drink ended and what may still ferment: one judgement for every closed package, bottle or keg.

What is not known is taken at its worst: a drink, an original gravity or a rating left out never earns a better verdict
than one that is given. Only a forced test that can be believed narrows what may still ferment.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from analysis.attenuation import gravity_at_attenuation
from analysis.display_units import DisplayUnits
from analysis.drinks import BEERS, WINE_LIKE
from analysis.packaging.carbonation import residual_volumes, volumes_of_fall
from analysis.packaging.hops import CREEP_DOSE_G_PER_L, creep_volumes
from analysis.packaging.safety import Verdict
from analysis.packaging.sweetener_dose import fermentable, stabilised

DRY_SG: Final = 1.006
"""A mead, cider or wine above this still holds sugar that yeast can eat (common practice: dry is 0.990 to 1.004)."""
DRIEST_SG: Final = 0.994
"""Where a mead, cider or wine can end if everything ferments (published ranges: 0.990 to 1.002)."""
BEER_LOW: Final = 0.62
BEER_HIGH: Final = 0.88
"""Apparent attenuation of beers unless the yeast says otherwise: most lie between (means of 532 brews: 0.78 to
0.86)."""
GLUTTON_SG: Final = 1.000
"""Where a diastatic yeast or a mixed culture can take a beer (common practice, no source)."""
WEAKEST_ORIGINAL_SG: Final = 1.030
"""The original gravity of a weak beer, whose end is asked of one that does not say its own (common practice, no
source): a stronger one may end higher, so leaving it out never helps."""
FORCED_TEST_WITHIN_SG: Final = 0.002
"""As far above its forced test a drink still counts as ended: the error of two hydrometer readings."""
DOUBTED_ABOVE_SG: Final = 0.004
"""How far above the expected end a beer's forced test is still believed: mash and lactose leave that much beside what
yeast reaches (common practice, no source). A must or honey leaves nothing: there `FORCED_TEST_WITHIN_SG` holds."""
COLDEST_CELLAR_C: Final = 0.0
"""Where nobody says how warm it has been since it finished, as much gas as it can hold there is counted."""
_FALL_FROM_SG: Final = DRIEST_SG
"""A point makes most gas where the gravity is low (1 % more than at 1.011): a fall of a given size is counted there,
so that a higher final gravity never looks milder."""


@dataclass
class Judged:
    """A verdict and the sentences behind it; `reasons` are for the reader's care, `refusals` cannot be got round."""

    verdict: Verdict = "go"
    refusals: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    def stop(self, sentence: str, *, refuse: bool = True) -> None:
        """Refuse it; with `refuse` False the reason stands among the cautions."""
        self.verdict = "stop"
        (self.refusals if refuse else self.reasons).append(sentence)

    def caution(self, sentence: str, *, first: bool = False) -> None:
        """At most caution from here on; `first` puts what is to be done before the other reasons."""
        if self.verdict == "go":
            self.verdict = "caution"
        self.reasons.insert(0 if first else len(self.reasons), sentence)


def judge_end(said: Judged, given: Mapping[str, Any], say: DisplayUnits, package: str) -> None:
    """Judge the final gravity against the forced test, or against where drink and yeast are expected to end."""
    final, tested = given.get("final_gravity_sg"), given.get("forced_test_sg")
    highest, missing = expected_highest(given)
    forced = believed_test(given)
    if tested is not None and forced is None:
        said.caution(_doubt(tested, highest, missing, say))
    if final is None:
        said.stop(
            "The final gravity is not given, so it cannot be judged whether it has ended: do not fill a "
            f"{package} until you know.",
            refuse=False,
        )
        return
    if tested is not None and final > tested + FORCED_TEST_WITHIN_SG:
        # Against the drink a test counts also where it is doubted: something of it went further.
        said.stop(
            f"The gravity, {say.gravity(final)}, is above the end of its forced test, {say.gravity(tested)}: it is "
            "not done."
        )
        return
    if forced is not None:
        return
    above = final > highest + 0.0005 and not stabilised(given).counts
    if missing and above:
        said.stop(
            f"{missing} is not given. The gravity, {say.gravity(final)}, is above {say.gravity(highest)}, where the "
            f"strictest of what it could be ends: do not fill a {package} until you know.",
            refuse=False,
        )
    elif missing:
        said.caution(f"{missing} is not given, so it cannot be judged whether it ended where it should.")
    elif above:
        said.stop(
            f"The gravity, {say.gravity(final)}, is above where this drink is expected to end, "
            f"{say.gravity(highest)} or lower: what is left may ferment in the {package}. Make a forced test, or "
            f"{'filter it free of yeast' if given.get('drink') in BEERS else 'stabilise it'}."
        )


def _doubt(tested: float, highest: float, missing: str, say: DisplayUnits) -> str:
    if missing:
        why = f"{missing} is not given, so the forced test of {say.gravity(tested)} cannot be checked"
        return f"{why} and counts for nothing: give it, or make a second forced test."
    return (
        f"Make a second forced test, warm and with plenty of fresh yeast: the one given ended at {say.gravity(tested)},"
        f" well above the {say.gravity(highest)} or lower that drink and yeast reach. It may have failed, or the "
        "sample was not of this lot, so it counts for nothing here."
    )


def expected_highest(given: Mapping[str, Any]) -> tuple[float, str]:
    """The highest final gravity that is expected, and what was missing to say so.

    From the yeast's range or the drink's. Where drink or original gravity is not given, the strictest it could be.
    """
    original, drink = given.get("original_gravity_sg"), given.get("drink")
    as_beer = gravity_at_attenuation(
        WEAKEST_ORIGINAL_SG if original is None else original, given.get("expected_low", BEER_LOW)
    )
    if "expected_low" in given and original is not None:
        return as_beer, ""
    if drink is None:
        return min(DRY_SG, as_beer), "The drink"
    if drink in WINE_LIKE:
        return DRY_SG, ""
    return as_beer, "" if original is not None else "The original gravity"


def believed_test(given: Mapping[str, Any]) -> float | None:
    """The end of the forced test; None where there is none, or where it lies far above what drink and yeast reach."""
    tested = given.get("forced_test_sg")
    if tested is None:
        return None
    highest, _ = expected_highest(given)
    malt = given.get("drink") is not None and given["drink"] not in WINE_LIKE
    return float(tested) if tested <= highest + (DOUBTED_ABOVE_SG if malt else FORCED_TEST_WITHIN_SG) else None


def lowest_plausible(given: Mapping[str, Any], final_sg: float) -> float:
    """The lowest gravity it may still reach.

    A forced test that is believed sets it; else drink, yeast and culture do. A `lowest_plausible_sg` that is given
    can only lower it: a forecast knows less than a test. So can a test that is doubted.
    """
    forced = believed_test(given)
    floor = _floor(given) if forced is None else forced
    lower = (float(given.get(key, final_sg)) for key in ("lowest_plausible_sg", "forced_test_sg"))
    return min(final_sg, floor, *lower)


def _floor(given: Mapping[str, Any]) -> float:
    original, drink = given.get("original_gravity_sg"), given.get("drink")
    high = given.get("expected_high")
    of_yeast = None if original is None or high is None else gravity_at_attenuation(original, high)
    if drink is None or drink in WINE_LIKE:
        floor = DRIEST_SG if of_yeast is None else min(DRIEST_SG, of_yeast)
    elif of_yeast is not None:
        floor = of_yeast
    elif drink not in BEERS:
        floor = DRIEST_SG  # what is neither said to be malt nor wine may be sugar
    else:
        floor = GLUTTON_SG if original is None else gravity_at_attenuation(original, BEER_HIGH)
    if given.get("diastatic") or given.get("mixed_culture"):
        floor = min(floor, GLUTTON_SG)
    return floor


@dataclass(frozen=True, slots=True)
class Gas:
    """Volumes of CO2 in a closed package.

    `base` is what it holds or is wished to hold, `fall` and `creep` what is to be expected on top, `worst_fall` and
    `worst_creep` the same down to the lowest plausible gravity and by the published creep, `sweet` a fermentable
    sweetener if all of it ferments (0 where its dose is not known).
    """

    base: float
    fall: float
    creep: float
    worst_fall: float
    worst_creep: float
    sweet: float
    live: bool

    @property
    def expected(self) -> float:
        """What is to be expected; live yeast eats the sweetener."""
        return self.base + self.fall + self.creep + (self.sweet if self.live else 0.0)

    @property
    def worst(self) -> float:
        """The worst case; stabilising can fail."""
        return self.base + self.worst_fall + self.worst_creep + self.sweet


def held_volumes(given: Mapping[str, Any], residual: float | None) -> float:
    """The gas already dissolved; where its warmest temperature is not known, what it can hold in a cold cellar."""
    return residual_volumes(COLDEST_CELLAR_C, given.get("vessel_gauge_kpa", 0.0)) if residual is None else residual


def gas(given: Mapping[str, Any], residual: float | None) -> Gas:
    """The gas in a closed package, from the checked inputs of the sheet."""
    final = given.get("final_gravity_sg")
    live = not stabilised(given).counts
    dormant = 0.0 if final is None else volumes_of_fall(final, final - lowest_plausible(given, final))
    if "remaining_fall_sg" in given:
        fall = volumes_of_fall(_FALL_FROM_SG, given["remaining_fall_sg"])
    else:
        fall = dormant if live else 0.0  # an unknown fall may be all that is left
    creep = volumes_of_fall(_FALL_FROM_SG, given.get("hop_creep_fall_sg", 0.0))
    sweet = fermentable(given)
    return Gas(
        base=max(given.get("carbonation_volumes", 0.0), held_volumes(given, residual)),
        fall=fall,
        creep=creep,
        worst_fall=max(dormant, fall),
        worst_creep=creep if "hop_creep_fall_sg" in given else creep_volumes(hop_dose_g_per_l(given)),
        sweet=0.0 if sweet is None else sweet.volumes or 0.0,
        live=live,
    )


def hop_dose_g_per_l(given: Mapping[str, Any]) -> float:
    """Dry hops in g/L; where only their presence is known, the dose of the published test."""
    if given.get("hops_g_per_l"):
        return float(given["hops_g_per_l"])
    if given.get("hops_total_g"):
        return float(given["hops_total_g"]) / given["volume_l"] if "volume_l" in given else CREEP_DOSE_G_PER_L
    return CREEP_DOSE_G_PER_L if given.get("dry_hopped") else 0.0
