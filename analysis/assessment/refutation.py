"""An end that the readings refute: what has fallen by two points since had not ended, whatever we infer.

The inferred offset of a float may wander with its readings, so that a slow fall after a pause looks like drift. Here
only the float's own readings count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.model import Floats
from analysis.readings import Series, levels, moved_by, scatter_of
from analysis.thresholds import (
    COMPARED_WITHIN_C,
    FELL_SG,
    HOLD_H,
    LASTED_H,
    LEVEL_H,
    REFUTED_WITHIN_H,
    STANDS_ANEW_SHARE,
    STEADY_SG,
)

_MEDIAN: Final = 1.25
"""Standard error of a median by that of a mean, of normal errors."""


@dataclass(frozen=True, slots=True)
class Stood:
    """How the float stood before the last level that counts; hours since pitching, arrays of shape (n,).

    `level_sg` is what it had stood at for a day by each of `hours`, `now_sg` the newest level. `last_h` is the last
    time at which it had stood `FELL_SG` above that, beyond the error of both.
    """

    hours: Floats
    level_sg: Floats
    now_sg: float
    last_h: float

    def fallen_since(self, hour: float) -> float:
        """By how much the level has fallen since `hour`, SG."""
        return float(np.interp(hour, self.hours, self.level_sg)) - self.now_sg


def stood_above(series: Series, *, until_h: float, from_h: float) -> Stood | None:
    """When the float last stood two points above its newest level, at a like temperature; None if it never did.

    Parameters
    ----------
    until_h
        What was read later does not count: in the cold a float says nothing about the fermentation.
    from_h
        Nor what was read before this: it was another float, place or liquid.
    """
    use = series.floats & (series.hours <= until_h) & (series.hours >= from_h)
    t, g = series.hours[use], series.gravity_sg[use]
    if t.size < 4:
        return None
    recent = t > t[-1] - LEVEL_H
    if series.temperature_known:
        warmth = np.interp(t, series.grid_hours, series.grid_temperature_c)
        alike = np.abs(warmth - np.median(warmth[recent])) <= COMPARED_WITHIN_C
        t, g, recent = t[alike], g[alike], recent[alike]
    near = t > t[-1] - REFUTED_WITHIN_H if t.size else np.zeros(0, bool)
    t, g, recent = t[near], g[near], recent[near]
    if np.count_nonzero(recent) < 2 or t.size < 4:
        return None
    scatter = max(scatter_of(g), series.rounding_sg)
    level = levels(t, g, LEVEL_H)
    count = np.searchsorted(t, t + LEVEL_H / 2, side="right") - np.searchsorted(t, t - LEVEL_H / 2)
    # From the bin before that day on: where the bins are coarse, one alone may be a passing lift.
    first = np.maximum(np.searchsorted(t, t - LASTED_H, side="right") - 1, 0)
    stood = np.array([level[start : end + 1].min() for end, start in enumerate(first)])
    now_sg = float(np.median(g[recent]))
    error = _MEDIAN * scatter * np.sqrt(1.0 / count + 1.0 / np.count_nonzero(recent))
    above = np.flatnonzero(stood - now_sg >= FELL_SG + error)
    return Stood(t, stood, now_sg, float(t[above[-1]])) if above.size else None


def stands_anew(series: Series, stood: Stood, *, held_h: float, until_h: float) -> bool:
    """Whether it has come to a stand since it fell: for the usual hold, and long enough to tell from a fall as slow.

    Over half the time that the fall took until now, a fall that goes on as slowly shows a whole point.
    """
    span = max(HOLD_H, STANDS_ANEW_SHARE * (until_h - stood.last_h))
    use = series.floats & (series.hours <= until_h) & (series.hours > until_h - span)
    if held_h < HOLD_H or np.count_nonzero(use) < 4:
        return False
    moved, error = moved_by(series.hours[use], series.gravity_sg[use])
    return moved + error < 0.5 * STEADY_SG
