"""Groups of batches compared in one milestone: yeasts of a cellar, arms of a trial, hops, doses.

Which differ by more than a margin that matters, with its chance; which are alike for practice; and where there are too
few batches to tell, about how many more it would take.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.model import Floats, Range
from analysis.thresholds import (
    DRINKS_APART,
    GROUPS_SPREAD_SCALE,
    MOST_MORE_BATCHES,
    SCORES_APART,
    SCORES_OTHER_WORT,
    SCORES_SINGLE,
    SCORES_UNKNOWN,
    UNKNOWN_ORIGINAL_SD_SG,
    UNKNOWN_TEMPERATURE_SD_C,
    VESSELS_SPREAD_LOG,
    VESSELS_SPREAD_MIDDLE,
    YEASTS_DIFFER,
)
from analysis.trials.definitions import (
    Difference,
    GroupComparison,
    GroupMean,
    MilestoneName,
    ScoreComparison,
    Verdict,
)
from analysis.trials.pooling import (
    Expected,
    Grid,
    Mixture,
    Observed,
    Pooled,
    errors_with_more,
    pool,
    standard_normal,
)


@dataclass(frozen=True, slots=True)
class QuantityScale:
    """What is expected of a milestone before any batch, on its own scale (times and rates: natural logarithm).

    `within` is the standard deviation expected between like vessels, `between` that between groups and between lots;
    `per_degree` and `per_point` the effect of 1 °C and of 0.001 SG of original gravity, mean and standard deviation.
    `margin` is how large a difference matters in practice, in the milestone's unit. With `level` the level of each lot
    is free within so many units, and groups are told as more or less than their mean; without it lots lie as far apart
    as groups.
    """

    logarithmic: bool
    within: float
    between: float
    per_degree: tuple[float, float]
    per_point: tuple[float, float]
    margin: float
    level: float | None = None


# The spreads and margins are common practice, no source. Rates of fermentation about double over 10 °C (common
# practice, no source), so that the log of a time falls by 0.069 a degree.
_TIME: Final = (-0.069, 0.03)
_STRENGTH: Final = (0.005, 0.005)
SCALES: Final[dict[MilestoneName, QuantityScale]] = {
    "lag_h": QuantityScale(True, 0.3, 0.5, _TIME, (0.0, 0.005), 6.0),
    "greatest_rate_plato_day": QuantityScale(True, 0.15, 0.35, (0.069, 0.03), (0.01, 0.01), 0.7),
    "greatest_rate_per_original_day": QuantityScale(True, 0.15, 0.35, (0.069, 0.03), (-0.005, 0.005), 0.06),
    "half_h": QuantityScale(True, 0.15, 0.35, _TIME, _STRENGTH, 6.0),
    "ninety_h": QuantityScale(True, 0.15, 0.35, _TIME, _STRENGTH, 12.0),
    "finish_h": QuantityScale(True, 0.15, 0.35, _TIME, _STRENGTH, 12.0),
    "terminal_gravity_sg": QuantityScale(False, 0.001, 0.0025, (0.0, 0.0001), (0.0002, 0.0002), 0.001),
    "apparent_attenuation": QuantityScale(False, 0.02, 0.05, (0.0, 0.002), (0.0, 0.0005), 0.015),
    "real_attenuation": QuantityScale(False, 0.017, 0.041, (0.0, 0.0017), (0.0, 0.0004), 0.0125),
    "alcohol_abv_pct": QuantityScale(False, 0.12, 0.3, (0.0, 0.012), (0.1, 0.05), 0.1),
    "hop_creep_sg": QuantityScale(False, 0.001, 0.002, (0.0, 0.0002), (0.0, 0.00005), 0.001),
}

# Points of 100. What drinks were made with may do as much as drinks of one tasting usually lie apart (no source;
# chosen). How high a panel scores as a whole says nothing of what it tasted: half the scale leaves that free. No
# course is allowed for: tasters judge the drink.
_NOTHING: Final = (0.0, 1e-6)
SCORE_SCALE: Final = QuantityScale(False, SCORES_SINGLE, DRINKS_APART, _NOTHING, _NOTHING, SCORES_APART, level=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One batch in a comparison: its group, the milestone with its standard error, and what is allowed for.

    `lot` is any text that batches of one wort share; None where it is the only one of its wort.
    """

    group: str
    value: float
    standard_error: float = 0.0
    temperature_c: float | None = None
    original_gravity_sg: float | None = None
    lot: str | None = None


