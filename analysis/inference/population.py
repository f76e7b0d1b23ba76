"""Groups of earlier batches: what each says, what they share, and how our forecasts of them missed.

A batch's readings give a normal likelihood of its features. Expectation and maximisation turn those of a group into
a mean, a slope with the strength of the batch, and a covariance between members; each leans on what was expected of
the group, so that one with few members stays near the wider one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, TypedDict

import numpy as np

from analysis.model import Floats

STAGES: Final = (0.5, 0.75, 0.9, 0.96)
"""Shares of the fall at which finished batches are played again, to learn how our own forecasts miss."""


Extent = Literal["course", "by hand", "additions", "beginning"]
"""How far a batch teaches: its whole course; read by hand, or fed or diluted, only how fast it went and where it ended;
stopped or chilled before its end, only how fast it began."""


class KeptLikelihood(TypedDict):
    """A `BatchLikelihood` after a trip through JSON."""

    name: str
    extent: Extent

    yeast: str | None
    lingers: bool
    strength: float
    precision: list[float]
    pull: list[float]
    ending: list[float] | None
    warmed: list[float]
    misses: list[float]
    unsure: list[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLikelihood:
    """What one finished batch says of its features, in standard deviations from the general mean.

    The log-likelihood is ``pull @ x - x @ precision @ x / 2``; `precision` is kept as its lower triangle.
    `strength` is how strong it began, `lingers` whether its yeast is known to eat on for weeks.
    """

    yeast: str | None
    lingers: bool
    strength: float
    precision: tuple[float, ...] = field(repr=False)
    pull: tuple[float, ...] = field(repr=False)
    ending: tuple[float, float] | None
    """What its readings say of its ending: mean and variance, see `analysis.inference.tail_duration`. None where they
    are too few to tell of a tail."""

    name: str = ""
    extent: Extent = "course"

    warmed: tuple[float, ...] = ()
    """What was done with its temperature, see `temperature_schedule`. Empty where that is not known."""

    misses: tuple[float, ...] = ()
    """How far our forecasts of this batch would have missed at each of `STAGES`, in normal standard deviations,
    above zero where it finished later than we would have said. Empty where it was not played again."""

    unsure: tuple[float, ...] = ()
    """Variance of each of `misses`: hindsight does not know the finish to the hour."""

    @classmethod
    def of(
        cls,
        precision: Floats,
        pull: Floats,
        *,
        yeast: str | None,
        lingers: bool,
        strength: float,
        ending: tuple[float, float] | None,
        warmed: tuple[float, ...] = (),
    ) -> BatchLikelihood:
        """From a full matrix, kept to five digits."""
        return cls(
            yeast=yeast,
            lingers=lingers,
            strength=round(strength, 4),
            precision=_five(precision[np.tril_indices(pull.size)]),
            pull=_five(pull),
            ending=None if ending is None else (round(ending[0], 4), round(ending[1], 5)),
            warmed=warmed,
        )

    @classmethod
    def from_dict(cls, data: KeptLikelihood) -> BatchLikelihood:
        """From `dataclasses.asdict`, after a trip through JSON."""
        told = data["ending"]
        return cls(
            name=data["name"],
            extent=data["extent"],
            yeast=data["yeast"],
            lingers=data["lingers"],
            strength=data["strength"],
            precision=tuple(data["precision"]),
            pull=tuple(data["pull"]),
            ending=None if told is None else (told[0], told[1]),
            warmed=tuple(data["warmed"]),
            misses=tuple(data["misses"]),
            unsure=tuple(data["unsure"]),
        )


def _five(values: Floats) -> tuple[float, ...]:
    return tuple(float(f"{v:.5g}") for v in values)


@dataclass(frozen=True, slots=True)
class Group:
    """Mean, slope with strength, covariance within, and the covariance of the next member."""

    mean: Floats
    slope: Floats
    within: Floats
    next: Floats


@dataclass(frozen=True, slots=True)
class Expected:
    """What is expected of a group before its members are seen: mean, slope with strength, covariance within.

    They count like `pull`, `slope_pull` and `shape` batches.
    """

    mean: Floats
    slope: Floats
    within: Floats
    pull: float
    slope_pull: float
    shape: float


def pooled(those: Sequence[BatchLikelihood], before: Expected, rounds: int = 25) -> Group:
    """Expectation and maximisation over the members of a group."""
    mean, slope, within, pull, shape = before.mean, before.slope, before.within, before.pull, before.shape
    n, size = len(those), mean.size
    if n == 0:
        return Group(mean, slope, within, within * (1.0 + 1.0 / pull))
    lower = np.tril_indices(size)
    precision = np.zeros((n, size, size))
    for k, one in enumerate(those):
        precision[k][lower] = one.precision
        precision[k] = precision[k] + np.tril(precision[k], -1).T
    towards = np.array([one.pull for one in those])
    design = np.column_stack([np.ones(n), [one.strength for one in those]])
    expected = np.column_stack([mean, slope])
    count_for = np.diag([pull, before.slope_pull])
    mix = np.linalg.inv(design.T @ design + count_for)
    line, cov = expected.copy(), within.copy()
    for _ in range(rounds):
        inverse = np.linalg.inv(cov)
        each = np.linalg.inv(inverse + precision)
        middle = np.einsum("kij,kj->ki", each, design @ line.T @ inverse + towards)
        line = (middle.T @ design + expected @ count_for) @ mix
        off = middle - design @ line.T
        lean = line - expected
        cov = (each.sum(axis=0) + off.T @ off + lean @ count_for @ lean.T + shape * within) / (n + shape)
        cov = 0.5 * (cov + cov.T)
    return Group(line[:, 0], line[:, 1], cov, cov * (1.0 + 1.0 / (n + pull)) * (1.0 + 1.0 / (n + shape)))


@dataclass(frozen=True, slots=True)
class Correction:
    """How forecasts have missed: mean and spread of the misses at each of `STAGES`."""

    bias: Floats
    spread: Floats

    @classmethod
    def unknown(cls) -> Correction:
        """Before anything was played again: no bias, and a spread a little wider than the forecasts claim."""
        return cls(np.zeros(len(STAGES)), np.full(len(STAGES), 1.2))

    def at(self, share: float) -> tuple[float, float]:
        """Bias and spread where this share of the fall is done."""
        return float(np.interp(share, STAGES, self.bias)), float(np.interp(share, STAGES, self.spread))

    def leaning(self, those: Sequence[BatchLikelihood], *, pull: float) -> Correction:
        """For a group of batches, leaning on this one as if it were `pull` batches."""
        misses, unsure = (
            np.array([part for part in parts if part]).reshape(-1, len(STAGES))
            for parts in ([one.misses for one in those], [one.unsure for one in those])
        )
        n = misses.shape[0]
        if n == 0:
            return self
        # Neighbouring stages of one batch miss alike: half of each stage's mean is the mean over all of them.
        own = misses.mean(axis=0)
        own = 0.5 * own + 0.5 * own.mean()
        mean = (n * own + pull * self.bias) / (n + pull)
        variance = ((np.square(misses - mean) + unsure).sum(axis=0) + pull * self.spread**2) / (n + pull)
        variance = 0.5 * variance + 0.5 * variance.mean()
        return Correction(mean, np.clip(np.sqrt(variance), 0.85, 2.5))
