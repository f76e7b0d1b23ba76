"""Which yeast is quicker, which goes further, and how surely, allowing for temperature, gravity and wort.

Yeasts are compared among batches of one drink. Each quantity is a linear model: one mean for each yeast, the effect
of temperature and original gravity, and one effect for each wort that was split over vessels, so that halves of one
wort are compared with one another. Few batches give wide intervals, by a weak prior rather than by leaving them out.

References
----------
Gelman et al., Bayesian Data Analysis, 3rd edition, 2013, section 14.8 (the conjugate linear model with unknown
variance; from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, Literal

import numpy as np
from scipy import stats

from analysis.model import Drink, Floats, Range
from analysis.thresholds import SPREAD_COUNTS_AS_BATCHES, YEASTS_DIFFER

Quantity = Literal["finish_days", "attenuation"]
QUANTITIES: Final[tuple[Quantity, ...]] = ("finish_days", "attenuation")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How one finished batch went. Days run from pitching; attenuation is apparent, a fraction."""

    batch_id: str
    name: str
    yeast: str
    drink: Drink
    finish_days: float | None
    attenuation: float | None
    temperature_c: float | None = None
    """Mean while it fell."""
    original_gravity_sg: float | None = None
    split_of: str | None = None


@dataclass(frozen=True, slots=True)
class YeastSummary:
    """What one yeast usually does under the mean conditions of the batches compared."""

    yeast: str
    batches: int
    finish_days: Range | None
    attenuation: Range | None


@dataclass(frozen=True, slots=True)
class Difference:
    """`first` less `second` in one quantity, and the chance that it is below zero."""

    quantity: Quantity
    first: str
    second: str
    amount: Range
    p_below: float
    verdict: Literal["differ", "alike", "open"]
    """Whether they differ (chance of the sign at least 90 %), are alike for practice, or it cannot be told yet."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Yeasts of one drink side by side; `temperature_c` is the mean temperature at which they are compared."""

    drink: Drink
    temperature_c: float | None
    yeasts: tuple[YeastSummary, ...]
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class _Model:
    """Priors of one quantity on its own scale (finish time: natural log of days)."""

    logarithmic: bool
    spread: float
    """Standard deviation expected between like batches."""
    between: float
    """Standard deviation expected between yeasts, and between worts."""
    per_degree: tuple[float, float]
    """Effect of 1 °C: mean and standard deviation."""
    per_point: tuple[float, float]
    """Effect of 1 point (0.001 SG) of original gravity: mean and standard deviation."""
    alike: float
    """A difference smaller than this does not matter in practice (days, or a fraction)."""


# The spreads are common practice, no source. Rates of fermentation about double over 10 °C (common practice, no
# source), so that the log of the time falls by 0.069 a degree.
_MODELS: Final[dict[Quantity, _Model]] = {
    "finish_days": _Model(True, 0.15, 0.35, (-0.069, 0.03), (0.005, 0.005), 0.5),
    "attenuation": _Model(False, 0.02, 0.05, (0.0, 0.002), (0.0, 0.0005), 0.015),
}


def compare(batches: Sequence[Outcome]) -> tuple[Comparison, ...]:
    """Compare the yeasts of each drink that has at least two batches, the drink with most batches first.

    Parameters
    ----------
    batches
        Finished ones. A batch without a quantity is left out of that quantity only.

    Returns
    -------
    tuple of Comparison
        Empty without two batches of one drink. With a single yeast there are no differences.
    """
    counted = Counter(b.drink for b in batches)
    return tuple(
        _of_drink(drink, [b for b in batches if b.drink == drink]) for drink, n in counted.most_common() if n > 1
    )


def _of_drink(drink: Drink, batches: list[Outcome]) -> Comparison:
    yeasts = sorted({b.yeast for b in batches})
    means: dict[Quantity, dict[str, Range]] = {}
    differences: list[Difference] = []
    for quantity in QUANTITIES:
        means[quantity], found = _fit(quantity, [b for b in batches if getattr(b, quantity) is not None])
        differences += found
    counted = Counter(b.yeast for b in batches)
    summaries = [YeastSummary(y, counted[y], means["finish_days"].get(y), means["attenuation"].get(y)) for y in yeasts]
    temperatures = [b.temperature_c for b in batches if b.temperature_c is not None]
    mean = float(np.mean(temperatures)) if temperatures else None
    return Comparison(drink, mean, tuple(summaries), tuple(differences))


