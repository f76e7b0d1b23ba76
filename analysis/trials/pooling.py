"""Partial pooling: groups of batches whose means are drawn towards one another as far as the batches allow.

A value is the mean of its group plus the effects of temperature and strength, of its lot, and of its vessel. Group
means come from a normal distribution whose spread is inferred, so that a group with one batch stays near the others and
a group with many stands by itself. Spreads are integrated over a grid: given them everything is normal, so that no
sampling is needed and the same batches always give the same answer.

References
----------
A. Gelman et al., Bayesian Data Analysis, 3rd edition, 2013, sections 5.4 and 15.2 (from memory). A. Gelman, Prior
distributions for variance parameters in hierarchical models, Bayesian Analysis 1 (2006) 515 (the half-t; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtrit

from analysis.model import Floats

Ints = NDArray[np.intp]

_TAIL: Final = 4.0
"""Degrees of freedom of the half-t: heavy enough that batches can contradict what was expected."""

_LEAST_WEIGHT: Final = 1e-5
"""Points of the grid that weigh less have no part in anything that is told."""

_CLOSE_ENOUGH: Final = 1e-9
_MOST_STEPS: Final = 100
"""A quantile is found once its chance is met so closely; halving alone would take fewer steps than this."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Values that a spread may have, above zero, and the prior weight of each; shapes (k,)."""

    values: Floats
    weight: Floats

    @classmethod
    def half_t(cls, scale: float, points: int = 16) -> Grid:
        """Equally likely values of a half-t with four degrees of freedom, for a spread between groups."""
        chances = (np.arange(points) + 0.5) / points
        values = np.asarray(scale * stdtrit(_TAIL, 0.5 + 0.5 * chances), dtype=np.float64)
        return cls(values, np.full(points, 1.0 / points))

    @classmethod
    def log_normal(cls, middle: float, sd: float, squares: float = 0.0, seen: int = 0, points: int = 20) -> Grid:
        """Values of a spread that are equally likely where its logarithm is normal, weighed by what was seen elsewhere.

        `squares` is the sum of the squares about the means of sets of like values, `seen` its degrees of freedom.
        """
        values = middle * np.exp(sd * ndtri((np.arange(points) + 0.5) / points))
        score = -seen * np.log(values) - 0.5 * squares / np.square(values)
        weight = np.exp(score - score.max())
        return cls(np.asarray(values, dtype=np.float64), np.asarray(weight / weight.sum(), dtype=np.float64))

    @classmethod
    def known(cls, value: float) -> Grid:
        """A spread that is known."""
        return cls(np.array([value]), np.array([1.0]))


@dataclass(frozen=True, slots=True)
class Observed:
    """What is compared: n values in k groups.

    Parameters
    ----------
    values : shape (n,)
        On the scale on which groups differ by sums.
    group : shape (n,)
        Which of the groups each belongs to, from 0.
    groups
        How many there are; one without a value is told by the others alone.
    errors : shape (n,)
        Standard error of each value; zeros where not given.
    covariates : shape (n, c)
        Centred, in the units of their slopes; none where not given.
    lot : shape (n,)
        Which lot each comes from, from 0; below zero where it is alone in its lot.
    """

    values: Floats
    group: Ints
    groups: int
    errors: Floats = field(default_factory=lambda: np.zeros(0))
    covariates: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    lot: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.intp))


