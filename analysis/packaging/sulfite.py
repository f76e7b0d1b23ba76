"""Sulfite and sorbate: arithmetic, what a dose does, and the legal limits in one table.

ppm is mg/L. Masses from standard atomic weights: potassium metabisulfite, K2S2O5, is 57.6 % SO2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.drinks import BEERS

_K, _S, _O = 39.0983, 32.06, 15.999
SO2_PER_SALT: Final = 2 * (_S + 2 * _O) / (2 * _K + 2 * _S + 5 * _O)
"""Grams of SO2 in a gram of potassium metabisulfite (0.5763); aged powder holds less (common practice)."""

SORBIC_PER_POTASSIUM_SORBATE: Final = 112.128 / 150.218
"""Grams of sorbic acid in a gram of potassium sorbate (OIV Codex COEI-1-POTSOR prints 74 %)."""

PKA1: Final = 1.81
"""First dissociation of SO2 in water as wine work has long used it (from memory; a wine laboratory prints 1.77)."""

_ALCOHOL_PCT: Final = (0.0, 5.0, 10.0, 15.0)
_TEMPERATURE_C: Final = (20.0, 25.0, 30.0, 35.0, 40.0)
_PKA1: Final = (
    (1.798, 2.000, 2.219, 2.334, 2.493),
    (1.897, 2.098, 2.299, 2.397, 2.527),
    (1.997, 2.198, 2.394, 2.488, 2.606),
    (2.099, 2.301, 2.503, 2.607, 2.728),
)  # OIV-MA-AS323-04C, Table I: by alcohol in % vol down and temperature in °C across

SHEET_C: Final = 20.0
"""°C at which the packaging sheet takes the molecular SO2: the coldest of the published table. Warmth gives more, by
steps that heats of formation do not bear out, so no credit is taken for it; in the cold it is less."""


def pka1(alcohol_pct: float | None = None, temperature_c: float = SHEET_C) -> float:
    """First dissociation of SO2 by alcohol and temperature, straight between the rows of OIV-MA-AS323-04C, Table I.

    Parameters
    ----------
    alcohol_pct
        % vol; None takes 0, which leaves least molecular. Above 15, the last row that was read, it counts as 15.
    temperature_c
        20 to 40 °C, what the table holds; beyond either end the end counts.
    """
    by_alcohol = [float(np.interp(temperature_c, _TEMPERATURE_C, row)) for row in _PKA1]
    return float(np.interp(alcohol_pct or 0.0, _ALCOHOL_PCT, by_alcohol))


SORBATE_NEEDED_PPM: Final = ((10.0, 200.0), (11.0, 167.0), (12.0, 134.0), (13.0, 100.0), (14.0, 67.0))
"""% vol of alcohol, and mg/L of potassium sorbate that it takes beside sulfite in a clear drink: Peynaud's table of
150, 125, 100, 75 and 50 mg/L of sorbic acid (from memory); home doses are 150 to 260 of the salt (common practice)."""


def sorbate_needed_ppm(alcohol_pct: float | None) -> float:
    """Potassium sorbate in mg/L that holds yeast back; of unknown alcohol what the weakest drink needs."""
    alcohol, needed = zip(*SORBATE_NEEDED_PPM, strict=True)
    return float(np.interp(alcohol_pct or 0.0, alcohol, needed))


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


def molecular_fraction(ph: float, pka: float = PKA1) -> float:
    """The share of free SO2 that is molecular, the form that stops microbes."""
    return 1 / (1 + 10 ** (ph - pka))


def molecular_so2_ppm(free_so2_ppm: float, ph: float, alcohol_pct: float | None = None) -> float:
    """Molecular SO2 in mg/L at `SHEET_C`, of the free SO2 (never the total)."""
    return free_so2_ppm * molecular_fraction(ph, pka1(alcohol_pct))


@dataclass(frozen=True, slots=True)
class Limit:
    """A legal limit on total SO2 for a kind of drink in a jurisdiction, in mg/L."""

    jurisdiction: str
    drinks: tuple[str, ...]
    so2_ppm: float
    source: str


@dataclass(frozen=True, slots=True)
class SorbateLimit:
    """A legal limit on sorbate, in mg/L of sorbic acid; 0 where it is not permitted."""

    jurisdiction: str
    drinks: tuple[str, ...]
    acid_ppm: float
    source: str


EU_BEER_PPM: Final = 20.0

_FRUIT = ("cider", "mead")

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
    Limit("EU", _FRUIT, 200.0, "Regulation (EC) 1333/2008, Annex II, categories 14.2.3 and 14.2.5 (from memory)"),
    Limit("EU", ("other",), 150.0, "the lowest of the European limits for wine-like drinks, as the kind is not said"),
    Limit(
        "US", ("wine", *_FRUIT, "other"), 350.0, "27 CFR 4.22(b)(1): wines of 7 % vol and more, of fruit and honey too"
    ),
    Limit("Codex", BEERS, 50.0, "Codex General Standard for Food Additives, as quoted by JECFA"),
    Limit("Codex", ("wine",), 350.0, "Codex General Standard for Food Additives, grape wine, as quoted by JECFA"),
    Limit("Codex", (*_FRUIT, "other"), 200.0, "Codex General Standard for Food Additives, category 14.2.4"),
    Limit("CA", ("wine",), 350.0, "Canadian food law, as a teaching note quotes it"),
)
"""Limits on total SO2. Where a kind has several, the lowest stands: the sheet does not know the sugar left."""

EU_WHITE_PPM: Final = 200.0
"""White and rosé wine in the EU, the same regulation as red."""

US_WINE_FROM_PCT: Final = 7.0
"""% vol from which the US rules for wine hold (27 CFR 4.10, from memory); below it no number is known."""

LABEL_PPM: Final = 10.0
"""Total SO2 in mg/L that a label must name: above it in the EU (1169/2011 Annex II), from it on in the US.

