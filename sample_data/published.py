"""A third family for what was tuned on the first: the published lager model of de Andres-Toro and others (1998).

Active, latent and dead yeast, one sugar, ethanol; all rates follow temperature by Arrhenius laws with the published
constants (as transcribed in several independent public research codes). Each run scales yeast and pace a little, as
batches differ. The model is for 8 to 16 °C; above that active cells die about as fast as they grow, so temperature
is held below 14 °C here.

References
----------
B. de Andres-Toro et al., "A kinetic model for beer production under industrial operational conditions", Mathematics
and Computers in Simulation 48, 1998, 65-74.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sample_data.kinetics import FALL_PER_SUGAR, SG_PER_EXTRACT, STEP_H, Course, Floats, Recipe

ARRHENIUS = {
    "growth": (108.31, -31934.09),
    "uptake": (-41.92, 11654.64),
    "waking": (30.72, -9501.54),
    "dying": (130.16, -38313.0),
    "settling": (33.82, -10033.28),
    "ethanol": (3.27, -1267.24),
    "half": (-119.63, 34203.95),
}
"""Each constant is exp(a + b / T), T in K, per hour (the half-saturation in g/L)."""
DRY_SUGAR_SHARE = 0.70
"""Share of the extract that ferments; the model speaks of fermentable sugar alone (a usual lager; no source)."""
SUB_STEPS = 4


@dataclass
class PublishedRecipe(Recipe):
    """A run of the third family: sugar (g/L), pitched yeast (g/L), and how its pace differs from the published one."""

    sugar: float = 95.0
    pitched: float = 4.0
    quick: float = 1.0


def constants(temperature_c: Floats) -> dict[str, Floats]:
    """The model's constants at these temperatures."""
    kelvin = np.clip(temperature_c, 4.0, 14.0) + 273.15
    return {name: np.exp(a + b / kelvin) for name, (a, b) in ARRHENIUS.items()}


def as_published(recipe: Recipe, rng: np.random.Generator) -> PublishedRecipe:
    """A run of this family for the same wort."""
    base = {f: getattr(recipe, f) for f in Recipe.__dataclass_fields__}
    share = DRY_SUGAR_SHARE * rng.lognormal(0, 0.03)
    return PublishedRecipe(
        **base,
        sugar=recipe.extract * share,
        pitched=4.0 * rng.lognormal(0, 0.15),
        quick=float(rng.lognormal(0, 0.15)),
    )


def simulate_published(recipes: Sequence[PublishedRecipe], temperature_c: Floats, pace: Floats) -> Course:
    """As `sample_data.kinetics.simulate`, for this family."""
    runs, steps = temperature_c.shape
    start = np.array([r.sugar for r in recipes])
    quick = np.array([r.quick for r in recipes])
    pitched = np.array([r.pitched for r in recipes])
    active, latent = 0.02 * pitched, 0.48 * pitched
    sugar, ethanol, pool = start.copy(), np.zeros(runs), np.zeros(runs)
    hop_h = np.array([r.hop_h for r in recipes])
    hop_pool, hop_tau = np.array([r.hop_pool for r in recipes]), np.array([r.hop_tau_h for r in recipes])
    eaten, fall, activity = np.zeros(runs), np.empty((runs, steps)), np.empty((runs, steps))
    k = constants(temperature_c)
    dt = STEP_H / SUB_STEPS
    for i in range(steps):
        fall[:, i] = eaten * FALL_PER_SUGAR
        pool = pool + np.where((hop_h >= 0) & (np.abs(hop_h - i * STEP_H) < STEP_H / 2), hop_pool, 0.0)
        before = eaten
        rest = pace[:, i] * quick
        for _ in range(SUB_STEPS):
            half = k["half"][:, i]
            grow = k["growth"][:, i] * sugar / (0.5 * start + ethanol)
            use = np.minimum(k["uptake"][:, i] * sugar / (half + sugar) * active * rest * dt, sugar)
            wake = k["waking"][:, i] * latent
            active = active + dt * rest * (grow * active - k["dying"][:, i] * active + wake)
            latent = latent - dt * rest * wake
            room = np.clip(1 - ethanol / (0.5 * start), 0, 1)
            ethanol = ethanol + room * k["ethanol"][:, i] * sugar / (half + sugar) * active * rest * dt
            freed = pool * -np.expm1(-dt / hop_tau)
            pool = pool - freed
            sugar = sugar - use + freed
            eaten = eaten + use
        activity[:, i] = (eaten - before) / STEP_H
    original = np.array([1 + r.extract * SG_PER_EXTRACT for r in recipes])
    return Course(np.arange(steps) * STEP_H, fall, np.zeros_like(fall), activity, temperature_c, original)