@dataclass(frozen=True, slots=True)
class _Fit:
    """A pooled comparison with the scale on which it was made."""

    scale: QuantityScale
    pooled: Pooled
    typical: float
    """Of all values, in the milestone's unit: where a difference of logarithms becomes one of values."""

    def amount(self, on_scale: float) -> float:
        """A difference in the milestone's unit."""
        return 2.0 * self.typical * float(np.sinh(on_scale / 2.0)) if self.scale.logarithmic else on_scale

    @property
    def margin(self) -> float:
        """The margin on the scale of the comparison."""
        if not self.scale.logarithmic:
            return self.scale.margin
        return 2.0 * float(np.arcsinh(self.scale.margin / (2.0 * self.typical)))

    def difference(self, first: int, second: int) -> Mixture:
        """The first group's mean less the second's."""
        return self.pooled.of(self.pooled.group(first) - self.pooled.group(second))


def compare_groups(
    quantity: MilestoneName, measured: Sequence[Measured], *, like: Sequence[Sequence[float]] = ()
) -> GroupComparison:
    """Compare groups of batches in one milestone.

    Parameters
    ----------
    measured
        One for each batch that has the milestone; a lag or a time must be above zero.
    like
        Values of like vessels elsewhere, filled from one wort and treated alike: they tell how far vessels differ.

    Returns
    -------
    GroupComparison
        Groups in the order of their names; without batches there are none.

    Raises
    ------
    KeyError
        If a milestone is none to compare groups by, as the temperature.
    """
    scale = SCALES[quantity]
    names = sorted({m.group for m in measured})
    if not measured:
        return GroupComparison(quantity, (), (), (), 0)
    values = np.array([m.value for m in measured])
    if scale.logarithmic:
        values = np.maximum(values, 1e-3)
    within, elsewhere = _vessels_differ(scale, like)
    fit = _fitted(scale, values, measured, names, within)
    low, middle, high = fit.pooled.vessel_spread
    spreads = Range(fit.amount(low), fit.amount(middle), fit.amount(high))
    here = sum(n - 1 for n in Counter((m.group, m.lot) for m in measured if m.lot is not None).values())
    return GroupComparison(quantity, *_told(fit, names, measured), here + elsewhere, spreads)


def compare_scores(measured: Sequence[Measured]) -> ScoreComparison:
    """Compare what tasters gave drinks that were made with this or that: yeasts, hops, doses, contact.

    Parameters
    ----------
    measured
        One for each drink: its points with taster and place taken out, their error, and as its lot the tasting (or the
        part of it) in which all else was alike.
    """
    names = sorted({m.group for m in measured})
    if not measured:
        return ScoreComparison((), (), ())
    values = np.array([m.value for m in measured])
    within, _ = _vessels_differ(SCORE_SCALE, ())
    return ScoreComparison(*_told(_fitted(SCORE_SCALE, values, measured, names, within), names, measured))


def score_error(standard_error: float, *, unknown: int, several_worts: bool, times: int) -> float:
    """The error of a drink's points as they tell of what it was made with.

    Parameters
    ----------
    standard_error
        Of its points alone.
    unknown
        Of how many of yeast, hop, dose and contact nobody wrote it down.
    several_worts
        Whether the drinks beside it come of other worts.
    times
        How often it was tasted. It is one drink still: the mean of so many values, each with so many times the
        variance of single drinks, has that variance once.
    """
    more = unknown * SCORES_UNKNOWN**2 + several_worts * SCORES_OTHER_WORT**2 + (times - 1) * SCORES_SINGLE**2
    return float(np.hypot(standard_error, np.sqrt(more)))


def _told(
    fit: _Fit, names: list[str], measured: Sequence[Measured]
) -> tuple[tuple[GroupMean, ...], tuple[Difference, ...], tuple[tuple[str, float, float], ...]]:
    """The groups, their differences, and for each the chance that it is the least and the greatest."""
    counted = Counter(m.group for m in measured)
    means = tuple(_mean(fit, g, name, counted[name]) for g, name in enumerate(names))
    differences = tuple(
        _difference(fit, (i, first), (j, second)) for (i, first), (j, second) in combinations(enumerate(names), 2)
    )
    greatest = tuple(float(c) for c in fit.pooled.best(greatest=True))
    least = tuple(float(c) for c in fit.pooled.best(greatest=False))
    return means, differences, tuple(zip(names, least, greatest, strict=True))


