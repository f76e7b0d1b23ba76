"""Hop doses: a total or g/L, shared out in grams that the scale can weigh and that add up."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from analysis.attenuation import CO2_PER_EXTRACT
from analysis.packaging.carbonation import volumes_of_grams
from analysis.packaging.findings import Remark, ScaleTooCoarse, Weighed, caution
from analysis.packaging.inputs import SheetInputs
from analysis.thresholds import COARSE_SHARE

CREEP_5_DAYS_PLATO = 1.0
CREEP_40_DAYS_PLATO = 2.0
CREEP_DOSE_G_PER_L = 10.0
"""Real extract eaten at 10 g/L and 20 °C with yeast present, in 5 and in 40 days (Kirkpatrick and Shellhammer 2018)."""


def total_g(dose_g_per_l: float, volume_l: float) -> float:
    """Grams of hops for a volume."""
    return dose_g_per_l * volume_l


def shared_out(total: float, shares: Mapping[str, float], resolution_g: float = 1.0) -> dict[str, float]:
    """Grams of each hop: whole steps of the scale that add up to the total rounded to a step.

    Shares may be fractions, percentages or parts. Each hop gets its steps rounded down, and the steps left over go
    to those that lost most (largest remainder; earlier names first where equal).

    Raises
    ------
    ValueError
        If a share is negative, all are zero, or the resolution is not above 0.
    """
    if resolution_g <= 0:
        raise ValueError(f"scale_resolution_g is {resolution_g:g}; usual is 0.1 to 5 g")
    if any(not math.isfinite(s) or s < 0 for s in shares.values()) or sum(shares.values()) <= 0:
        raise ValueError("shares must be 0 or more, and at least one above 0, such as 2 and 1 or 0.7 and 0.3")
    steps = round(total / resolution_g)
    whole = sum(shares.values())
    exact = {name: steps * share / whole for name, share in shares.items()}
    given = {name: math.floor(value + 1e-9) for name, value in exact.items()}
    left = steps - sum(given.values())
    for name in sorted(shares, key=lambda n: given[n] - exact[n])[:left]:
        given[name] += 1
    digits = max(0, -math.floor(math.log10(resolution_g))) + 1
    return {name: round(count * resolution_g, digits) for name, count in given.items()}


def too_coarse(total: float, grams: Mapping[str, float], shares: Mapping[str, float]) -> bool:
    """Whether weighing in whole steps leaves a hop out, or changes the dose by more than a tenth."""
    left_out = any(grams[name] == 0 < share for name, share in shares.items())
    return total > 0 and (left_out or abs(sum(grams.values()) - total) > COARSE_SHARE * total)


def creep_volumes(dose_g_per_l: float, days: float = 40.0) -> float:
    """CO2 in volumes that a dose of hops might start, by the published figures in proportion to the dose.

    A magnitude for a caution, not a forecast: the published test had fresh yeast and no fermentable sugar left.
    """
    worst = CREEP_5_DAYS_PLATO if days <= 5 else CREEP_40_DAYS_PLATO
    plato = worst * min(2.0, dose_g_per_l / CREEP_DOSE_G_PER_L)
    return volumes_of_grams(10 * plato * CO2_PER_EXTRACT)


@dataclass(frozen=True, slots=True)
class HopsDose:
    """Grams of each hop and together; None where no dose is given."""

    grams: Mapping[str, float] | None = None
    total_g: float | None = None
    findings: tuple[Weighed, ...] = ()


def hops_dose(inputs: SheetInputs) -> HopsDose:
    """What to weigh of each hop, and what hops may start."""
    creep = (caution(Remark.CREEP),)
    dry_hopped = creep if inputs.dry_hopped else ()
    total = inputs.hops_total_g
    if total is None and inputs.hops_g_per_l is not None and inputs.volume_l is not None:
        total = total_g(inputs.hops_g_per_l, inputs.volume_l)
    if total is None:
        return HopsDose(findings=dry_hopped)
    shares = inputs.hop_shares or {"hops": 1.0}
    step = 1.0 if inputs.scale_resolution_g is None else inputs.scale_resolution_g
    grams = shared_out(total, shares, step)
    coarse = (caution(ScaleTooCoarse(step, total)),) if too_coarse(total, grams, shares) else ()
    return HopsDose(grams, sum(grams.values()), (*dry_hopped, *coarse, *(creep if total > 0 else ())))


def hop_dose_g_per_l(inputs: SheetInputs) -> float:
    """Dry hops in g/L; where only their presence is known, the dose of the published test."""
    if inputs.hops_g_per_l:
        return inputs.hops_g_per_l
    if inputs.hops_total_g:
        return CREEP_DOSE_G_PER_L if inputs.volume_l is None else inputs.hops_total_g / inputs.volume_l
    return CREEP_DOSE_G_PER_L if inputs.dry_hopped else 0.0
