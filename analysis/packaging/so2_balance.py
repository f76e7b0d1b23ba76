"""SO2 that is free, in all, or was added: kept apart, since part of what is added gets bound.

What was measured as one is never taken for another. What cannot be told without a measurement is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis import attenuation
from analysis.packaging import sulfite
from analysis.packaging.inputs import SheetInputs

Asked = Literal["free", "total"]


@dataclass(frozen=True, slots=True)
class So2:
    """The SO2 of a drink once it is dosed, in mg/L.

    Parameters
    ----------
    add_ppm
        What is to be added; None without a dose, or where `ask` must be known first.
    ask
        What must be known of the SO2 present before a dose can be worked out.
    total_ppm
        What there will be in all, at least; exact as far as `total_known`.
    total_known
        Whether the total follows from what is given.
    free_ppm
        Free SO2 that was measured; None where only totals and additions are known. A dose may only raise it.
    free_most_ppm
        The most that may be free: what is aimed at, or all that is there.
    """

    add_ppm: float | None
    ask: Asked | None
    total_ppm: float
    total_known: bool
    free_ppm: float | None
    free_most_ppm: float


def so2_balance(inputs: SheetInputs) -> So2 | None:
    """What there is and what a dose makes of it; None where there is neither."""
    present = inputs.sulfite_present_ppm or inputs.sulfite_present_total_ppm or 0.0
    wished = None
    if inputs.sulfite_ppm is not None and inputs.sulfite_as is not None:
        wished = sulfite.so2_ppm(inputs.sulfite_ppm, inputs.sulfite_as)
    if wished is None and not present:
        return None
    free, total = _free_present(inputs), _total_present(inputs)
    add, ask = _addition(inputs, wished, free, total)
    least = (present if total is None else total) + (add or 0.0)
    if ask is not None and wished is not None:
        least = max(least, wished)
    most = (present if free is None else free) + (add or 0.0)
    if free is None and total is not None:
        most = total + (add or 0.0)
    return So2(
        add_ppm=add,
        ask=ask,
        total_ppm=least,
        total_known=total is not None and ask is None,
        free_ppm=free if _told_free(inputs) else None,
        free_most_ppm=most,
    )


def _told_free(inputs: SheetInputs) -> bool:
    return inputs.sulfite_present_as == "free" and inputs.sulfite_present_ppm is not None


def _free_present(inputs: SheetInputs) -> float | None:
    if _told_free(inputs):
        return inputs.sulfite_present_ppm
    return None if inputs.sulfite_present_ppm or inputs.sulfite_present_total_ppm else 0.0


def _total_present(inputs: SheetInputs) -> float | None:
    if _told_free(inputs):  # also none free may be some in all
        return inputs.sulfite_present_total_ppm
    if inputs.sulfite_present_ppm and inputs.sulfite_present_as is not None:
        return inputs.sulfite_present_ppm
    return inputs.sulfite_present_total_ppm if inputs.sulfite_present_ppm else inputs.sulfite_present_total_ppm or 0.0


def _addition(
    inputs: SheetInputs, wished: float | None, free: float | None, total: float | None
) -> tuple[float | None, Asked | None]:
    if wished is None:
        return None, None
    there: float | None = 0.0
    asked: Asked | None = None
    if inputs.sulfite_basis == "free":
        there, asked = free, "free"
    elif inputs.sulfite_basis == "total":
        there, asked = total, "total"
    return (None, asked) if there is None else (max(0.0, wished - there), None)


def alcohol_pct(inputs: SheetInputs) -> float | None:
    """Alcohol in % vol from the gravities; None where one is not given."""
    original, final = inputs.original_gravity_sg, inputs.final_gravity_sg
    if original is None or final is None or final > original:
        return None
    return attenuation.alcohol_abv_pct(original, final) + (inputs.spirit_abv_pct or 0.0)


def molecular_of(inputs: SheetInputs, free_ppm: float | None) -> float | None:
    """Molecular SO2 in mg/L of free SO2 at the pH and alcohol of the drink; None without a pH or without free SO2."""
    if free_ppm is None or inputs.ph is None:
        return None
    return sulfite.molecular_so2_ppm(free_ppm, inputs.ph, alcohol_pct(inputs))
