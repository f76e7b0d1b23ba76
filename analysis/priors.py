"""What is expected of a batch before its own readings: from its drink, its yeast, and the batches before it.

Every feature of a course is normal on its scale, with three levels: what any such drink does (wide, from common
practice), what this cellar's batches of the drink did, and what those with the same yeast did. A group is kept as
weighted sums, so that learning is incremental and costs nothing to store.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from analysis.courses import PARAMETERS
from analysis.model import Batch, Drink, FinishedBatch, Floats

FEATURES: Final = (*PARAMETERS[:8], "attenuation")
"""What is learnt: the parameters of a course but for the temperature law, and apparent attenuation."""

_VERSION: Final = 1

# Mean and standard deviation of each feature: common practice, no source, deliberately wide.
# log rate (1/h at the reference temperature), log lag (h), log growth, log fade, logit slow share,
# log slow rate, log Monod constant, logit of inhibition, attenuation.
_SD: Final = (0.45, 0.6, 0.35, 0.9, 0.8, 0.6, 0.9, 1.1)
_GENERAL: Final[dict[Drink, tuple[float, float, float, float, float]]] = {
    # hours from the lag to half the easy sugar, lag h, slow share, attenuation, its sd
    "ale": (26.0, 14.0, 0.15, 0.77, 0.065),
    "lager": (60.0, 24.0, 0.15, 0.77, 0.055),
    "mead": (75.0, 26.0, 0.05, 0.99, 0.10),
    "cider": (60.0, 26.0, 0.04, 1.02, 0.06),
    "wine": (60.0, 24.0, 0.05, 1.02, 0.06),
    "other": (40.0, 20.0, 0.10, 0.86, 0.14),
}


@dataclass(frozen=True, slots=True)
class Belief:
    """Normal prior over the features of one batch, and how many batches with its yeast and drink it rests on."""

    mean: Floats
    sd: Floats
    same_yeast: int
    same_drink: int
    attenuation_low: float
    attenuation_high: float


@dataclass(frozen=True, slots=True)
class Tally:
    """Weighted sums of one group's features."""

    batches: int
    weight: tuple[float, ...]
    total: tuple[float, ...]
    square: tuple[float, ...]
    error: tuple[float, ...]

    @classmethod
    def empty(cls) -> Tally:
        """No batch yet."""
        nothing = (0.0,) * len(FEATURES)
        return cls(0, nothing, nothing, nothing, nothing)

    def adding(self, value: Floats, variance: Floats, weight: Floats) -> Tally:
        """With one more batch: what its readings say of each feature, how exactly, and how much that counts."""
        return Tally(
            self.batches + 1,
            tuple(np.asarray(self.weight) + weight),
            tuple(np.asarray(self.total) + weight * value),
            tuple(np.asarray(self.square) + weight * value**2),
            tuple(np.asarray(self.error) + weight * variance),
        )


@dataclass(frozen=True, slots=True)
class Priors:
    """What earlier batches have taught, by yeast and drink. Immutable; `learn` makes new ones."""

    groups: dict[str, Tally] = field(default_factory=dict)

    def to_json(self) -> str:
        """As text, for the store."""
        groups = {
            name: {"batches": t.batches, "weight": t.weight, "total": t.total, "square": t.square, "error": t.error}
            for name, t in sorted(self.groups.items())
        }
        return json.dumps({"version": _VERSION, "features": FEATURES, "groups": groups})

    @classmethod
    def from_json(cls, text: str) -> Priors:
        """From `to_json`.

        Raises
        ------
        ValueError
            If the text was written by another version; learn afresh then.
        """
        data = json.loads(text)
        if data.get("version") != _VERSION or tuple(data.get("features", ())) != FEATURES:
            raise ValueError("these priors were written by another version; learn them again from the finished batches")
        return cls(
            {
                name: Tally(g["batches"], *(tuple(g[part]) for part in ("weight", "total", "square", "error")))
                for name, g in data["groups"].items()
            }
        )

    def belief(self, batch: Batch) -> Belief:
        """The prior for one batch."""
        mean, sd = general(batch)
        drink = self.groups.get(f"drink:{batch.drink}", Tally.empty())
        yeast = self.groups.get(f"yeast:{batch.drink}:{batch.yeast}", Tally.empty()) if batch.yeast else Tally.empty()
        # The spread within a yeast is narrower than within a drink, and both than the general one.
        mean, sd = _narrowed(mean, sd, drink, own_share=0.75, least=0.35)
        mean, sd = _narrowed(mean, sd, yeast, own_share=0.6, least=0.25)
        low, high = mean[-1] - 1.28 * sd[-1], mean[-1] + 1.28 * sd[-1]
        if batch.expected_attenuation is not None:
            # The brewer's range is taken for 10 to 90 %, softened: recipes differ from what the leaflet says.
            lo, hi = batch.expected_attenuation
            its_mean, its_sd = (lo + hi) / 2, max((hi - lo) / 2.56, 0.01) * 1.3 + 0.01
            mean, sd = mean.copy(), sd.copy()
            precision = 1 / sd[-1] ** 2 + 1 / its_sd**2
            mean[-1] = (mean[-1] / sd[-1] ** 2 + its_mean / its_sd**2) / precision
            sd[-1] = max(precision**-0.5, 0.01)
            low, high = mean[-1] - 1.28 * sd[-1], mean[-1] + 1.28 * sd[-1]
        return Belief(mean, sd, yeast.batches, drink.batches, low, high)


