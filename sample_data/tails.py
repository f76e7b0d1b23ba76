"""A second, structurally different family of fermentations, for what was tuned on the first.

No sugars and no cells: an asymmetric sigmoid of a clock that runs with temperature (Gompertz or Richards), mixed
with a tail that follows a power law or a stretched exponential.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sample_data.kinetics import SG_PER_EXTRACT, STEP_H, Course, Floats, Recipe, temperature_factor


@dataclass
class TailRecipe(Recipe):
    """A run of the second family; what it shares with the first keeps its name."""

    total_fall_sg: float = 0.04
    shape: str = "gompertz"
    midpoint_h: float = 45.0
    width_h: float = 15.0
    skew: float = 0.6
    tail_share: float = 0.2
    tail: str = "power"
    tail_tau_h: float = 60.0
    tail_power: float = 3.0
    saturation: float = 0.1
    onset: float = 0.3
    """Of the shape *straight*: what is left, as a share, where uptake is half as quick; how long growth shapes it."""
    feed_again_h: float = -1.0
    dilute_h: float = -1.0
    diluted: float = 0.0
    """Share of a litre that is water after a dilution."""


def _sigmoid(recipe: TailRecipe, clock: Floats) -> Floats:
    z = (clock - recipe.midpoint_h) / recipe.width_h
    if recipe.shape == "gompertz":
        whole = np.exp(-np.exp(-z))
        start = np.exp(-np.exp(recipe.midpoint_h / recipe.width_h))
    else:
        whole = (1 + recipe.skew * np.exp(-z)) ** (-1 / recipe.skew)
        start = (1 + recipe.skew * np.exp(recipe.midpoint_h / recipe.width_h)) ** (-1 / recipe.skew)
    return np.asarray((whole - start) / (1 - start))


def _straight(recipe: TailRecipe, clock: Floats) -> Floats:
    """A fall that is as quick near its end as in its middle: saturated uptake, integrated, after a growth.

    Time as a function of the share is a straight line, a logarithm of what is left (Monod) and one of what is done.
    """
    edge = np.geomspace(1e-7, 0.5, 400)
    share = np.concatenate([edge, 1.0 - edge[-2::-1]])
    unit = (share - 0.5) - recipe.saturation * np.log(2.0 * (1.0 - share)) + recipe.onset * np.log(2.0 * share)
    found = np.interp(clock, recipe.midpoint_h + recipe.width_h * unit, share)
    return np.asarray((found - found[0]) / (1.0 - found[0]))


def _tail(recipe: TailRecipe, clock: Floats) -> Floats:
    late = np.clip(clock - 0.6 * recipe.midpoint_h, 0, None) / recipe.tail_tau_h
    if recipe.tail == "power":
        return np.asarray(1 - (1 + late / recipe.tail_power) ** (-recipe.tail_power))
    return np.asarray(1 - np.exp(-(late**0.8)))


def simulate_tails(recipes: Sequence[TailRecipe], temperature_c: Floats, pace: Floats) -> Course:
    """As `sample_data.kinetics.simulate`, for this family."""
    steps = temperature_c.shape[1]
    times = np.arange(steps) * STEP_H
    falls, adds = [], []
    for recipe, warm, rest in zip(recipes, temperature_c, pace, strict=True):
        ticks = temperature_factor(recipe, warm) * rest * STEP_H
        clock = np.concatenate([[0.0], np.cumsum(ticks)[:-1]])
        quick = _straight(recipe, clock) if recipe.shape == "straight" else _sigmoid(recipe, clock)
        share = (1 - recipe.tail_share) * quick + recipe.tail_share * _tail(recipe, clock)
        fall = recipe.total_fall_sg * share
        added = np.zeros(steps)
        for feed_h in (recipe.feed_h, recipe.feed_again_h):
            if feed_h >= 0:
                since = np.clip(clock - np.interp(feed_h, times, clock), 0, None)
                extra = recipe.feed * SG_PER_EXTRACT
                fall = fall + extra * 1.15 * (1 - np.exp(-since / (1.5 * recipe.width_h)))
                added = added + np.where(times >= feed_h, extra, 0.0)
        if recipe.dilute_h >= 0:
            after = times >= recipe.dilute_h
            then = int(np.argmax(after))
            level = recipe.extract * SG_PER_EXTRACT - fall[then] + added[then]
            fall = np.where(after, fall[then] + (1 - recipe.diluted) * (fall - fall[then]), fall)
            added = added - np.where(after, recipe.diluted * level, 0.0)
        if recipe.hop_h >= 0:
            since = np.clip(clock - np.interp(recipe.hop_h, times, clock), 0, None)
            pool = recipe.hop_pool * 0.00046
            fall = fall + pool * (1 - np.exp(-((since / recipe.hop_tau_h) ** 1.2)))
        falls.append(fall)
        adds.append(added)
    fall = np.stack(falls)
    activity = np.gradient(fall, STEP_H, axis=1) / 0.00046
    original = np.array([1 + r.extract * SG_PER_EXTRACT for r in recipes])
    return Course(times, fall, np.stack(adds), activity, temperature_c, original)
