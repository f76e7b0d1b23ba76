"""How well the finish can be foreseen at all on the simulated cellars: a forecaster that knows the generator.

It knows the cellar, the yeast, the float's noise and the temperature yet to come; of a run it does not know what is
drawn anew for each: the recipe, and the float's offset and scale. It makes a thousand such runs and weighs them by
the readings. Only ordinary runs, to which nothing happens; its ranges are too narrow, since few of the made runs fit.

``python tests/benchmarks/forecast_floor.py --seed 43 --family sugars`` prints it beside the project's own forecasts.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from analysis import learn  # noqa: E402
from analysis.inference.observation_error import local_rate  # noqa: E402
from analysis.readings.binning import Series, summarise  # noqa: E402
from analysis.readings.cleaning import mark  # noqa: E402
from sample_data.cellars import Cellar, draw_cellar, draw_recipe  # noqa: E402
from sample_data.kinetics import SG_PER_EXTRACT, Course, Floats, Recipe, simulate  # noqa: E402
from sample_data.runs import Run, finish_hour  # noqa: E402
from sample_data.scenarios import FAMILIES  # noqa: E402
from sample_data.tails import TailRecipe, simulate_tails  # noqa: E402
from tests.benchmarks.forecast import progress  # noqa: E402
from tests.benchmarks.forecast_cuts import cuts_of, load_set  # noqa: E402
from tests.benchmarks.forecast_measures import STAGES, as_frame, forecast_columns, look  # noqa: E402

ENOUGH = 20.0
"""Made runs that must count; the weights are tempered until they do."""

TIMING_H = 0.7
"""How far apart two of the made runs lie."""

OFFSET_SG, GAIN = 0.0015, 0.03
"""Offset and scale of floats as `sample_data.cellars.draw_float` draws them."""


def made_runs(run: Run, cellar: Cellar, draws: int, rng: np.random.Generator) -> Course:
    """Ordinary runs of the same cellar, yeast, kind and temperature, with the measured original gravity."""
    strain = next(s for s in cellar.strains if s.name == run.batch.yeast)
    recipes: list[Recipe] = []
    for _ in range(draws):
        recipe = draw_recipe(cellar, strain, run.kind, rng)
        if run.batch.original_gravity_sg is not None:
            wanted = (run.batch.original_gravity_sg + rng.normal(0, 0.001) - 1) / SG_PER_EXTRACT
            by = wanted / recipe.extract
            recipe = replace(
                recipe, extract=wanted, dextrin=recipe.dextrin * by, sugars=tuple(by * s for s in recipe.sugars)
            )
            if isinstance(recipe, TailRecipe):
                recipe.total_fall_sg *= by
        recipes.append(recipe)
    assert run.liquid_c is not None
    warmth = np.broadcast_to(run.liquid_c, (draws, run.liquid_c.size))
    if cellar.family == "tails":
        return simulate_tails([r for r in recipes if isinstance(r, TailRecipe)], warmth, np.ones(warmth.shape))
    return simulate(recipes, warmth, np.ones(warmth.shape))


def weights(run: Run, made: Course, series: Series) -> Floats:
    """Weight of each made run by the readings, tempered until `ENOUGH` count, shape (n,)."""
    assert run.device is not None
    hours = series.hours
    place = np.clip(np.searchsorted(made.times_h, hours, side="right") - 1, 0, made.times_h.size - 2)
    part = (hours - made.times_h[place]) / (made.times_h[place + 1] - made.times_h[place])
    foreseen = made.original_sg[:, None] - made.fall_sg[:, place] * (1 - part) - made.fall_sg[:, place + 1] * part
    apart = np.abs(hours[:, None] - hours[None, :])
    by_float = series.floats.astype(float)
    fallen = np.interp(hours, run.times_h, run.fall_sg) * by_float
    missed = local_rate(series) * TIMING_H
    wander = run.device.slow_sg**2 * np.exp(-apart / run.device.slow_tau_h) + OFFSET_SG**2
    cov = by_float[:, None] * by_float * wander + GAIN**2 * fallen[:, None] * fallen
    cov += missed[:, None] * missed * np.exp(-apart / 12.0)
    cov[np.diag_indices_from(cov)] += series.white_sd_sg**2 + 1e-9
    off = np.linalg.solve(np.linalg.cholesky(cov), (series.gravity_sg - foreseen).T)
    log_like = -0.5 * np.square(off).sum(axis=0)
    power = 1.0
    while True:
        weight = np.exp(power * (log_like - log_like.max()))
        if weight.sum() ** 2 / (weight @ weight) >= ENOUGH:
            return np.asarray(weight / weight.sum())
        power *= 0.85


def knowing(run: Run, cellar: Cellar, draws: int, rng: np.random.Generator) -> list[dict[str, object]]:
    """One row for each named look ahead of the finish, as `tests.benchmarks.forecast_measures.look` makes them."""
    made = made_runs(run, cellar, draws, rng)
    ends = np.array([finish_hour(made.times_h, fall) for fall in made.fall_sg])
    order = np.argsort(ends)
    rows: list[dict[str, object]] = []
    for cut in cuts_of(run, 1000.0):
        if not cut.stage or run.finished(cut.hour):
            continue
        batch, now = run.known(cut.hour), run.when(cut.hour)
        series = summarise(mark(run.readings(cut.hour), batch, now=now), batch, now=now)
        chance = np.cumsum(weights(run, made, series)[order])
        p10, p50, p90 = (float(ends[order][min(np.searchsorted(chance, c), draws - 1)]) for c in (0.1, 0.5, 0.9))
        rows.append(
            {"run": run.name, "kind": run.kind, "drink": batch.drink, "stage": cut.stage, "hour": cut.hour,
             "finish": run.eras[0].finish_h, "foreseeable": True, "passed": False, "p10": p10, "p50": p50, "p90": p90}
        )  # fmt: skip
    return rows


def line(name: str, frame: pl.DataFrame) -> str:
    """One line of the table."""
    columns = forecast_columns(frame)
    errors = " / ".join(f"{columns[f'error {stage}']:.1f}" for stage in STAGES)
    return (
        f"{name:34} | {errors:>26} | {columns['p90 error 90%']:6.0f} | {columns['pinball']:7.1f} |"
        f" {columns['coverage']:.2f}, {columns['width']:.0f}"
    )


def main() -> None:
    """Read the options, evaluate, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=43, help="first seed")
    parser.add_argument("--sets", type=int, default=1)
    parser.add_argument("--family", choices=FAMILIES[:2], default="sugars")
    parser.add_argument("--draws", type=int, default=1000, help="made runs for each run")
    parser.add_argument("--runs", type=int, default=0, help="only the first so many ordinary runs of each set")
    args = parser.parse_args()
    floor: list[dict[str, object]] = []
    ours: list[dict[str, object]] = []
    for seed in range(args.seed, args.seed + args.sets):
        runs, earlier = load_set(seed, args.family)
        cellar = draw_cellar(args.family, np.random.default_rng([seed, FAMILIES.index(args.family)]))
        priors, rng = learn(earlier), np.random.default_rng(seed)
        began = time.monotonic()
        ordinary = [r for r in runs if r.scenario == "ordinary" and len(r.eras) == 1][: args.runs or None]
        for k, run in enumerate(ordinary):
            floor += knowing(run, cellar, args.draws, rng)
            ours += [row for row in look(run, ["ours"], priors, every_h=1000.0) if row["stage"] and not row["passed"]]
            progress(k + 1, len(ordinary), began)
    print(f"\n{'ordinary runs':34} | error at 50/75/90/24h (h)   | p90@90 | pinball | cover, width")
    for name, rows in (("knows the generator", floor), ("tunroom", ours)):
        print(line(name, as_frame(rows)))
    for kind in sorted({str(row["kind"]) for row in ours}):
        for name, rows in (("knows the generator", floor), ("tunroom", ours)):
            print(line(f"{kind}: {name}", as_frame([row for row in rows if row["kind"] == kind])))


if __name__ == "__main__":
    main()
