"""Invented cellars for an evaluation: yeasts, recipes, temperature programmes and floats, drawn anew for each set.

What a whole set has in common (spectra of sugars, the law of temperature, how noisy its floats are) is drawn first,
so that sets differ from one another more than runs of one set do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sample_data.kinetics import STEP_H, Floats, Recipe
from sample_data.published import as_published
from sample_data.sensors import Float
from sample_data.tails import TailRecipe
from sample_data.wide import as_wide, wider

KINDS = ("ale", "farmhouse", "lager", "mead", "cider", "high gravity")
SHARES = (0.45, 0.10, 0.18, 0.08, 0.09, 0.10)
DRINK = {
    "ale": "ale", "farmhouse": "ale", "lager": "lager", "mead": "mead", "cider": "cider", "high gravity": "ale",
    "wine": "wine",
}  # fmt: skip
HORIZON_H = 24.0 * 80
REFERENCE_C = {
    "ale": 19.0,
    "farmhouse": 22.0,
    "lager": 11.0,
    "mead": 19.0,
    "cider": 16.0,
    "high gravity": 19.0,
    "wine": 22.0,
}


@dataclass(frozen=True)
class Strain:
    """An invented yeast of one cellar."""

    name: str
    kind: str
    vigour: float
    appetite: float
    """Share of the maltotriose that it can use."""
    settling: float
    alcohol_limit: float
    optimum_shift_c: float
    claimed_shift: float
    """How far off the attenuation is that its maker states."""


@dataclass(frozen=True)
class Cellar:
    """What the runs of one set have in common."""

    family: str
    law: str
    strains: tuple[Strain, ...]
    dextrinous: float
    tail: float
    pace: float
    noise: float
    interval: tuple[float, ...]
    recipe_spread: float


def draw_cellar(family: str, rng: np.random.Generator) -> Cellar:
    """One cellar, with two to four yeasts for each kind of drink."""
    counts = {"ale": 4, "farmhouse": 2, "lager": 3, "mead": 2, "cider": 2, "high gravity": 0}
    if family == "wide":
        counts["wine"] = 2
    strains = [
        Strain(
            name=f"{kind} yeast {i + 1}",
            kind=kind,
            vigour=float(rng.lognormal(0, 0.11)),
            appetite=float(np.clip(rng.beta(6, 2), 0.3, 1.0)),
            settling=float(rng.lognormal(np.log(0.02), 0.35)),
            alcohol_limit=float({"mead": 130, "cider": 120}.get(kind, 122) * rng.lognormal(0, 0.05)),
            optimum_shift_c=float(rng.normal(0, 1.0)),
            claimed_shift=float(rng.normal(0, 0.012)),
        )
        for kind, count in counts.items()
        for i in range(count)
    ]
    return Cellar(
        family=family,
        law=str(rng.choice(["cardinal", "arrhenius", "square root"])),
        strains=tuple(strains),
        dextrinous=float(rng.normal(0, 0.02)),
        tail=float(rng.lognormal(0, 0.12)),
        pace=float(rng.lognormal(0, 0.08)),
        noise=float(rng.lognormal(0, 0.2)),
        interval=tuple(rng.choice([0.25, 0.25, 1 / 3, 0.5, 0.5, 1.0], 3)),
        recipe_spread=float(rng.uniform(0.04, 0.09)),
    )


def strain_for(cellar: Cellar, kind: str, rng: np.random.Generator) -> Strain:
    """A yeast of the cellar that suits the drink; strong ales use ale yeasts."""
    fitting = [s for s in cellar.strains if s.kind == ("ale" if kind == "high gravity" else kind)]
    weights = np.array([1 / (1 + i) for i in range(len(fitting))])
    return fitting[int(rng.choice(len(fitting), p=weights / weights.sum()))]


def draw_recipe(cellar: Cellar, strain: Strain, kind: str, rng: np.random.Generator) -> Recipe:
    """A wort or must and its yeast, in the cellar's family."""
    if kind == "wine":
        return _wine(cellar, strain, rng)
    sg = {
        "ale": rng.uniform(1.038, 1.066),
        "farmhouse": rng.uniform(1.044, 1.064),
        "lager": rng.uniform(1.042, 1.060),
        "mead": rng.uniform(1.074, 1.102),
        "cider": rng.uniform(1.043, 1.062),
        "high gravity": rng.uniform(1.070, 1.090),
    }[kind]
    extract = (sg - 1) / 0.000388
    if kind == "mead":
        parts = np.array([0.45, 0.50, 0.02, 0.0]) * rng.uniform(0.95, 1.0)
    elif kind == "cider":
        parts = np.array([0.26, 0.66, 0.0, 0.0]) * rng.uniform(0.90, 1.0)
    else:
        rest = 0.255 + cellar.dextrinous + rng.normal(0, 0.02) - (0.03 if kind == "lager" else 0.0)
        split = rng.dirichlet(np.array([0.15, 0.06, 0.61, 0.18]) * 150)
        parts = split * (1 - rest)
        parts[3] *= strain.appetite
    spread = cellar.recipe_spread
    vary = lambda s=spread: float(rng.lognormal(0, s))  # noqa: E731
    quick = strain.vigour * vary() * cellar.pace
    slow = cellar.tail * vary()
    wine = kind in ("mead", "cider")
    strong = kind == "high gravity"
    kind_pace = {"ale": 1.0, "farmhouse": 1.0, "lager": 0.75, "mead": 1.45, "cider": 1.1, "high gravity": 1.35}[kind]
    reference = REFERENCE_C[kind]
    diastatic = kind == "farmhouse"
    recipe = Recipe(
        extract=extract,
        sugars=tuple(parts * extract),  # type: ignore[arg-type]
        dextrin=extract * rng.uniform(0.05, 0.12) if diastatic else 0.0,
        dextrin_rate=rng.uniform(0.009, 0.018) if diastatic else 0.0,
        yeast_start=float(0.55 * vary(0.18)),
        growth=0.13 * quick * kind_pace,
        nitrogen=float({"mead": 2.6, "cider": 2.2}.get(kind, 4.0) * vary(0.15)),
        uptake=(0.45 * quick * kind_pace, 0.30 * quick * kind_pace, 0.26 * quick * kind_pace, 0.11 * quick * kind_pace),
        half=(4.0 * slow, (12.0 if wine else 8.0) * slow, 11.0 * slow, 16.5 * slow),
        repression=(1e9, 70.0, 14.0, 8.0),
        lag_h=float({"lager": 20, "mead": 18, "cider": 20}.get(kind, 10) * vary(0.3)),
        settling=strain.settling * vary(0.2),
        settled_share=float(rng.uniform(0.25, 0.42)),
        fading=float((0.0002 if wine else 0.0006) * vary(0.25)),
        alcohol_limit=strain.alcohol_limit * vary(0.03),
        alcohol_power=float(rng.uniform(0.6, 1.1)) * (0.7 if strong else 0.45 if wine else 0.6),
        law=cellar.law,
        reference_c=reference,
        minimum_c=float({"lager": 0.5, "mead": 5.0, "cider": 3.0}.get(kind, 5.5) + rng.normal(0, 0.7)),
        optimum_c=reference + float(rng.uniform(8, 12)) + strain.optimum_shift_c,
        maximum_c=reference + 18.0 + strain.optimum_shift_c,
        activation=float(rng.uniform(6000, 10500)),
    )
    return _in_family(recipe, cellar, strain, kind, rng)


