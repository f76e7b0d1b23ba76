"""Strange input gets a sober answer: no error, no number that is not one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, Event, FinishedBatch, assess, learn
from analysis.display_units import DisplayUnits
from analysis.evidence import Silent
from analysis.model import EVENT_KINDS
from analysis.wording.evidence import advice_sentences, sentences

Ferment = Callable[..., Any]
PITCHED = datetime(2026, 3, 1, tzinfo=UTC)
HOURS = np.arange(0.0, 200.0)
FALL = 1.05 - 0.04 / (1 + np.exp(-(HOURS - 50) / 10))


def rows(hours: Any, gravity: Any, temperature: Any = None, by_hand: Any = None) -> pl.DataFrame:
    frame = pl.DataFrame(
        {
            "measured_at": [PITCHED + timedelta(hours=float(h)) for h in hours],
            "gravity_sg": [float(g) if np.isfinite(g) else None for g in gravity],
            "temperature_c": [None] * len(hours) if temperature is None else [float(t) for t in temperature],
        },
        schema={"measured_at": pl.Datetime("us", "UTC"), "gravity_sg": pl.Float64, "temperature_c": pl.Float64},
    )
    return frame if by_hand is None else frame.with_columns(by_hand=pl.Series(by_hand))


def at(hour: float) -> datetime:
    return PITCHED + timedelta(hours=hour)


EVERY_EVENT = tuple(Event(kind, at(60 + i)) for i, kind in enumerate(EVENT_KINDS) if kind != "pitch")

ODD: dict[str, tuple[pl.DataFrame, dict[str, Any]]] = {
    "never moves": (rows(HOURS, np.full(200, 1.05)), {"original_gravity_sg": 1.05}),
    "rises": (rows(HOURS, 1.0 + HOURS * 1e-4), {}),
    "original gravity of water": (rows(HOURS, FALL), {"original_gravity_sg": 1.0}),
    "original gravity far off": (rows(HOURS, FALL), {"original_gravity_sg": 1.2}),
    "water": (rows(HOURS, np.full(200, 1.0)), {}),
    "nothing but noise": (rows(HOURS, 1.02 + 0.02 * np.random.default_rng(3).normal(size=200)), {}),
    "temperature is not a number": (rows(HOURS, FALL, np.full(200, np.nan)), {}),
    "temperature jumps": (rows(HOURS, FALL, np.random.default_rng(4).uniform(-40, 80, 200)), {}),
    "no gravity at all": (rows(HOURS, np.full(200, np.nan)), {}),
    "only hand samples": (rows(HOURS[::24], FALL[::24], by_hand=[True] * 9), {"original_gravity_sg": 1.05}),
    "three readings": (rows([1, 50, 100], [1.05, 1.03, 1.01]), {}),
    "one instant": (rows([5, 5, 5, 5], [1.05, 1.051, 1.05, 1.05]), {}),
    "all before pitching": (rows(HOURS - 300, FALL), {}),
    "no noise": (rows(HOURS, FALL), {"original_gravity_sg": 1.05, "expected_attenuation": (0.8, 0.8)}),
    "every event": (rows(HOURS, FALL, np.full(200, 20.0)), {"events": EVERY_EVENT}),
    "events at the start": (
        rows(HOURS, FALL),
        {"events": (Event("feed", at(0), 1.06), Event("dilute", at(1), 1.02), Event("forced test", at(2), 1.2))},
    ),
    "hops before pitching": (rows(HOURS, FALL), {"events": (Event("dry hop", at(-5)),)}),
    "absurd expectation": (rows(HOURS, FALL), {"expected_attenuation": (0.01, 0.02)}),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_input_gives_no_error_and_only_numbers(name: str) -> None:
    readings, facts = ODD[name]
    batch = Batch(pitched_at=PITCHED, drink="ale", **facts)
    for hour in (-10, 3, 199, 9000):
        said = assess(readings, batch, now=at(hour))
        numbers = [said.p_finished, said.held_h, said.apparent_attenuation]
        for one in (said.gravity_sg, said.terminal_gravity_sg, said.remaining_fall_sg):
            numbers += [one.p10, one.p50, one.p90] if one is not None else []
        assert all(n is None or np.isfinite(n) for n in numbers), (hour, numbers)
        assert said.p_finished is None or 0 <= said.p_finished <= 1
        if said.finish is not None:
            assert said.finish.p10 <= said.finish.p50 <= said.finish.p90
        assert said.course.null_count().to_numpy().sum() == 0
        assert said.evidence
        told = " ".join(sentences(said.evidence, DisplayUnits()) + advice_sentences(said.advice, DisplayUnits()))
        assert not any(word in told for word in ("nan", "inf", "None"))


@pytest.mark.parametrize("name", ODD)
def test_odd_batches_do_not_stop_learning(name: str) -> None:
    readings, facts = ODD[name]
    learn([FinishedBatch(Batch(pitched_at=PITCHED, drink="ale", **facts), readings)])


def test_a_float_that_fell_silent_is_judged_as_it_stood_and_that_is_said(fermentation: Ferment) -> None:
    """Its readings end while it falls: nobody saw the rest, and a stall would look the same."""
    made = fermentation()
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    heard = made.readings.filter(pl.col("measured_at") <= made.at(60.0))
    then = assess(heard, batch, now=made.at(60.0))
    later = assess(heard, batch, now=made.at(240.0))
    assert then.remaining_fall_sg is not None
    assert then.remaining_fall_sg.p50 > 0.004
    assert (later.remaining_fall_sg, later.p_finished) == (then.remaining_fall_sg, then.p_finished)
    assert later.now == later.newest_reading_at
    assert later.finish is not None
    assert later.finish.p50 > later.now
    assert any(isinstance(one, Silent) and one.hours == pytest.approx(180.0, abs=1.0) for one in later.evidence)
    fed = replace(batch, events=(Event("feed", made.at(230.0)),))
    assert assess(heard, fed, now=made.at(240.0)).now == made.at(240.0), "of a feed nobody would know"
