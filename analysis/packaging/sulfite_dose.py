"""The sulfite and sorbate part of the packaging sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.drinks import BEERS
from analysis.packaging import sulfite
from analysis.packaging.findings import (
    DoseCounted,
    LittleMolecular,
    MolecularInBeer,
    NoSulfiteLimitKnown,
    OnlyAntioxidant,
    Remark,
    SorbateOverLimit,
    SulfiteOverLimit,
    Weighed,
    caution,
    stop,
)
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.sweetening import molecular_so2, stabilised
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
    """The dose, the tablets and the molecular SO2, or the refusal at a legal limit."""
    if inputs.sulfite_ppm is None or inputs.sulfite_as is None:
        return Sulfite()
    ppm, counted_as = inputs.sulfite_ppm, inputs.sulfite_as
    total = sulfite.so2_ppm(ppm, counted_as) + (inputs.sulfite_present_ppm or 0.0)
    limit, molecular = _limit(inputs), molecular_so2(inputs)
    if limit is not None and total >= limit.so2_ppm:
        over = SulfiteOverLimit(total, limit.so2_ppm, inputs.drink, limit.jurisdiction, limit.source)
        return Sulfite(total_ppm=total, molecular_ppm=molecular, limit=limit, findings=(stop(over),))
    grams = tablets = None
    if inputs.volume_l is not None:
        grams = sulfite.salt_g(ppm, counted_as, inputs.volume_l)
        tablets = None if inputs.tablet_g is None else grams / inputs.tablet_g
    findings = [
        *_about_the_limit(inputs, limit),
        caution(DoseCounted(ppm, counted_as, inputs.sulfite_basis or "added")),
        *_what_it_does(inputs, total, molecular),
        caution(Remark.SULFITE_HANDLING),
        caution(Remark.SULFITE_ASTHMA),
    ]
    if total >= sulfite.LABEL_PPM:
        findings.append(caution(Remark.SULFITE_LABEL))
    return Sulfite(grams, tablets, total, molecular, limit, tuple(findings))


def _limit(inputs: SheetInputs) -> sulfite.Limit | None:
    limit = sulfite.limit_for(inputs.drink, inputs.jurisdiction)
    if limit is None or limit.jurisdiction != "EU" or inputs.drink != "wine":
        return limit
    if inputs.wine_colour not in ("white", "rosé"):
        return limit
    return sulfite.Limit("EU", ("wine",), sulfite.EU_WHITE_PPM, limit.source)


def _about_the_limit(inputs: SheetInputs, limit: sulfite.Limit | None) -> Iterator[Weighed]:
    place = inputs.jurisdiction
    if limit is None:
        yield caution(NoSulfiteLimitKnown(place or None))
    elif place is None or place.upper() not in ("EU", "US"):
        yield caution(Remark.LOWEST_LIMIT_USED)
    if inputs.drink is None:
        yield caution(Remark.SULFITE_OF_UNSAID_DRINK)


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
    """The grams of potassium sorbate, or the refusal at a legal limit."""
    if inputs.sorbate_ppm is None:
        return Sorbate()
    acid = inputs.sorbate_ppm * sulfite.SORBIC_PER_POTASSIUM_SORBATE
    limit, source = sulfite.SORBATE_LIMITS_PPM.get(
        (inputs.jurisdiction or "").upper(), sulfite.SORBATE_LIMITS_PPM["EU"]
    )
    if acid >= limit:
        return Sorbate(findings=(stop(SorbateOverLimit(inputs.sorbate_ppm, acid, limit, source)),))
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
        yield caution(Remark.NOT_IN_BEER)
