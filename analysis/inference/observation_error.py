"""The error of a float: independent scatter, slow wandering, drift, an unknown offset in each stay.

All of it is Gaussian, so it is one covariance matrix over the bins, the same for every candidate course. `whiten`
turns it into independent unit errors; the likelihood of a thousand courses is then one matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.linalg.lapack import dtrtri

from analysis.model import Floats
from analysis.readings import Series

WANDER_SD_SG: Final = (0.0001, 0.0002, 0.0004, 0.0008, 0.0016, 0.0032)
"""Sizes of slow wandering that are weighed against each other, doubling. A quiet float must be believed to be quiet:
were its wandering overrated, a stand of days would be taken for a slow fall."""

_WANDER_H: Final = (3.0, 20.0)
"""Correlation times of the two halves of the wandering, hours: real floats have no single one."""

NEW_OFFSET_SD_SG: Final = 0.002
"""How far a float may be off otherwise once it, its place or its liquid was changed."""

_HAND_OFFSET_SD_SG: Final = 0.0004


@dataclass(frozen=True, slots=True)
class ObservationError:
    """What is believed of a float before its own readings, and how far the courses may miss the truth."""

    drift_sd_sg_day: float = 0.00003
    """A point a month (common practice, no source)."""
    offset_sd_sg: float = 0.003

    @staticmethod
    def level(log_wander: Floats) -> Floats:
        """Row of `WANDER_SD_SG` nearest to a size of wandering, given as its logarithm, shape (n,)."""
        place = (log_wander - np.log(WANDER_SD_SG[0])) / np.log(2.0)
        return np.asarray(np.clip(np.rint(place), 0, len(WANDER_SD_SG) - 1).astype(np.intp))

    def covariances(self, series: Series, timing_sd_sg: Floats, level_sd_sg: float) -> Floats:
        """Covariance of the bins for each size of wandering, shape (sizes, n, n).

        `timing_sd_sg` is how far the family of courses may miss the true one at each bin, because of its shape;
        `level_sd_sg` how far original gravity is uncertain.
        """
        t = series.hours
        apart = np.abs(t[:, None] - t[None, :])
        is_float = series.floats.astype(np.float64)
        both = is_float[:, None] * is_float[None, :]
        unit = both * wandering(apart)
        cov = timing_sd_sg[:, None] * timing_sd_sg[None, :] * np.exp(-apart / 12.0)
        late = is_float * (t - (t[-1] if t.size else 0.0)) / 24.0
        cov += (self.drift_sd_sg_day**2) * late[:, None] * late[None, :]
        cov += both * self.offset_sd_sg**2 + level_sd_sg**2
        for k in range(1, int(series.segment.max(initial=0)) + 1):
            inside = is_float * (series.segment >= k)
            cov += NEW_OFFSET_SD_SG**2 * inside[:, None] * inside[None, :]
        hand = 1.0 - is_float
        cov += hand[:, None] * hand[None, :] * _HAND_OFFSET_SD_SG**2
        cov[np.diag_indices_from(cov)] += series.white_sd_sg**2 + 1e-12
        sizes = np.square(np.array(WANDER_SD_SG))
        return np.asarray(cov[None, :, :] + sizes[:, None, None] * unit[None, :, :])


def wandering(apart_h: Floats) -> Floats:
    """Correlation of the wandering of two readings so many hours apart, any shape."""
    return np.asarray(0.5 * (np.exp(-apart_h / _WANDER_H[0]) + np.exp(-apart_h / _WANDER_H[1])))


@dataclass(frozen=True, slots=True)
class Whitener:
    """Turns errors with known covariances into independent ones; one matrix for each size of wandering."""

    matrices: Floats
    log_determinants: Floats

    @classmethod
    def of(cls, covariances: Floats) -> Whitener:
        """From positive definite covariances, shape (sizes, n, n)."""
        lower = np.linalg.cholesky(covariances)
        inverse = np.stack([dtrtri(one, lower=1)[0] for one in lower])
        return cls(inverse, np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1))


def local_rate(series: Series) -> Floats:
    """Fall per hour around each bin, SG/h, from medians over half a day on either side; never negative."""
    t, g = series.hours, series.gravity_sg
    if t.size < 4:
        return np.zeros(t.size)
    padded = np.concatenate([g[[0, 0]], g, g[[-1, -1]]])
    smooth = np.median(sliding_window_view(padded, 5), axis=1)
    before = np.interp(t - 8.0, t, smooth)
    after = np.interp(t + 8.0, t, smooth)
    span = np.minimum(t + 8.0, t[-1]) - np.maximum(t - 8.0, t[0])
    return np.asarray(np.maximum((before - after) / np.maximum(span, 2.0), 0.0))
