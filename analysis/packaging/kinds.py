"""Kinds of bottle, in the words of the trade, and what a bottle of each kind may be trusted with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.drinks import BEERS
from analysis.packaging.inputs import SheetInputs
from analysis.thresholds import UNRATED_BOTTLE_KPA


@dataclass(frozen=True, slots=True)
class BottleKind:
    """Working pressures in kPa above the atmosphere: the lowest commonly sold, and beyond which none is sold."""

    lowest_kpa: float
    highest_kpa: float


STILL: Final = "still-wine bottle"

BOTTLE_KINDS: Final[dict[str, BottleKind]] = {
    "crown-cap beer bottle": BottleKind(UNRATED_BOTTLE_KPA, 1000.0),
    "swing-top bottle": BottleKind(UNRATED_BOTTLE_KPA, 1000.0),
    "sparkling-wine bottle": BottleKind(600.0, 1000.0),
    "PET bottle": BottleKind(UNRATED_BOTTLE_KPA, 800.0),
    STILL: BottleKind(137.0, 150.0),
}
"""By name.

Crown cap: 4 volumes at 30 °C, as one maker is quoted; new ones are tested at 1,200 kPa for a minute (GB 4544, by trade
pages), so that a rating near it is a test and no working pressure. Sparkling wine: 5 to 6 bar in use, tested at 16
(glass trade and packaging laboratory pages). PET: specimens fail from 860 kPa on (question-and-answer page), 1,200 by
others. Still wine: 1.98 volumes, the most a still wine may hold (27 CFR 26.222), at 20 °C. Swing tops and the
rest: common practice, no source; the lowest of both is that of the weakest beer bottle we know of.
"""

LOWEST_CARBONATED_KPA: Final = min(kind.lowest_kpa for name, kind in BOTTLE_KINDS.items() if name != STILL)
HIGHEST_KPA: Final = max(kind.highest_kpa for kind in BOTTLE_KINDS.values())


@dataclass(frozen=True, slots=True)
class BottleRating:
    """What bottles are held against, in kPa; `known` where their rating is given, `doubted` where none is so high."""

    gauge_kpa: float
    known: bool
    doubted: bool


def bottle_rating(inputs: SheetInputs) -> BottleRating:
    """The rating as far as one of the kind is sold; without one, the lowest of the kind.

    Where the kind is not given either, the lowest of those that such a drink is filled into: a still drink that is no
    beer may go into bottles for still wine.
    """
    kind = None if inputs.bottle_kind is None else BOTTLE_KINDS[inputs.bottle_kind]
    given = inputs.bottle_rating_kpa
    if given is not None:
        highest = HIGHEST_KPA if kind is None else kind.highest_kpa
        return BottleRating(min(given, highest), known=True, doubted=given > highest)
    if kind is not None:
        return BottleRating(kind.lowest_kpa, known=False, doubted=False)
    still = inputs.carbonation_volumes is None and inputs.drink not in BEERS
    return BottleRating(BOTTLE_KINDS[STILL].lowest_kpa if still else LOWEST_CARBONATED_KPA, known=False, doubted=False)
