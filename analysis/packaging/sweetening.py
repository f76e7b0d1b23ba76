"""Sweeteners: which of them yeast eats, how much moves the gravity by how much, and whether yeast is held back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from analysis.drinks import BEERS
from analysis.packaging import sulfite
from analysis.packaging.carbonation import PRIMING_SUGARS, Sugar, volumes_of_grams
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


def _of(sugar: Sugar) -> Sweetener:
    return Sweetener(sugar.name, True, sugar.extract_g_per_g, sugar.co2_g_per_g)


_JUICE_SOLIDS = 0.12  # common practice: apple juice of about 12 °Bx
_CONCENTRATE_SOLIDS = 0.70  # common practice: concentrate of about 70 °Bx
_HEXOSE_CO2 = PRIMING_SUGARS["glucose monohydrate"].co2_g_per_g / PRIMING_SUGARS["glucose monohydrate"].extract_g_per_g

SWEETENERS: Final[dict[str, Sweetener]] = {
    s.name: s
    for s in (
        *(_of(sugar) for sugar in PRIMING_SUGARS.values()),
        Sweetener("fructose", True, 1.0, _HEXOSE_CO2),
        Sweetener("maple syrup", True, 0.66, 0.66 * PRIMING_SUGARS["sucrose"].co2_g_per_g),
        Sweetener("fruit juice", True, _JUICE_SOLIDS, _JUICE_SOLIDS * _HEXOSE_CO2),
        Sweetener("juice concentrate", True, _CONCENTRATE_SOLIDS, _CONCENTRATE_SOLIDS * _HEXOSE_CO2),
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
"""By name. Solids of syrups and juices are common practice, no source."""


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
    """Whether yeast is held back: the person's word, unless drink, pH or dose say that it cannot be so."""
    if inputs.filtered:
        return Stabilised(True, True)
    if not inputs.stabilised:
        return Stabilised(False, False)
    why_not = _why_not_stabilised(inputs)
    return Stabilised(True, why_not is None, why_not)


def _why_not_stabilised(inputs: SheetInputs) -> NotStabilised | None:
    if inputs.drink in BEERS:
        return Remark.STABILISED_BEER
    if inputs.drink is None or inputs.ph is None:
        missing: list[Literal["drink", "pH"]] = ["drink"] if inputs.drink is None else []
        return StabilisingUnjudged((*missing, "pH") if inputs.ph is None else tuple(missing))
    molecular = molecular_so2(inputs)
    if molecular is not None and molecular < STABILISING_MOLECULAR_PPM:
        return TooLittleToStabilise(molecular)
    if molecular is None and inputs.ph >= BEER_LIKE_PH:
        return PhTooHighToStabilise(inputs.ph)
    return None


def molecular_so2(inputs: SheetInputs) -> float | None:
    """Molecular SO2 in mg/L of all the sulfite added, at most; None without a dose or a pH."""
    if inputs.sulfite_ppm is None or inputs.sulfite_as is None or inputs.ph is None:
        return None
    added = sulfite.so2_ppm(inputs.sulfite_ppm, inputs.sulfite_as) + (inputs.sulfite_present_ppm or 0.0)
    return sulfite.molecular_so2_ppm(added, inputs.ph)


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