def _fit(quantity: Quantity, batches: list[Outcome]) -> tuple[dict[str, Range], list[Difference]]:
    model = _MODELS[quantity]
    if not batches:
        return {}, []
    values = np.array([float(getattr(b, quantity)) for b in batches])
    y = np.log(values) if model.logarithmic else values
    yeasts = sorted({b.yeast for b in batches})
    design, mean, variance = _design(batches, yeasts, model, float(np.mean(y)))
    # Conjugate update; coefficients have covariance sigma² times `inverse`.
    inverse = np.linalg.inv(np.diag(1 / variance) + design.T @ design)
    centre = inverse @ (mean / variance + design.T @ y)
    freedom = SPREAD_COUNTS_AS_BATCHES + len(y)
    misfit = float(y @ y + mean @ (mean / variance) - centre @ np.linalg.solve(inverse, centre))
    scale = np.sqrt((SPREAD_COUNTS_AS_BATCHES * model.spread**2 + max(misfit, 0.0)) / freedom)

    def spread_of(weights: Floats) -> tuple[Floats, float]:
        """The three quantiles of a combination of coefficients, and the chance that it is below zero."""
        distribution = stats.t(freedom, loc=weights @ centre, scale=np.sqrt(weights @ inverse @ weights) * scale)
        return np.asarray(distribution.ppf([0.1, 0.5, 0.9])), float(distribution.cdf(0.0))

    units = np.eye(design.shape[1])
    out = np.exp if model.logarithmic else np.asarray
    means = {name: _range(out(spread_of(units[i])[0])) for i, name in enumerate(yeasts)}
    differences = []
    for (i, first), (j, second) in combinations(enumerate(yeasts), 2):
        quantiles, below = spread_of(units[i] - units[j])
        if model.logarithmic:
            typical = float(np.exp((centre[i] + centre[j]) / 2))
            quantiles = 2 * typical * np.sinh(quantiles / 2)
        amount = _range(quantiles)
        differences.append(Difference(quantity, first, second, amount, below, _verdict(amount, below, model.alike)))
    return means, differences


def _design(batches: list[Outcome], yeasts: list[str], model: _Model, typical: float) -> tuple[Floats, Floats, Floats]:
    """Columns, prior means and prior variances (in units of the residual variance) of the coefficients."""
    columns = [np.array([float(b.yeast == y) for b in batches]) for y in yeasts]
    means = [typical] * len(yeasts)
    deviations = [model.between] * len(yeasts)
    for name, factor, (mean, deviation) in (
        ("temperature_c", 1.0, model.per_degree),
        ("original_gravity_sg", 1000.0, model.per_point),
    ):
        known = [getattr(b, name) for b in batches]
        centre = np.mean([v for v in known if v is not None]) if any(v is not None for v in known) else 0.0
        columns.append(np.array([0.0 if v is None else factor * (v - centre) for v in known]))
        means.append(mean)
        deviations.append(deviation)
    worts = Counter(b.split_of for b in batches if b.split_of)
    for wort, n in worts.items():
        if n > 1:
            columns.append(np.array([float(b.split_of == wort) for b in batches]))
            means.append(0.0)
            deviations.append(model.between)
    return np.column_stack(columns), np.array(means), (np.array(deviations) / model.spread) ** 2


def _verdict(amount: Range, below: float, alike: float) -> Literal["differ", "alike", "open"]:
    if max(below, 1 - below) >= YEASTS_DIFFER and abs(amount.p50) >= alike / 2:
        return "differ"
    if max(abs(amount.p10), abs(amount.p90)) <= alike:
        return "alike"
    return "open"


def _range(quantiles: Floats) -> Range:
    low, middle, high = (float(q) for q in quantiles)
    return Range(low, middle, high)
