"""What additions did, as sentences in the units of whoever reads them."""

from __future__ import annotations

from typing import Protocol

from analysis.evidence import AdditionByReadings, AdditionDiffers, AllExtract
from analysis.units import sg_to_plato


class Units(Protocol):
    """What a sentence asks of the reader's units."""

    @property
    def gravity_unit(self) -> str:
        """``SG`` or ``°P``."""

    def gravity(self, gravity_sg: float) -> str:
        """A gravity with its unit."""


def all_extract(one: AllExtract, units: Units) -> str:
    """What was pitched, and what all extract makes."""
    said = (
        f"Pitched at {units.gravity(one.pitched_sg)}; with what was added all extract counts as"
        f" {units.gravity(one.original_sg)}, and attenuation and alcohol go by that."
    )
    if one.spirit_abv_pct >= 0.05:
        said += f" The spirit brings {one.spirit_abv_pct:.1f} % vol besides, which these two gravities do not tell."
    return said


def differs(one: AdditionDiffers, units: Units) -> str:
    """A stated size that the readings contradict."""
    return (
        f"The addition of {_ago(one.ago_h)} ago was to move the gravity by"
        f" {_by(one.stated_sg, one.gravity_sg, units)}; by the readings it moved by"
        f" {_by(one.seen_sg, one.gravity_sg, units)}. The readings are believed: check the amount, the volume and the"
        " gravity that were entered, or take a hand sample."
    )


def by_readings(one: AdditionByReadings, units: Units) -> str:
    """What is not known of an addition."""
    return (
        f"Of the addition of {_ago(one.ago_h)} ago we do not know {_listed(one.lacking)}: the readings decide, and show"
        f" a step of {_by(one.seen_sg, one.gravity_sg, units)}."
    )


def _by(step_sg: float, from_sg: float, units: Units) -> str:
    if units.gravity_unit == "SG":
        return f"{1000 * step_sg:+.1f} points".replace("-", "\N{MINUS SIGN}")
    step = float(sg_to_plato(from_sg + step_sg) - sg_to_plato(from_sg))
    return f"{step:+.1f} °P".replace("-", "\N{MINUS SIGN}")


def _listed(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _ago(hours: float) -> str:
    return f"{hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"
