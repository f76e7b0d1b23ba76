"""Which courses explain the readings: importance sampling that adapts in a few rounds.

The parameters are standardised so that their prior is a unit normal. The fall `A` enters linearly and is integrated
out exactly. Rounds temper the likelihood until a Student mixture around the good courses covers them; the last round
is an ordinary importance sample, so its weights are honest and its mean weight is the evidence of the variant.
All random numbers are fixed in advance: the same readings give the same answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from analysis.model import Floats

FREEDOM: Final = 6.0
"""Degrees of freedom of the proposals: tails heavier than what they look for."""

_FIRST: Final = 400
_MIDDLE: Final = 200
_LAST: Final = 600
_ROUNDS: Final = 7


@dataclass(frozen=True, slots=True)
class Cloud:
    """Weighted courses. `z` has shape (n, d), standardised; `extra` is whatever the likelihood returned beside."""

    z: Floats
    weight: Floats
    log_evidence: float
    extra: tuple[Floats, ...]
    effective: float


@lru_cache(maxsize=32)
def normals(rows: int, columns: int, stream: int) -> Floats:
    """Fixed quasi-random standard normals, shape (rows, columns)."""
    engine = qmc.Sobol(columns, scramble=True, seed=7919 + stream)
    points = engine.random(1 << int(np.ceil(np.log2(rows))))[:rows]
    return np.asarray(ndtri(np.clip(points, 1e-9, 1 - 1e-9)))


@lru_cache(maxsize=32)
def students(rows: int, columns: int, stream: int) -> Floats:
    """Fixed standard Student draws, shape (rows, columns)."""
    chi = np.random.default_rng(104729 + stream).chisquare(FREEDOM, rows) / FREEDOM
    return normals(rows, columns, stream) / np.sqrt(chi)[:, None]


def sample(
    log_likelihood: Callable[[Floats], tuple[Floats, ...]],
    dimensions: int,
    *,
    between: Callable[[Floats, Floats], bool] | None = None,
    first: int = _FIRST,
    last: int = _LAST,
) -> Cloud:
    """Draw from prior times likelihood.

    Parameters
    ----------
    log_likelihood
        Takes standardised parameters, shape (n, d); returns the log-likelihood, shape (n,), and anything else per row.
    between
        Called after each round with the parameters and their weights; may change the likelihood's settings and
        says whether it did.
    """
    z = normals(first, dimensions, 0)
    log_like = log_likelihood(z)[0]
    log_base = np.zeros(first)
    power = 0.0
    mean, root = np.zeros(dimensions), np.eye(dimensions)
    for round_ in range(_ROUNDS):
        target = max(0.12 * z.shape[0], 4.0 * dimensions)
        power = _largest_power(log_like, log_base, min(power * 1.0, 0.999), target)
        weight = _weights(log_base + power * log_like)
        mean, root = _spread(z, weight)
        if between is not None and round_ < _ROUNDS - 2 and between(z, weight):
            power = 0.0
        if power >= 1.0 and round_ >= 1:
            break
        draws = students(_MIDDLE, dimensions, 1 + round_)
        z, log_base = _propose(mean, root, draws)
        log_like = log_likelihood(z)[0]
    z, log_base = _propose(mean, root, students(last, dimensions, 20))
    log_like, *extra = log_likelihood(z)
    log_weight = log_base + log_like
    top = float(log_weight.max())
    raw = np.exp(log_weight - top)
    log_evidence = top + float(np.log(raw.mean()))
    # The heaviest few are clipped a little (truncated importance sampling): less variance for a little bias.
    raw = np.minimum(raw, raw.mean() * np.sqrt(raw.size))
    weight = raw / raw.sum()
    return Cloud(z, weight, log_evidence, tuple(extra), float(1.0 / np.square(weight).sum()))


def _propose(mean: Floats, root: Floats, draws: Floats) -> tuple[Floats, Floats]:
    """Draws around the mean, and log prior minus log proposal density for each."""
    d = mean.size
    z = mean + draws @ root.T
    log_prior = -0.5 * np.square(z).sum(axis=1) - 0.5 * d * np.log(2 * np.pi)
    distance = np.square(draws).sum(axis=1)
    log_det = np.log(np.abs(np.diag(root))).sum()
    log_q = _STUDENT_NORM(d) - log_det - 0.5 * (FREEDOM + d) * np.log1p(distance / FREEDOM)
    return z, log_prior - log_q


@lru_cache(maxsize=32)
def _STUDENT_NORM(d: int) -> float:  # noqa: N802
    from scipy.special import gammaln

    return float(gammaln((FREEDOM + d) / 2) - gammaln(FREEDOM / 2) - 0.5 * d * np.log(FREEDOM * np.pi))


def _weights(log_weight: Floats) -> Floats:
    raw = np.exp(log_weight - log_weight.max())
    return np.asarray(raw / raw.sum())


def _largest_power(log_like: Floats, log_base: Floats, low: float, target: float) -> float:
    """Largest power of the likelihood, up to one, that leaves `target` courses effective."""

    def effective(power: float) -> float:
        return float(1.0 / np.square(_weights(log_base + power * log_like)).sum())

    if effective(1.0) >= target:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(12):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle) >= target else (low, middle)
    return low


def _spread(z: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Weighted mean, and a root of the covariance that is a little wide."""
    mean = weight @ z
    centred = z - mean
    cov = (centred * weight[:, None]).T @ centred
    effective = 1.0 / np.square(weight).sum()
    keep = effective / (effective + 0.5 * z.shape[1])
    cov = keep * cov + (1 - keep) * np.diag(np.diag(cov))
    cov = 1.15 * cov + 1e-4 * np.eye(mean.size)
    return mean, np.linalg.cholesky(cov)
