"""The packaging sheet: from what is given about a batch to what to weigh, what to set and what to leave.

`sheet` answers with what the inputs allow and None for the rest. What would be wrong to do comes back as a refusal,
a finding with the reason and the way out; what needs care as a caution. `fields` describes the inputs;
`analysis.wording.sheet` makes the sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from analysis import attenuation
from analysis.display_units import DisplayUnits
from analysis.packaging.bottle import Bottle, PressurePoint, bottle
from analysis.packaging.carbonation import grams_of_volumes
from analysis.packaging.findings import (
    Finding,
    Remark,
    Severity,
    Weighed,
    caution,
    cautions_of,
    once,
    refusals_of,
    verdict_of,
)
from analysis.packaging.gap_findings import InputMissing
from analysis.packaging.hops import HopsDose, hops_dose
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.keg import Keg, keg
from analysis.packaging.missing import assumed, missing, missing_findings
from analysis.packaging.precautions import precautions, spoilage
from analysis.packaging.pressure_findings import OF_PRESSURE
from analysis.packaging.priming import Priming, Residual, priming, priming_source, residual
from analysis.packaging.safety import Verdict
from analysis.packaging.spirit import without_spirit
from analysis.packaging.sulfite import Limit
from analysis.packaging.sulfite_dose import Sorbate, Sulfite, sorbate_dose, stabilising_findings, sulfite_dose
from analysis.packaging.sweetening import Sweetening, sweetening
from analysis.packaging.validation import checked
from analysis.packaging.worst_case import WorstCase, worst_case
from analysis.thresholds import STRONGEST_BALLING_PCT


@dataclass(frozen=True, slots=True)
class Alcohol:
    """Alcohol in % by volume, and attenuation as fractions; None where a gravity is not given."""

    abv_pct: float | None = None
    apparent_attenuation: float | None = None
    real_attenuation: float | None = None
    findings: tuple[Weighed, ...] = ()


@dataclass(frozen=True, slots=True)
class Acid:
    """Grams of acid; None where no dose is given."""

    grams: float | None = None
    findings: tuple[Weighed, ...] = ()


@dataclass(frozen=True, slots=True)
class Parts:
    """What each question of the sheet came to; `bottle` is None where none are asked about."""

    alcohol: Alcohol
    hops: HopsDose
    residual: Residual
    sweetening: Sweetening
    sulfite: Sulfite
    sorbate: Sorbate
    bottle: Bottle | None
    keg: Keg
    priming: Priming
    acid: Acid


@dataclass(frozen=True, slots=True)
class Method:
    """By which relations and figures the numbers were worked out."""

    alcohol: str
    carbonation: str
    priming: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PackagingSheet:
    """What the inputs allow to say about packaging; None where it cannot be said or is refused.

    Numbers have the units of their names and are rounded to what the sums are worth. `bottle_verdict` and
    `keg_verdict` are None for the package that is not asked about. `heated_gauge_kpa` is at
    `safety.PASTEURISING_C`. `missing` and `assumed` say by their keys what was not entered.
    """

    inputs: SheetInputs
    alcohol_abv_pct: float | None
    apparent_attenuation: float | None
    real_attenuation: float | None
    residual_co2_volumes: float | None
    priming_g: float | None
    priming_l: float | None
    priming_parts_g: Mapping[str, float] | None
    keg_gauge_kpa: float | None
    bottle_gauge_kpa: float | None
    bottle_worst_gauge_kpa: float | None
    bottle_verdict: Verdict | None
    potassium_metabisulfite_g: float | None
    tablets: float | None
    molecular_so2_ppm: float | None
    hops_g: Mapping[str, float] | None
    hops_total_g: float | None
    wished_volumes: float | None
    carbonation_g_per_l: float | None
    residual_co2_g_per_l: float | None
    sweetener_needed_g: float | None
    sweetened_gravity_sg: float | None
    so2_total_ppm: float | None
    so2_limit: Limit | None
    potassium_sorbate_g: float | None
    bottle_volumes: float | None
    bottle_worst_volumes: float | None
    bottle_pressure_distribution: tuple[PressurePoint, ...]
    chance_above_rating: float | None
    heated_gauge_kpa: float | None
    bottle_reasons: tuple[Finding, ...]
    keg_verdict: Verdict | None
    keg_worst_gauge_kpa: float | None
    keg_reasons: tuple[Finding, ...]
    acid_g: float | None
    refusals: tuple[Finding, ...]
    cautions: tuple[Finding, ...]
    method: Method
    missing: tuple[InputMissing, ...]
    assumed: Mapping[str, object]
    worst_case: WorstCase | None
    dangers: tuple[Finding, ...]
    """Those of the reasons that stop the package, or tell of its pressure: they are never out of sight."""


def sheet(inputs: Mapping[str, Any], units: DisplayUnits | None = None) -> PackagingSheet:
    """What the inputs allow to say about packaging.

    Parameters
    ----------
    inputs
        Any of the keys of `fields()`; None counts as not given.
    units
        In which a person typed them, for what is said where one cannot be used; None: those of the keys.

    Raises
    ------
    SheetInputError
        Where an input cannot be used at all.
    """
    return worked_out(checked(inputs, units))


def worked_out(inputs: SheetInputs) -> PackagingSheet:
    """The sheet of inputs that have been checked."""
    given, inputs = inputs, without_spirit(inputs)
    gas = residual(inputs)
    alcohol, hops, sweet = _alcohol(inputs), hops_dose(inputs), sweetening(given)
    sulfite, sorbate = sulfite_dose(inputs), sorbate_dose(inputs)
    in_bottles = bottle(inputs, gas.held) if _wants_bottles(inputs) else None
    in_keg = keg(inputs, gas.held)
    judged = inputs.package if in_bottles is None else "bottle"
    lacking = (*missing_findings(inputs, judged), *spoilage(inputs))
    if in_bottles is not None:
        in_bottles = replace(in_bottles, findings=(*in_bottles.findings, *lacking))
    in_keg = replace(in_keg, findings=(*in_keg.findings, *lacking))
    found = [
        *alcohol.findings,
        *hops.findings,
        *sweet.findings,
        *sulfite.findings,
        *sorbate.findings,
        *stabilising_findings(inputs),
        *_packaged(inputs, in_bottles, in_keg),
    ]
    primed, acid = priming(inputs, gas, found), _acid(inputs)
    found += [*primed.findings, *acid.findings]
    if inputs.package is not None or inputs.carbonation_volumes is not None:
        found.append(caution(Remark.GAS_IN_THE_ROOM))
    found += precautions(inputs, judged, primed=bool(primed.sugar_g))
    parts = Parts(alcohol, hops, gas, sweet, sulfite, sorbate, in_bottles, in_keg, primed, acid)
    return replace(_answer(inputs, parts, found), inputs=given)


def _alcohol(inputs: SheetInputs) -> Alcohol:
    original, final = inputs.original_gravity_sg, inputs.final_gravity_sg
    if original is None or final is None:
        return Alcohol()
    abv = attenuation.alcohol_abv_pct(original, final)
    return Alcohol(
        abv + (inputs.spirit_abv_pct or 0.0),
        attenuation.apparent_attenuation(original, final),
        attenuation.real_attenuation(original, final),
        (caution(Remark.STRONG_FOR_BALLING),) if abv > STRONGEST_BALLING_PCT else (),
    )


def _acid(inputs: SheetInputs) -> Acid:
    if inputs.acid_g_per_l is None or inputs.volume_l is None:
        return Acid()
    return Acid(inputs.acid_g_per_l * inputs.volume_l, (caution(Remark.ADD_ACID_IN_THIRDS),))


def _wants_bottles(inputs: SheetInputs) -> bool:
    if inputs.package is not None:
        return inputs.package == "bottle"
    asked = (
        inputs.carbonation_volumes,
        inputs.priming_sugar,
        inputs.bottle_rating_kpa,
        inputs.storage_c,
        inputs.sweetener,
    )
    return any(each is not None for each in asked)


def _packaged(inputs: SheetInputs, in_bottles: Bottle | None, in_keg: Keg) -> Iterator[Weighed]:
    """What is found of the package that is asked about, and what stands on its sheet in any case."""
    if in_bottles is not None:
        yield from in_bottles.findings
        yield caution(Remark.BOTTLES)
        yield caution(Remark.TEST_BOTTLE)
    if inputs.package == "keg":
        yield from in_keg.findings
        yield caution(Remark.KEG)


def _answer(inputs: SheetInputs, parts: Parts, found: list[Weighed]) -> PackagingSheet:
    """The answers as they are told, rounded; what is refused of the lot stops its package too, and stands first."""
    said, pressure = parts.bottle, None if parts.bottle is None else parts.bottle.pressure
    refusals = refusals_of(found)
    kegged = inputs.package == "keg"
    judged = inputs.package if said is None else "bottle"
    held, wished = parts.residual.held, parts.residual.wished
    return PackagingSheet(
        inputs=inputs,
        alcohol_abv_pct=_rounded(parts.alcohol.abv_pct, 2),
        apparent_attenuation=_rounded(parts.alcohol.apparent_attenuation, 4),
        real_attenuation=_rounded(parts.alcohol.real_attenuation, 4),
        residual_co2_volumes=_rounded(held, 3),
        priming_g=_rounded(parts.priming.sugar_g, 1),
        priming_l=_rounded(parts.priming.litres, 3),
        priming_parts_g=_each_rounded(parts.priming.parts_g),
        keg_gauge_kpa=_rounded(parts.keg.gauge_kpa, 1),
        bottle_gauge_kpa=None if pressure is None else round(pressure.gauge_kpa, 1),
        bottle_worst_gauge_kpa=None if pressure is None else round(pressure.worst_gauge_kpa, 1),
        bottle_verdict=None if said is None else _verdict(refusals, said.findings),
        potassium_metabisulfite_g=_rounded(parts.sulfite.salt_g, 3),
        tablets=_rounded(parts.sulfite.tablets, 2),
        molecular_so2_ppm=_rounded(parts.sulfite.molecular_ppm, 4),
        hops_g=parts.hops.grams,
        hops_total_g=_rounded(parts.hops.total_g, 4),
        wished_volumes=wished,
        carbonation_g_per_l=None if wished is None else round(grams_of_volumes(wished), 2),
        residual_co2_g_per_l=None if held is None else round(grams_of_volumes(held), 2),
        sweetener_needed_g=_rounded(parts.sweetening.needed_g, 1),
        sweetened_gravity_sg=_rounded(parts.sweetening.sweetened_gravity_sg, 4),
        so2_total_ppm=_rounded(parts.sulfite.total_ppm, 2),
        so2_limit=parts.sulfite.limit,
        potassium_sorbate_g=_rounded(parts.sorbate.salt_g, 2),
        bottle_volumes=None if pressure is None else round(pressure.volumes, 3),
        bottle_worst_volumes=None if pressure is None else round(pressure.worst_volumes, 3),
        bottle_pressure_distribution=() if pressure is None else pressure.distribution,
        chance_above_rating=None if pressure is None else pressure.chance_above_rating,
        heated_gauge_kpa=None if said is None else _rounded(said.heated_gauge_kpa, 1),
        bottle_reasons=() if said is None else _reasons(refusals, said.findings),
        keg_verdict=_verdict(refusals, parts.keg.findings) if kegged else None,
        keg_worst_gauge_kpa=round(parts.keg.worst_gauge_kpa, 1) if kegged else None,
        keg_reasons=_reasons(refusals, parts.keg.findings) if kegged else (),
        acid_g=_rounded(parts.acid.grams, 2),
        refusals=once(refusals),
        cautions=(*once(cautions_of(found)), Remark.DEFER),
        method=Method(
            attenuation.METHOD,
            "fit of the ASBC chart; in a closed package the higher of it and Henry's law",
            priming_source(inputs),
        ),
        missing=missing(inputs, judged),
        assumed=assumed(inputs, judged),
        worst_case=None if judged is None else worst_case(inputs, held),
        dangers=once(
            (*refusals, *_dangers(() if said is None else said.findings, parts.keg.findings if kegged else ()))
        ),
    )


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _each_rounded(grams: Mapping[str, float] | None) -> Mapping[str, float] | None:
    return None if grams is None else {name: round(each, 1) for name, each in grams.items()}


def _verdict(refusals: tuple[Finding, ...], findings: tuple[Weighed, ...]) -> Verdict:
    return "stop" if refusals else verdict_of(findings)


def _reasons(refusals: tuple[Finding, ...], findings: tuple[Weighed, ...]) -> tuple[Finding, ...]:
    """Why, what is refused first, then what is dangerous."""
    return once((*refusals, *_dangers(findings), *cautions_of(findings)))


def _dangers(*findings: Iterable[Weighed]) -> tuple[Finding, ...]:
    weighed = sorted((each for some in findings for each in some), key=lambda each: -each.severity)
    return tuple(
        each.finding
        for each in weighed
        if each.severity >= Severity.STOP or (each.severity and isinstance(each.finding, OF_PRESSURE))
    )
