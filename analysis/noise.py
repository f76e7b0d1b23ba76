"""The error of a float: independent scatter, slow wandering, drift, an unknown offset in each stay.

All of it is Gaussian, so it is one covariance matrix over the bins, the same for every candidate course. `whiten`
turns it into independent unit errors; the likelihood of a thousand courses is then one matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import solve_triangular

from analysis.model import Floats
from analysis.series import Series

WANDER_SD_SG: Final = (0.00015, 0.0004, 0.0008, 0.0016, 0.0032)
"""Sizes of slow wandering that are weighed against each other."""

WANDER_H: Final = (5.0, 20.0)
"""Correlation times of the wandering, hours."""

NEW_OFFSET_SD_SG: Final = 0.002
_HAND_OFFSET_SD_SG: Final = 0.0004


@dataclass(frozen=True, slots=True)
class Noise:
    """One hypothesis about the float."""

    wander_sd_sg: float
    wander_h: float
    drift_sd_sg_day: float
    offset_sd_sg: float

    def covariance(self, series: Series, timing_sd_sg: Floats) -> Floats:
        """Covariance of the bins, shape (n, n).

        `timing_sd_sg` is how far the family of courses may miss the true one at each bin, because of its shape.
        """
        t = series.hours
        apart = np.abs(t[:, None] - t[None, :])
        is_float = series.floats.astype(np.float64)
        both = is_float[:, None] * is_float[None, :]
        cov = both * self.wander_sd_sg**2 * np.exp(-apart / self.wander_h)
        cov += timing_sd_sg[:, None] * timing_sd_sg[None, :] * np.exp(-apart / 12.0)
        late = is_float * (t - (t[-1] if t.size else 0.0)) / 24.0
        cov += (self.drift_sd_sg_day**2) * late[:, None] * late[None, :]
        cov += both * self.offset_sd_sg**2
        for k in range(1, int(series.segment.max(initial=0)) + 1):
            inside = is_float * (series.segment >= k)
            cov += NEW_OFFSET_SD_SG**2 * inside[:, None] * inside[None, :]
        hand = 1.0 - is_float
        cov += hand[:, None] * hand[None, :] * _HAND_OFFSET_SD_SG**2
        cov[np.diag_indices_from(cov)] += series.white_sd_sg**2
        return np.asarray(cov)


@dataclass(frozen=True, slots=True)
class Whitener:
    """Turns errors with a known covariance into independent ones."""

    matrix: Floats
    log_determinant: float

    @classmethod
    def of(cls, covariance: Floats) -> Whitener:
        """From a positive definite covariance, shape (n, n)."""
        lower = np.linalg.cholesky(covariance + 1e-14 * np.eye(covariance.shape[0]))
        inverse = solve_triangular(lower, np.eye(lower.shape[0]), lower=True, check_finite=False)
        return cls(inverse, float(np.log(np.diag(lower)).sum()))


def local_rate(series: Series) -> Floats:
    """Fall per hour around each bin, SG/h, from medians over half a day on either side; never negative."""
    t, g = series.hours, series.gravity_sg
    if t.size < 4:
        return np.zeros(t.size)
    smooth = np.array([np.median(g[max(i - 2, 0) : i + 3]) for i in range(t.size)])
    before = np.interp(t - 8.0, t, smooth)
    after = np.interp(t + 8.0, t, smooth)
    span = np.minimum(t + 8.0, t[-1]) - np.maximum(t - 8.0, t[0])
    return np.asarray(np.maximum((before - after) / np.maximum(span, 2.0), 0.0))
