"""Where a drink ended and how far it may still go: one judgement for every closed package, bottle or keg.

What is not known is taken at its worst: a drink, an original gravity or a rating left out never earns a better verdict
than one that is given. Only a forced test that can be believed narrows what may still ferment.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from analysis.attenuation import gravity_at_attenuation
from analysis.drinks import BEERS, WINE_LIKE
from analysis.packaging.findings import (
    AboveExpectedEnd,
    AboveForcedTest,
    AboveStrictestEnd,
    EndUnjudged,
    FinalGravityUnknown,
    ForcedTestDoubted,
    ForcedTestUnchecked,
    ForcedTestUnsure,
    Missing,
    Weighed,
    caution,
    note,
    stop,
)
from analysis.packaging.inputs import Package, SheetInputs
from analysis.packaging.sweetening import SWEETENERS, gravity_after, stabilised
from analysis.thresholds import (
    BEER_HIGH,
    BEER_LOW,
    CULTURE_CREEP_SG,
    DIASTATIC_HOLD_DAYS,
    DOUBTED_ABOVE_SG,
    DRIEST_SG,
    DRY_SG,
    FORCED_TEST_ERROR_SG,
    FORCED_TEST_LEAST,
    FORCED_TEST_NOTHING,
    FORCED_TEST_SHORT_SG,
    FORCED_TEST_SHORT_SHARE,
    FORCED_TEST_WITHIN_SG,
    GLUTTON_SG,
    MIXED_HOLD_DAYS,
    MIXED_SG,
    STRONGEST_ORIGINAL_SG,
    UNSAID_YEAST_BEYOND,
    UNSAID_YEAST_HIGH,
    WEAKEST_ORIGINAL_SG,
    YEAST_BEYOND,
    YEAST_RANGE,
)

_ROUNDED_SG: Final = 0.0005
"""SG; half the last digit of a gravity, which does not count as above its limit (rounding)."""


def end_findings(inputs: SheetInputs, package: Package) -> Iterator[Weighed]:
    """Judge the final gravity against the forced test, or against where drink and yeast are expected to end."""
    final, tested = inputs.final_gravity_sg, inputs.forced_test_sg
    highest, missing = expected_highest(inputs)
    forced = believed_test(inputs)
    if tested is not None and forced is None and tested <= _believed_up_to(inputs):
        yield note(ForcedTestUnsure(tested, in_part=test_counts(inputs) > 0))
    elif tested is not None and forced is None:
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
    lift = unfermentable_lift_sg(inputs)
    weakest = max(1.0, (WEAKEST_ORIGINAL_SG if original is None else original - lift))
    as_beer = gravity_at_attenuation(weakest, BEER_LOW if low is None else low) + lift
    if low is not None and original is not None:
        return as_beer, None
    if drink is None:
        return min(DRY_SG + lift, as_beer), "drink"
    if drink in WINE_LIKE:
        return DRY_SG + lift, None
    return as_beer, None if original is not None else "original gravity"


def unfermentable_lift_sg(inputs: SheetInputs) -> float:
    """By how much lactose that stays lifts every gravity; nothing where a culture is there that may eat it."""
    if not inputs.lactose_g_per_l or inputs.mixed_culture:
        return 0.0
    return gravity_after(1.0, 1.0, inputs.lactose_g_per_l, SWEETENERS["lactose"]) - 1.0


def _believed_up_to(inputs: SheetInputs) -> float:
    """Above this gravity a forced test is doubted, with whatever yeast it was made."""
    highest, _ = expected_highest(inputs)
    malt = inputs.drink is not None and inputs.drink not in WINE_LIKE
    return highest + (DOUBTED_ABOVE_SG if malt else FORCED_TEST_WITHIN_SG)


def believed_test(inputs: SheetInputs) -> float | None:
    """The end of the forced test; None where there is none that counts in favour of the drink.

    It counts for nothing where it lies far above what drink and yeast reach. Without plenty of fresh yeast it may have
    stopped as the batch did: then it has to reach what is usual of a beer, and of a must or honey, which ferments to
    its end, it says nothing.
    """
    tested = inputs.forced_test_sg
    if tested is None or tested > _believed_up_to(inputs):
        return None
    if inputs.forced_test_fresh_yeast:
        return tested
    if inputs.drink is None or inputs.drink in WINE_LIKE:
        return None
    lift = unfermentable_lift_sg(inputs)
    original = WEAKEST_ORIGINAL_SG if inputs.original_gravity_sg is None else inputs.original_gravity_sg - lift
    least = FORCED_TEST_LEAST if inputs.expected_low is None else inputs.expected_low
    return tested if tested <= gravity_at_attenuation(max(1.0, original), least) + lift + _ROUNDED_SG else None


def test_counts(inputs: SheetInputs) -> float:
    """How much of a forced test counts in favour of the drink: 1 where it is believed, 0 where it is not.

    Between, where without fresh yeast it ended short of what is usual, though further than the least that ales reach:
    the higher it ended, the more likely it stopped as the batch did.
    """
    if believed_test(inputs) is not None:
        return 1.0
    tested, original = inputs.forced_test_sg, inputs.original_gravity_sg
    if tested is None or original is None or tested > _believed_up_to(inputs):
        return 0.0
    lift = unfermentable_lift_sg(inputs)
    if inputs.drink not in BEERS or inputs.expected_low is not None or original - lift <= 1:
        return 0.0
    reached = 1 - (tested - lift - 1) / (original - lift - 1)
    return min(1.0, max(0.0, (reached - FORCED_TEST_NOTHING) / (FORCED_TEST_LEAST - FORCED_TEST_NOTHING)))


def lowest_plausible(inputs: SheetInputs, final_sg: float) -> float:
    """The lowest gravity it may still reach.

    Drink, yeast and culture set it; a forced test that is believed lifts it to its own end, less what such a test may
    have stopped short, and one that is believed in part lifts it by that part. A `lowest_plausible_sg` that is given
    can only lower it: a forecast knows less than a test. So can a test that is doubted.
    """
    floor, tested = _floor(inputs, final_sg), inputs.forced_test_sg
    if tested is not None:
        ended = min(final_sg, tested) - _short(inputs)
        floor = max(floor, floor + test_counts(inputs) * (ended - floor))
    if culture_has_held(inputs):
        floor = max(floor, final_sg - CULTURE_CREEP_SG)
    lower = (each for each in (inputs.lowest_plausible_sg, inputs.forced_test_sg) if each is not None)
    return min(final_sg, floor, *lower)


def _short(inputs: SheetInputs) -> float:
    """By how much a forced test that is believed may have stopped short."""
    if inputs.forced_test_fresh_yeast:
        short = FORCED_TEST_ERROR_SG
    else:
        original = STRONGEST_ORIGINAL_SG if inputs.original_gravity_sg is None else inputs.original_gravity_sg
        short = max(FORCED_TEST_SHORT_SG, FORCED_TEST_SHORT_SHARE * (original - 1))
    return max(short, CULTURE_CREEP_SG) if inputs.diastatic or inputs.mixed_culture else short


def culture_has_held(inputs: SheetInputs) -> bool:
    """Whether a diastatic yeast or a mixed culture has held for the weeks that show it to be at its end."""
    needed = max(
        DIASTATIC_HOLD_DAYS if inputs.diastatic else 0.0,
        MIXED_HOLD_DAYS if inputs.mixed_culture else 0.0,
    )
    return needed > 0 and inputs.hold_met is True and (inputs.held_days or 0.0) >= needed


def culture_goes_on(inputs: SheetInputs) -> bool:
    """Whether such a culture may still creep: neither a hold of weeks nor a forced test with fresh yeast is there."""
    if not (inputs.diastatic or inputs.mixed_culture) or culture_has_held(inputs):
        return False
    return believed_test(inputs) is None or inputs.forced_test_fresh_yeast is not True


def _of_unsaid_yeast(inputs: SheetInputs, base_sg: float, final_sg: float) -> float:
    """The lowest gravity of a beer of whose yeast nothing is said: it goes further than most where it already has.

    A forced test that went no further, be it of the batch's own yeast, speaks against that.
    """
    usual, tested = gravity_at_attenuation(base_sg, BEER_HIGH), inputs.forced_test_sg
    if tested is not None and tested <= _believed_up_to(inputs):
        return usual
    further = final_sg - UNSAID_YEAST_BEYOND * (base_sg - 1)
    return min(usual, max(further, gravity_at_attenuation(base_sg, UNSAID_YEAST_HIGH)))


def _floor(inputs: SheetInputs, final_sg: float) -> float:
    original, drink, high = inputs.original_gravity_sg, inputs.drink, inputs.expected_high
    lift = unfermentable_lift_sg(inputs)
    base = None if original is None else max(1.0, original - lift)
    beyond = None if high is None else max(high, min(high + YEAST_BEYOND, BEER_HIGH))
    if beyond is None and inputs.expected_low is not None:  # half a range says no more than where the other half may be
        beyond = max(BEER_HIGH, inputs.expected_low + YEAST_RANGE)
    of_yeast = None if base is None or beyond is None else gravity_at_attenuation(base, beyond)
    if drink is None or drink in WINE_LIKE:
        floor = DRIEST_SG if of_yeast is None else min(DRIEST_SG, of_yeast)
    elif of_yeast is not None:
        floor = of_yeast
    elif drink not in BEERS:
        floor = DRIEST_SG  # what is neither said to be malt nor wine may be sugar
    else:
        floor = GLUTTON_SG if base is None else _of_unsaid_yeast(inputs, base, final_sg - lift)
    if inputs.diastatic or inputs.mixed_culture:
        floor = min(floor, GLUTTON_SG)
    if inputs.mixed_culture:
        floor = min(floor, MIXED_SG)
    return floor + lift
