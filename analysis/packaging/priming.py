"""The gas that is dissolved and wished for, and the sugar that makes the difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.packaging import carbonation
from analysis.packaging.findings import Remark, SugarVaries, Weighed, caution, verdict_of
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.sweetening import stabilised
from analysis.thresholds import SAME_VOLUMES


@dataclass(frozen=True, slots=True)
class Residual:
    """CO2 in volumes: `held` still dissolved, None where the warmest temperature is not given, and `wished`."""

    held: float | None
    wished: float | None


@dataclass(frozen=True, slots=True)
class Priming:
    """Grams of priming sugar; None where none may go in or none can be said."""

    sugar_g: float | None = None
    findings: tuple[Weighed, ...] = ()


def residual(inputs: SheetInputs) -> Residual:
    """What is dissolved and what is wished for."""
    held = None
    if inputs.warmest_c is not None:
        held = carbonation.residual_volumes(inputs.warmest_c, inputs.vessel_gauge_kpa or 0.0, inputs.altitude_m or 0.0)
    return Residual(held, inputs.carbonation_volumes)


def priming_sugar(inputs: SheetInputs) -> carbonation.Sugar:
    """The sugar to prime with: table sugar unless said."""
    return carbonation.PRIMING_SUGARS[inputs.priming_sugar or "sucrose"]


def priming(inputs: SheetInputs, gas: Residual, before: Sequence[Weighed]) -> Priming:
    """The sugar to prime with; none where anything found `before` stops the package or is refused of the lot."""
    if gas.wished is None or inputs.volume_l is None or gas.held is None:
        return Priming()
    if inputs.package == "keg" and inputs.priming_sugar is None:
        return Priming()
    if inputs.package == "keg" and gas.wished > gas.held + SAME_VOLUMES and stabilised(inputs).said:
        return Priming(findings=(caution(Remark.STABILISED_SO_NO_PRIMING),))
    if verdict_of(before) == "stop":
        return Priming()
    sugar = priming_sugar(inputs)
    varies = (caution(SugarVaries(sugar.name)),) if sugar.name in ("honey", "dry malt extract") else ()
    return Priming(carbonation.priming_g(gas.wished, gas.held, inputs.volume_l, sugar), varies)