def _wine(cellar: Cellar, strain: Strain, rng: np.random.Generator) -> Recipe:
    """Drawn as a cider's must and yeast; `as_wide` gives it the sugar and the end of a wine."""
    cider = draw_recipe(replace(cellar, family="tails"), replace(strain, kind="cider"), "cider", rng)
    assert isinstance(cider, TailRecipe)  # noqa: S101
    return as_wide(replace(cider, reference_c=REFERENCE_C["wine"]), "wine", rng)


def _in_family(recipe: Recipe, cellar: Cellar, strain: Strain, kind: str, rng: np.random.Generator) -> Recipe:
    if cellar.family == "published":
        return as_published(recipe, rng)
    if cellar.family == "sugars":
        return recipe
    tail = _as_tail(recipe, strain, kind, rng)
    return as_wide(tail, kind, rng) if cellar.family == "wide" else tail


def _as_tail(recipe: Recipe, strain: Strain, kind: str, rng: np.random.Generator) -> TailRecipe:
    """A run of the second family for the same wort."""
    middle = {"ale": 44, "farmhouse": 42, "lager": 88, "mead": 92, "cider": 74, "high gravity": 54}[kind]
    middle = middle / strain.vigour * rng.lognormal(0, 0.12)
    real = sum(recipe.sugars) + 0.8 * recipe.dextrin
    share = {"farmhouse": 0.30, "mead": 0.26, "high gravity": 0.26}.get(kind, 0.18) * rng.lognormal(0, 0.2)
    base = {f: getattr(recipe, f) for f in Recipe.__dataclass_fields__}
    return TailRecipe(
        **base,
        total_fall_sg=min(real * 0.000462, recipe.alcohol_limit / 0.484 * 0.000462),
        shape=str(rng.choice(["gompertz", "richards"])),
        midpoint_h=middle,
        width_h=middle * rng.uniform(0.3, 0.48),
        skew=float(rng.uniform(0.3, 1.2)),
        tail_share=share,
        tail=str(rng.choice(["power", "stretched"])),
        tail_tau_h=middle * rng.uniform(0.6, 1.0),
        tail_power=float(rng.uniform(4.0, 8.0)),
    )


