"""Sweeteners: which of them yeast eats, how much moves the gravity by how much, and whether yeast is held back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from analysis.drinks import BEERS
from analysis.packaging import sulfite
from analysis.packaging.carbonation import volumes_of_grams
from analysis.packaging.dose_findings import StabilisingFact, TooLittleSorbate
from analysis.packaging.findings import (
    AboutSweetener,
    CannotLiftGravity,
    NotStabilised,
    PhTooHighToStabilise,
    Remark,
    StabilisingUnjudged,
    SweetenerFerments,
    TooLittleToStabilise,
    Weighed,
    caution,
    stop,
)
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.so2_balance import alcohol_pct, molecular_of, so2_balance
from analysis.sugars import CO2_PER_DISACCHARIDE, INGREDIENTS, Ingredient
from analysis.thresholds import BEER_LIKE_PH, STABILISING_MOLECULAR_PPM
from analysis.units import density_from_sg, plato_to_sg, sg_to_plato


@dataclass(frozen=True, slots=True)
class Sweetener:
    """Something to sweeten with. `extract_g_per_g` counts towards gravity; `fermentable` by brewer's or wine yeast."""

    name: str
    fermentable: bool
    extract_g_per_g: float
    co2_g_per_g: float = 0.0
    note: str = ""


_JUICE_SOLIDS: Final = 0.12  # common practice, no source: apple juice of about 12 °Bx
_CONCENTRATE_SOLIDS: Final = 0.70  # common practice, no source: concentrate of about 70 °Bx
_MAPLE_SOLIDS: Final = 0.66  # maple syrup of 66 °Bx at least (common practice, no source)


def _of(ingredient: Ingredient, solids: float | None = None) -> Sweetener:
    """A sugar as a sweetener: its usual solids, and the most gas it could make."""
    usual = ingredient.extract_g_per_g.middle if ingredient.extract_g_per_g is not None else solids
    if usual is None:
        raise ValueError(f"give the solids of {ingredient.name}")
    return Sweetener(ingredient.name, True, usual, ingredient.co2_g_per_g(solids, glutton=True).high)


SWEETENERS: Final[dict[str, Sweetener]] = {
    s.name: s
    for s in (
        *(_of(each) for each in INGREDIENTS.values() if each.extract_g_per_g is not None),
        Sweetener("maple syrup", True, _MAPLE_SOLIDS, _MAPLE_SOLIDS * CO2_PER_DISACCHARIDE),
        _of(INGREDIENTS["fruit juice"], _JUICE_SOLIDS),
        _of(INGREDIENTS["juice concentrate"], _CONCENTRATE_SOLIDS),
        Sweetener("lactose", False, 0.95, note="Some wild yeasts and bacteria do eat lactose; it is a milk allergen."),
        Sweetener("maltodextrin", False, 0.95, note="Diastatic and wild yeasts can eat maltodextrin."),
        Sweetener("erythritol", False, 1.0),
        Sweetener("xylitol", False, 1.0, note="Xylitol is poisonous to dogs."),
        Sweetener(
            "sucralose", False, 0.0, note="Bulked table-top products often carry fermentable sugar: read the label."
        ),
        Sweetener(
            "stevia", False, 0.0, note="Bulked table-top products often carry fermentable sugar: read the label."
        ),
        Sweetener("saccharin", False, 0.0),
    )
}
"""By name. Of a sweetener that ferments the most gas it could make counts."""


def gravity_after(gravity_sg: float, volume_l: float, mass_g: float, sweetener: Sweetener) -> float:
    """Gravity once `mass_g` is dissolved in `volume_l`, by a balance of extract and mass."""
    drink_g = density_from_sg(gravity_sg) * volume_l
    extract_g = sg_to_plato(gravity_sg) / 100 * drink_g + sweetener.extract_g_per_g * mass_g
    return plato_to_sg(100 * extract_g / (drink_g + mass_g))


def mass_for_gravity(gravity_sg: float, wanted_sg: float, volume_l: float, sweetener: Sweetener) -> float:
    """Grams that lift `volume_l` from one gravity to another.

    Raises
    ------
    ValueError
        If the sweetener does not move gravity, or the wished gravity is below the present one.
    """
    share = sweetener.extract_g_per_g - sg_to_plato(wanted_sg) / 100
    if share <= 0:
        raise ValueError(f"{sweetener.name} cannot lift the gravity to {wanted_sg:.3f}; give its mass instead")
    if wanted_sg < gravity_sg:
        raise ValueError(f"the wished gravity {wanted_sg:.3f} is below the present {gravity_sg:.3f}")
    drink_g = density_from_sg(gravity_sg) * volume_l
    return drink_g * (sg_to_plato(wanted_sg) - sg_to_plato(gravity_sg)) / 100 / share


@dataclass(frozen=True, slots=True)
class Stabilised:
    """Whether the drink is said to be stabilised, whether that counts, and why not where it does not."""

    said: bool
    counts: bool
    why_not: NotStabilised | None = None


