"""What sugars, honey, malt extract, juice and wort hold: solids that count towards gravity, and the gas they give.

One table for priming, sweetening and additions to the fermenter. Masses are of the ingredient as it is weighed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.attenuation import CO2_PER_EXTRACT
from analysis.units import sg_to_plato, sucrose_density_kg_m3

# Standard atomic weights, IUPAC abridged.
_C, _H, _O = 12.011, 1.008, 15.999
_CO2 = _C + 2 * _O
_HEXOSE = 6 * _C + 12 * _H + 6 * _O
_DISACCHARIDE = 12 * _C + 22 * _H + 11 * _O
_WATER = 2 * _H + _O

CO2_PER_HEXOSE: Final = 2 * _CO2 / _HEXOSE
"""Grams of CO2 from a gram of glucose or fructose, 0.4886: none of it grows yeast, as nearly so in a bottle."""
CO2_PER_DISACCHARIDE: Final = 4 * _CO2 / _DISACCHARIDE
"""Grams of CO2 from a gram of sucrose or maltose, 0.5143."""

MALT_CARBOHYDRATES: Final = 0.92
"""Carbohydrates in the extract of malt (from memory): what a diastatic yeast or a mixed culture could eat of it."""


@dataclass(frozen=True, slots=True)
class Share:
    """A share as it may be: least, middle and most; all one where it is known."""

    low: float
    middle: float
    high: float

    @property
    def certain(self) -> bool:
        """Whether it is one number."""
        return self.low == self.high


_ALL: Final = Share(1.0, 1.0, 1.0)

MALT_FERMENTED: Final = Share(0.51, 0.65, 0.70)
"""Share of malt's extract that ordinary yeast ferments, real: 0.81 of an apparent attenuation (MEBAK B-590.80.530) of
0.63 to 0.86 (beers of Wahl and Henius; means of 532 brews, Cutaia et al. 2009); the middle is an apparent 0.80."""


@dataclass(frozen=True, slots=True)
class Ingredient:
    """What is weighed or poured in.

    Parameters
    ----------
    extract_g_per_g
        Solids in a gram of it, least, middle and most; None for juice, concentrate and wort, whose strength is to be
        told.
    fermented
        Share of those solids that ordinary brewer's or wine yeast ferments.
    co2_per_fermented
        Grams of CO2 a gram of what ferments gives: by stoichiometry; of malt by Balling, who counts the yeast that
        grows on it, at most by stoichiometry.
    malt
        Made of malt: what is left is dextrins, which diastatic yeasts and mixed cultures eat.
    source
        Where the figures come from.
    """

    name: str
    extract_g_per_g: Share | None
    fermented: Share
    co2_per_fermented: Share
    source: str
    malt: bool = False

    def co2_g_per_g(self, extract_g_per_g: float | None = None, *, glutton: bool = False) -> Share:
        """CO2 in grams a gram of it gives.

        Parameters
        ----------
        extract_g_per_g
            Its own strength, where it is known; needed of juice, concentrate and wort.
        glutton
            A diastatic yeast or mixed culture is at work: the most that malt could give is all its carbohydrates.

        Raises
        ------
        ValueError
            If its strength is needed and not given.
        """
        solids = self.extract_g_per_g
        if extract_g_per_g is not None:
            solids = Share(extract_g_per_g, extract_g_per_g, extract_g_per_g)
        if solids is None:
            raise ValueError(f"the strength of {self.name} is not known; give its gravity, °Bx or sugar")
        most = max(self.fermented.high, MALT_CARBOHYDRATES) if self.malt and glutton else self.fermented.high
        gas = self.co2_per_fermented
        return Share(
            solids.low * self.fermented.low * gas.low,
            solids.middle * self.fermented.middle * gas.middle,
            solids.high * most * gas.high,
        )


_HEXOSE_GAS = Share(*3 * (CO2_PER_HEXOSE,))
_SUCROSE_GAS = Share(*3 * (CO2_PER_DISACCHARIDE,))
_MALT_GAS = Share(CO2_PER_EXTRACT, CO2_PER_EXTRACT, CO2_PER_DISACCHARIDE)

_STOICHIOMETRY = "stoichiometry from atomic masses"
_GLUCOSE_IN_MONOHYDRATE = _HEXOSE / (_HEXOSE + _WATER)  # 9.09 % of it is water

HONEY_SOLIDS: Final = Share(0.771, 0.828, 0.866)
"""Solids in a gram of honey: 17.2 % water on the mean of 490 samples, 13.4 to 22.9 % (White et al. 1962, USDA Technical
Bulletin 1261, as quoted elsewhere)."""

_MALT_SOURCE = "share fermented: 0.81 of the apparent attenuation of beers (MEBAK; Wahl and Henius; Cutaia et al. 2009)"
_JUICE_SOURCE = "84 % of the solids sugar as in apple juice (PMC3471321: 9.64 % at 11.5 °Bx); at most all of them"
_JUICE_FERMENTED: Final = Share(0.75, 9.637 / 11.5, 1.0)
"""Apple juice: 23.9 g of sugars in 248 g (PMC3471321) at 11.5 °Bx (Codex STAN 247-2005, from memory). The least is
common practice, no source; at most every gram of the solids is sugar."""

INGREDIENTS: Final[dict[str, Ingredient]] = {
    each.name: each
    for each in (
        Ingredient("sucrose", _ALL, _ALL, _SUCROSE_GAS, _STOICHIOMETRY),
        Ingredient("glucose monohydrate", Share(*3 * (_GLUCOSE_IN_MONOHYDRATE,)), _ALL, _HEXOSE_GAS, _STOICHIOMETRY),
        Ingredient("glucose anhydrous", _ALL, _ALL, _HEXOSE_GAS, _STOICHIOMETRY),
        Ingredient("fructose", _ALL, _ALL, _HEXOSE_GAS, _STOICHIOMETRY),
        Ingredient(
            "honey",
            HONEY_SOLIDS,
            # 77.9 g of sugars in 100 g with 82.8 g of solids (the same survey); 82.1 g are printed too (USDA).
            Share(0.94, 0.966, 1.0),
            _HEXOSE_GAS,
            "17.2 % water, 13.4 to 22.9 (White et al. 1962); 78 to 82 % sugars, counted as glucose and fructose",
        ),
        Ingredient(
            "dry malt extract",
            Share(0.94, 0.96, 0.98),
            MALT_FERMENTED,
            _MALT_GAS,
            f"96 % solids (common practice, no source); {_MALT_SOURCE}",
            malt=True,
        ),
        Ingredient(
            "liquid malt extract",
            Share(0.77, 0.80, 0.83),
            MALT_FERMENTED,
            _MALT_GAS,
            f"80 % solids (common practice, no source); {_MALT_SOURCE}",
            malt=True,
        ),
        Ingredient("fruit juice", None, _JUICE_FERMENTED, _HEXOSE_GAS, _JUICE_SOURCE),
        Ingredient("juice concentrate", None, _JUICE_FERMENTED, _HEXOSE_GAS, _JUICE_SOURCE),
        Ingredient("wort", None, MALT_FERMENTED, _MALT_GAS, _MALT_SOURCE, malt=True),
    )
}
"""By name. Where the share that ferments varies, an amount aims at the middle and the worst case takes the most."""

LABELLED_SUGAR_CO2: Final = Share(CO2_PER_HEXOSE, CO2_PER_HEXOSE, CO2_PER_DISACCHARIDE)
"""Grams of CO2 a gram of sugars on a label gives: glucose and fructose, at most sucrose (arithmetic)."""


def density_kg_per_l(extract_g_per_g: float) -> float:
    """Density of juice, concentrate or wort at 20 °C, by the solids in a gram of it (sucrose, ICUMSA SPS-4)."""
    return float(sucrose_density_kg_m3(extract_g_per_g, 20.0)) / 1000


def extract_of_gravity(gravity_sg: float) -> float:
    """Solids in a gram of wort or juice of this gravity (ASBC cubic)."""
    return sg_to_plato(gravity_sg) / 100
