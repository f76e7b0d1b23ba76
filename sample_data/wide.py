"""A third family, drawn so wide that measured beers and wines lie inside: quick clean ends as well as slow ones.

The curves are those of `sample_data.tails`, most with an end sharper than a sigmoid's. Endings, speeds, terminal
gravities and noise differ more than between the cellars of the other families, wines are among them, and earlier
batches were hopped, fed, diluted, stalled and read by hand as well.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_data.kinetics import SG_PER_EXTRACT, STEP_H
from sample_data.sensors import Float
from sample_data.tails import TailRecipe

KINDS = ("ale", "farmhouse", "lager", "mead", "cider", "high gravity", "wine")
SHARES = (0.42, 0.08, 0.16, 0.08, 0.08, 0.08, 0.10)
SCENARIOS = {
    "ordinary": 0.50,
    "stall": 0.04,
    "stall, warmed": 0.04,
    "stall, by itself": 0.025,
    "plateau": 0.09,
    "chilled early": 0.045,
    "finished, chilled": 0.08,
    "hop creep": 0.08,
    "feed": 0.03,
    "feeds": 0.03,
    "dilution": 0.04,
}
EARLIER = {
    "ordinary": 0.44,
    "finished, chilled": 0.20,
    "plateau": 0.08,
    "hop creep": 0.08,
    "feed": 0.05,
    "feeds": 0.03,
    "dilution": 0.05,
    "stall": 0.07,
}
CLEAN = 0.65
"""Share of the runs that fall as quickly near the end as in the middle."""
WARMER_SD_C = 2.0

_MIDDLE_H = {"ale": 50, "farmhouse": 48, "lager": 95, "mead": 100, "cider": 80, "high gravity": 60, "wine": 58}


def as_wide(recipe: TailRecipe, kind: str, rng: np.random.Generator) -> TailRecipe:
    """A run of this family, from one of the second."""
    middle = _MIDDLE_H[kind] * float(rng.lognormal(0.0, 0.28))
    extract, total = recipe.extract, recipe.total_fall_sg * float(rng.uniform(0.88, 1.08))
    if kind == "wine":
        original = float(rng.uniform(1.080, 1.120))
        extract, total = (original - 1.0) / SG_PER_EXTRACT, original - float(rng.uniform(0.984, 0.998))
    clean = rng.random() < CLEAN
    return replace(
        recipe,
        extract=extract,
        total_fall_sg=min(total, 1.2 * extract * SG_PER_EXTRACT),
        midpoint_h=middle,
        shape="straight" if clean else recipe.shape,
        width_h=middle * float(rng.uniform(0.3, 0.9) if clean else rng.uniform(0.2, 0.48)),
        saturation=float(np.clip(rng.lognormal(np.log(0.08), 0.9), 0.005, 0.5)),
        onset=float(rng.uniform(0.08, 0.5)),
        tail_share=float(rng.uniform(0.0, 0.12)) if clean else recipe.tail_share,
        tail_tau_h=middle * float(rng.uniform(0.3, 1.1)),
    )


def with_a_scenario(recipe: TailRecipe, scenario: str, rng: np.random.Generator) -> TailRecipe:
    """With a second feed, or water, on the way."""
    if scenario == "feeds":
        return replace(recipe, feed_again_h=_step(recipe.feed_h + float(rng.uniform(36, 96))))
    if scenario == "dilution":
        at_h = _step(recipe.midpoint_h * float(rng.uniform(0.6, 1.4)))
        return replace(recipe, dilute_h=at_h, diluted=float(rng.uniform(0.08, 0.25)))
    return recipe


def wider(device: Float, rng: np.random.Generator) -> Float:
    """A float, or an instrument in line, with noise and digits of any size."""
    return replace(
        device,
        white_sg=float(np.clip(rng.lognormal(np.log(0.0003), 1.0), 0.00003, 0.004)),
        resolution_sg=float(rng.choice([0.0, 0.0001, 0.0004, 0.001], p=[0.2, 0.4, 0.2, 0.2])),
    )


def _step(hour: float) -> float:
    return round(hour / STEP_H) * STEP_H
