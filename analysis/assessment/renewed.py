"""The hypothesis that what has ended ferments anew and slowly: contamination, refermentation, a culture that lingers.

It is weighed against the end by the line through the readings since then (`analysis.assessment.trend`), which no
inferred offset of a float can bend. By the end the line falls no faster than floats drift; by the other it falls as a
half normal of `RENEWED_SG_DAY`. Both are normal in the slope, so their odds and what is left have a closed form.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import log_ndtr, ndtr, ndtri

from analysis.model import Floats, Trend
from analysis.thresholds import (
    FAR_SG,
    RENEWED_CULTURE_ODDS,
    RENEWED_ODDS,
    RENEWED_SG_DAY,
    STILL_FALLING,
    STORED_DAYS,
    TREND_SG_DAY,
)

_VALUES: Final = 40


@dataclass(frozen=True, slots=True)
class Renewed:
    """The chance that it ferments anew, and by how much it would fall a day: equally likely values, ascending.

    `lingers` says that the culture is one that often creeps, and has not been shown to be done.
    """

    chance: float
    fall_sg_day: Floats
    lingers: bool = False

    @classmethod
    def of(cls, trend: Trend | None, *, lingers: bool, falls_again: bool) -> Renewed:
        """Weigh it against the end; without a line only what is thought of it beforehand is known.

        Parameters
        ----------
        lingers
            Whether the culture is one that often creeps, and has not yet been seen to be done.
        falls_again
            Whether the line takes the end back; then it is as good as sure.
        """
        odds = RENEWED_CULTURE_ODDS if lingers else RENEWED_ODDS
        if trend is None:
            return cls(odds, _half_normal(0.0, RENEWED_SG_DAY), lingers)
        seen, error = trend.fall_sg_day, max(trend.error_sg_day, 1e-9)
        both = float(np.hypot(error, RENEWED_SG_DAY))
        middle = seen * (RENEWED_SG_DAY / both) ** 2
        spread = error * RENEWED_SG_DAY / both
        log_renewed = np.log(2.0) + _log_normal(seen, both) + float(log_ndtr(middle / spread))
        log_ended = _log_normal(seen, float(np.hypot(error, TREND_SG_DAY)))
        ratio = odds / (1.0 - odds) * float(np.exp(np.clip(log_renewed - log_ended, -50.0, 50.0)))
        chance = ratio / (1.0 + ratio)
        return cls(max(chance, 1.0 - STILL_FALLING) if falls_again else chance, _half_normal(middle, spread), lingers)

    def weighed(self, p_finished: float, p_far: float) -> tuple[float, float]:
        """The chances of an end and of `FAR_SG` or more to come, with this beside the courses."""
        return p_finished * (1.0 - self.chance), p_far + (1.0 - p_far) * self.chance

    def left_sg(self, furthest_sg: float) -> Floats:
        """What may yet fall in a closed package if it does, SG: for `STORED_DAYS`, no further than `furthest_sg`."""
        return np.minimum(STORED_DAYS * self.fall_sg_day, max(furthest_sg, FAR_SG))


NOT_RENEWED: Final = Renewed(0.0, np.zeros(_VALUES))
"""Where it is not weighed."""


def _log_normal(value: float, sd: float) -> float:
    return -0.5 * (value / sd) ** 2 - float(np.log(sd))


def _half_normal(middle: float, sd: float) -> Floats:
    """Equally likely values of a normal that is cut at zero."""
    below = float(ndtr(-middle / sd))
    shares = (np.arange(_VALUES) + 0.5) / _VALUES
    values: Floats = np.maximum(middle + sd * ndtri(np.minimum(below + shares * (1.0 - below), 1.0 - 1e-12)), 0.0)
    return values