PROGRAMMES = {
    "ale": ("constant", "free rise", "ramp", "day and night", "drift"),
    "farmhouse": ("free rise", "ramp", "constant"),
    "lager": ("constant", "diacetyl rise", "diacetyl rise", "drift"),
    "mead": ("constant", "drift", "day and night"),
    "cider": ("drift", "constant", "day and night"),
    "high gravity": ("constant", "free rise", "ramp", "drift"),
    "wine": ("constant", "drift", "free rise"),
}


def draw_programme(kind: str, rng: np.random.Generator) -> tuple[str, Floats]:
    """The name of a temperature programme and the temperature around which the liquid stays, each step."""
    hours = np.arange(0, HORIZON_H, STEP_H)
    start = REFERENCE_C[kind] + rng.normal(0, 0.8)
    name = str(rng.choice(PROGRAMMES[kind]))
    path = np.full(len(hours), start)
    if name == "free rise":
        path = start - 1 + rng.uniform(3, 5) * (1 - np.exp(-hours / rng.uniform(30, 60)))
    elif name == "ramp":
        begin = rng.uniform(36, 84)
        path = start + np.clip((hours - begin) / rng.uniform(24, 72), 0, 1) * rng.uniform(2, 5)
    elif name == "day and night":
        path = start + rng.uniform(0.6, 1.8) * np.sin(2 * np.pi * (hours / 24 + rng.random()))
    elif name == "drift":
        path = start + rng.uniform(-2.5, 2.5) * np.clip(hours / (24 * rng.uniform(7, 21)), 0, 1)
    return name, path + rng.normal(0, 0.15) + 0.1 * np.sin(2 * np.pi * hours / rng.uniform(1.5, 5))


def draw_float(cellar: Cellar, rng: np.random.Generator) -> Float:
    """A float and its faults: most are decent, a few are very noisy."""
    very_noisy = rng.random() < 0.025
    white = rng.uniform(0.003, 0.004) if very_noisy else cellar.noise * rng.lognormal(np.log(0.00024), 0.75)
    slow = cellar.noise * rng.lognormal(np.log(0.00009), 0.6) * (3.0 if very_noisy else 1.0)
    device = Float(
        interval_h=float(rng.choice(cellar.interval)),
        white_sg=float(min(white, 0.004)),
        slow_sg=float(min(slow, 0.0015)),
        slow_tau_h=float(rng.lognormal(np.log(6), 0.6)),
        offset_sg=float(rng.normal(0, 0.0015)),
        gain=float(rng.normal(1, 0.03)),
        drift_sg_per_day=float(rng.normal(0, 0.00002)),
        per_degree_sg=float(rng.normal(0, 0.00004)),
        foam_sg=float(rng.choice([0.0, 0.001, 0.004], p=[0.4, 0.4, 0.2])),
        sticks=int(rng.poisson(0.4)),
        spikes=float(rng.choice([0.0, 0.002, 0.01])),
        gaps=int(rng.poisson(1.0)),
        resolution_sg=float(rng.choice([0.0, 0.0001, 0.001], p=[0.3, 0.6, 0.1])),
        jump_sg=float(rng.uniform(0, 0.0012)),
    )
    return wider(device, rng) if cellar.family == "wide" else device
