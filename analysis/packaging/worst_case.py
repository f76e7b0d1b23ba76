"""What the worst case of a package rests on, part by part, so that the sheet can say it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.packaging.inputs import SheetInputs
from analysis.packaging.may_ferment import gas
from analysis.packaging.refermentation import believed_test, lowest_plausible
from analysis.packaging.sweetening import fermentable
from analysis.thresholds import HOTTEST_C


@dataclass(frozen=True, slots=True)
class WorstCase:
    """Volumes of CO2 by where they come from, and the place in which they press.

    `lowest_sg` is None where no final gravity is given, and then no fall down to it is counted; `set_by` says what
    the lowest gravity rests on.
    """

    base_volumes: float
    fall_volumes: float
    creep_volumes: float
    acid_volumes: float
    sweetener_volumes: float
    priming_volumes: float
    lowest_sg: float | None
    set_by: Literal["forced test", "what was entered", "drink, yeast and culture"]
    sweetener: str | None
    storage_c: float
    altitude_m: float


def worst_case(inputs: SheetInputs, residual: float | None) -> WorstCase:
    """The parts of the worst case; `residual` volumes are dissolved, None where that is not known."""
    inside, final, sweet = gas(inputs, residual), inputs.final_gravity_sg, fermentable(inputs)
    lowest = None if final is None else lowest_plausible(inputs, final)
    set_by: Literal["forced test", "what was entered", "drink, yeast and culture"] = "drink, yeast and culture"
    if lowest is not None and lowest == inputs.lowest_plausible_sg:
        set_by = "what was entered"
    elif believed_test(inputs) is not None:
        set_by = "forced test"
    return WorstCase(
        base_volumes=inside.base,
        fall_volumes=inside.ferments.of("drink").worst_volumes,
        creep_volumes=inside.ferments.of("hops").worst_volumes,
        acid_volumes=inside.ferments.of("malic acid").worst_volumes,
        sweetener_volumes=inside.ferments.of("sweetener").worst_volumes,
        priming_volumes=inside.ferments.of("priming sugar").worst_volumes,
        lowest_sg=lowest,
        set_by=set_by,
        sweetener=None if sweet is None else sweet.name,
        storage_c=HOTTEST_C if inputs.storage_c is None else inputs.storage_c,
        altitude_m=inputs.held_at_m,
    )
