"""Can the tasters tell two drinks apart? The triangle: three glasses, two of them alike, which is the odd one out.

Who cannot tell is right in one of three. ISO 4120 (triangle test); the probabilities are exact binomial ones, and a
published table of them is what the tests compare with.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.model import Range
from analysis.thresholds import TRIANGLE_ALPHA, TRIANGLE_TELLING

GUESSING: Final = 1 / 3


@dataclass(frozen=True, slots=True)
class Triangle:
    """What a triangle says."""

    right: int
    tasters: int
    p_value: float
    """Chance of so many right answers, or more, if nobody could tell."""
    needed: int | None
    """The least right answers that would show a difference; None where even all of them would not."""
    telling: Range
    """Share of people who can really tell: 10th, 50th and 90th percent points (Clopper and Pearson), guesses taken off.
    """
    power: float
    """Chance that so many tasters would have shown a difference that half of them can really tell."""

    @property
    def shown(self) -> bool:
        """Whether a difference is shown."""
        return self.needed is not None and self.right >= self.needed


def triangle(right: int, tasters: int) -> Triangle:
    """Judge a triangle.

    Parameters
    ----------
    right
        Tasters who found the odd one out.
    tasters
        All who answered; who passed is not among them.

    Raises
    ------
    ValueError
        If nobody answered, or more were right than answered.
    """
    if not 0 <= right <= tasters or tasters < 1:
        raise ValueError(f"right must be from 0 to the {tasters} tasters who answered, got {right}")
    low, mid, high = (_share(each) for each in _right_share(right, tasters))
    return Triangle(
        right,
        tasters,
        at_least(right, tasters),
        least_right(tasters),
        Range(low, mid, high),
        power(tasters),
    )


def at_least(right: int, tasters: int, p: float = GUESSING) -> float:
    """The chance of `right` or more successes in so many tries."""
    from scipy import special  # late: guests' pages are routed at the start, which waits for none of it

    return 1.0 if right <= 0 else float(special.bdtrc(right - 1, tasters, p))


def least_right(tasters: int, alpha: float = TRIANGLE_ALPHA) -> int | None:
    """The least right answers whose chance by guessing is at most `alpha`; None where there is no such number."""
    return next((n for n in range(tasters + 1) if at_least(n, tasters) <= alpha * (1 + 1e-12)), None)


def power(tasters: int, telling: float = TRIANGLE_TELLING, alpha: float = TRIANGLE_ALPHA) -> float:
    """The chance that so many tasters show a difference which the share `telling` of them can really tell."""
    needed = least_right(tasters, alpha)
    return 0.0 if needed is None else at_least(needed, tasters, GUESSING + (1 - GUESSING) * telling)


def tasters_needed(telling: float = TRIANGLE_TELLING, wanted: float = 0.8) -> int:
    """How many tasters it takes for a power that stays at `wanted` or above from there on."""
    enough = 0
    for tasters in range(200, 2, -1):
        if power(tasters, telling) < wanted:
            break
        enough = tasters
    return enough or 200


def _right_share(right: int, tasters: int) -> tuple[float, float, float]:
    """The share of right answers: an 80 % interval that is never too narrow, and the share seen."""
    from scipy import special  # late: guests' pages are routed at the start, which waits for none of it

    low = 0.0 if right == 0 else float(special.betaincinv(right, tasters - right + 1, 0.1))
    high = 1.0 if right == tasters else float(special.betaincinv(right + 1, tasters - right, 0.9))
    return low, right / tasters, high


def _share(right: float) -> float:
    return max(0.0, (right - GUESSING) / (1 - GUESSING))