@dataclass(frozen=True, slots=True)
class Expected:
    """What is expected before any batch: the common mean and its error, the spreads, and a mean and error a slope."""

    typical: tuple[float, float]
    between: Grid
    within: Grid
    lots: Grid
    slopes: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Mixture:
    """A quantity as a weighted mixture of normals; shapes (k,)."""

    weight: Floats
    mean: Floats
    sd: Floats

    def below(self, value: float) -> float:
        """The chance that it is below `value`."""
        return float(self.weight @ ndtr((value - self.mean) / self.sd))

    def quantiles(self, chances: tuple[float, ...] = (0.1, 0.5, 0.9)) -> tuple[float, ...]:
        """The values below which it is with these chances."""
        mean, sd = self.moments
        low, high = float((self.mean - 9.0 * self.sd).min()), float((self.mean + 9.0 * self.sd).max())
        return tuple(self._quantile(chance, (low, mean + sd * float(ndtri(chance)), high)) for chance in chances)

    def _quantile(self, chance: float, around: tuple[float, float, float]) -> float:
        """Newton's steps from a first guess, halving instead where one would leave the bracket."""
        left, value, right = around
        for _ in range(_MOST_STEPS):
            z = (value - self.mean) / self.sd
            miss = float(self.weight @ ndtr(z)) - chance
            if abs(miss) < _CLOSE_ENOUGH:
                break
            left, right = (left, value) if miss > 0 else (value, right)
            slope = float(self.weight @ (np.exp(-0.5 * np.square(z)) / self.sd)) / np.sqrt(2.0 * np.pi)
            step = value - miss / slope if slope > 0 else left
            value = step if left < step < right else 0.5 * (left + right)
        return float(value)

    @property
    def moments(self) -> tuple[float, float]:
        """Mean and standard deviation."""
        mean = float(self.weight @ self.mean)
        return mean, float(np.sqrt(self.weight @ (np.square(self.sd) + np.square(self.mean - mean))))


@dataclass(frozen=True, slots=True)
class Pooled:
    """The posterior: k points of the grid with their weights, and given each a normal of all p coefficients.

    Coefficients are the common mean, the groups' deviations from it, slopes and lots, in this order.
    """

    groups: int
    weight: Floats
    mean: Floats
    covariance: Floats
    between: Floats
    within: Floats

    def group(self, which: int) -> Floats:
        """The combination of coefficients that is the mean of a group, shape (p,)."""
        weights = np.zeros(self.mean.shape[1])
        weights[0] = weights[1 + which] = 1.0
        return weights

    def of(self, weights: Floats) -> Mixture:
        """A combination of coefficients."""
        variance = np.einsum("p,kpq,q->k", weights, self.covariance, weights)
        return Mixture(self.weight, self.mean @ weights, np.sqrt(np.maximum(variance, 1e-30)))

    def best(self, *, greatest: bool, draws: int = 4096) -> Floats:
        """For each group the chance that its mean is the greatest (or the least) of all, shape (groups,)."""
        rng = np.random.default_rng(len(self.weight))
        pick = np.searchsorted(np.cumsum(self.weight), (np.arange(draws) + 0.5) / draws).clip(0, self.weight.size - 1)
        combine = np.stack([self.group(g) for g in range(self.groups)])
        root = np.linalg.cholesky(
            combine @ self.covariance @ combine.T + 1e-12 * np.eye(self.groups) * self._size()[:, None, None]
        )
        means = self.mean @ combine.T
        drawn = means[pick] + np.einsum("ngh,nh->ng", root[pick], rng.standard_normal((draws, self.groups)))
        first = np.argmax(drawn if greatest else -drawn, axis=1)
        return np.asarray(np.bincount(first, minlength=self.groups) / draws, dtype=np.float64)

    def _size(self) -> Floats:
        return np.asarray(np.maximum(np.trace(self.covariance, axis1=1, axis2=2), 1e-12), dtype=np.float64)

    @property
    def vessel_spread(self) -> tuple[float, float, float]:
        """The spread from vessel to vessel within a group: 10th, 50th and 90th percentile."""
        low, middle, high = np.quantile(self.within, (0.1, 0.5, 0.9), weights=self.weight, method="inverted_cdf")
        return float(low), float(middle), float(high)


