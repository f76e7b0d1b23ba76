"""The figures in the evidence, in the reader's units: the same whether it is told of now or of what is past."""

from __future__ import annotations

from typing import Final

from analysis import evidence as kinds
from analysis.display_units import DisplayUnits

_NOTHING_SG: Final = 0.00005
"""SG; what is printed as 0.0000 is said in words."""


def readings(usable: int) -> str:
    """How many gravity readings there are to go by."""
    if usable == 0:
        return "no gravity reading"
    return "one gravity reading" if usable == 1 else f"{usable} gravity readings"


def moved(one: kinds.Moved, units: DisplayUnits) -> str:
    """By how much the gravity moved over a hold, and how long a hold was asked."""
    by_sg, error = abs(one.moved_sg), one.error_sg
    if units.gravity_unit != "SG":
        by = f"{units.fall_amount(by_sg, one.gravity_sg):.2f} ± {units.fall_to(error, one.gravity_sg)}"
    else:
        by = f"{by_sg:.4f} ± {error:.4f} SG"
    return f"{by} ({'of at least' if one.enough else 'of'} {one.asked_h:.0f} h asked)"


def fell(one: kinds.FellSince, units: DisplayUnits) -> str:
    """By how much it fell since it was called finished."""
    if units.gravity_unit != "SG":
        return units.fall_to(one.fell_sg, one.gravity_sg)
    return f"{1000 * one.fell_sg:.1f} points"


def slow_fall(one: kinds.SlowFall, units: DisplayUnits) -> tuple[str, str]:
    """By how much it falls in a day with its error, and by how much while it is stored."""
    if units.gravity_unit != "SG":
        fell = units.fall_amount(one.fall_sg_day, one.gravity_sg)
        day = f"{fell:.2f} ± {units.fall_to(one.error_sg_day, one.gravity_sg)}"
        return day, units.fall_to(one.stored_sg, one.gravity_sg - one.stored_sg, 1)
    day = f"{1000 * one.fall_sg_day:.2f} ± {1000 * one.error_sg_day:.2f} points"
    return day, f"{1000 * one.stored_sg:.0f} points"


def still_to_fall(one: kinds.StillToFall, units: DisplayUnits) -> tuple[str, str]:
    """What counts as none, and what is still to fall with its range."""
    low, middle, high = one.left_p10_sg, one.left_p50_sg, one.left_p90_sg
    if units.gravity_unit != "SG":
        limit = units.fall_to(one.limit_sg, one.gravity_sg)
        low, middle, high = (units.fall_amount(fall, one.gravity_sg - fall) for fall in (low, middle, high))
        left = f"{middle:.2f} {units.gravity_unit} ({low:.2f} to {high:.2f})"
    else:
        limit, left = f"{one.limit_sg:.3f} SG", f"{middle:.4f} SG ({low:.4f} to {high:.4f})"
    # Not 0.0000: nobody has seen that.
    return limit, "next to nothing" if one.left_p90_sg < _NOTHING_SG else left


def where(one: kinds.Attenuated) -> str:
    """Where an attenuation lies in what is expected."""
    if one.same_yeast:
        source = f"to expect by your last {batches(one.same_yeast)} with this yeast"
    elif one.same_drink:
        source = f"to expect by your earlier {batches(one.same_drink)} of this drink"
    else:
        source = "to expect by what is usual for this drink"
    if one.expected_by_brewer:
        source += " and by the range you gave"
    return f"{one.place} the {percent(one.low)} to {percent(one.high)} {source}"


def above_all(attenuation: float) -> str:
    """Why apparent attenuation can pass 100 %, where it does; with a space before it."""
    if attenuation <= 1.0:
        return ""
    return (
        " Apparent attenuation passes 100\u202f% where a drink ends lighter than water: alcohol is lighter, so that a"
        " hydrometer sinks deeper than the sugar left would let it."
    )


def float_off(one: kinds.FloatOff, units: DisplayUnits) -> str:
    """How far the float is off, and to which side."""
    size = units.apart(one.gravity_sg + one.off_sg, one.gravity_sg)
    return f"about {size} {'above' if one.off_sg > 0 else 'below'}"


def stopped(one: kinds.StoppedShort, units: DisplayUnits) -> str:
    """How far above which end it stopped."""
    apart = units.apart(one.end_sg + one.above_sg, one.end_sg)
    return f"about {apart} above the likely end of {units.gravity(one.end_sg)}"


def how_cold(one: kinds.ColdForIt, units: DisplayUnits) -> str:
    """How cold it is, and what is usual."""
    usual = units.span(one.low_c, one.high_c, "temperature")
    kind = "drink" if one.drink == "other" else one.drink
    then = ""
    if one.fermented_c is not None:
        by = units.colder_by(one.temperature_c, one.fermented_c)
        then = f", {by} colder than where it fermented ({units.temperature(one.fermented_c)})"
    article = "an" if kind == "ale" else "a"
    return f"{units.temperature(one.temperature_c)}{then}; usual for {article} {kind} is {usual} (common practice)"


def a_day(fall_sg: float, units: DisplayUnits) -> str:
    """The even fall of a float in a day."""
    return units.fall_to(fall_sg, 1.010)


def swing(by_sg: float, units: DisplayUnits) -> str:
    """By how much a float goes up and down."""
    if units.gravity_unit != "SG":
        return units.fall_to(by_sg, 1.010, 1)
    count = f"{1000 * by_sg:.0f}"
    return f"{count} {'point' if count == '1' else 'points'}"


def fall(fall_sg: float, down_to_sg: float, units: DisplayUnits) -> str:
    """A small fall, to a tenth of a point."""
    return f"{fall_sg:.4f} SG" if units.gravity_unit == "SG" else units.fall_to(fall_sg, down_to_sg)


def lasted(hours: float) -> str:
    """How long something took."""
    return f"{hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"


def batches(count: int) -> str:
    """``batch``, ``3 batches``."""
    return "batch" if count == 1 else f"{count} batches"


def percent(share: float) -> str:
    """A share in percent."""
    return f"{100 * share:.0f}\u202f%"


def chance(p: float) -> str:
    """As a percentage; nothing that is inferred is quite impossible or quite certain."""
    return "less than 1\u202f%" if p < 0.01 else "more than 99\u202f%" if p > 0.99 else percent(p)
