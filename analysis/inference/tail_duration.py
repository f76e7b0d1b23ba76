"""How long the end of a fermentation takes, learnt from earlier batches as a number of its own.

The features of a course are many, and the readings of one batch tell little of those that shape its tail. What
they imply together an earlier batch shows plainly: how long its last stretch took against the middle one. That
number, the *ending*, is the logarithm of the warmth-weighted time from nine tenths of the fall to the last point over
that from half to nine tenths. What earlier batches say of it is weighed as one more observation of a course.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.fermentation import Shapes
from analysis.model import Floats
from analysis.thresholds import ENDING_WORTH, STEADY_SG

USUAL_SD: Final = 0.3
"""How much the endings of one cellar's batches of a drink differ: by a third (common practice, no source)."""

CENTRE_SD: Final = 0.5
"""How far a cellar's usual ending may lie from what its courses imply."""

BY_STRENGTH: Final = (0.15, 0.2)
"""How much longer the ending of a batch is that began 20 points stronger, and how uncertain that is: nitrogen and
alcohol tell late (common practice, no source)."""

HINDSIGHT_SD: Final = 0.1
"""Error of an ending as seen in hindsight: the last point falls too slowly to be timed better."""

_COUNTS_LIKE: Final = 4.0
_FURTHEST: Final = 1.0
_LEAST_TOLD: Final = 0.05
_STRETCHES: Final = np.geomspace(0.15, 120.0, 56)
"""Multiples of the time of half the easy sugar at which a course is read."""


@dataclass(frozen=True, slots=True)
class TailDuration:
    """An observation of the ending: its mean and standard deviation.

    `usual` is what is expected of the next one, on how many earlier `batches`.
    """

    mean: float
    sd: float
    usual: float = 0.0
    batches: int = 0

    def log_weight(self, ending: Floats) -> Floats:
        """Log-likelihood of courses with these endings, up to a constant, shape (n,)."""
        return np.asarray(-0.5 * np.square((ending - self.mean) / self.sd))


def tail_durations(theta: Floats, fall_sg: Floats) -> Floats:
    """The ending of each course, shape (n,).

    Parameters
    ----------
    theta
        Parameters of the courses, shape (n, 11).
    fall_sg
        Size of the whole fall, shape (n,).
    """
    shapes = Shapes.of(theta)
    tau = (1.0 / shapes.rate + shapes.lag)[:, None] * _STRETCHES
    log_left = np.log(np.maximum(1.0 - shapes.fall(tau), 1e-9))
    last_point = np.minimum(STEADY_SG / np.maximum(fall_sg, STEADY_SG), 0.07)
    half, most, last = (_when(tau, log_left, np.log(left)) for left in (0.5, 0.1, last_point))
    return np.asarray(np.log(np.maximum(last - most, 1.0) / np.maximum(most - half, 1.0)))


def _when(tau: Floats, log_left: Floats, level: Floats | float) -> Floats:
    """When each course has less than `level` left, at the latest the end of the table, shape (n,)."""
    goal = np.broadcast_to(level, tau.shape[0])
    below = log_left < goal[:, None]
    i = np.clip(np.where(below.any(axis=1), np.argmax(below, axis=1), tau.shape[1] - 1), 1, None)
    rows = np.arange(i.size)
    high, low = log_left[rows, i - 1], log_left[rows, i]
    part = np.clip((high - goal) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    return np.asarray(tau[rows, i - 1] + part * (tau[rows, i] - tau[rows, i - 1]))


def told(weight: Floats, ending: Floats, before: TailDuration) -> tuple[float, float]:
    """What one batch's readings alone say of its ending: mean and variance.

    Parameters
    ----------
    weight, ending
        Weighted courses after the readings, shape (n,).
    before
        What was believed of the ending without them.
    """
    mean = float(weight @ ending)
    precision = 1.0 / max(float(weight @ np.square(ending - mean)), 1e-6)
    # The prior is taken out again; where the readings say next to nothing they keep a twentieth of a say.
    gained = max(precision - before.sd**-2, _LEAST_TOLD * precision)
    alone = (mean * precision - before.mean * before.sd**-2) / gained
    return float(np.clip(alone, mean - _FURTHEST, mean + _FURTHEST)), 1.0 / gained + HINDSIGHT_SD**2


def expected(
    before: TailDuration,
    those: Sequence[tuple[float, float, float]],
    strength: float,
    start: tuple[float, float] | None = None,
) -> TailDuration | None:
    """The observation that turns what the features imply of the next ending into what earlier batches say of it.

    Parameters
    ----------
    before
        What the features imply.
    those
        Mean, variance (`told`) and strength of each earlier batch.
    strength
        How strong the next one began.
    start
        What is known of a cellar's usual ending without its batches: mean, and how far cellars differ. Without it,
        what the features imply, `CENTRE_SD`.

    Returns
    -------
    Ending or None
        None where the earlier batches do not know it better than the features do.
    """
    if not those and start is None:
        return None
    mean, variance, strong = np.array(those).reshape(-1, 3).T
    design = np.column_stack([np.ones(mean.size), strong])
    centre, centre_sd = start or (before.mean - BY_STRENGTH[0] * strength, CENTRE_SD)
    prior = np.diag([centre_sd**-2, BY_STRENGTH[1] ** -2])
    towards = prior @ np.array([centre, BY_STRENGTH[0]])
    between = USUAL_SD**2
    for _ in range(20):
        weight = 1.0 / (between + variance)
        cov = np.linalg.inv(design.T @ (weight[:, None] * design) + prior)
        line = cov @ (design.T @ (weight * mean) + towards)
        share = between * weight
        each = np.square(share * (mean - design @ line)) + share * variance
        between = (float(each.sum()) + _COUNTS_LIKE * USUAL_SD**2) / (mean.size + _COUNTS_LIKE)
    at = np.array([1.0, strength])
    spread = between * (1.0 + 1.0 / (mean.size + _COUNTS_LIKE)) + float(at @ cov @ at)
    if spread >= ENDING_WORTH * before.sd**2:
        return None
    precision = 1.0 / spread - before.sd**-2
    usual = float(at @ line)
    observed = (usual / spread - before.mean * before.sd**-2) / precision
    return TailDuration(observed, precision**-0.5, usual, mean.size)
