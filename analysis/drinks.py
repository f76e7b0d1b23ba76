"""What is usual of each drink: the one home of these facts.

They say what to believe of a batch before anything is measured, and where a person left something out. All are common
practice of the trade unless a source is named; what is measured or said of a batch always goes before them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.model import Drink


@dataclass(frozen=True, slots=True, kw_only=True)
class DrinkFacts:
    """What is usual of one drink.

    Parameters
    ----------
    is_beer
        Made of malt: falls under the rules for beer, keeps dextrins that ordinary yeast leaves, and sulfite and sorbate
        stabilise nothing at its pH.
    leaves_dextrins
        Whether what a fermentation leaves for last is taken to be what malt leaves. So also for a drink of which
        nothing is said.
    original_gravity_sg
        Usual gravity at pitching, SG 20/20 °C.
    fermentation_c
        Temperature to which rates are referred, °C.
    attenuation, attenuation_sd
        Apparent attenuation as a fraction, and its standard deviation from batch to batch; deliberately wide.
    rest, rest_days
        The word for the rest after the hold that a person may wish for, and its days.
    malic_acid_g_per_l
        The most malic acid that is usual, which bacteria may turn to gas in a closed package; counts where it is not
        said. From memory: 2 to 8 g/L in cider, 1 to 5 in wine; hardly any in malt and honey.
    """

    is_beer: bool
    leaves_dextrins: bool
    original_gravity_sg: float
    fermentation_c: float
    attenuation: float
    attenuation_sd: float
    rest: str
    rest_days: float
    malic_acid_g_per_l: float


# Attenuation of beers: 0.63 to 0.86 in the tables of Wahl and Henius (lagers 1873 to 1895) and Cutaia et al. 2009
# (means of 532 brews: 0.78 to 0.86); of musts 0.95 to 1.10, since alcohol carries it past one (common practice).
DRINK_FACTS: Final[dict[Drink, DrinkFacts]] = {
    "ale": DrinkFacts(
        is_beer=True, leaves_dextrins=True, original_gravity_sg=1.052, fermentation_c=20.0,
        attenuation=0.77, attenuation_sd=0.065, rest="diacetyl rest", rest_days=2.0, malic_acid_g_per_l=0.0,
    ),
    "lager": DrinkFacts(
        is_beer=True, leaves_dextrins=True, original_gravity_sg=1.050, fermentation_c=11.0,
        attenuation=0.77, attenuation_sd=0.055, rest="diacetyl rest", rest_days=3.0, malic_acid_g_per_l=0.0,
    ),
    "mead": DrinkFacts(
        is_beer=False, leaves_dextrins=False, original_gravity_sg=1.095, fermentation_c=20.0,
        attenuation=1.02, attenuation_sd=0.10, rest="maturation", rest_days=30.0, malic_acid_g_per_l=0.0,
    ),
    "cider": DrinkFacts(
        is_beer=False, leaves_dextrins=False, original_gravity_sg=1.052, fermentation_c=17.0,
        attenuation=1.02, attenuation_sd=0.06, rest="clearing", rest_days=14.0, malic_acid_g_per_l=8.0,
    ),
    "wine": DrinkFacts(
        is_beer=False, leaves_dextrins=False, original_gravity_sg=1.090, fermentation_c=20.0,
        attenuation=1.02, attenuation_sd=0.06, rest="clearing", rest_days=30.0, malic_acid_g_per_l=5.0,
    ),
    "other": DrinkFacts(
        is_beer=False, leaves_dextrins=True, original_gravity_sg=1.060, fermentation_c=20.0,
        attenuation=0.86, attenuation_sd=0.14, rest="rest", rest_days=2.0, malic_acid_g_per_l=8.0,
    ),
}  # fmt: skip

BEER: Final = "beer"
"""The packaging sheet's word for a beer that is not said to be ale or lager."""

BEERS: Final = (*(drink for drink, facts in DRINK_FACTS.items() if facts.is_beer), BEER)
"""Who counts as beer, in the words of batches and of the sheet."""

WINE_LIKE: Final = ("mead", "cider", "wine")
"""Drinks of sugars that yeast can eat to the end."""

USUAL_C: Final[dict[Drink, tuple[float, float]]] = {
    "ale": (16.0, 23.0),
    "lager": (7.0, 15.0),
    "mead": (16.0, 25.0),
    "cider": (12.0, 21.0),
    "wine": (14.0, 28.0),
    "other": (15.0, 25.0),
}
"""Temperatures at which each drink is usually fermented, °C, lowest and highest; common practice, no source. A yeast
may like others: what its maker says goes before them."""

MOST_MALIC_ACID_G_PER_L: Final = max(facts.malic_acid_g_per_l for facts in DRINK_FACTS.values())
"""Where the drink is not said: the most of any."""


def usual_malic_acid_g_per_l(drink: str | None) -> float:
    """The most malic acid that is usual of a drink, in the words of batches and of the sheet."""
    if drink is None:
        return MOST_MALIC_ACID_G_PER_L
    return 0.0 if drink == BEER else DRINK_FACTS[drink].malic_acid_g_per_l  # type: ignore[index]
