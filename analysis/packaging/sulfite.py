"""Sulfite and sorbate: arithmetic, what a dose does, and the legal limits in one table.

ppm is mg/L. Masses from standard atomic weights: potassium metabisulfite, K2S2O5, is 57.6 % SO2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from analysis.drinks import BEERS

_K, _S, _O = 39.0983, 32.06, 15.999
SO2_PER_SALT: Final = 2 * (_S + 2 * _O) / (2 * _K + 2 * _S + 5 * _O)
"""Grams of SO2 in a gram of potassium metabisulfite (0.5763); aged powder holds less (common practice)."""

SORBIC_PER_POTASSIUM_SORBATE: Final = 112.128 / 150.218
"""Grams of sorbic acid in a gram of potassium sorbate (OIV Codex COEI-1-POTSOR prints 74 %)."""

PKA1: Final = 1.81
"""First dissociation of SO2 in water as wine work uses it (from memory; 1.77 is also printed and gives 9 % less)."""

USUAL_SALT_PPM: Final = (25.0, 35.0)
"""Usual dose of potassium metabisulfite as the salt, as an antioxidant at packaging (common practice, no source)."""


SulfiteAs = Literal["so2", "salt"]


def salt_ppm(ppm: float, given_as: SulfiteAs) -> float:
    """Dose as mg/L of potassium metabisulfite."""
    return ppm if given_as == "salt" else ppm / SO2_PER_SALT


def so2_ppm(ppm: float, given_as: SulfiteAs) -> float:
    """Dose as mg/L of SO2."""
    return ppm if given_as == "so2" else ppm * SO2_PER_SALT


def salt_g(ppm: float, given_as: SulfiteAs, volume_l: float) -> float:
    """Grams of potassium metabisulfite for `volume_l`."""
    return salt_ppm(ppm, given_as) * volume_l / 1000


def molecular_fraction(ph: float) -> float:
    """The share of free SO2 that is molecular, the form that stops microbes."""
    return 1 / (1 + 10 ** (ph - PKA1))


def molecular_so2_ppm(free_so2_ppm: float, ph: float) -> float:
    """Molecular SO2 in mg/L."""
    return free_so2_ppm * molecular_fraction(ph)


@dataclass(frozen=True, slots=True)
class Limit:
    """A legal limit on total SO2 for a kind of drink in a jurisdiction, in mg/L."""

    jurisdiction: str
    drinks: tuple[str, ...]
    so2_ppm: float
    source: str


EU_BEER_PPM: Final = 20.0

LIMITS: Final = (
    Limit(
        "EU",
        BEERS,
        EU_BEER_PPM,
        "Regulation (EC) 1333/2008, Annex II, category 14.2.1 (from memory; 50 with a second fermentation in cask)",
    ),
    Limit(
        "EU",
        ("wine",),
        150.0,
        "Delegated Regulation (EU) 2019/934, Annex I part B: red wine 150, white and rosé 200, more with sugar left",
    ),
    Limit(
        "EU",
        ("cider", "mead"),
        200.0,
        "Regulation (EC) 1333/2008, Annex II, categories 14.2.3 and 14.2.5 (from memory)",
    ),
    Limit("EU", ("other",), 150.0, "the lowest of the European limits for wine-like drinks, as the kind is not said"),
    Limit("US", ("wine", "mead", "cider", "other"), 350.0, "27 CFR 4.22(b)(1)"),
)
"""Limits on total SO2. Where a kind has several, the lowest stands: the sheet does not know the colour or the sugar."""

EU_WHITE_PPM: Final = 200.0
"""White and rosé wine in the EU, the same regulation as red."""

LABEL_PPM: Final = 10.0
"""Total SO2 in mg/L that a label must name: above it in the EU (1169/2011 Annex II), from it on in the US.

US: 21 CFR 101.100(a)(4)."""

SORBATE_LIMITS_PPM: Final = {
    "EU": (200.0, "OIV oenological code II.3.4.5, as sorbic acid"),
    "US": (300.0, "27 CFR 24.246, as sorbic acid (from memory)"),
}


def limit_for(drink: str | None, jurisdiction: str | None) -> Limit | None:
    """The limit that applies; a place that is not known gets the lowest that is known for the drink.

    A drink that is not said counts as wine-like. None where no number is known: beer in the US, and beer where the
    place is not said, since known rules then differ in kind.
    """
    known = {limit.jurisdiction for limit in LIMITS}
    place = (jurisdiction or "").upper()
    if drink in BEERS and not place:
        return None
    fits = [limit for limit in LIMITS if (place not in known or limit.jurisdiction == place)]
    fits = [limit for limit in fits if (drink or "other") in limit.drinks]
    return min(fits, key=lambda limit: limit.so2_ppm, default=None)
