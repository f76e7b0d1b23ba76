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


def _sigmoid(recipe: TailRecipe, clock: Floats) -> Floats:
    z = (clock - recipe.midpoint_h) / recipe.width_h
    if recipe.shape == "gompertz":
        whole = np.exp(-np.exp(-z))
        start = np.exp(-np.exp(recipe.midpoint_h / recipe.width_h))
    else:
        whole = (1 + recipe.skew * np.exp(-z)) ** (-1 / recipe.skew)
        start = (1 + recipe.skew * np.exp(recipe.midpoint_h / recipe.width_h)) ** (-1 / recipe.skew)
    return np.asarray((whole - start) / (1 - start))


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
        share = (1 - recipe.tail_share) * _sigmoid(recipe, clock) + recipe.tail_share * _tail(recipe, clock)
        fall = recipe.total_fall_sg * share
        added = np.zeros(steps)
        if recipe.feed_h >= 0:
            since = np.clip(clock - np.interp(recipe.feed_h, times, clock), 0, None)
            extra = recipe.feed * SG_PER_EXTRACT
            fall = fall + extra * 1.15 * (1 - np.exp(-since / (1.5 * recipe.width_h)))
            added = np.where(times >= recipe.feed_h, extra, 0.0)
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