def general(batch: Batch) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the features for any batch of this drink."""
    half, lag, slow, attenuation, attenuation_sd = _GENERAL[batch.drink]
    mean = np.array(
        [-np.log(half), np.log(lag), np.log(2.5), np.log(0.03), np.log(slow / (1 - slow)), np.log(0.6), np.log(0.06),
         0.4, attenuation]
    )  # fmt: skip
    sd = np.array([*_SD, attenuation_sd])
    if batch.diastatic or batch.mixed_culture:
        mean[4], mean[5] = -1.0, np.log(0.2)
        mean[-1], sd[-1] = mean[-1] + 0.08, sd[-1] + 0.03
    return mean, sd


def _narrowed(mean: Floats, sd: Floats, group: Tally, *, own_share: float, least: float) -> tuple[Floats, Floats]:
    """Prior for a new member of a group, from the wider prior and the group's sums."""
    if group.batches == 0:
        return mean, sd
    weight = np.asarray(group.weight)
    safe = np.maximum(weight, 1e-9)
    average = np.asarray(group.total) / safe
    scatter = np.maximum(np.asarray(group.square) / safe - average**2 - np.asarray(group.error) / safe, 0.0)
    within = (own_share * sd) ** 2
    # The group's own scatter, shrunk towards what is expected of one (worth four batches).
    scatter = np.maximum((weight * scatter + 4.0 * within) / (weight + 4.0), (least * sd) ** 2)
    # The group's mean: between-group variance is the wider prior's.
    pull = weight / (weight + scatter / sd**2)
    centre = mean + pull * (average - mean)
    spread = np.sqrt(scatter + (1 - pull) * sd**2)
    return centre, np.minimum(spread, sd * 1.2)


def learn(finished: Iterable[FinishedBatch], *, start: Priors | None = None) -> Priors:
    """What earlier batches teach about those to come.

    Parameters
    ----------
    finished
        Earlier batches, each with all its readings. One that cannot be used (no pitch, hardly a reading, never
        came to an end) is passed over.
    start
        What is known already: only new batches need to be given then.
    """
    from analysis.assessment import lesson  # the estimator needs priors, and priors learn by the estimator

    known = start or Priors()
    groups = dict(known.groups)
    for one in finished:
        if one.readings.is_empty():
            continue
        newest = one.readings["measured_at"].max()
        if not isinstance(newest, datetime):
            continue
        end = max(newest, one.batch.pitched_at + timedelta(hours=1))
        taught = lesson(one.readings, one.batch, now=end, belief=Priors().belief(one.batch))
        if taught is None:
            continue
        value, variance, weight = taught
        names = [f"drink:{one.batch.drink}"]
        if one.batch.yeast:
            names.append(f"yeast:{one.batch.drink}:{one.batch.yeast}")
        for name in names:
            groups[name] = groups.get(name, Tally.empty()).adding(value, variance, weight)
    return Priors(groups)