def pool(observed: Observed, expected: Expected) -> Pooled:
    """Weigh the spreads by how well they explain the values, and the means given each of them."""
    design = _design(observed, expected)
    n, lots = observed.values.size, int(observed.lot.max(initial=-1)) + 1
    errors = observed.errors if observed.errors.size else np.zeros(n)
    slopes = np.array([sd**-2 for _, sd in expected.slopes])
    prior_mean = np.concatenate(
        [[expected.typical[0]], np.zeros(observed.groups), [mean for mean, _ in expected.slopes], np.zeros(lots)]
    )
    of_lots = expected.lots if lots else Grid.known(1.0)
    tau, omega = (each.ravel() for each in np.meshgrid(expected.between.values, of_lots.values, indexing="ij"))
    tau_weight = np.outer(expected.between.weight, of_lots.weight).ravel()
    prior_precision = np.concatenate(
        [
            np.full((tau.size, 1), expected.typical[1] ** -2),
            np.repeat(tau[:, None] ** -2, observed.groups, axis=1),
            np.repeat(slopes[None, :], tau.size, axis=0),
            np.repeat(omega[:, None] ** -2, lots, axis=1),
        ],
        axis=1,
    )
    parts = []
    for sigma, sigma_weight in zip(expected.within.values, expected.within.weight, strict=True):
        precision = 1.0 / (sigma**2 + np.square(errors))
        score, mean, covariance = _given(observed.values, design, precision, prior_mean, prior_precision)
        parts.append((score + np.log(tau_weight * sigma_weight), mean, covariance, tau, np.full(tau.size, sigma)))
    score, mean, covariance, between, within = (np.concatenate(each) for each in zip(*parts, strict=True))
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    keep = weight > _LEAST_WEIGHT
    return Pooled(
        observed.groups,
        weight[keep] / weight[keep].sum(),
        mean[keep],
        covariance[keep],
        between[keep],
        within[keep],
    )


def _design(observed: Observed, expected: Expected) -> Floats:
    """Columns of the coefficients, shape (n, p)."""
    n = observed.values.size
    groups = np.zeros((n, observed.groups))
    groups[np.arange(n), observed.group] = 1.0
    covariates = observed.covariates if expected.slopes else np.zeros((n, 0))
    lots = int(observed.lot.max(initial=-1)) + 1
    of_lots = np.zeros((n, lots))
    for row, lot in enumerate(observed.lot):
        if lot >= 0:
            of_lots[row, lot] = 1.0
    return np.column_stack([np.ones(n), groups, covariates.reshape(n, -1), of_lots])


def _given(
    values: Floats, design: Floats, precision: Floats, prior_mean: Floats, prior_precision: Floats
) -> tuple[Floats, Floats, Floats]:
    """Log evidence (k,), means (k, p) and covariances (k, p, p) for one residual spread and k priors."""
    weighted = design * precision[:, None]
    told = design.T @ weighted
    whole = told[None, :, :] + prior_precision[:, :, None] * np.eye(design.shape[1])
    covariance = np.asarray(np.linalg.inv(whole), dtype=np.float64)
    pull = weighted.T @ values + prior_precision * prior_mean
    mean = np.einsum("kpq,kq->kp", covariance, pull)
    _, log_determinant = np.linalg.slogdet(whole)
    misfit = precision @ np.square(values) + prior_precision @ np.square(prior_mean) - np.einsum("kp,kp->k", pull, mean)
    score = 0.5 * (np.log(precision).sum() + np.log(prior_precision).sum(axis=1) - log_determinant - misfit)
    return score, mean, np.asarray(covariance, dtype=np.float64)


def errors_with_more(pooled: Pooled, first: int, second: int, most: int) -> Iterator[float]:
    """Standard error of the difference of two groups with one, two, up to `most` more batches each.

    Filled in pairs of one wort, so that lots cancel, and at the middle of what is known of the spreads.
    """
    middle = int(np.argmin(np.abs(np.cumsum(pooled.weight) - 0.5)))
    a, b = pooled.group(first), pooled.group(second)
    one_more = (np.outer(a, a) + np.outer(b, b)) / pooled.vessel_spread[1] ** 2
    whole = np.linalg.inv(pooled.covariance[middle])
    for more in range(1, most + 1):
        yield float(np.sqrt((a - b) @ np.linalg.solve(whole + more * one_more, a - b)))


def standard_normal(chance: float) -> float:
    """The standard normal value below which a draw lies with this chance."""
    return float(ndtri(chance))
