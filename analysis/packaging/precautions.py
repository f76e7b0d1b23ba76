"""What stands beside the figures of a package of its kind: by package and drink, so that no sheet says everything."""

from __future__ import annotations

from collections.abc import Iterator

from analysis import attenuation
from analysis.drinks import BEERS
from analysis.packaging.findings import Remark, Weighed, caution, note
from analysis.packaging.gap_findings import LowAlcohol
from analysis.packaging.inputs import Package, SheetInputs
from analysis.thresholds import ACID_ENOUGH_PH, LOW_ALCOHOL_ABV_PCT, SUGAR_LEFT_SG


def spoilage(inputs: SheetInputs) -> Iterator[Weighed]:
    """What hinders nothing that makes people ill, for the verdict of a package."""
    original, final = inputs.original_gravity_sg, inputs.final_gravity_sg
    if original is not None and final is not None and not inputs.filtered and not inputs.heat_treat:
        abv = attenuation.alcohol_abv_pct(original, final) + (inputs.spirit_abv_pct or 0.0)
        if abv < LOW_ALCOHOL_ABV_PCT and final > SUGAR_LEFT_SG:
            yield caution(LowAlcohol(abv))
    if inputs.ph is not None and inputs.ph > ACID_ENOUGH_PH:
        yield caution(Remark.TOO_LITTLE_ACID)


def precautions(inputs: SheetInputs, judged: Package | None, *, primed: bool) -> Iterator[Weighed]:
    """Cautions that hold for every package of this kind; `primed` says that yeast is to make gas in it."""
    if judged is None:
        return
    if judged == "bottle":
        yield note(Remark.CLOSURES)
    else:
        yield note(Remark.REGULATOR)
    if primed:
        yield note(Remark.FRESH_YEAST)
    if inputs.drink not in BEERS:
        yield note(Remark.LOW_ACID)
    yield note(Remark.CLEANERS)
    yield note(_label(inputs))


def _label(inputs: SheetInputs) -> Remark:
    if inputs.drink in BEERS or inputs.drink in (None, "other") or inputs.priming_sugar == "dry malt extract":
        return Remark.LABEL_GRAIN
    return Remark.LABEL
