"""The wide family must contain measured fermentations, compared by the same rule on both sides."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sample_data.runs import Run
from sample_data.scenarios import make_set
from tests.benchmarks.measured_sets import load

PUBLISHED = Path(__file__).parents[1] / "published"
DIGIT_SG = 0.0004
"""A tenth of a degree Plato, by which the beers were read."""
SETTLED_H = 12.0
Shapes = dict[str, np.ndarray]


@pytest.fixture(scope="module")
def runs() -> list[Run]:
    return [run for seed in (505, 506) for run in make_set(seed, 150, 2, "wide")[0] if run.scenario == "ordinary"]


def shape(hours: np.ndarray, gravity_sg: np.ndarray, chill_h: float) -> dict[str, float] | None:
    """Of a course up to its chill: hours at shares of the fall, and the end by less than a point to come before it.

    None where it did not stand before it was chilled.
    """
    warm = hours <= chill_h
    t, g = hours[warm], np.round(gravity_sg[warm] / DIGIT_SG) * DIGIT_SG
    share = (g[0] - g) / (g[0] - g[-1])
    t50, t75, t90 = (float(t[int(np.argmax(share >= part))]) for part in (0.5, 0.75, 0.9))
    finish = float(t[np.flatnonzero(g - g[-1] >= 0.001)[-1] + 1])
    if finish > chill_h - SETTLED_H:
        return None
    return _figures(t50, t75, t90, finish, float((g[0] - g[-1]) / (g[0] - 1.0)))


def _figures(t50: float, t75: float, t90: float, finish: float, attenuation: float) -> dict[str, float]:
    return {
        "t50_h": t50,
        "steep": (t90 - t50) / t50,
        "last quarter": (t90 - t75) / (t90 - t50),
        "ending": (finish - t90) / (t90 - t50),
        "finish_h": finish,
        "attenuation": attenuation,
    }


def beers() -> tuple[list[dict[str, float]], list[float]]:
    """Measured: the figures of each beer, and when it was chilled."""
    lines = (PUBLISHED / "beer_inline_shapes.csv").read_text(encoding="utf-8").splitlines()
    rows = [{k: float(v) for k, v in row.items()} for row in csv.DictReader(s for s in lines if not s.startswith("#"))]
    told = ("t50_h", "t75_h", "t90_h", "finish_h", "attenuation")
    return [_figures(*(row[name] for name in told)) for row in rows], [row["chilled_from_h"] for row in rows]


def _contains(simulated: list[dict[str, float]], measured: list[dict[str, float]]) -> None:
    for name in measured[0]:
        made, true = (np.array([one[name] for one in those]) for those in (simulated, measured))
        place = np.array([(made < value).mean() for value in true])
        assert ((place > 0.01) & (place < 0.99)).mean() >= 0.9, (name, np.sort(true), np.quantile(made, [0.01, 0.99]))
        middle = float((made < np.median(true)).mean())
        assert 0.1 < middle < 0.9, (name, np.median(true), np.quantile(made, [0.1, 0.9]))


def test_measured_beers_lie_inside(runs: list[Run]) -> None:
    measured, chills = beers()
    random = np.random.default_rng(1)
    made = (shape(run.times_h, run.true_gravity_sg, float(random.choice(chills))) for run in runs if run.kind == "ale")
    simulated = [one for one in made if one is not None]
    assert len(simulated) >= 25, "as many would be too few to tell an edge"
    _contains(simulated, measured)


def test_measured_wines_lie_inside(runs: list[Run]) -> None:
    """By samples on the days on which the wines were read: where they stood on days 2 and 4, and in the end."""
    wines = [one for one in load(PUBLISHED) if one.source == "wine_lab"]
    days = np.array([48.0, 96.0, 144.0, 240.0])

    def figures(hours: np.ndarray, gravity_sg: np.ndarray) -> dict[str, float]:
        read = np.interp(days, hours, gravity_sg)
        fall = gravity_sg[0] - read[-1]
        shares = {f"share on day {day / 24:.0f}": (gravity_sg[0] - g) / fall for day, g in zip(days, read, strict=True)}
        return {**{k: v for k, v in shares.items() if k != "share on day 10"}, "end_sg": float(read[-1])}

    measured = []
    for one in wines:
        gravity = np.concatenate([[one.batch.original_gravity_sg], one.readings["gravity_sg"].to_numpy()])
        measured.append(figures(np.concatenate([[0.0], one.hours]), gravity))
    random = np.random.default_rng(2)
    simulated = []
    for run in (r for r in runs if r.kind == "wine"):
        # Read as the wines were, their gravity estimated to about a point.
        noise = random.normal(0.0, 0.0008, run.times_h.size)
        simulated.append(figures(run.times_h, run.true_gravity_sg + noise))
    assert len(simulated) >= 12
    _contains(simulated, measured)


def test_earlier_batches_are_of_every_kind_of_history() -> None:
    _, earlier = make_set(507, 2, 40, "wide")
    by_hand = [bool(one.readings["by_hand"].all()) for one in earlier]
    assert 15 <= sum(by_hand) <= 25
    kinds = {event.kind for one in earlier for event in one.batch.events}
    assert {"feed", "dilute", "dry hop", "crash"} <= kinds


def test_water_thins_what_is_there_and_what_was_still_to_fall() -> None:
    runs = [run for run in make_set(508, 120, 2, "wide")[0] if run.scenario == "dilution"]
    assert runs
    for run in runs:
        at = next(run.hour(e.at) for e in run.batch.events if e.kind == "dilute")
        before, after = (float(np.interp(at + off, run.times_h, run.true_gravity_sg)) for off in (-0.5, 0.5))
        share = (before - after) / (before - 1.0)
        assert 0.05 < share < 0.3
        assert run.remaining(at + 0.5) < run.eras[0].total_fall_sg
