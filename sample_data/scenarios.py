"""Sets of simulated fermentations: what happens to each, what is logged, and what is true.

A set is 252 runs and 48 earlier, finished batches of the same cellar. Seeds below 1000 are for tuning, seeds from
1000 on are held out and never used for it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from analysis.model import Batch, Event, FinishedBatch
from sample_data import wide
from sample_data.cellars import (
    DRINK,
    HORIZON_H,
    KINDS,
    SHARES,
    Cellar,
    draw_cellar,
    draw_float,
    draw_programme,
    draw_recipe,
    strain_for,
)
from sample_data.kinetics import FALL_PER_SUGAR, STEP_H, Course, Floats, Recipe, simulate
from sample_data.notebooks import notebook_of
from sample_data.published import PublishedRecipe, simulate_published
from sample_data.runs import START, Era, Run, finish_hour, hour_of_share
from sample_data.sensors import Sampled, sample
from sample_data.tails import TailRecipe, simulate_tails

SCENARIOS = {
    "ordinary": 0.55,
    "stall": 0.04,
    "stall, warmed": 0.04,
    "stall, by itself": 0.025,
    "plateau": 0.09,
    "chilled early": 0.045,
    "finished, chilled": 0.08,
    "hop creep": 0.09,
    "feed": 0.04,
}
FAMILIES = ("sugars", "tails", "published", "wide")
ADDED = ("feed", "feeds", "dilution")
HELD_OUT_FROM = 1000
AFTER_H = 150.0


@dataclass
class _Plan:
    """A run while it is being made."""

    kind: str
    scenario: str
    recipe: Recipe
    strain: str
    claimed: float
    programme: str
    warmth: Floats
    pace: Floats
    events: list[tuple[str, float, float | None]]
    stall: tuple[float, float] | None = None
    resumes: bool = False
    chill_h: float | None = None
    changes_h: float | None = None


def make_set(
    seed: int, runs: int = 252, earlier: int = 48, family: str = "sugars"
) -> tuple[list[Run], list[FinishedBatch]]:
    """The runs of one set and the earlier batches of the same cellar.

    `family` is ``"sugars"`` (mechanistic), ``"tails"`` (structurally different) or ``"published"`` (lagers only, by
    a published model).
    """
    rng = np.random.default_rng([seed, FAMILIES.index(family)])
    cellar = draw_cellar(family, rng)
    plans = [_first_plan(cellar, i >= runs, rng) for i in range(runs + earlier)]
    quiet = _run(plans, cellar)
    for i, plan in enumerate(plans):
        if plan.programme == "diacetyl rise":
            begin = hour_of_share(quiet.times_h, quiet.fall_sg[i], rng.uniform(0.6, 0.8))
            rise = np.clip((quiet.times_h - begin) / 30, 0, 1) * rng.uniform(4, 6)
            plan.warmth = plan.warmth + rise
    base = _run(plans, cellar)
    for i, plan in enumerate(plans):
        _shape(plan, base.times_h, base.fall_sg[i], rng)
    actual = _run(plans, cellar)
    typical: dict[str, list[float]] = {}
    for i, plan in enumerate(plans):
        if plan.scenario not in ADDED:  # nobody states an attenuation against an original gravity without the feed
            typical.setdefault(plan.strain, []).append(float(base.fall_sg[i, -1] / (base.original_sg[i] - 1)))
    done = [
        _finish(f"{seed}-{family}-{i}", plan, cellar, base, actual, i, _stated(typical, plan.strain), rng)
        for i, plan in enumerate(plans)
    ]
    before = [FinishedBatch(r.batch, r.readings(r.end_h)) for r in done[runs:]]
    if family == "wide":  # half of the history of a cellar stands in a notebook
        before = [notebook_of(one, 24.0 + 24.0 * (k % 4 == 1)) if k % 2 else one for k, one in enumerate(before)]
    return done[:runs], before


def _stated(typical: dict[str, list[float]], strain: str) -> float:
    """Attenuation by which a yeast is known; the mean of all where it was only ever fed."""
    return float(np.mean(typical.get(strain) or [one for those in typical.values() for one in those]))


def _run(plans: list[_Plan], cellar: Cellar) -> Course:
    recipes = [p.recipe for p in plans]
    warmth, pace = np.stack([p.warmth for p in plans]), np.stack([p.pace for p in plans])
    if cellar.family == "sugars":
        return simulate(recipes, warmth, pace)
    if cellar.family == "published":
        return simulate_published([r for r in recipes if isinstance(r, PublishedRecipe)], warmth, pace)
    return simulate_tails([r for r in recipes if isinstance(r, TailRecipe)], warmth, pace)


def _first_plan(cellar: Cellar, earlier: bool, rng: np.random.Generator) -> _Plan:
    wide_ = cellar.family == "wide"
    kind = str(rng.choice(wide.KINDS, p=wide.SHARES) if wide_ else rng.choice(KINDS, p=SHARES))
    scenarios = (wide.EARLIER if earlier else wide.SCENARIOS) if wide_ else SCENARIOS
    scenario = str(rng.choice(list(scenarios), p=list(scenarios.values())))
    if earlier and not wide_:
        scenario = str(rng.choice(["ordinary", "finished, chilled", "plateau"], p=[0.7, 0.22, 0.08]))
    if scenario == "hop creep" and kind in ("mead", "cider", "farmhouse", "wine"):
        scenario = "ordinary"
    if cellar.family == "published":
        kind, scenario = "lager", "ordinary" if scenario == "feed" else scenario
    if scenario in ("feed", "feeds") and kind != "mead":
        kind = "mead"
    strain = strain_for(cellar, kind, rng)
    recipe = draw_recipe(cellar, strain, kind, rng)
    if scenario in ("feed", "feeds"):
        feed = float(rng.uniform(20, 45))
        recipe = replace(
            recipe, extract=recipe.extract * 0.8, sugars=tuple(0.8 * s for s in recipe.sugars), feed=feed,
            feed_h=round(float(rng.uniform(40, 130)) / STEP_H) * STEP_H, feed_nitrogen=0.3,
        )  # fmt: skip
        if isinstance(recipe, TailRecipe):
            recipe.total_fall_sg *= 0.8
    programme, warmth = draw_programme(kind, rng)
    if wide_:
        warmth = warmth + rng.normal(0.0, wide.WARMER_SD_C)
        if isinstance(recipe, TailRecipe):
            recipe = wide.with_a_scenario(recipe, scenario, rng)
    return _Plan(
        kind, scenario, recipe, strain.name, strain.claimed_shift, programme, warmth,
        np.ones(len(warmth)), [("pitch", 0.0, None)],
    )  # fmt: skip


def _ramp(hours: Floats, begin: float, length: float) -> Floats:
    return np.clip((hours - begin) / length, 0, 1)


def _shape(plan: _Plan, hours: Floats, fall: Floats, rng: np.random.Generator) -> None:
    """Let the scenario happen to a run whose undisturbed course is known."""
    finish, total = finish_hour(hours, fall), float(fall[-1])
    kind, scenario = plan.kind, plan.scenario
    if scenario.startswith("stall"):
        share = min(rng.uniform(0.45, 0.86), 1 - 0.007 / total)
        begin = hour_of_share(hours, fall, share)
        sag = rng.uniform(6, 24)
        plan.pace = plan.pace * (1 - _ramp(hours, begin, sag))
        if rng.random() < 0.4:
            plan.warmth = plan.warmth - _ramp(hours, begin - 12, 24) * rng.uniform(2, 5)
        plan.stall = (begin, HORIZON_H)
        if scenario != "stall":
            again = begin + sag + rng.uniform(72, 200)
            plan.pace = plan.pace + _ramp(hours, again, rng.uniform(8, 30)) * rng.uniform(0.7, 1.1)
            plan.stall, plan.resumes = (begin, again), True
            if scenario == "stall, warmed":
                plan.events.append((str(rng.choice(["warm", "warm", "nutrient", "note"])), again, None))
                if plan.events[-1][0] == "warm":
                    plan.warmth = plan.warmth + _ramp(hours, again, 10) * rng.uniform(2, 5)
    elif scenario == "plateau":
        begin = hour_of_share(hours, fall, rng.uniform(0.3, 0.75))
        length = rng.uniform(16, 44)
        dip = _ramp(hours, begin, 8) * (1 - _ramp(hours, begin + length, 14))
        plan.pace = plan.pace * (1 - rng.uniform(0.9, 0.99) * dip)
    elif scenario == "chilled early":
        plan.chill_h = hour_of_share(hours, fall, min(rng.uniform(0.6, 0.93), 1 - 0.0035 / total))
    elif scenario == "finished, chilled":
        plan.chill_h = finish + rng.uniform(18, 110)
    elif scenario in ADDED:
        r = plan.recipe
        later = (("feed", r.feed_again_h), ("dilute", r.dilute_h)) if isinstance(r, TailRecipe) else ()
        plan.events += [(what, at, None) for what, at in (("feed", r.feed_h), *later) if at >= 0]
    beer = kind not in ("mead", "cider", "wine")
    creeps = scenario == "hop creep"
    if creeps or (beer and scenario == "ordinary" and rng.random() < 0.25):
        at = round((finish + rng.uniform(-30, 80)) / STEP_H) * STEP_H
        size = rng.uniform(0.002, 0.008) if creeps else rng.uniform(0, 0.0006)
        plan.recipe = replace(
            plan.recipe, hop_h=at, hop_pool=size / FALL_PER_SUGAR, hop_tau_h=float(rng.uniform(35, 90))
        )
        plan.events.append(("dry hop", at, None))
        plan.changes_h = at
    if plan.chill_h is not None:
        cold = rng.uniform(0.5, 3.0)
        cooling = _ramp(hours, plan.chill_h, rng.uniform(10, 36))
        plan.warmth = plan.warmth * (1 - cooling) + cold * cooling
        # Beer yeast at 1 to 3 °C does next to nothing; the law of temperature alone is not sharp enough for it.
        plan.pace = plan.pace * (1 - 0.97 * cooling)
        if rng.random() < 0.9:
            plan.events.append(("crash", plan.chill_h, None))


def _finish(
    name: str, plan: _Plan, cellar: Cellar, base: Course, actual: Course, i: int, typical: float,
    rng: np.random.Generator,
) -> Run:  # fmt: skip
    hours, fall = actual.times_h, actual.fall_sg[i]
    eras, end, stalled = _eras(plan, hours, base.fall_sg[i], fall)
    temperature = actual.temperature_c[i] + 0.9 * actual.activity[i]
    device = draw_float(cellar, rng)
    jumps = tuple(at for kind, at, _ in plan.events if kind == "dry hop")
    rows = sample(
        device, hours, actual.gravity_sg[i], temperature, actual.activity[i], until_h=end, jumps_h=jumps, rng=rng
    )
    rows, by_hand = _with_hand_samples(rows, hours, actual.gravity_sg[i], end, rng)
    pitched = START + timedelta(hours=float(rng.uniform(0, 24 * 300)))
    measured = float(actual.original_sg[i]) + rng.normal(0, 0.001)
    centre = typical + plan.claimed + rng.normal(0, 0.005)
    half = rng.uniform(0.02, 0.035)
    batch = Batch(
        pitched_at=pitched,
        original_gravity_sg=round(measured, 3) if rng.random() < 0.75 else None,
        yeast=plan.strain,
        drink=DRINK[plan.kind],  # type: ignore[arg-type]
        expected_attenuation=(round(centre - half, 2), round(centre + half, 2)) if rng.random() < 0.6 else None,
        events=tuple(Event(k, pitched + timedelta(hours=h), g) for k, h, g in plan.events),  # type: ignore[arg-type]
        diastatic=plan.kind == "farmhouse",
    )
    return Run(
        name, plan.kind, plan.scenario, cellar.family, batch, rows.at_h, rows.received_h, rows.gravity_sg,
        rows.temperature_c, by_hand, hours, fall, actual.gravity_sg[i], eras, stalled,
        plan.chill_h if plan.scenario == "chilled early" else None, end, device, actual.temperature_c[i],
    )  # fmt: skip


def _eras(
    plan: _Plan, hours: Floats, base: Floats, actual: Floats
) -> tuple[tuple[Era, ...], float, tuple[float, float] | None]:
    """What is true when, the hour of the last cut, and from when to when it truly stalls."""
    total, finish = float(base[-1]), finish_hour(hours, base)
    if plan.scenario == "chilled early":
        assert plan.chill_h is not None  # noqa: S101
        eras = (Era(0.0, finish, total, False), Era(plan.chill_h, None, total, False))
        return eras, plan.chill_h + 24 * 10, None
    if plan.stall is not None:
        _, again = plan.stall
        # It stalls from when less than a point falls until it resumes, and has resumed once a point has fallen.
        level = float(np.interp(again, hours, actual))
        start = float(hours[np.searchsorted(actual, level - 0.001)])
        if not plan.resumes:
            return (Era(0.0, None, total, False),), start + 24 * 12, (start, HORIZON_H)
        seen = float(hours[min(np.searchsorted(actual, level + 0.001), len(hours) - 1)])
        end_total = float(actual[-1])
        late_finish = finish_hour(hours, actual)
        eras = (Era(0.0, None, end_total, False), Era(seen, late_finish, end_total))
        return eras, late_finish + AFTER_H, (start, seen)
    if plan.changes_h is not None:
        late_finish = max(finish_hour(hours, actual), 0.0)
        eras = (Era(0.0, finish, total), Era(plan.changes_h, late_finish, float(actual[-1])))
        return eras, max(late_finish, finish) + AFTER_H, None
    if plan.scenario in ADDED:
        return (Era(0.0, finish_hour(hours, actual), float(actual[-1])),), finish + AFTER_H, None
    if plan.scenario == "plateau":
        finish, total = finish_hour(hours, actual), float(actual[-1])
    return (Era(0.0, finish, total),), finish + AFTER_H, None


def _with_hand_samples(
    rows: Sampled, hours: Floats, gravity: Floats, end: float, rng: np.random.Generator
) -> tuple[Sampled, Floats]:
    """Some people take a hydrometer reading now and then; it joins the float's rows."""
    count = int(rng.integers(1, 5)) if rng.random() < 0.35 else 0
    at = np.sort(rng.uniform(12, end, count))
    read = np.interp(at, hours, gravity) + rng.normal(0, 0.0006, count)
    read = np.round(read / 0.0005) * 0.0005
    joined = Sampled(
        np.concatenate([rows.at_h, at]),
        np.concatenate([rows.received_h, at + 0.05]),
        np.concatenate([rows.gravity_sg, read]),
        np.concatenate([rows.temperature_c, np.full(count, np.nan)]),
    )
    return joined, np.concatenate([np.zeros(len(rows.at_h)), np.ones(count)])