def stabilised(inputs: SheetInputs) -> Stabilised:
    """Whether yeast is held back: by a filter or heat, or by a dose of sorbate beside free SO2 that was measured.

    The word alone does not count, nor what was added or is there in all: only what is free acts.
    """
    if free_of_yeast(inputs):
        return Stabilised(True, True)
    if not inputs.stabilised:
        return Stabilised(False, False)
    why_not = _why_not_stabilised(inputs)
    return Stabilised(True, why_not is None, why_not)


def free_of_yeast(inputs: SheetInputs) -> bool:
    """Whether a filter or heat has taken the yeast away, and none is added again."""
    return bool(inputs.filtered or inputs.pasteurised) and not inputs.fresh_yeast


def _why_not_stabilised(inputs: SheetInputs) -> NotStabilised | None:
    if inputs.drink in BEERS:
        return Remark.STABILISED_BEER
    if inputs.fresh_yeast:
        return Remark.STABILISED_WITH_FRESH_YEAST
    if inputs.mixed_culture:
        return Remark.STABILISED_MIXED_CULTURE
    so2 = so2_balance(inputs)
    free = None if so2 is None else so2.free_ppm
    if free is None and inputs.ph is not None and inputs.ph >= BEER_LIKE_PH:
        return PhTooHighToStabilise(inputs.ph)
    said: dict[StabilisingFact, bool] = {
        "drink": inputs.drink is not None,
        "pH": inputs.ph is not None,
        "finish": inputs.finished is True,
        "free SO2": free is not None,
        "sorbate": bool(inputs.sorbate_ppm),
    }
    missing = tuple(fact for fact, known in said.items() if not known)
    if missing:
        return StabilisingUnjudged(missing)
    molecular, needed = molecular_of(inputs, free), sulfite.sorbate_needed_ppm(alcohol_pct(inputs))
    if molecular is not None and molecular < STABILISING_MOLECULAR_PPM:
        return TooLittleToStabilise(molecular)
    if inputs.sorbate_ppm is not None and inputs.sorbate_ppm < needed:
        return TooLittleSorbate(inputs.sorbate_ppm, needed)
    return None


def dose_g_per_l(inputs: SheetInputs) -> float | None:
    """Sweetener in g/L, from its mass or from the gravity to sweeten to; None where neither can be worked out.

    Raises
    ------
    ValueError
        If the sweetener cannot lift the gravity as far as is wished.
    """
    if inputs.sweetener is None:
        return None
    if inputs.sweetener_g is not None:
        if inputs.sweetener_g == 0:
            return 0.0
        return None if inputs.volume_l is None else inputs.sweetener_g / inputs.volume_l
    if inputs.sweeten_to_sg is not None and inputs.final_gravity_sg is not None:
        return mass_for_gravity(inputs.final_gravity_sg, inputs.sweeten_to_sg, 1.0, SWEETENERS[inputs.sweetener])
    return None


@dataclass(frozen=True, slots=True)
class Sweetened:
    """A fermentable sweetener in the drink; `volumes` of CO2 if all of it ferments, None where its dose is unknown."""

    name: str
    volumes: float | None


def fermentable(inputs: SheetInputs) -> Sweetened | None:
    """The sweetener that yeast can eat; None where there is none of it."""
    name = inputs.sweetener
    if name is None or not SWEETENERS[name].fermentable:
        return None
    try:
        dose = dose_g_per_l(inputs)
    except ValueError:
        dose = None
    if dose == 0:
        return None
    return Sweetened(name, None if dose is None else volumes_of_grams(dose * SWEETENERS[name].co2_g_per_g))


@dataclass(frozen=True, slots=True)
class Sweetening:
    """How much of the sweetener goes in, in g, and the gravity then; None where it cannot be said."""

    needed_g: float | None = None
    sweetened_gravity_sg: float | None = None
    findings: tuple[Weighed, ...] = ()


def sweetening(inputs: SheetInputs) -> Sweetening:
    """What sweetening takes, and what speaks against it."""
    if inputs.sweetener is None:
        return Sweetening()
    sweetener = SWEETENERS[inputs.sweetener]
    final, volume, mass = inputs.final_gravity_sg, inputs.volume_l, inputs.sweetener_g
    lifts = True
    try:
        dose = dose_g_per_l(inputs)
        mass = dose * volume if mass is None and dose is not None and volume is not None else mass
    except ValueError:
        lifts = False
    gravity = None
    if mass is not None and final is not None and volume is not None:
        gravity = gravity_after(final, volume, mass, sweetener)
    return Sweetening(mass, gravity, tuple(_against(inputs, sweetener, lifts)))


def _against(inputs: SheetInputs, sweetener: Sweetener, lifts: bool) -> Iterator[Weighed]:
    if not lifts and inputs.sweeten_to_sg is not None:
        yield caution(CannotLiftGravity(sweetener.name, inputs.sweeten_to_sg))
    held = stabilised(inputs)
    if fermentable(inputs) is not None and inputs.package is None and not held.counts:
        yield stop(SweetenerFerments(sweetener.name, held.why_not))
    if sweetener.note:
        yield caution(AboutSweetener(sweetener.name))
