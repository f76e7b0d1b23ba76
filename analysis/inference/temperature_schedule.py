"""What a cellar does with the temperature later on, learnt from earlier batches of the drink.

A lager is often warmed towards its end (the rest that clears diacetyl), an ale left to rise; a forecast that keeps the
present temperature runs late then. Of each earlier batch we keep, at each of `STAGES` of its fall, how far it had been
warmed by then, and how much warmer it was from there to its finish. The next batch does what one of them did, the more
likely the nearer it has been warmed as far as that one; or it stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from analysis.model import Floats

ALIKE_C: Final = 1.5
"""Batches that have been warmed alike by less than this are alike (no source)."""

STAYS_LIKE: Final = 1.0
"""That the temperature stays as it is counts like so many earlier batches (no source)."""

_STEP_H: Final = 2.0


@dataclass(frozen=True, slots=True)
class TemperatureSchedule:
    """What was done with n earlier batches, by stage of the fall (`stages`, shape (m,)).

    `risen_c` is how far each was warmed by then, `later_c` how much warmer it was from there on, in the mean until
    its finish; both of shape (n, m).
    """

    stages: Floats
    risen_c: Floats
    later_c: Floats

    def of_next(self, share: float, risen_c: float) -> tuple[Floats, Floats]:
        """How much warmer it may be from here on (°C), and the chance of each, both of shape (n + 1,).

        Parameters
        ----------
        share
            Share of the fall that is done.
        risen_c
            How far it has been warmed so far.
        """
        at = float(np.interp(share, self.stages, np.arange(self.stages.size)))
        low, part = int(at), at - int(at)
        high = min(low + 1, self.stages.size - 1)
        so_far, later = ((1 - part) * one[:, low] + part * one[:, high] for one in (self.risen_c, self.later_c))
        alike = np.exp(-0.5 * np.square((so_far - risen_c) / ALIKE_C))
        chance = np.append(alike, STAYS_LIKE)
        return np.append(later, 0.0), chance / chance.sum()

    def expected(self, share: float, risen_c: float) -> float:
        """How much warmer it will be from here on, in the mean, °C."""
        later, chance = self.of_next(share, risen_c)
        return float(later @ chance)

    def draws(self, share: float, risen_c: float, normal: Floats) -> Floats:
        """One of them for each standard normal, shape as `normal`."""
        later, chance = self.of_next(share, risen_c)
        place = np.searchsorted(np.cumsum(chance), ndtr(normal))
        return np.asarray(later[np.minimum(place, later.size - 1)])


def risen(hours: Floats, temperature_c: Floats, at_h: float) -> float:
    """How far it is warmed at `at_h` beyond its middle temperature until then, °C."""
    before = np.arange(0.0, max(at_h, _STEP_H), _STEP_H)
    return float(np.interp(at_h, hours, temperature_c) - np.median(np.interp(before, hours, temperature_c)))


def warmed(hours: Floats, temperature_c: Floats, reached_h: Floats, finish_h: float) -> tuple[float, ...]:
    """What one finished batch says: risen and later temperature (°C) at each stage, one after the other.

    Parameters
    ----------
    reached_h
        When it reached each stage, shape (m,).
    """
    said: list[float] = []
    for at in reached_h:
        after = np.arange(at, max(finish_h, at + _STEP_H), _STEP_H)
        later = np.mean(np.interp(after, hours, temperature_c)) - np.interp(at, hours, temperature_c)
        said += [round(risen(hours, temperature_c, float(at)), 2), round(float(later), 2)]
    return tuple(said)