def _vessels_differ(scale: QuantityScale, like: Sequence[Sequence[float]]) -> tuple[Grid, int]:
    """What the spread from vessel to vessel may be, and on how many vessels beyond the first of a set it was seen."""
    squares, seen = 0.0, 0
    for each in like:
        values = np.log(np.maximum(each, 1e-3)) if scale.logarithmic else np.asarray(each, dtype=float)
        squares += float(np.square(values - values.mean()).sum())
        seen += values.size - 1
    return Grid.log_normal(scale.within * VESSELS_SPREAD_MIDDLE, VESSELS_SPREAD_LOG, squares, seen), seen


def _fitted(scale: QuantityScale, values: Floats, measured: Sequence[Measured], names: list[str], within: Grid) -> _Fit:
    y = np.log(values) if scale.logarithmic else values
    errors = np.array([m.standard_error for m in measured])
    if scale.logarithmic:
        errors = errors / values
    columns, unknown = [], np.zeros(len(measured))
    for of_each, factor, (mean, sd), unknown_sd in (
        ([m.temperature_c for m in measured], 1.0, scale.per_degree, UNKNOWN_TEMPERATURE_SD_C),
        ([m.original_gravity_sg for m in measured], 1000.0, scale.per_point, UNKNOWN_ORIGINAL_SD_SG),
    ):
        known = [v for v in of_each if v is not None]
        centre = float(np.mean(known)) if known else 0.0
        columns.append(np.array([0.0 if v is None else factor * (v - centre) for v in of_each]))
        # What is not known may have been anything usual: the value counts for less.
        missing = np.array([v is None for v in of_each])
        unknown += np.where(missing & bool(known), (factor * unknown_sd) ** 2 * (mean**2 + sd**2), 0.0)
    shared = [lot for lot, n in Counter(m.lot for m in measured if m.lot is not None).items() if n > 1]
    index = {lot: n for n, lot in enumerate(shared)}
    observed = Observed(
        y,
        np.array([names.index(m.group) for m in measured]),
        len(names),
        np.sqrt(np.square(errors) + unknown),
        np.column_stack(columns),
        np.array([index.get(m.lot, -1) if m.lot is not None else -1 for m in measured]),
    )
    centre = float(np.mean(y))
    expected = Expected(
        (centre, 10.0 * scale.between),
        Grid.half_t(GROUPS_SPREAD_SCALE * scale.between),
        within,
        Grid.half_t(scale.between, 6) if scale.level is None else Grid.known(scale.level),
        (scale.per_degree, scale.per_point),
    )
    return _Fit(scale, pool(observed, expected), float(np.exp(centre)) if scale.logarithmic else centre)


def _mean(fit: _Fit, which: int, name: str, batches: int) -> GroupMean:
    combined = fit.pooled.group(which)
    if fit.scale.level is not None:
        combined = combined - np.mean([fit.pooled.group(g) for g in range(fit.pooled.groups)], axis=0)
    quantiles = fit.pooled.of(combined).quantiles()
    low, middle, high = (float(np.exp(q)) if fit.scale.logarithmic else q for q in quantiles)
    return GroupMean(name, batches, Range(low, middle, high))


def _difference(fit: _Fit, one: tuple[int, str], other: tuple[int, str]) -> Difference:
    (i, first), (j, second) = one, other
    mixture, margin = fit.difference(i, j), fit.margin
    quantiles = mixture.quantiles()
    below = mixture.below(0.0)
    under, over = mixture.below(-margin), 1.0 - mixture.below(margin)
    exceeds = max(under, over)
    verdict: Verdict = "open"
    if exceeds >= YEASTS_DIFFER:
        verdict = "differ"
    elif 1.0 - under - over >= YEASTS_DIFFER:
        verdict = "alike"
    amounts = Range(*(fit.amount(q) for q in quantiles))
    more = _more(fit, i, j, quantiles[1]) if verdict == "open" else None
    return Difference(first, second, amounts, below, exceeds, verdict, fit.scale.margin, more)


def _more(fit: _Fit, i: int, j: int, middle: float) -> int | None:
    """About how many more batches each group needs until it could be told; None where many would not do.

    As if the difference were what it now seems: then it is either beyond the margin or within it, by so much.
    """
    beyond = abs(abs(middle) - fit.margin)
    sure = standard_normal(YEASTS_DIFFER)
    errors = errors_with_more(fit.pooled, i, j, MOST_MORE_BATCHES)
    return next((more for more, error in enumerate(errors, start=1) if beyond >= sure * error), None)
