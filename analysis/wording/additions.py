"""What additions did, as sentences in the units of whoever reads them."""

from __future__ import annotations

from analysis.display_units import DisplayUnits, number
from analysis.evidence import AdditionByReadings, AdditionDiffers, AllExtract


def all_extract(one: AllExtract, units: DisplayUnits) -> str:
    """What was pitched, and what all extract makes."""
    said = (
        f"Pitched at {units.gravity(one.pitched_sg)}; with what was added all extract counts as"
        f" {units.gravity(one.original_sg)}, and attenuation and alcohol go by that."
    )
    if one.spirit_abv_pct >= 0.05:
        said += f" The spirit brings {one.spirit_abv_pct:.1f} % vol besides, which these two gravities do not tell."
    return said


def differs(one: AdditionDiffers, units: DisplayUnits) -> str:
    """A stated size that the readings contradict."""
    return (
        f"The addition of {_ago(one.ago_h)} ago was to move the gravity by"
        f" {_by(one.stated_sg, one.gravity_sg, units)}; by the readings it moved by"
        f" {_by(one.seen_sg, one.gravity_sg, units)}. The readings are believed: check the amount, the volume and the"
        " gravity that were entered, or take a hand sample."
    )


def differed(one: AdditionDiffers, units: DisplayUnits) -> str:
    """The same of a batch that has ended."""
    return (
        f"The addition {_ago(one.ago_h)} before the end was to move the gravity by"
        f" {_by(one.stated_sg, one.gravity_sg, units)}; by the readings it moved by"
        f" {_by(one.seen_sg, one.gravity_sg, units)}. The readings were believed."
    )


def by_readings(one: AdditionByReadings, units: DisplayUnits) -> str:
    """What is not known of an addition."""
    return (
        f"Of the addition of {_ago(one.ago_h)} ago we do not know {_listed(one.lacking)}: the readings decide, and show"
        f" a step of {_by(one.seen_sg, one.gravity_sg, units)}."
    )


def by_readings_then(one: AdditionByReadings, units: DisplayUnits) -> str:
    """The same of a batch that has ended."""
    return (
        f"Of the addition {_ago(one.ago_h)} before the end we do not know {_listed(one.lacking)}: the readings decided,"
        f" and showed a step of {_by(one.seen_sg, one.gravity_sg, units)}."
    )


def _by(step_sg: float, from_sg: float, units: DisplayUnits) -> str:
    sign = "+" if step_sg >= 0 else ""
    if units.gravity_unit == "SG":
        return f"{sign}{number(1000 * step_sg, 1)} points"
    return f"{sign}{units.fall_to(step_sg, from_sg, 1)}"


def _listed(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _ago(hours: float) -> str:
    return f"{hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"
