"""Sweeteners: which of them yeast eats, and how much moves the gravity by how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.packaging.carbonation import PRIMING_SUGARS, Sugar
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
