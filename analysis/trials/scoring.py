"""What scores say of the drinks, once who tasted and in which place it stood are taken out.

A score is the sum of what the taster usually gives, what the place in the order does, what the drink is worth, and a
rest, in which the taster's own liking of that drink stands too: each taster scores a drink once, and a rest from
repeats alone would claim too much. Tasters are taken out whole; places and drinks are drawn towards none, drinks by as
much as the scores themselves say (a hierarchical normal model, so that the best of many is not its luck). Both
standard deviations are unknown and integrated over. ISO 4121 (quantitative response scales), by its subject, from
memory.

References
----------
Gelman et al., Bayesian Data Analysis, 3rd edition, 2013, chapters 5 and 15 (from memory); the tests compare with a
published fit of crossed effects.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.model import Floats, Range
from analysis.thresholds import DRINKS_APART, PLACE_EFFECT, SCORE_REST

DRAWS: Final = 4_000
_STEPS: Final = 30
"""Points of each axis of the grid of standard deviations."""
_LEAST_ARM_SD: Final = 0.2
"""Points of 100 below which drinks count as alike."""


_UNDRAWN: Final = 1e3
"""Points of 100; drinks that may lie so far apart are drawn towards nothing."""
_WHOLE_SCALE: Final = 100.0


@dataclass(frozen=True, slots=True)
class Judged:
    """One score: whose, of which glass, in which place, each counted from 0; `score` from 0 to 100."""

    taster: int
    arm: int
    place: int
    score: float


@dataclass(frozen=True, slots=True)
class ArmScore:
    """What one drink is worth to a panel of these tasters."""

    score: Range
    """Points of 100, as the tasters use them on the average."""
    p_best: float
    """Chance that it is the best of all."""
    judged: int
    """How many tasters scored it."""


@dataclass(frozen=True, slots=True)
class Scores:
    """The drinks in the order given, and what else the scores say."""

    arms: tuple[ArmScore, ...]
    rest_sd: Range
    """Points of 100; standard deviation of a single score about what is expected of it."""
    arm_sd: Range
    """Points of 100; standard deviation between drinks such as these."""
    draws: Floats
    """Shape (draws, arms): what each drink is worth more than their mean, drawn from what is believed."""
    tasters: int


@dataclass(frozen=True, slots=True)
class Deviations:
    """Standard deviations of the effects, points of 100; infinite: not drawn towards anything."""

    rest: float
    arm: float
    place: float = PLACE_EFFECT
    taster: float = float("inf")


@dataclass(frozen=True, slots=True)
class Effects:
    """What is believed at given standard deviations: a normal with this mean and precision, and how well they fit."""

    mean: Floats
    """Tasters, then places, then arms; a common level first where tasters are drawn towards it."""
    precision: Floats
    log_likelihood: float
    """Restricted: over everything that is not drawn towards anything (Patterson and Thompson 1971, from memory)."""


def effects(judged: list[Judged], sd: Deviations) -> Effects:
    """The effects of tasters, places and arms at given standard deviations, by penalised least squares.

    With finite `sd.taster` a common level comes first and is free; else each taster's level is.
    """
    mean, precision, log_likelihood = _Model(judged, common=bool(np.isfinite(sd.taster)), places=sd.place > 0).at([sd])
    return Effects(mean[0], precision[0], float(log_likelihood[0]))


@dataclass(frozen=True, slots=True)
class Worth:
    """What a drink is worth as a sum of terms, where that is more than one effect for each drink."""

    terms: Floats
    """Shape (drinks, terms)."""
    scale: Floats
    """Shape (terms,): by how much the standard deviation of each exceeds that of a drink."""


@dataclass(frozen=True, slots=True)
class Believed:
    """Draws of what is believed, each with its own standard deviations; shape (draws, …)."""

    worth: Floats
    level: Floats
    """What tasters give on the average."""
    rest: Floats
    between: Floats


class _Model:
    """Scores as a sum of effects; what does not hang on the standard deviations is worked out once."""

    def __init__(self, judged: list[Judged], *, common: bool, places: bool, worth: Worth | None = None) -> None:
        terms = None if worth is None else worth.terms[[each.arm for each in judged]]
        columns = [
            ("taster", _indicators([each.taster for each in judged])),
            ("place", _indicators([each.place for each in judged])),
            ("arm", _indicators([each.arm for each in judged]) if terms is None else terms),
        ]
        if common:
            columns.insert(0, ("common", np.ones((len(judged), 1))))
        if not places:
            columns = [(name, part) for name, part in columns if name != "place"]
        self.kinds = np.repeat([name for name, _ in columns], [part.shape[1] for _, part in columns])
        self.free = self.kinds == ("common" if common else "taster")
        self._scale = np.ones(len(self.kinds))
        if worth is not None:
            self._scale[self.kinds == "arm"] = worth.scale
        design = np.hstack([part for _, part in columns])
        y = np.array([each.score for each in judged])
        self._count, self._square = len(y), float(y @ y)
        self._inner, self._right = design.T @ design, design.T @ y

    def at(self, sds: Sequence[Deviations]) -> tuple[Floats, Floats, Floats]:
        """Means, shape (n, effects), precisions and log likelihoods of the effects at each of these."""
        rest = np.array([sd.rest for sd in sds])
        prior = np.zeros((len(sds), len(self.kinds)))
        for name in ("taster", "place", "arm"):
            here = (self.kinds == name) & ~self.free
            if here.any():
                prior[:, here] = (np.array([getattr(sd, name) for sd in sds])[:, None] * self._scale[here]) ** -2.0
        precision = self._inner / rest[:, None, None] ** 2
        diagonal = np.arange(len(self.kinds))
        precision[:, diagonal, diagonal] += prior
        right = self._right / rest[:, None] ** 2
        mean = np.linalg.solve(precision, right[:, :, None])[:, :, 0]
        _, log_det = np.linalg.slogdet(precision)
        log_prior = np.log(prior[:, ~self.free]).sum(axis=1)
        fit = self._square / rest**2 - (mean * right).sum(axis=1)
        constant = (self._count - int(self.free.sum())) * np.log(2 * np.pi)
        log_likelihood = -0.5 * (2 * self._count * np.log(rest) - log_prior + log_det + fit + constant)
        return mean, precision, log_likelihood


def scores(judged: list[Judged], arms: int, seed: int = 0) -> Scores | None:
    """What the scores say of each of `arms` drinks.

    Two scores of one drink by one taster are averaged first: they tell of the taster, not of tasters.

    Returns
    -------
    Scores or None
        None where fewer than two drinks were scored, or nobody scored two.
    """
    cells = averaged(judged)
    by_taster: dict[int, set[int]] = {}
    for each in cells:
        by_taster.setdefault(each.taster, set()).add(each.arm)
    if not any(len(found) > 1 for found in by_taster.values()):
        return None
    rng = np.random.default_rng(seed)
    said = believed(cells, rng)
    known = sorted({each.arm for each in cells})
    draws = np.full((DRAWS, arms), np.nan)
    draws[:, known] = said.worth - said.worth.mean(axis=1, keepdims=True)
    for arm in set(range(arms)) - set(known):  # nobody scored it: as any other of such a set
        draws[:, arm] = rng.normal(0.0, said.between)
    level = said.level + said.worth.mean(axis=1)
    best = np.argmax(draws, axis=1)
    counts = [len({e.taster for e in cells if e.arm == arm}) for arm in range(arms)]
    told = tuple(
        ArmScore(range_of(np.clip(level + draws[:, arm], 0, 100)), float(np.mean(best == arm)), counts[arm])
        for arm in range(arms)
    )
    return Scores(told, range_of(said.rest), range_of(said.between), draws, len(by_taster))


def believed(cells: list[Judged], rng: np.random.Generator, worth: Worth | None = None) -> Believed:
    """Draws of levels and effects, over a grid of standard deviations weighed by how well they fit."""
    model = _Model(cells, common=False, places=True, worth=worth)
    rest_grid = np.geomspace(*SCORE_REST, _STEPS)
    arm_grid = np.linspace(_LEAST_ARM_SD, 3.5 * DRINKS_APART, _STEPS)
    pairs = [Deviations(float(r), float(a)) for r in rest_grid for a in arm_grid]
    mean, precision, log_likelihood = model.at(pairs)
    apart = np.array([sd.arm / DRINKS_APART for sd in pairs])
    # Rayleigh: no spread at all has no chance, since few scores that happen to agree are no proof of it (Chung et al.,
    # A nondegenerate penalized likelihood estimator, Psychometrika 78, 2013; from memory).
    log_weight = log_likelihood + np.log(apart) - 0.5 * apart**2
    log_weight += np.log([sd.rest for sd in pairs])  # even on the scale itself, where the grid is even in logarithms
    weight = np.exp(log_weight - log_weight.max())
    chosen = rng.choice(len(pairs), size=DRAWS, p=weight / weight.sum())
    drawn = _drawn(mean[chosen], precision, chosen, rng)
    return Believed(
        drawn[:, model.kinds == "arm"],
        drawn[:, model.free].mean(axis=1),
        np.array([pairs[n].rest for n in chosen]),
        np.array([pairs[n].arm for n in chosen]),
    )


def points_of(judged: list[Judged]) -> dict[int, tuple[float, float]]:
    """What each drink is worth more than their mean, and its standard error, drawn towards nothing, by arm.

    For comparisons that draw drinks of many tastings towards one another themselves. Errors are those of independent
    values with the same errors of their differences: of drinks that everybody scored exactly so, else nearly. Who
    scored one drink alone tells nothing of drinks; where no taster links drinks with one another, none is told.
    """
    cells = averaged(judged)
    given = Counter(each.taster for each in cells)
    cells = [each for each in cells if given[each.taster] > 1]
    if not cells:
        return {}
    # The mean of what the variance may be: with few tasters it may be far above its middle.
    rest = float(np.sqrt(np.mean(np.square(believed(cells, np.random.default_rng(0)).rest))))
    found = effects(cells, Deviations(rest, _UNDRAWN))
    arms = sorted({each.arm for each in cells})
    centre = np.eye(len(arms)) - 1.0 / len(arms)
    worth = centre @ found.mean[-len(arms) :]
    errors = np.diag(centre @ np.linalg.inv(found.precision)[-len(arms) :, -len(arms) :] @ centre)
    errors = np.sqrt(errors * len(arms) / (len(arms) - 1))
    return {
        arm: (float(value), float(error))
        for arm, value, error in zip(arms, worth, errors, strict=True)
        if error < _WHOLE_SCALE
    }


def as_scores(ranks: Floats) -> Floats:
    """Ranks of one taster, 1 the best, as evenly spaced points from 100 down to 0; NaN stays.

    Ranks say which is better, not by how much; points apart are therefore ranks apart, and no more.
    """
    given = int((~np.isnan(ranks)).sum())
    before = (ranks[None, :] < ranks[:, None]).sum(axis=1)  # a gap left by a glass that was passed counts for nothing
    found: Floats = np.full_like(ranks, 50.0) if given < 2 else 100.0 * (given - 1 - before) / (given - 1)
    return np.where(np.isnan(ranks), np.nan, found)


def averaged(judged: list[Judged]) -> list[Judged]:
    """Two scores of one drink by one taster as one, their mean."""
    cells: dict[tuple[int, int], list[Judged]] = {}
    for each in judged:
        if not 0 <= each.score <= 100:
            raise ValueError(f"score must be from 0 to 100, got {each.score:g}")
        cells.setdefault((each.taster, each.arm), []).append(each)
    return [
        Judged(taster, arm, same[0].place, float(np.mean([each.score for each in same])))
        for (taster, arm), same in sorted(cells.items())
    ]


def _indicators(labels: list[int]) -> Floats:
    names, row = np.unique(labels, return_inverse=True)
    found: Floats = np.eye(len(names))[row]
    return found


def _drawn(mean: Floats, precision: Floats, chosen: np.ndarray, rng: np.random.Generator) -> Floats:
    """Draws of all effects, shape (draws, effects), each at the standard deviations that were `chosen` for it."""
    names, where = np.unique(chosen, return_inverse=True)
    root = np.linalg.cholesky(precision[names])
    noise = rng.normal(size=mean.shape)
    found: Floats = mean + np.linalg.solve(np.swapaxes(root, 1, 2)[where], noise[:, :, None])[:, :, 0]
    return found


def range_of(drawn: Floats) -> Range:
    """The 10th, 50th and 90th percentile of draws."""
    low, mid, high = np.quantile(drawn, (0.1, 0.5, 0.9))
    return Range(float(low), float(mid), float(high))
