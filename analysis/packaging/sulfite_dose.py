"""The sulfite and sorbate part of the packaging sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.drinks import BEERS
from analysis.packaging import sulfite
from analysis.packaging.dose_findings import (
    MolecularAt,
    NoSulfiteLimitHere,
    PresentSo2Unclear,
    SorbateNotPermitted,
    TotalSo2Unknown,
)
from analysis.packaging.findings import (
    DoseCounted,
    LittleMolecular,
    MolecularInBeer,
    OnlyAntioxidant,
    PhTooHighToStabilise,
    Remark,
    SorbateOverLimit,
    SulfiteOverLimit,
    Weighed,
    caution,
    note,
    stop,
)
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.so2_balance import So2, alcohol_pct, molecular_of, so2_balance
from analysis.packaging.sweetening import stabilised
from analysis.thresholds import BEER_LIKE_PH, STABILISING_MOLECULAR_PPM


@dataclass(frozen=True, slots=True)
class Sulfite:
    """A dose of sulfite: g of the salt, tablets, SO2 in mg/L and its limit; None where refused or not known."""

    salt_g: float | None = None
    tablets: float | None = None
    total_ppm: float | None = None
    molecular_ppm: float | None = None
    limit: sulfite.Limit | None = None
    findings: tuple[Weighed, ...] = ()


@dataclass(frozen=True, slots=True)
class Sorbate:
    """A dose of potassium sorbate in g; None where refused or not known."""

    salt_g: float | None = None
    findings: tuple[Weighed, ...] = ()


def sulfite_dose(inputs: SheetInputs) -> Sulfite:
    """The dose, the tablets and the molecular SO2, or the refusal at a legal limit; of what is there already too."""
    so2 = so2_balance(inputs)
    if so2 is None:
        return Sulfite()
    molecular = None if so2.ask is not None else molecular_of(inputs, so2.free_most_ppm)
    limit, about = _limit(inputs), tuple(_about_the_limit(inputs))
    if so2.total_ppm >= limit.so2_ppm:
        over = SulfiteOverLimit(so2.total_ppm, limit.so2_ppm, inputs.drink, limit.jurisdiction, limit.source)
        return Sulfite(total_ppm=so2.total_ppm, molecular_ppm=molecular, limit=limit, findings=(stop(over), *about))
    findings = [
        *about,
        *sulfite_doubts(inputs),
        *_counted(inputs, so2),
        *_what_it_does(inputs, so2.total_ppm, molecular),
        caution(Remark.SULFITE_HANDLING),
        caution(Remark.SULFITE_ASTHMA),
    ]
    if so2.total_ppm >= sulfite.LABEL_PPM or not so2.total_known:
        findings.append(caution(Remark.SULFITE_LABEL))
    grams = tablets = None
    if so2.add_ppm is not None and inputs.volume_l is not None:
        grams = sulfite.salt_g(so2.add_ppm, "so2", inputs.volume_l)
        tablets = _tablets(inputs, grams)
    return Sulfite(grams, tablets, so2.total_ppm, molecular, limit, tuple(findings))


def sulfite_doubts(inputs: SheetInputs) -> Iterator[Weighed]:
    """What of the SO2 present must be told before the drink can be judged: no package gets a go without it."""
    so2 = so2_balance(inputs)
    if so2 is None:
        return
    if so2.ask is not None:
        yield caution(PresentSo2Unclear(so2.ask, inputs.sulfite_present_as))
    if not so2.total_known:
        yield caution(TotalSo2Unknown(so2.total_ppm, _limit(inputs).so2_ppm))


def _counted(inputs: SheetInputs, so2: So2) -> Iterator[Weighed]:
    """How the dose is counted, and at which pKa and strength of a tablet."""
    if so2.ask is None and inputs.sulfite_ppm is not None and inputs.sulfite_as is not None:
        yield caution(DoseCounted(inputs.sulfite_ppm, inputs.sulfite_as, inputs.sulfite_basis or "added"))
    if so2.ask is None and inputs.ph is not None:
        alcohol = alcohol_pct(inputs)
        yield note(MolecularAt(sulfite.pka1(alcohol), alcohol))
    if inputs.tablet_g is not None and inputs.tablet_salt_g is None and inputs.tablet_so2_mg is None:
        yield caution(Remark.TABLET_CONTENT_UNKNOWN)


def _tablets(inputs: SheetInputs, grams: float) -> float | None:
    """Tablets that give the SO2 of so many grams of the salt, by what their label declares; None without it."""
    if inputs.tablet_so2_mg is not None:
        return 1000 * grams * sulfite.SO2_PER_SALT / inputs.tablet_so2_mg
    return None if inputs.tablet_salt_g is None else grams / inputs.tablet_salt_g


def _limit(inputs: SheetInputs) -> sulfite.Limit:
    return sulfite.limit_for(
        inputs.drink, inputs.jurisdiction, colour=inputs.wine_colour, alcohol_pct=alcohol_pct(inputs)
    )


def _about_the_limit(inputs: SheetInputs) -> Iterator[Weighed]:
    limit, place = _limit(inputs), inputs.jurisdiction
    if inputs.drink is None:
        yield caution(Remark.SULFITE_OF_UNSAID_DRINK)
    elif limit.jurisdiction.upper() != (place or "").upper():
        yield caution(NoSulfiteLimitHere(place or None, limit.so2_ppm, limit.jurisdiction))


def _what_it_does(inputs: SheetInputs, total: float, molecular: float | None) -> Iterator[Weighed]:
    beer = inputs.drink in BEERS
    if molecular is None or inputs.ph is None:
        if beer:
            yield caution(Remark.SULFITE_IN_BEER)
        return
    little = molecular < STABILISING_MOLECULAR_PPM
    if little and (inputs.ph >= BEER_LIKE_PH or beer):
        yield caution(OnlyAntioxidant(inputs.ph, total, molecular))
    elif beer:
        yield caution(MolecularInBeer(total, molecular))
    elif little:
        yield caution(LittleMolecular(molecular))


def sorbate_dose(inputs: SheetInputs) -> Sorbate:
    """The grams of potassium sorbate, or the refusal where it is not permitted or at its limit."""
    if not inputs.sorbate_ppm:
        return Sorbate()
    if inputs.drink is None:
        return Sorbate(findings=(stop(Remark.SORBATE_OF_UNSAID_DRINK),))
    limit = sulfite.sorbate_limit_for(inputs.drink, inputs.jurisdiction)
    here = limit.jurisdiction.upper() == (inputs.jurisdiction or "").upper()
    if limit.acid_ppm == 0:
        refused = SorbateNotPermitted(inputs.drink, limit.jurisdiction, here, limit.source)
        return Sorbate(findings=(stop(refused),))
    acid = inputs.sorbate_ppm * sulfite.SORBIC_PER_POTASSIUM_SORBATE
    if acid >= limit.acid_ppm:
        return Sorbate(findings=(stop(SorbateOverLimit(inputs.sorbate_ppm, acid, limit.acid_ppm, limit.source)),))
    grams = None if inputs.volume_l is None else inputs.sorbate_ppm * inputs.volume_l / 1000
    findings = [caution(Remark.SORBATE)]
    if inputs.finished is False:
        findings.append(caution(Remark.SORBATE_BEFORE_THE_FINISH))
    return Sorbate(grams, tuple(findings))


def stabilising_findings(inputs: SheetInputs) -> Iterator[Weighed]:
    """What is said of a drink that is said to be stabilised, and why it does not count where it does not."""
    held = stabilised(inputs)
    if inputs.stabilised:
        yield caution(Remark.SORBATE)
    if held.said and held.why_not is not None:
        yield caution(held.why_not)
        if inputs.drink in BEERS or isinstance(held.why_not, PhTooHighToStabilise):
            yield caution(Remark.NOT_IN_BEER)
