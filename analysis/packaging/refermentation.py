"""Where a drink ended and what may still ferment: one judgement for every closed package, bottle or keg.

What is not known is taken at its worst: a drink, an original gravity or a rating left out never earns a better verdict
than one that is given. Only a forced test that can be believed narrows what may still ferment.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from analysis.attenuation import gravity_at_attenuation
from analysis.drinks import BEERS, WINE_LIKE
from analysis.packaging.carbonation import residual_volumes, volumes_of_fall
from analysis.packaging.findings import (
    AboveExpectedEnd,
    AboveForcedTest,
    AboveStrictestEnd,
    EndUnjudged,
    FinalGravityUnknown,
    ForcedTestDoubted,
    ForcedTestUnchecked,
    Missing,
    Weighed,
    caution,
    stop,
)
from analysis.packaging.hops import creep_volumes, hop_dose_g_per_l
from analysis.packaging.inputs import Package, SheetInputs
from analysis.packaging.priming import priming_excess_volumes
from analysis.packaging.sweetening import fermentable, stabilised
from analysis.thresholds import (
    BEER_HIGH,
    BEER_LOW,
    COLDEST_CELLAR_C,
    DOUBTED_ABOVE_SG,
    DRIEST_SG,
    DRY_SG,
    FORCED_TEST_WITHIN_SG,
    GLUTTON_SG,
    WEAKEST_ORIGINAL_SG,
)

_FALL_FROM_SG: Final = DRIEST_SG
"""A point makes most gas where the gravity is low (1 % more than at 1.011): a fall of a given size is counted there,
so that a higher final gravity never looks milder."""
_ROUNDED_SG: Final = 0.0005
"""SG; half the last digit of a gravity, which does not count as above its limit (rounding)."""


def end_findings(inputs: SheetInputs, package: Package) -> Iterator[Weighed]:
    """Judge the final gravity against the forced test, or against where drink and yeast are expected to end."""
    final, tested = inputs.final_gravity_sg, inputs.forced_test_sg
    highest, missing = expected_highest(inputs)
    forced = believed_test(inputs)
    if tested is not None and forced is None:
        yield caution(ForcedTestDoubted(tested, highest) if missing is None else ForcedTestUnchecked(tested, missing))
    if final is None:
        yield stop(FinalGravityUnknown(package), refuse=False)
        return
    if tested is not None and final > tested + FORCED_TEST_WITHIN_SG:
        # Against the drink a test counts also where it is doubted: something of it went further.
        yield stop(AboveForcedTest(final, tested))
        return
    if forced is not None:
        return
    above = final > highest + _ROUNDED_SG and not stabilised(inputs).counts
    if missing is not None:
        if above:
            yield stop(AboveStrictestEnd(missing, final, highest, package), refuse=False)
        else:
            yield caution(EndUnjudged(missing))
    elif above:
        yield stop(AboveExpectedEnd(final, highest, package, inputs.drink in BEERS))


def expected_highest(inputs: SheetInputs) -> tuple[float, Missing | None]:
    """The highest final gravity that is expected, and what was missing to say so.

    From the yeast's range or the drink's. Where drink or original gravity is not given, the strictest it could be.
    """
    original, drink, low = inputs.original_gravity_sg, inputs.drink, inputs.expected_low
    as_beer = gravity_at_attenuation(
        WEAKEST_ORIGINAL_SG if original is None else original, BEER_LOW if low is None else low
    )
    if low is not None and original is not None:
        return as_beer, None
    if drink is None:
        return min(DRY_SG, as_beer), "drink"
    if drink in WINE_LIKE:
        return DRY_SG, None
    return as_beer, None if original is not None else "original gravity"


def believed_test(inputs: SheetInputs) -> float | None:
    """The end of the forced test; None where there is none, or where it lies far above what drink and yeast reach."""
    tested = inputs.forced_test_sg
    if tested is None:
        return None
    highest, _ = expected_highest(inputs)
    malt = inputs.drink is not None and inputs.drink not in WINE_LIKE
    return tested if tested <= highest + (DOUBTED_ABOVE_SG if malt else FORCED_TEST_WITHIN_SG) else None


def lowest_plausible(inputs: SheetInputs, final_sg: float) -> float:
    """The lowest gravity it may still reach.

    A forced test that is believed sets it; else drink, yeast and culture do. A `lowest_plausible_sg` that is given
    can only lower it: a forecast knows less than a test. So can a test that is doubted.
    """
    forced = believed_test(inputs)
    floor = _floor(inputs) if forced is None else forced
    lower = (each for each in (inputs.lowest_plausible_sg, inputs.forced_test_sg) if each is not None)
    return min(final_sg, floor, *lower)


def _floor(inputs: SheetInputs) -> float:
    original, drink, high = inputs.original_gravity_sg, inputs.drink, inputs.expected_high
    of_yeast = None if original is None or high is None else gravity_at_attenuation(original, high)
    if drink is None or drink in WINE_LIKE:
        floor = DRIEST_SG if of_yeast is None else min(DRIEST_SG, of_yeast)
    elif of_yeast is not None:
        floor = of_yeast
    elif drink not in BEERS:
        floor = DRIEST_SG  # what is neither said to be malt nor wine may be sugar
    else:
        floor = GLUTTON_SG if original is None else gravity_at_attenuation(original, BEER_HIGH)
    if inputs.diastatic or inputs.mixed_culture:
        floor = min(floor, GLUTTON_SG)
    return floor


@dataclass(frozen=True, slots=True)
class Gas:
    """Volumes of CO2 in a closed package.

    `base` is what it holds or is wished to hold, `fall` and `creep` what is to be expected on top, `worst_fall` and
    `worst_creep` the same down to the lowest plausible gravity and by the published creep, `sweet` a fermentable
    sweetener if all of it ferments (0 where its dose is not known), `primed` what a priming sugar of uncertain strength
    may make beyond the wish.
    """

    base: float
    fall: float
    creep: float
    worst_fall: float
    worst_creep: float
    sweet: float
    live: bool
    primed: float = 0.0

    @property
    def expected(self) -> float:
        """What is to be expected; live yeast eats the sweetener."""
        return self.base + self.fall + self.creep + (self.sweet if self.live else 0.0)

    @property
    def worst(self) -> float:
        """The worst case; stabilising can fail."""
        return self.base + self.worst_fall + self.worst_creep + self.sweet + self.primed


def held_volumes(inputs: SheetInputs, residual: float | None) -> float:
    """The gas already dissolved; where its warmest temperature is not known, what it can hold in a cold cellar."""
    if residual is not None:
        return residual
    return residual_volumes(COLDEST_CELLAR_C, inputs.vessel_gauge_kpa or 0.0, inputs.altitude_m or 0.0)


def gas(inputs: SheetInputs, residual: float | None) -> Gas:
    """The gas in a closed package; `residual` volumes are dissolved, None where that is not known."""
    final = inputs.final_gravity_sg
    live = not stabilised(inputs).counts
    dormant = 0.0 if final is None else volumes_of_fall(final, final - lowest_plausible(inputs, final))
    if inputs.remaining_fall_sg is not None:
        fall = volumes_of_fall(_FALL_FROM_SG, inputs.remaining_fall_sg)
    else:
        fall = dormant if live else 0.0  # an unknown fall may be all that is left
    creep = volumes_of_fall(_FALL_FROM_SG, inputs.hop_creep_fall_sg or 0.0)
    sweet = fermentable(inputs)
    return Gas(
        base=max(inputs.carbonation_volumes or 0.0, held_volumes(inputs, residual)),
        fall=fall,
        creep=creep,
        worst_fall=max(dormant, fall),
        worst_creep=creep if inputs.hop_creep_fall_sg is not None else creep_volumes(hop_dose_g_per_l(inputs)),
        sweet=0.0 if sweet is None else sweet.volumes or 0.0,
        live=live,
        primed=priming_excess_volumes(inputs, residual),
    )
