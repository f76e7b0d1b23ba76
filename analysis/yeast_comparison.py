"""Which yeast is quicker, which goes further, and how surely, allowing for temperature, gravity and wort.

Yeasts are compared among batches of one drink, with partial pooling (`analysis.trials.pooling`): a yeast with one batch
stays near the others, one with many stands by itself. Vessels filled from one wort are compared with one another.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.model import Drink, Range
from analysis.trials import Difference as _OfGroups
from analysis.trials import Measured, MilestoneName, Verdict, compare_groups

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
    verdict: Verdict
    """Whether they differ by more than what matters, are alike for practice, or it cannot be told yet."""
    p_exceeds: float = 0.0
    """The chance that they differ by more than `margin`, in the unit of the quantity, in the likelier direction."""
    margin: float = 0.0
    more_batches: int | None = None
    """About how many more batches of each, in pairs of one wort, would tell; None where told, or many would not do."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Yeasts of one drink side by side; `temperature_c` is the mean temperature at which they are compared."""

    drink: Drink
    temperature_c: float | None
    yeasts: tuple[YeastSummary, ...]
    differences: tuple[Difference, ...]


_HOURS: Final[dict[Quantity, float]] = {"finish_days": 24.0, "attenuation": 1.0}
_MILESTONE: Final[dict[Quantity, MilestoneName]] = {"finish_days": "finish_h", "attenuation": "apparent_attenuation"}


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
        unit = _HOURS[quantity]
        found = compare_groups(_MILESTONE[quantity], _measured(quantity, batches))
        means[quantity] = {each.name: _in(unit, each.value) for each in found.means}
        differences += [_told(quantity, unit, each) for each in found.differences]
    counted = Counter(b.yeast for b in batches)
    summaries = [YeastSummary(y, counted[y], means["finish_days"].get(y), means["attenuation"].get(y)) for y in yeasts]
    temperatures = [b.temperature_c for b in batches if b.temperature_c is not None]
    mean = float(np.mean(temperatures)) if temperatures else None
    return Comparison(drink, mean, tuple(summaries), tuple(differences))


def _measured(quantity: Quantity, batches: list[Outcome]) -> list[Measured]:
    """The batches that have the quantity, in the unit of its milestone."""
    found = []
    for batch in batches:
        value: float | None = getattr(batch, quantity)
        if value is not None:
            found.append(
                Measured(
                    group=batch.yeast,
                    value=_HOURS[quantity] * value,
                    temperature_c=batch.temperature_c,
                    original_gravity_sg=batch.original_gravity_sg,
                    lot=batch.split_of,
                )
            )
    return found


def _told(quantity: Quantity, unit: float, each: _OfGroups) -> Difference:
    return Difference(
        quantity,
        each.first,
        each.second,
        _in(unit, each.amount),
        each.p_below,
        each.verdict,
        each.p_exceeds,
        each.margin / unit,
        each.more_batches,
    )


def _in(unit: float, value: Range) -> Range:
    return Range(value.p10 / unit, value.p50 / unit, value.p90 / unit)
