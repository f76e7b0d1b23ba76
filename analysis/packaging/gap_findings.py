"""What the sheet finds missing or too weak; `analysis.wording.sheet_gaps` has the words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Answer = Literal[
    "verdict",
    "alcohol",
    "residual gas",
    "priming sugar",
    "pressure to set",
    "sulfite",
    "molecular SO2",
    "sorbate",
    "hops",
    "sweetener",
    "acid",
]
"""What a sheet may be asked for."""


@dataclass(frozen=True, slots=True)
class InputMissing:
    """An input that is not given, by its key, and the answers that cannot be given without it."""

    key: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class LowAlcohol:
    """Sugar is left beside this little alcohol, in % by volume: nothing holds back what makes people ill."""

    abv_pct: float
