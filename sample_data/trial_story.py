"""A finished trial of the demo: one pale wort in four jugs, one hop in each, six tasters, and the blends after it.

All of it is invented: hops, people and what they like.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import numpy as np

from sample_data.kinetics import Floats

WORT: Final = "Jug pale"
YEAST: Final = "Marrow"
ORIGINAL_GRAVITY_SG: Final = 1.050
JUG_L: Final = 4.0
FILLED_L: Final = 3.0

PITCHED: Final = timedelta(days=61)
"""Before the demo begins; the others likewise."""
HOPPED: Final = timedelta(days=52)
ENDED: Final = timedelta(days=47)
TASTED: Final = timedelta(days=26)
BLENDED: Final = timedelta(days=19)

SAMPLES_SG: Final = ((0.0, 1.050), (3.0, 1.021), (7.0, 1.0125), (10.0, 1.0120), (13.0, 1.0120))
"""Days since pitching, and what the hydrometer said; about the same in each jug."""

TASTERS: Final = ("Ana", "Bo", "Cai", "Dee", "Eli", "Fay")


@dataclass(frozen=True)
class Jug:
    """A jug with its hop: grams in it, what it is worth to these tasters, and what they find in it."""

    hop: str
    grams: float
    worth: float
    aromas: tuple[str, ...]


JUGS: Final = (
    Jug("Moss", 15.0, 9.0, ("pine", "resin")),
    Jug("Fern", 15.0, -6.0, ("grass", "hay")),
    Jug("Tansy", 12.0, 5.0, ("citrus", "stone fruit")),
    Jug("Sedge", 15.0, -4.0, ("herbs", "earth")),
)

BLENDS: Final = ((0.5, 0.0, 0.5, 0.0), (0.7, 0.0, 0.3, 0.0), (0.3, 0.0, 0.7, 0.0), (0.4, 0.2, 0.4, 0.0))
"""Shares of the jugs that were tried afterwards, beside the best jug alone."""

GAIN: Final = 10.0
"""Points of 100 that halves of Moss and Tansy gain beyond their mean."""


def worth_of(shares: Floats) -> float:
    """What a blend of the jugs is worth to these tasters, points of 100 about the middle."""
    alone = float(np.dot(shares, [jug.worth for jug in JUGS]))
    return alone + 4 * GAIN * float(shares[0] * shares[2])


def score(taster: int, shares: Floats, place: int, rng: np.random.Generator) -> float:
    """What a taster gives: their level, the drink, something for the first glass, and the mood of the moment."""
    level = (58, 66, 52, 61, 47, 63)[taster % len(TASTERS)]
    return float(np.clip(round(level + worth_of(shares) + (3 if place == 0 else 0) + rng.normal(0, 6)), 0, 100))
