"""How long the end of a fermentation takes, learnt from earlier batches as a number of its own.

The features of a course are many, and the readings of one batch tell little of those that shape its tail. What
they imply together an earlier batch shows plainly: how long its last stretch took against the middle one. That
number, the *ending*, is the logarithm of the warmth-weighted time from nine tenths of the fall to the last point over
that from half to nine tenths. What earlier batches say of it is weighed as one more observation of a course.

All batches of a cellar have a say, each to the extent that it is alike (partial pooling): endings are a sum of what the
cellar, the drink and the yeast have in common, what strength and a culture that lingers bring, and what is the
batch's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.fermentation import Shapes
from analysis.model import Floats
from analysis.thresholds import ENDING_WORTH, STEADY_SG

USUAL_SD: Final = 0.3
"""How much the endings of one cellar's batches of a drink differ: by a third (common practice, no source)."""

CENTRE_SD: Final = 0.5
"""How far a cellar's usual ending of a drink may lie from what such courses imply, where nothing shipped says it."""

CELLAR_SD: Final = 0.4
"""How much of that all drinks of a cellar have in common: floats, habits, and the misfit of our own family of courses.
By the endings of 641 runs held back (sets 1 of three simulated families): 0.35 to 0.5 alike, without it worse."""

YEAST_SD: Final = 0.1
"""How much the usual endings of yeasts differ in one drink. The same runs: up to 0.15 alike, 0.3 is worse."""

BY_STRENGTH: Final = (0.15, 0.2)
"""How much longer the ending of a batch is that began 20 points stronger, and how uncertain that is: nitrogen and
alcohol tell late (common practice, no source)."""

BY_LINGERING: Final = (0.4, 0.4)
"""How much longer the ending is of a culture that eats on for weeks, and how uncertain that is (common practice, no
source)."""

BY_ADDITIONS: Final = (0.0, 0.2)
"""The same where sugar, honey, juice or water came in while it fermented: what is fed late is fermented last, and
yeast that was fed anew may be quick or tired. No source; 80 fed runs of three families were foreseen better with it."""

HINDSIGHT_SD: Final = 0.1
"""Error of an ending as seen in hindsight: the last point falls too slowly to be timed better."""

_COUNTS_LIKE: Final = 4.0
_FURTHEST: Final = 1.0
_LEAST_TOLD: Final = 0.05
_STRETCHES: Final = np.geomspace(0.15, 120.0, 56)
"""Multiples of the time of half the easy sugar at which a course is read."""


@dataclass(frozen=True, slots=True)
class Kind:
    """What a batch is, as far as others tell of its ending. `strength` is in steps of 20 points above the usual."""

    drink: str
    yeast: str | None = None
    lingers: bool = False
    strength: float = 0.0
    added: bool = False
    """Whether sugar, honey, juice or water came in while it fermented."""


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


@dataclass(frozen=True, slots=True)
class CellarEndings:
    """What the endings of all earlier batches of a cellar have in common, and how much each is its own.

    `parts` and `covariance` are of what an ending is the sum of (`_parts`), beyond the `usual` ending of its drink;
    `between` is the variance of what is a batch's own.
    """

    kinds: tuple[Kind, ...]
    usual: Mapping[str, tuple[float, float]]
    yeasts: tuple[tuple[str, str], ...]
    parts: Floats
    covariance: Floats
    between: float

    @classmethod
    def of(cls, those: Sequence[tuple[Kind, float, float]], usual: Mapping[str, tuple[float, float]]) -> CellarEndings:
        """Pooled by a linear model with normal parts, the variance between batches by expectation and maximisation.

        Parameters
        ----------
        those
            What each earlier batch is, of whatever drink, with mean and variance of its ending (`told`).
        usual
            For every drink what is known of a cellar's usual ending without its batches: mean, and how far cellars
            differ.
        """
        yeasts = tuple(sorted({(one.drink, one.yeast) for one, _, _ in those if one.yeast is not None}))
        sd = np.array(
            [CELLAR_SD, *(_of_drink(far) for _, far in usual.values()), *(YEAST_SD for _ in yeasts),
             BY_STRENGTH[1], BY_LINGERING[1], BY_ADDITIONS[1]]
        )  # fmt: skip
        design = np.array([_parts(one, usual, yeasts) for one, _, _ in those]).reshape(len(those), sd.size)
        mean = np.array([told - usual[one.drink][0] for one, told, _ in those])
        variance = np.array([its for _, _, its in those])
        prior = np.diag(sd**-2)
        towards = prior @ np.array([*np.zeros(sd.size - 3), BY_STRENGTH[0], BY_LINGERING[0], BY_ADDITIONS[0]])
        between = USUAL_SD**2
        for _ in range(20):
            weight = 1.0 / (between + variance)
            cov = np.linalg.inv(design.T @ (weight[:, None] * design) + prior)
            parts = cov @ (design.T @ (weight * mean) + towards)
            share = between * weight
            each = np.square(share * (mean - design @ parts)) + share * variance
            between = (float(each.sum()) + _COUNTS_LIKE * USUAL_SD**2) / (mean.size + _COUNTS_LIKE)
        return cls(tuple(one for one, _, _ in those), usual, yeasts, parts, cov, between)

    def of_next(self, kind: Kind) -> tuple[float, float]:
        """Mean and variance of the ending of one more batch of this kind."""
        at, count = _parts(kind, self.usual, self.yeasts), len(self.kinds)
        # A yeast that nobody here has used may differ as any other.
        unknown = 0.0 if (kind.drink, kind.yeast) in self.yeasts else YEAST_SD**2
        spread = self.between * (1.0 + 1.0 / (count + _COUNTS_LIKE)) + float(at @ self.covariance @ at) + unknown
        return self.usual[kind.drink][0] + float(at @ self.parts), spread

    def observation(self, kind: Kind, before: TailDuration) -> TailDuration | None:
        """The observation that turns what the features imply (`before`) into what earlier batches say of it.

        None where they do not know it better than the features do.
        """
        middle, spread = self.of_next(kind)
        if spread >= ENDING_WORTH * before.sd**2:
            return None
        precision = 1.0 / spread - before.sd**-2
        observed = (middle / spread - before.mean * before.sd**-2) / precision
        alike = sum(one.drink == kind.drink and one.lingers == kind.lingers for one in self.kinds)
        return TailDuration(observed, precision**-0.5, middle, alike)


def _parts(kind: Kind, drinks: Iterable[str], yeasts: Sequence[tuple[str, str]]) -> Floats:
    """What an ending is the sum of: cellar, drink, yeast, strength, lingering, additions."""
    return np.array(
        [1.0, *(kind.drink == one for one in drinks), *((kind.drink, kind.yeast) == one for one in yeasts),
         kind.strength, kind.lingers, kind.added], dtype=np.float64,
    )  # fmt: skip


def _of_drink(cellars_differ: float) -> float:
    """What of the difference between cellars is the drink's own."""
    return float(np.sqrt(max(cellars_differ**2 - CELLAR_SD**2, CELLAR_SD**2 / 4.0)))
