"""A mechanistic fermentation: several sugars, growth on limited nitrogen, ethanol, temperature, settling yeast.

It is not the curve that the analysis fits. All runs of a set are integrated together, one row a run. Structure
(Monod uptake with catabolite repression, growth until the nitrogen is gone, loss of cells from suspension) follows
the common published models of beer and wine fermentation; the constants are invented so that durations are those
of small batches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_H = 0.5
SG_PER_EXTRACT = 0.000388
"""SG for each g/L of extract (about 129 g/L at 1.050; from memory)."""
SG_PER_ETHANOL = 0.000153
ETHANOL_YIELD = 0.484
FALL_PER_SUGAR = SG_PER_EXTRACT + ETHANOL_YIELD * SG_PER_ETHANOL
"""SG lost for each g/L of sugar fermented: the extract goes and ethanol comes."""


@dataclass
class Recipe:
    """What a run starts from and how its yeast behaves; rates hold at `reference_c`. Concentrations are g/L."""

    extract: float
    sugars: tuple[float, float, float, float]
    """Glucose, fructose, maltose, maltotriose."""
    dextrin: float = 0.0
    """Dextrin that a diastatic yeast can still break down."""
    dextrin_rate: float = 0.0
    yeast_start: float = 0.6
    growth: float = 0.12
    nitrogen: float = 4.0
    """In g/L of yeast that it can build."""
    uptake: tuple[float, float, float, float] = (0.5, 0.4, 0.35, 0.12)
    half: tuple[float, float, float, float] = (3.0, 8.0, 10.0, 12.0)
    repression: tuple[float, float, float, float] = (1e9, 60.0, 12.0, 6.0)
    """Glucose at which each sugar's uptake is halved."""
    lag_h: float = 10.0
    settling: float = 0.02
    settled_share: float = 0.8
    fading: float = 0.001
    """Loss of activity per hour, greater where ethanol is high."""
    alcohol_limit: float = 110.0
    alcohol_power: float = 1.0
    law: str = "cardinal"
    reference_c: float = 19.0
    minimum_c: float = 4.0
    optimum_c: float = 28.0
    maximum_c: float = 36.0
    activation: float = 7000.0
    """Activation energy over the gas constant, in K, for the Arrhenius law."""
    feed_h: float = -1.0
    feed: float = 0.0
    feed_nitrogen: float = 0.0
    hop_h: float = -1.0
    hop_pool: float = 0.0
    """Sugar that the hops' enzymes set free in the end."""
    hop_tau_h: float = 60.0


@dataclass
class Course:
    """What truly happened: one row a run, one column a step of `STEP_H` hours from pitching."""

    times_h: Floats
    fall_sg: Floats
    """Cumulative fall by fermentation; additions do not count."""
    added_sg: Floats
    """What feeds added."""
    activity: Floats
    temperature_c: Floats
    original_sg: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def gravity_sg(self) -> Floats:
        """True gravity."""
        return self.original_sg[:, None] + self.added_sg - self.fall_sg


def temperature_factor(recipe: Recipe, temperature_c: Floats) -> Floats:
    """Rate relative to the rate at the reference temperature."""
    if recipe.law == "cardinal":
        return _cardinal(recipe, temperature_c) / max(float(_cardinal(recipe, np.array(recipe.reference_c))), 1e-6)
    if recipe.law == "arrhenius":
        return _arrhenius(recipe, temperature_c) / float(_arrhenius(recipe, np.array(recipe.reference_c)))
    if recipe.law == "square root":  # Ratkowsky's law
        root = np.clip(temperature_c - recipe.minimum_c, 0, None) / (recipe.reference_c - recipe.minimum_c)
        return root**2 * np.clip((recipe.maximum_c - temperature_c) / 6.0, 0, 1)
    raise ValueError(f"no temperature law called {recipe.law!r}")


def _cardinal(recipe: Recipe, temperature_c: Floats) -> Floats:
    """The cardinal temperature model with inflection (Rosso and others, 1993)."""
    low, best, high = recipe.minimum_c, recipe.optimum_c, recipe.maximum_c
    t = np.clip(temperature_c, low, high)
    above = (t - high) * (t - low) ** 2
    below = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2 * t))
    return np.clip(above / below, 0, None)


