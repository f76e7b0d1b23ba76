"""The gas that is dissolved and wished for, the sugar that makes the difference, and whether yeast will make it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from analysis.drinks import WINE_LIKE
from analysis.packaging import carbonation
from analysis.packaging.carbonation import PRIMING_SUGARS, grams_of_volumes, volumes_of_grams
from analysis.packaging.dose_findings import (
    AlcoholAndPriming,
    PrimingStrengthUnknown,
    PrimingTooWeak,
    PrimingVaries,
    SorbateAndPriming,
    SulfiteAndPriming,
)
from analysis.packaging.findings import Remark, Weighed, caution, note, stop, verdict_of
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.so2_balance import alcohol_pct, so2_balance
from analysis.packaging.sulfite import molecular_fraction, pka1
from analysis.packaging.sweetening import free_of_yeast, stabilised
from analysis.sugars import LABELLED_SUGAR_CO2, Ingredient, Share, density_kg_per_l, extract_of_gravity
from analysis.thresholds import (
    NO_PRIMING_TOTAL_SO2_PPM,
    PRIMING_ALCOHOL_PCT,
    PRIMING_FREE_SO2_PPM,
    PRIMING_MOLECULAR_PPM,
    PRIMING_SORBATE_PPM,
    PRIMING_TOTAL_SO2_PPM,
    PRIMING_WINE_ALCOHOL_PCT,
    SAME_VOLUMES,
    SOUREST_PH,
    STABILISING_MOLECULAR_PPM,
)

_USUAL_WORT_SG: Final = 1.050
"""SG; what wort or juice of unknown strength counts as where only its range matters (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Residual:
    """CO2 in volumes: `held` still dissolved, None where the warmest temperature is not given, and `wished`."""

    held: float | None
    wished: float | None


@dataclass(frozen=True, slots=True)
class Priming:
    """Grams of priming sugar, in litres too where it is poured, and of each part of a mix.

    None where none may go in or none can be said.
    """

    sugar_g: float | None = None
    litres: float | None = None
    parts_g: Mapping[str, float] | None = None
    findings: tuple[Weighed, ...] = ()


@dataclass(frozen=True, slots=True)
class Primer:
    """What is primed with, by the gram: its gas as it may be, the litres it adds that hold none, its shares by mass."""

    name: str
    co2_g_per_g: Share
    own_l_per_g: float
    shares: Mapping[str, float]
    source: str

    def volumes(self, mass_g: float, residual: float, volume_l: float) -> Share:
        """Volumes in the drink once `mass_g` has fermented."""
        all_l = volume_l + mass_g * self.own_l_per_g
        dissolved_g = grams_of_volumes(residual) * volume_l
        gas = self.co2_g_per_g
        low, middle, high = ((dissolved_g + mass_g * each) / all_l for each in (gas.low, gas.middle, gas.high))
        return Share(volumes_of_grams(low), volumes_of_grams(middle), volumes_of_grams(high))


def residual(inputs: SheetInputs) -> Residual:
    """What is dissolved and what is wished for."""
    held = None
    if inputs.warmest_c is not None:
        held = carbonation.residual_volumes(inputs.warmest_c, inputs.vessel_gauge_kpa or 0.0, inputs.altitude_m or 0.0)
    return Residual(held, inputs.carbonation_volumes)


def primer(inputs: SheetInputs) -> Primer | PrimingStrengthUnknown:
    """What is primed with: table sugar unless said, which gives most gas a gram."""
    shares = inputs.priming_shares or {inputs.priming_sugar or "sucrose": 1.0}
    whole = sum(shares.values())
    parts = {name: share / whole for name, share in shares.items() if share > 0}
    glutton = bool(inputs.diastatic or inputs.mixed_culture)
    low = middle = high = own_l = 0.0
    for name, part in parts.items():
        sugar = PRIMING_SUGARS[name]
        if sugar.extract_g_per_g is None:
            poured = _poured(inputs, sugar, glutton=glutton)
            if poured is None:
                return PrimingStrengthUnknown(name)
            gas, l_per_g = poured
            own_l += part * l_per_g
        else:
            gas = sugar.co2_g_per_g(glutton=glutton)
        low, middle, high = low + part * gas.low, middle + part * gas.middle, high + part * gas.high
    sources = dict.fromkeys(PRIMING_SUGARS[name].source for name in parts)
    return Primer(" and ".join(parts), Share(low, middle, high), own_l, parts, "; ".join(sources))


def _poured(inputs: SheetInputs, sugar: Ingredient, *, glutton: bool) -> tuple[Share, float] | None:
    """Gas of a gram of juice, concentrate or wort, and its litres; None where its strength is not told."""
    solids = None if inputs.priming_brix is None else inputs.priming_brix / 100
    if inputs.priming_gravity_sg is not None:
        solids = extract_of_gravity(inputs.priming_gravity_sg)
    if solids is not None:
        return sugar.co2_g_per_g(solids, glutton=glutton), 1 / (1000 * density_kg_per_l(solids))
    if inputs.priming_sugar_g_per_l is None or sugar.malt:
        return None
    # Solids beside sugar weigh little: the density is that of the sugar alone, which leaves the gas of a litre exact.
    kg_per_l = 1 + 0.00039 * inputs.priming_sugar_g_per_l
    sugar_g_per_g = inputs.priming_sugar_g_per_l / (1000 * kg_per_l)
    gas = LABELLED_SUGAR_CO2
    share = Share(sugar_g_per_g * gas.low, sugar_g_per_g * gas.middle, sugar_g_per_g * gas.high)
    return share, 1 / (1000 * kg_per_l)


def priming_source(inputs: SheetInputs) -> str:
    """Where the figures of the sugar come from."""
    with_what = primer(inputs)
    return with_what.source if isinstance(with_what, Primer) else PRIMING_SUGARS[with_what.sugar].source


def primes(inputs: SheetInputs, held: float | None) -> bool:
    """Whether gas is to be made in the package; a keg is primed only where a sugar is named."""
    wished = inputs.carbonation_volumes
    if inputs.package == "keg" and inputs.priming_sugar is None and inputs.priming_shares is None:
        return False
    return wished is not None and wished > (held or 0.0) + SAME_VOLUMES


def carbonation_doubts(inputs: SheetInputs, held: float | None) -> Iterator[Weighed]:
    """Why yeast will not, or may not, make the gas that is wished for, before any sugar is given."""
    if not primes(inputs, held):
        return
    if free_of_yeast(inputs):
        yield stop(Remark.NO_YEAST_SO_NO_PRIMING)
    elif inputs.stabilised:
        yield stop(Remark.STABILISED_SO_NO_PRIMING)
    if inputs.heat_treat:
        yield caution(Remark.HEAT_ONLY_ONCE_CARBONATED)
    if inputs.sorbate_ppm:
        refused = inputs.sorbate_ppm >= PRIMING_SORBATE_PPM
        said = SorbateAndPriming(inputs.sorbate_ppm, refused)
        yield stop(said) if refused else caution(said)
    yield from _sulfite_doubts(inputs)
    yield from _alcohol_doubts(inputs)
    yield from _sugar_doubts(inputs, held or 0.0)


def _sulfite_doubts(inputs: SheetInputs) -> Iterator[Weighed]:
    so2 = so2_balance(inputs)
    if so2 is None:
        return
    aimed_at_free = so2.free_most_ppm if inputs.sulfite_basis == "free" else 0.0
    unsaid = 0.0 if inputs.sulfite_present_as else inputs.sulfite_present_ppm or 0.0  # may all be free
    sure = max(so2.free_ppm or 0.0, aimed_at_free, unsaid)
    ph = SOUREST_PH if inputs.ph is None else inputs.ph
    alcohol = alcohol_pct(inputs)
    # Where the alcohol is not known, as much as the table holds: against yeast that counts as the worse.
    share = molecular_fraction(ph, pka1(100.0 if alcohol is None else alcohol))
    refused = so2.total_ppm >= NO_PRIMING_TOTAL_SO2_PPM or sure * share >= STABILISING_MOLECULAR_PPM
    much = so2.free_most_ppm >= PRIMING_FREE_SO2_PPM and so2.free_most_ppm * share >= PRIMING_MOLECULAR_PPM
    said = SulfiteAndPriming(so2.total_ppm, so2.free_most_ppm, refused)
    if refused:
        yield stop(said)
    elif much or so2.total_ppm >= PRIMING_TOTAL_SO2_PPM or not so2.total_known:
        yield caution(said)


def _alcohol_doubts(inputs: SheetInputs) -> Iterator[Weighed]:
    alcohol, tolerance = alcohol_pct(inputs), inputs.alcohol_tolerance_pct
    usual = PRIMING_WINE_ALCOHOL_PCT if inputs.drink in WINE_LIKE else PRIMING_ALCOHOL_PCT
    if alcohol is None:
        yield caution(Remark.PRIMING_ALCOHOL_UNKNOWN)
    elif tolerance is not None and alcohol >= tolerance:
        yield stop(AlcoholAndPriming(alcohol, tolerance, known=True))
    elif tolerance is None and alcohol >= usual:
        yield caution(AlcoholAndPriming(alcohol, usual, known=False))


def _sugar_doubts(inputs: SheetInputs, held: float) -> Iterator[Weighed]:
    """Why no amount can be said of what is primed with."""
    with_what, wished = primer(inputs), inputs.carbonation_volumes
    if isinstance(with_what, PrimingStrengthUnknown):
        yield caution(with_what)
    elif wished is not None and _mass_g_per_l(with_what, wished, held) is None:
        yield caution(PrimingTooWeak(with_what.name, wished))


def _mass_g_per_l(with_what: Primer, wished: float, held: float) -> float | None:
    gas = with_what.co2_g_per_g.middle
    return carbonation.priming_g(wished, held, 1.0, gas, with_what.own_l_per_g)


def priming(inputs: SheetInputs, gas: Residual, before: Sequence[Weighed]) -> Priming:
    """The sugar to prime with; none where anything found `before` stops the package or is refused of the lot."""
    if gas.wished is None or inputs.volume_l is None or gas.held is None:
        return Priming()
    if inputs.package == "keg" and inputs.priming_sugar is None and inputs.priming_shares is None:
        return Priming()
    doubts = tuple(carbonation_doubts(inputs, gas.held))
    if verdict_of((*before, *doubts)) == "stop":
        return Priming(findings=doubts)
    with_what = primer(inputs)
    if isinstance(with_what, PrimingStrengthUnknown):
        return Priming(findings=doubts)
    each_litre = _mass_g_per_l(with_what, gas.wished, gas.held)
    if each_litre is None:
        return Priming(findings=doubts)
    found = each_litre * inputs.volume_l
    litres = found * with_what.own_l_per_g or None
    parts = {name: share * found for name, share in with_what.shares.items()} if len(with_what.shares) > 1 else None
    return Priming(found, litres, parts, (*doubts, *_about_the_sugar(inputs, with_what, found, gas.held)))


def _about_the_sugar(inputs: SheetInputs, with_what: Primer, mass_g: float, held: float) -> Iterator[Weighed]:
    if inputs.priming_sugar is None and inputs.priming_shares is None and mass_g > 0:
        yield note(Remark.PRIMING_SUGAR_ASSUMED)
    if not with_what.co2_g_per_g.certain and inputs.volume_l is not None:
        reach = with_what.volumes(mass_g, held, inputs.volume_l)
        yield caution(PrimingVaries(with_what.name, reach.low, reach.high, with_what.source))


def priming_excess_volumes(inputs: SheetInputs, held: float | None) -> float:
    """Volumes that a priming sugar may make beyond the wish at its strongest; 0 for one that is certain or not used.

    A worst case counts it on top. Where the gas that is dissolved is not known, none of the wish is.
    """
    wished = inputs.carbonation_volumes
    if wished is None or not primes(inputs, held) or stabilised(inputs).said:
        return 0.0
    with_what = primer(inputs)
    if isinstance(with_what, PrimingStrengthUnknown):  # how far it varies hardly depends on its strength
        with_what = primer(replace(inputs, priming_gravity_sg=_USUAL_WORT_SG))
    if isinstance(with_what, PrimingStrengthUnknown):
        return 0.0
    # The amount aims at the middle: what it makes grows with its gas, and the litres it brings cancel out.
    mass_g = _mass_g_per_l(with_what, wished, held or 0.0)
    return 0.0 if mass_g is None else max(0.0, with_what.volumes(mass_g, held or 0.0, 1.0).high - wished)
