"""Which courses explain the readings: importance sampling that adapts in a few rounds.

The parameters are standardised so that their prior is a unit normal. Each round draws from a Student distribution
around the courses that were good so far, with the likelihood tempered until enough of them count; every draw of
every round is kept and weighed against the mixture of all proposals (adaptive multiple importance sampling, Cornuet
et al. 2012), so the weights are honest and their mean is the evidence of the hypothesis.
All random numbers are fixed in advance: the same readings give the same answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.linalg.lapack import dtrtri
from scipy.special import gammaln, ndtri
from scipy.stats import qmc

from analysis.model import Floats

FREEDOM: Final = 15.0
"""Degrees of freedom of the proposals: tails heavier than what they look for."""

_FIRST: Final = 256
_EACH: Final = 256
_ROUNDS: Final = 40
_LEAST_ROUNDS: Final = 3
_ENOUGH: Final = 150.0


@dataclass(frozen=True, slots=True)
class WeightedSample:
    """Weighted courses. `z` has shape (n, d), standardised; `extra` is whatever the likelihood returned beside."""

    z: Floats
    weight: Floats
    log_evidence: float
    extra: tuple[Floats, ...]
    effective: float

    def reweighed(self, log_weight: Floats) -> WeightedSample:
        """With a further log-likelihood, shape (n,); minus infinity drops a course."""
        top = float(log_weight.max())
        raw = self.weight * np.exp(log_weight - top)
        total = float(raw.sum())
        weight = raw / total
        effective = 1.0 / float(np.square(weight).sum())
        evidence = self.log_evidence + top + float(np.log(total))
        return replace(self, weight=weight, log_evidence=evidence, effective=effective)


@lru_cache(maxsize=64)
def normals(rows: int, columns: int, stream: int) -> Floats:
    """Fixed quasi-random standard normals, shape (rows, columns)."""
    engine = qmc.Sobol(columns, scramble=True, seed=7919 + stream)
    points = engine.random(1 << int(np.ceil(np.log2(rows))))[:rows]
    return np.asarray(ndtri(np.clip(points, 1e-9, 1 - 1e-9)))


@lru_cache(maxsize=64)
def _students(rows: int, columns: int, stream: int) -> Floats:
    chi = np.random.default_rng(104729 + stream).chisquare(FREEDOM, rows) / FREEDOM
    return np.asarray(normals(rows, columns, stream) / np.sqrt(chi)[:, None])


@lru_cache(maxsize=64)
def _student_constant(d: int) -> float:
    return float(gammaln((FREEDOM + d) / 2) - gammaln(FREEDOM / 2) - 0.5 * d * np.log(FREEDOM * np.pi))


def sample(log_likelihood: Callable[[Floats], tuple[Floats, ...]], dimensions: int) -> WeightedSample:
    """Draw from prior times likelihood.

    Parameters
    ----------
    log_likelihood
        Takes standardised parameters, shape (n, d); returns the log-likelihood, shape (n,), and anything else per row.
    """
    z = normals(_FIRST, dimensions, 0)
    found = [log_likelihood(z)]
    log_prior = _log_prior(z)
    mixture = _FIRST * np.exp(log_prior)  # sum over proposals of draws times density, at every draw so far
    proposals: list[tuple[Floats, Floats, float]] = []  # mean, inverse root, log determinant
    log_like = found[0][0]
    for round_ in range(_ROUNDS):
        log_base = log_prior - np.log(mixture / z.shape[0])
        power = _largest_power(log_like, log_base, 5.0 * dimensions)
        if power >= 1.0 and round_ >= _LEAST_ROUNDS:
            weight = _weights(log_base + log_like)
            if 1.0 / np.square(weight).sum() >= _ENOUGH:
                break
        mean, root = _spread(z, _weights(log_base + power * log_like))
        log_det = float(np.log(np.diag(root)).sum())
        new = mean + _students(_EACH, dimensions, 1 + round_) @ root.T
        inverse = dtrtri(root, lower=1)[0]
        mixture = mixture + _EACH * _density(z, mean, inverse, log_det)
        proposals.append((mean, inverse, log_det))
        new_prior = _log_prior(new)
        new_mixture = _FIRST * np.exp(new_prior)
        for one in proposals:
            new_mixture = new_mixture + _EACH * _density(new, *one)
        z = np.concatenate([z, new])
        log_prior = np.concatenate([log_prior, new_prior])
        mixture = np.concatenate([mixture, new_mixture])
        found.append(log_likelihood(new))
        log_like = np.concatenate([log_like, found[-1][0]])
    log_weight = log_prior - np.log(mixture / z.shape[0]) + log_like
    top = float(log_weight.max())
    raw = np.exp(log_weight - top)
    log_evidence = top + float(np.log(raw.mean()))
    # The heaviest few are clipped a little (truncated importance sampling): less variance for a little bias.
    raw = np.minimum(raw, raw.mean() * np.sqrt(raw.size))
    weight = raw / raw.sum()
    extra = tuple(np.concatenate(parts) for parts in list(zip(*found, strict=True))[1:])
    return WeightedSample(z, weight, log_evidence, extra, float(1.0 / np.square(weight).sum()))


def _log_prior(z: Floats) -> Floats:
    return np.asarray(-0.5 * np.square(z).sum(axis=1) - 0.5 * z.shape[1] * np.log(2 * np.pi))


def _density(z: Floats, mean: Floats, inverse_root: Floats, log_det: float) -> Floats:
    d = mean.size
    distance = np.square((z - mean) @ inverse_root.T).sum(axis=1)
    return np.asarray(np.exp(_student_constant(d) - log_det - 0.5 * (FREEDOM + d) * np.log1p(distance / FREEDOM)))


def _weights(log_weight: Floats) -> Floats:
    raw = np.exp(log_weight - log_weight.max())
    return np.asarray(raw / raw.sum())


def _largest_power(log_like: Floats, log_base: Floats, target: float) -> float:
    """Largest power of the likelihood, up to one, that leaves `target` courses effective."""

    def effective(power: float) -> float:
        total = log_base + power * log_like
        raw = np.exp(total - total.max())
        return float(raw.sum() ** 2 / (raw @ raw))

    if effective(1.0) >= target:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(9):
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
    cov = 1.1 * cov + 1e-4 * np.eye(mean.size)
    return mean, np.linalg.cholesky(cov)
