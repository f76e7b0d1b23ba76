"""What the sheet finds of sulfite, sorbate, stabilising and priming; `analysis.wording.sheet_doses` has the words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SaidSo2 = Literal["free", "total", "added"]
StabilisingFact = Literal["drink", "pH", "finish", "free SO2", "sorbate"]


@dataclass(frozen=True, slots=True)
class PresentSo2Unclear:
    """A dose cannot be worked out: what is present is not told as `needed`, but as `said` or not at all."""

    needed: Literal["free", "total"]
    said: SaidSo2 | None


@dataclass(frozen=True, slots=True)
class TotalSo2Unknown:
    """The total in mg/L is at least this, so that it cannot be held against the limit."""

    least_ppm: float
    limit_ppm: float


@dataclass(frozen=True, slots=True)
class MolecularAt:
    """For which pKa the molecular SO2 holds; the alcohol in % vol is None where it counts as 0."""

    pka: float
    alcohol_pct: float | None


@dataclass(frozen=True, slots=True)
class NoSulfiteLimitHere:
    """No limit of this place is known for the drink: the lowest known, in mg/L, was taken from another."""

    place: str | None
    limit_ppm: float
    jurisdiction: str


@dataclass(frozen=True, slots=True)
class SorbateNotPermitted:
    """Sorbate is not permitted in this drink; `here` where the person's own place says so."""

    drink: str
    jurisdiction: str
    here: bool
    source: str


@dataclass(frozen=True, slots=True)
class TooLittleSorbate:
    """Less potassium sorbate, in mg/L, than holds yeast back at this alcohol."""

    salt_ppm: float
    needed_ppm: float


@dataclass(frozen=True, slots=True)
class SorbateAndPriming:
    """Sorbate beside priming sugar, in mg/L of the potassium salt; `refused` where no sugar is given."""

    salt_ppm: float
    refused: bool


@dataclass(frozen=True, slots=True)
class SulfiteAndPriming:
    """SO2 beside priming sugar, in mg/L: in all at least, and free at most; `refused` where no sugar is given."""

    total_ppm: float
    free_ppm: float
    refused: bool


@dataclass(frozen=True, slots=True)
class AlcoholAndPriming:
    """More alcohol, in % vol, than the yeast bears: `known` of it, or usual."""

    alcohol_pct: float
    tolerance_pct: float
    known: bool


@dataclass(frozen=True, slots=True)
class PrimingStrengthUnknown:
    """How strong the juice, concentrate or wort is has not been told."""

    sugar: str


@dataclass(frozen=True, slots=True)
class PrimingTooWeak:
    """It cannot even carbonate itself to the wished volumes."""

    sugar: str
    wished_volumes: float


@dataclass(frozen=True, slots=True)
class PrimingVaries:
    """What the priming sugar may make of the drink, in volumes: aimed at the wish, from least to most."""

    sugar: str
    low_volumes: float
    high_volumes: float
    source: str