def _arrhenius(recipe: Recipe, temperature_c: Floats) -> Floats:
    kelvin = temperature_c + 273.15
    cold = 1 / (1 + np.exp(-(temperature_c - recipe.minimum_c) / 1.2))
    hot = 1 / (1 + np.exp((temperature_c - recipe.maximum_c) / 1.5))
    return np.exp(-recipe.activation * (1 / kelvin - 1 / 292.15)) * cold * hot


def simulate(recipes: Sequence[Recipe], temperature_c: Floats, pace: Floats) -> Course:
    """Integrate all runs together.

    Parameters
    ----------
    temperature_c
        Of the liquid, shape (runs, steps).
    pace
        A factor on the yeast's activity, shape (runs, steps): 1 as usual, 0 where it rests.
    """
    runs, steps = temperature_c.shape
    p = {f.name: np.array([getattr(r, f.name) for r in recipes]) for f in fields(Recipe) if f.name != "law"}
    warmth = np.stack([temperature_factor(r, t) for r, t in zip(recipes, temperature_c, strict=True)])
    sugars = p["sugars"].T.astype(float).copy()
    uptake, half, repression = p["uptake"].T, p["half"].T, p["repression"].T
    dextrin, hop_pool = p["dextrin"].astype(float), np.zeros(runs)
    nitrogen, nitrogen_start = p["nitrogen"].astype(float), p["nitrogen"] + p["feed_nitrogen"]
    yeast, alive = p["yeast_start"].astype(float), np.ones(runs)
    suspended = np.ones(runs)
    sugar_start = sugars.sum(0) + p["feed"]
    eaten = np.zeros(runs)
    added = np.zeros(runs)
    fall, adds, activity = np.empty((3, runs, steps))
    for k in range(steps):
        hour = k * STEP_H
        fall[:, k] = eaten * FALL_PER_SUGAR
        adds[:, k] = added
        fed = (p["feed_h"] >= 0) & (np.abs(p["feed_h"] - hour) < STEP_H / 2)
        if fed.any():
            sugars[0] += np.where(fed, p["feed"] * 0.5, 0.0)
            sugars[1] += np.where(fed, p["feed"] * 0.5, 0.0)
            nitrogen += np.where(fed, p["feed_nitrogen"], 0.0)
            added += np.where(fed, p["feed"] * SG_PER_EXTRACT, 0.0)
        hopped = (p["hop_h"] >= 0) & (np.abs(p["hop_h"] - hour) < STEP_H / 2)
        hop_pool += np.where(hopped, p["hop_pool"], 0.0)
        heat = warmth[:, k]
        ethanol = eaten * ETHANOL_YIELD
        room = np.clip(1 - ethanol / p["alcohol_limit"], 0, 1) ** p["alcohol_power"]
        awake = 1 / (1 + np.exp(-(hour - p["lag_h"]) / (0.15 * p["lag_h"] + 0.5)))
        drive = yeast * alive * suspended * heat * room * awake * pace[:, k]
        rate = uptake * drive * sugars / (half + sugars) / (1 + sugars[0] / repression)
        used = sugars * -np.expm1(-rate * STEP_H / np.maximum(sugars, 1e-9))
        sugars -= used
        eaten = eaten + used.sum(0)
        activity[:, k] = used.sum(0) / STEP_H
        total = sugars.sum(0)
        grown = p["growth"] * heat * awake * room * yeast * suspended * nitrogen / (nitrogen + 0.15 * nitrogen_start)
        grown = np.minimum(grown * total / (total + 10) * pace[:, k] * STEP_H, nitrogen)
        yeast = yeast + grown
        nitrogen = nitrogen - grown
        hungry = np.clip(1 - total / sugar_start, 0, 1) ** 2
        floor = 1 - p["settled_share"]
        suspended = floor + (suspended - floor) * np.exp(-p["settling"] * hungry * STEP_H)
        alive = alive * np.exp(-p["fading"] * (1 + 4 * (ethanol / p["alcohol_limit"]) ** 2) * STEP_H)
        freed = dextrin * -np.expm1(-p["dextrin_rate"] * heat * pace[:, k] * STEP_H)
        dextrin = dextrin - freed
        loosed = hop_pool * -np.expm1(-np.minimum(heat, 2) / p["hop_tau_h"] * STEP_H)
        hop_pool = hop_pool - loosed
        sugars[0] += freed + loosed
    times = np.arange(steps) * STEP_H
    original = 1 + p["extract"] * SG_PER_EXTRACT
    return Course(times, fall, adds, activity, temperature_c, original)