US: 21 CFR 101.100(a)(4)."""

SORBATE_LIMITS: Final = (
    SorbateLimit(
        "EU",
        BEERS,
        0.0,
        "Regulation (EC) 1333/2008, Annex II, category 14.2.1, from memory; kegged beer with juice or sugar apart",
    ),
    SorbateLimit("EU", ("wine",), 200.0, "OIV oenological code II.3.4.5, as sorbic acid"),
    SorbateLimit(
        "EU",
        (*_FRUIT, "other"),
        200.0,
        "Regulation (EC) 1333/2008, Annex II, categories 14.2.3 to 14.2.5, as sorbic acid (from memory)",
    ),
    SorbateLimit("US", ("wine", *_FRUIT, "other"), 300.0, "27 CFR 24.246, as sorbic acid (from memory)"),
    SorbateLimit("Codex", (*_FRUIT, "other"), 500.0, "Codex General Standard for Food Additives, category 14.2.4"),
)
"""Limits on sorbate. In beer none is known to permit it."""


def limit_for(
    drink: str | None, jurisdiction: str | None, *, colour: str | None = None, alcohol_pct: float | None = None
) -> Limit:
    """The limit that applies; where none is known of the place, the lowest that is known for the drink anywhere.

    A drink that is not said gets the lowest of all, that of beer.
    """
    place = (jurisdiction or "").upper()
    of_place = [each for each in LIMITS if each.jurisdiction.upper() == place]
    if place == "US" and drink in _FRUIT and (alcohol_pct is None or alcohol_pct < US_WINE_FROM_PCT):
        of_place = []
    fits = [each for each in LIMITS if drink is None or drink in each.drinks]
    of_place = [each for each in of_place if drink is not None and each in fits]
    lowest = min(of_place or fits, key=lambda each: each.so2_ppm)
    if (lowest.jurisdiction, drink) == ("EU", "wine") and colour in ("white", "rosé"):
        return Limit("EU", ("wine",), EU_WHITE_PPM, lowest.source)
    return lowest


def sorbate_limit_for(drink: str, jurisdiction: str | None) -> SorbateLimit:
    """The limit on sorbate; where none is known of the place, the lowest that is known for the drink anywhere."""
    place = (jurisdiction or "").upper()
    fits = [each for each in SORBATE_LIMITS if drink in each.drinks]
    of_place = [each for each in fits if each.jurisdiction.upper() == place]
    return min(of_place or fits, key=lambda each: each.acid_ppm)
