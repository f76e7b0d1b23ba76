"""What stays the same for all hypotheses of one assessment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analysis.fermentation import Warmth, warmth
from analysis.inference.observation_error import local_rate
from analysis.inference.prior import Prior
from analysis.inference.steps import Addition
from analysis.model import Floats
from analysis.readings import Series

_TIMING_H: Final = 1.5
_TIMING_SHARE: Final = 0.03
"""How far the family of courses may miss the true one's timing: hours, and a share of the time since pitching."""


@dataclass(frozen=True, slots=True)
class Original:
    """Original gravity, and whether it was measured."""

    gravity_sg: float
    known: bool


@dataclass(frozen=True, slots=True)
class Setting:
    """What stays the same for all hypotheses of one assessment."""

    series: Series
    prior: Prior
    warm: Warmth
    original_sg: float
    original_known: bool
    creep_from_h: float | None
    timing_sd_sg: Floats
    bins: NDArray[np.intp]
    additions: tuple[Addition, ...] = ()
    forced_sg: float | None = None

    @classmethod
    def of(
        cls,
        series: Series,
        prior: Prior,
        original: Original,
        *,
        creep_from_h: float | None = None,
        additions: tuple[Addition, ...] = (),
        forced_sg: float | None = None,
    ) -> Setting:
        """Prepare the warmth-weighted time and the timing error."""
        warm = warmth(series.grid_hours, series.grid_temperature_c, series.reference_c, series.usual_c)
        return cls(
            series,
            prior,
            warm,
            original.gravity_sg,
            original.known,
            creep_from_h,
            np.hypot(_TIMING_H, _TIMING_SHARE * series.hours) * local_rate(series),
            np.searchsorted(series.grid_hours, series.hours).clip(0, series.grid_hours.size - 1),
            additions,
            forced_sg,
        )

    @property
    def fed(self) -> bool:
        """Whether anything was fed on the way."""
        return any(a.fed_sg > 0 for a in self.additions)
