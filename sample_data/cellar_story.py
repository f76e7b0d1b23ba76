"""What happens in the demo cellar: eleven earlier batches and eight current ones, each in a state of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sample_data.demo_model import DemoBatch, DemoCellar, DemoEvent, DemoHandSample, DemoVessel, DemoYeast, make_device
from sample_data.kinetics import FALL_PER_SUGAR, SG_PER_EXTRACT, STEP_H, Course, Recipe, simulate
from sample_data.runs import finish_hour, hour_of_share

HORIZON_H = 24 * 75

YEASTS = (
    DemoYeast("Marrow", 0.74, 0.79),
    DemoYeast("Dune", 0.77, 0.82),
    DemoYeast("Plover", 0.97, 1.08),
)

VESSELS = (
    DemoVessel("Vessel 1", 20, "float-01", 18, 21),
    DemoVessel("Vessel 2", 10, "float-02", 15, 21),
    DemoVessel("Vessel 3", 10, "float-03", 18, 22.5),
    DemoVessel("Vessel 4", 20, "float-04", 18, 21),
    DemoVessel("Vessel 5", 20, "float-05", 18, 21),
    DemoVessel("Vessel 6", 15, "float-06", 18, 21),
    DemoVessel("Demijohn 7", 5, "float-07", 15, 19),
    DemoVessel("Demijohn 8", 5, "float-08", 17, 21),
)


@dataclass(frozen=True)
class _Tale:
    """One batch before its times are known; `gap_days` is how long its vessel then stood empty."""

    name: str
    vessel: str
    kind: str
    yeast: str
    original_sg: float
    warm_c: float
    state: str = "packaged"
    gap_days: float = 5.0
    split_of: str | None = None
    hops_g: float | None = None


EARLIER = (
    _Tale("Orchard one", "Demijohn 7", "cider", "Plover", 1.049, 17.0, gap_days=30),
    _Tale("Heather mead", "Demijohn 8", "mead", "Plover", 1.084, 19.0, gap_days=24),
    _Tale("First pale", "Vessel 2", "ale", "Marrow", 1.047, 19.0, gap_days=26, split_of="First pale", hops_g=40),
    _Tale("First pale", "Vessel 3", "ale", "Dune", 1.047, 19.0, gap_days=26, split_of="First pale", hops_g=40),
    _Tale("Kitchen bitter", "Vessel 1", "ale", "Marrow", 1.043, 18.5, gap_days=24),
    _Tale("Wheat and barley", "Vessel 4", "ale", "Dune", 1.049, 20.0, gap_days=18),
    _Tale("Orchard two", "Demijohn 7", "cider", "Plover", 1.053, 16.5, gap_days=4),
    _Tale("Autumn amber", "Vessel 2", "ale", "Marrow", 1.053, 19.2, gap_days=5, split_of="Autumn amber"),
    _Tale("Autumn amber", "Vessel 3", "ale", "Dune", 1.053, 19.2, gap_days=5, split_of="Autumn amber"),
    _Tale("Long table", "Vessel 5", "ale", "Marrow", 1.050, 19.8, gap_days=8, hops_g=60),
    _Tale("Small brown", "Vessel 6", "ale", "Dune", 1.045, 18.8, gap_days=6),
)

CURRENT = (
    _Tale("Porch pale", "Vessel 1", "ale", "Marrow", 1.049, 19.0, "just pitched"),
    _Tale("Window amber", "Vessel 2", "ale", "Marrow", 1.052, 16.2, "active", split_of="Window amber"),
    _Tale("Window amber", "Vessel 3", "ale", "Dune", 1.052, 20.4, "slowing", split_of="Window amber"),
    _Tale("Lantern pale", "Vessel 4", "ale", "Dune", 1.050, 19.5, "awaiting hops"),
    _Tale("Ferry ale", "Vessel 5", "ale", "Marrow", 1.051, 19.5, "creeping", hops_g=80),
    _Tale("Long night", "Vessel 6", "ale", "Marrow", 1.066, 19.0, "stalled"),
    _Tale("Orchard three", "Demijohn 7", "cider", "Plover", 1.051, 17.0, "finished"),
    _Tale("Thyme mead", "Demijohn 8", "mead", "Plover", 1.082, 19.5, "feeding"),
)


def _recipe(tale: _Tale, rng: np.random.Generator) -> Recipe:
    extract = (tale.original_sg - 1) / SG_PER_EXTRACT
    vary = lambda s=0.05: float(rng.lognormal(0, s))  # noqa: E731
    if tale.kind == "ale":
        keen = tale.yeast == "Dune"
        fermentable = (0.675 if keen else 0.645) * vary(0.008)
        parts = np.array([0.14, 0.06, 0.62, 0.18]) * fermentable
        quick = (1.22 if keen else 1.0) * vary(0.05)
        return Recipe(
            extract, tuple(parts * extract), yeast_start=0.6 * vary(), growth=0.13 * quick,  # type: ignore[arg-type]
            uptake=(0.45 * quick, 0.3 * quick, 0.26 * quick, 0.12 * quick), half=(4.0, 8.0, 9.0, 12.0),
            lag_h=9 * vary(0.15), settling=0.02, settled_share=0.3, fading=0.0006, alcohol_limit=125,
            reference_c=19.0, optimum_c=29.0, maximum_c=37.0, minimum_c=5.0,
        )  # fmt: skip
    mead = tale.kind == "mead"
    parts = np.array([0.46, 0.5, 0.0, 0.0]) if mead else np.array([0.26, 0.64, 0.0, 0.0])
    quick = (0.62 if mead else 0.72) * vary(0.05)
    return Recipe(
        extract, tuple(parts * extract), yeast_start=0.6, growth=0.12 * quick, nitrogen=2.6 if mead else 2.4,  # type: ignore[arg-type]
        uptake=(0.45 * quick, 0.32 * quick, 0.2, 0.1), half=(4.0, 9.0, 9.0, 12.0), repression=(1e9, 70.0, 14.0, 8.0),
        lag_h=16.0, settling=0.015, settled_share=0.3, fading=0.0002, alcohol_limit=130, alcohol_power=0.5,
        reference_c=18.0, optimum_c=29.0, maximum_c=37.0, minimum_c=4.0,
    )  # fmt: skip


def tell(anchor: datetime, seed: int) -> DemoCellar:
    """The whole story, as it stands at `anchor`."""
    rng = np.random.default_rng([seed, 2026])
    tales = [*EARLIER, *CURRENT]
    recipes = [_recipe(t, rng) for t in tales]
    hours = np.arange(0, HORIZON_H, STEP_H)
    warmth = np.stack(
        [
            t.warm_c + 0.25 * np.sin(2 * np.pi * (hours / 24 + rng.random())) + 0.1 * np.sin(hours / rng.uniform(2, 4))
            for t in tales
        ]
    )
    pace = np.ones_like(warmth)
    quiet = simulate(recipes, warmth, pace)
    ages, finishes = [], []
    for i, tale in enumerate(tales):
        finish = finish_hour(hours, quiet.fall_sg[i])
        finishes.append(finish)
        ages.append(_age(tale, hours, quiet, i, finish, pace[i], recipes))
    # What was split was pitched together: the later one waits for the earlier.
    for name in {t.split_of for t in tales if t.split_of}:
        together = [i for i, t in enumerate(tales) if t.split_of == name]
        oldest = max(ages[i] for i in together)
        for i in together:
            ages[i] = oldest
    course = simulate(recipes, warmth, pace)
    batches = _batches(anchor, tales, ages, finishes, course, rng)
    devices = []
    for k, vessel in enumerate(VESSELS):
        stays = tuple(b for b in batches if b.vessel_name == vessel.name)
        devices.append(
            make_device(
                vessel.float_id, "float", vessel_name=vessel.name, reports_inclination=k not in (3, 6),
                stays=stays, anchor=anchor, seed=seed * 100 + k, noisy=2.2 if k == 4 else 1.0,
            )
        )  # fmt: skip
    mead = tuple(b for b in batches if b.vessel_name == "Demijohn 8" and b.ended_at is None)
    more = {"anchor": anchor, "stays": mead}
    devices += [
        make_device("probe-08", "probe", vessel_name="Demijohn 8", seed=seed * 100 + 20, **more),  # type: ignore[arg-type]
        make_device(
            "probe-room", "probe", vessel_name=None, situation="around the vessel", anchor=anchor,
            seed=seed * 100 + 21, name="Cellar air",
        ),
        make_device(
            "float-09", "float", vessel_name=None, reports_inclination=True, anchor=anchor, seed=seed * 100 + 22
        ),
    ]  # fmt: skip
    return DemoCellar(anchor, YEASTS, VESSELS, batches, tuple(devices))


def _age(
    tale: _Tale, hours: np.ndarray, quiet: Course, i: int, finish: float, pace: np.ndarray, recipes: list[Recipe]
) -> float:
    """Hours from pitching to the anchor (current batches) or to the end; also sets what disturbs the course."""
    fall = quiet.fall_sg[i]
    if tale.state == "packaged":
        if tale.hops_g:
            recipes[i] = _hopped(recipes[i], finish + 54, 0.0012)
        return finish + (24 * 6.5 if tale.hops_g else 24 * 4)
    if tale.state == "just pitched":
        return 7.0
    if tale.state == "active":
        return hour_of_share(hours, fall, 0.4)
    if tale.state == "slowing":
        return hour_of_share(hours, fall, 0.9)
    if tale.state == "awaiting hops":
        return finish + 76
    if tale.state == "creeping":
        recipes[i] = _hopped(recipes[i], finish + 60, 0.0052)
        return finish + 60 + 52
    if tale.state == "stalled":
        begin = hour_of_share(hours, fall, 0.62)
        pace *= 1 - np.clip((hours - begin) / 14, 0, 1)
        return begin + 14 + 84
    if tale.state == "feeding":
        feed_at = round(72 / STEP_H) * STEP_H
        recipes[i] = replace(recipes[i], feed_h=feed_at, feed=24.0, feed_nitrogen=0.4)
        return 24 * 6.2
    return finish + 150


def _hopped(recipe: Recipe, at_h: float, fall_sg: float) -> Recipe:
    at_h = round(at_h / STEP_H) * STEP_H
    return replace(recipe, hop_h=at_h, hop_pool=fall_sg / FALL_PER_SUGAR, hop_tau_h=60.0)


def _batches(
    anchor: datetime,
    tales: list[_Tale],
    ages: list[float],
    finishes: list[float],
    course: Course,
    rng: np.random.Generator,
) -> tuple[DemoBatch, ...]:
    """Place every batch in time, the newest of a vessel first, and write down what the person would."""
    free_until = {v.name: anchor for v in VESSELS}
    made: list[DemoBatch] = []
    for i in reversed(range(len(tales))):
        tale, age = tales[i], ages[i]
        vessel = next(v for v in VESSELS if v.name == tale.vessel)
        ended = None
        if tale.state == "packaged":
            ended = free_until[tale.vessel] - timedelta(days=tale.gap_days)
            pitched = ended - timedelta(hours=age)
        else:
            pitched = anchor - timedelta(hours=age)
        pitched = pitched.replace(second=0)
        free_until[tale.vessel] = pitched
        yeast = next(y for y in YEASTS if y.name == tale.yeast)
        gravity = course.gravity_sg[i]
        made.append(
            DemoBatch(
                name=tale.name,
                vessel_name=tale.vessel,
                drink=tale.kind,
                yeast=tale.yeast,
                volume_l=vessel.volume_l * 0.9,
                original_gravity_sg=round(tale.original_sg + float(rng.normal(0, 0.0006)), 3),
                pitched_at=pitched,
                ended_at=ended,
                state=tale.state,
                expected_low=yeast.attenuation_low,
                expected_high=yeast.attenuation_high,
                split_of=tale.split_of,
                events=_events(tale, pitched, ended, finishes[i], gravity),
                hand_samples=_hand_samples(tale, pitched, age, course, i, rng),
                truth_h=course.times_h,
                truth_sg=gravity,
                truth_c=course.temperature_c[i] + 0.8 * course.activity[i],
            )
        )
    return tuple(sorted(made, key=lambda b: (b.pitched_at, b.vessel_name)))


def _events(
    tale: _Tale, pitched: datetime, ended: datetime | None, finish: float, gravity: np.ndarray
) -> tuple[DemoEvent, ...]:
    def at(hours: float) -> datetime:
        return pitched + timedelta(hours=hours)

    events = [DemoEvent("pitch", pitched)]
    if tale.state == "creeping" or (tale.state == "packaged" and tale.hops_g):
        hop = round((finish + (60 if tale.state == "creeping" else 54)) / STEP_H) * STEP_H
        events.append(DemoEvent("dry hop", at(hop), amount_g=tale.hops_g))
        if ended is not None:
            events.append(DemoEvent("hops out", at(hop + 72)))
    if tale.state == "feeding":
        after = float(np.interp(72.5, np.arange(len(gravity)) * STEP_H, gravity))
        events.append(DemoEvent("feed", at(72), gravity_sg=round(after, 3), note="300 g of honey"))
        events.append(DemoEvent("nutrient", at(24)))
    if ended is not None:
        events.append(DemoEvent("package", ended))
    return tuple(sorted(events, key=lambda e: e.at))


def _hand_samples(
    tale: _Tale, pitched: datetime, age: float, course: Course, i: int, rng: np.random.Generator
) -> tuple[DemoHandSample, ...]:
    """One near the end of most earlier batches, and one where the person wanted to be sure."""
    if tale.state not in ("packaged", "finished", "awaiting hops"):
        return ()
    hour = age - (3 if tale.state == "packaged" else 20)
    value = float(np.interp(hour, course.times_h, course.gravity_sg[i]) + rng.normal(0, 0.0004))
    return (DemoHandSample(pitched + timedelta(hours=hour), round(value * 2000) / 2000, 20.0),)
