"""A slow fall since the end withholds the release and takes the end back; a float's own ways do neither."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Assessment, Batch, Event, assess
from analysis.assessment.trend import trend_of
from analysis.display_units import DisplayUnits
from analysis.inference import Priors, weigh_hypotheses
from analysis.model import Drink, Trend
from analysis.readings import mark, summarise
from analysis.thresholds import STILL_FALLING
from analysis.wording.evidence import advice_sentences, sentences
from tests.analysis.conftest import PITCHED

ENDED_H = 96.0
HOURS = np.arange(0.0, 24.0 * 55, 0.5)
Curve = Callable[[np.ndarray], np.ndarray]


def at(hour: float) -> Any:
    return PITCHED + timedelta(hours=float(hour))


def log(
    more: Curve = lambda h: 0.0 * h,
    *,
    original_sg: float = 1.050,
    end_sg: float = 1.0115,
    noise_sg: float = 0.0003,
    temperature_c: Curve | None = None,
    seed: int = 1,
) -> pl.DataFrame:
    """A fermentation that is over by about 96 h and what comes on top of it, by a float that scatters and wanders."""
    random = np.random.default_rng(seed)
    gravity = original_sg - (original_sg - end_sg) / (1 + np.exp(-(HOURS - 45) * 0.11)) + more(HOURS)
    wander, keep = np.zeros(HOURS.size), np.exp(-0.05)
    for i in range(1, HOURS.size):
        wander[i] = keep * wander[i - 1] + np.sqrt(1 - keep**2) * noise_sg * random.standard_normal()
    warmth = np.full(HOURS.size, 20.0) if temperature_c is None else temperature_c(HOURS)
    return pl.DataFrame(
        {
            "measured_at": [at(h) for h in HOURS],
            "gravity_sg": gravity + wander + noise_sg * random.standard_normal(HOURS.size),
            "temperature_c": warmth + 0.1 * random.standard_normal(HOURS.size),
        }
    )


def creep(hours: np.ndarray) -> np.ndarray:
    """From 1.009 to 1.0025 with a time constant of six weeks: about a sixth of a point a day at first."""
    return -0.0065 * -np.expm1(-np.maximum(hours - ENDED_H, 0.0) / (42 * 24.0))


def brew(drink: Drink = "ale", **given: Any) -> Batch:
    return Batch(**{"pitched_at": PITCHED, "original_gravity_sg": 1.050, "drink": drink, **given})


def followed(rows: pl.DataFrame, days: list[float], batch: Batch | None = None) -> list[Assessment]:
    """What is said day by day, each time knowing what was said before."""
    found: list[Assessment] = []
    for day in days:
        found.append(assess(rows, batch or brew(), now=at(24 * day), previous=found[-1] if found else None))
    return found


def trend(rows: pl.DataFrame, day: float) -> tuple[Trend | None, bool]:
    batch = brew()
    now = at(24 * day)
    series = summarise(mark(rows, batch, now=now), batch, now=now)
    prior = Priors().prior(batch)
    mixture = weigh_hypotheses(series, batch, prior, series.now_h)
    assert mixture is not None
    return trend_of(series, mixture.posterior, prior, from_h=0.0, until_h=series.now_h, called_h=120.0)


def test_the_line_says_how_fast_it_falls() -> None:
    for seed in (1, 2, 3):
        found, falls = trend(log(lambda h: -np.maximum(h - 96, 0) * 0.0002 / 24, seed=seed), 25)
        assert found is not None
        assert falls
        assert found.fall_sg_day == pytest.approx(0.0002, abs=3 * found.error_sg_day)
        assert found.error_sg_day < 0.0001


def test_too_few_readings_since_the_end_tell_no_trend() -> None:
    assert trend(log(), 3.0)[0] is None


@pytest.mark.parametrize("seed", [4])
def test_a_slow_creep_is_not_ready_and_then_taken_back(seed: int) -> None:
    rows = log(creep, end_sg=1.009, seed=seed)
    days = [7.0, 14.0, 17.0, 25.0, 40.0, 50.0]
    for day, said in zip(days, followed(rows, days), strict=True):
        if day >= 14:
            assert not said.ready
        if day < 25:
            continue
        assert said.falls_again
        assert not said.finished
        assert said.phase == "creeping"
        assert said.p_finished is not None
        assert said.p_finished <= STILL_FALLING
        assert said.held_h == 0
        assert said.gravity_sg is not None
        assert said.remaining_fall_sg is not None
        # What the log reads, whatever offset was inferred; and what may still come is not told away.
        true = 1.009 + float(creep(np.array([24.0 * day]))[0])
        assert said.gravity_sg.p50 == pytest.approx(true, abs=0.001)
        assert said.remaining_fall_sg.p90 >= 0.002
        told = " ".join(sentences(said.evidence, DisplayUnits()))
        assert "It seemed to have ended, and has gone on falling by" in told
        assert "shows whether the gravity falls or the float drifts" in " ".join(
            advice_sentences(said.advice, DisplayUnits())
        )


def test_a_slow_creep_of_a_quiet_float_is_not_ready_on_day_ten() -> None:
    ready = [followed(log(creep, end_sg=1.009, noise_sg=0.0001, seed=seed), [10.0])[0].ready for seed in range(1, 4)]
    assert not any(ready)


def drift(hours: np.ndarray) -> np.ndarray:
    """A point a month (common practice, no source)."""
    return -np.maximum(hours - 80, 0.0) * 0.001 / 720


def cooled(by_c: float) -> Curve:
    return lambda h: 20.0 - by_c * np.clip((h - 240) / 24, 0, 1)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("stands", {}),
        ("drifts", {"more": drift}),
        ("noisy", {"noise_sg": 0.001}),
        # The float reads a colder liquid lower, by half a point for five degrees, or higher, as water would.
        ("cooled by 5 °C", {"temperature_c": cooled(5.0), "more": lambda h: -0.0008 * np.clip((h - 240) / 24, 0, 1)}),
        ("cooled by 10 °C", {"temperature_c": cooled(10.0), "more": lambda h: -0.0015 * np.clip((h - 240) / 24, 0, 1)}),
        ("cooled by 15 °C", {"temperature_c": cooled(15.0), "more": lambda h: 0.002 * np.clip((h - 240) / 24, 0, 1)}),
    ],
)
def test_a_floats_own_ways_take_nothing_back(name: str, given: dict[str, Any]) -> None:
    days = [7.0, 10.0, 14.0, 17.0, 25.0, 40.0]
    calls = []
    for seed in (1, 2):
        said = followed(log(seed=seed, **given), days)
        assert not any(each.falls_again for each in said), name
        calls += [each.finished for each in said]
    assert np.mean(calls) > 0.9


def test_two_hand_samples_show_that_it_is_the_float_that_drifts() -> None:
    rows = log(lambda h: -np.maximum(h - 96, 0) * 0.0002 / 24)
    assert followed(rows, [7.0, 20.0])[-1].falls_again
    by_hand = pl.DataFrame(
        {
            "measured_at": [at(24 * day) for day in (5, 12, 19.5)],
            "gravity_sg": [1.0115, 1.0114, 1.0115],
            "temperature_c": [20.0, 20.0, 20.0],
            "by_hand": [True, True, True],
        }
    )
    floats = rows.with_columns(by_hand=pl.lit(value=False))
    sampled = pl.concat([floats, by_hand.cast(floats.schema)])  # type: ignore[arg-type]
    assert not followed(sampled, [7.0, 20.0])[-1].falls_again


def test_a_fall_that_is_over_counts_no_more() -> None:
    rows = log(lambda h: -0.003 * np.clip((h - 120) / 360, 0, 1), end_sg=1.012)
    during, after = trend(rows, 20), trend(rows, 50)
    assert during[1]
    assert not after[1]
    assert after[0] is not None
    assert not after[0].seems_to_fall


def test_another_float_or_liquid_begins_the_line_anew() -> None:
    rows = log(creep, end_sg=1.009)
    moved = brew(events=(Event("float moved", at(24 * 24.5)),))
    assert followed(rows, [7.0, 25.0])[-1].falls_again
    assert not followed(rows, [7.0, 25.0], moved)[-1].falls_again


# 1.056 to 1.017 is 70 %; on average such a yeast, of which nothing is known, reaches 77 %.
def paused(hours: np.ndarray) -> np.ndarray:
    return -0.007 * -np.expm1(-np.maximum(hours - 168, 0.0) / 60.0)


@pytest.mark.parametrize("seed", [1])
def test_a_pause_well_above_the_usual_end_is_not_called_finished(seed: int) -> None:
    rows = log(paused, original_sg=1.056, end_sg=1.017, seed=seed)
    batch = brew(original_gravity_sg=1.056)
    said = followed(rows, [5.0, 5.5, 6.0, 6.5, 7.0, 8.0, 9.0, 12.0], batch)
    for each in said:
        assert not each.ready
        assert each.p_finished is not None
        assert each.p_finished < 0.95
    assert not any(each.finished for each in said[:5])
    known = brew(original_gravity_sg=1.056, expected_attenuation=(0.68, 0.72))
    assert followed(rows, [6.5], known)[0].finished


@pytest.mark.parametrize("seed", [2])
def test_a_finish_is_taken_back_when_a_pause_ends(seed: int) -> None:
    # With what the brewer expects the pause is believed; what is read after it is believed more.
    rows = log(paused, original_sg=1.056, end_sg=1.017, seed=seed)
    batch = brew(original_gravity_sg=1.056, expected_attenuation=(0.66, 0.72))
    said = followed(rows, [6.5, 7.0, 8.0, 9.0, 10.0, 12.0], batch)
    assert said[0].finished
    assert not any(each.finished for each in said[3:])


@pytest.mark.parametrize("culture", ["diastatic", "mixed_culture"])
def test_a_culture_that_eats_on_is_not_finished_within_weeks(culture: str) -> None:
    falls = followed(log(creep, end_sg=1.009), [8.0, 14.0, 30.0, 50.0], brew(**{culture: True}))
    assert not any(each.finished for each in falls)
    stands = followed(log(end_sg=1.008), [8.0, 14.0, 35.0, 50.0], brew(**{culture: True}))
    assert [each.finished for each in stands] == [False, False, True, True]
    tested = brew(**{culture: True}, events=(Event("forced test", at(24 * 7), 1.0075),))
    assert followed(log(end_sg=1.008), [9.0], tested)[0].finished


def test_a_culture_that_is_told_later_is_judged_afresh() -> None:
    rows = log(end_sg=1.010)
    called = assess(rows, brew(), now=at(24 * 8))
    assert called.finished
    assert not assess(rows, brew(mixed_culture=True), now=at(24 * 8.5), previous=called).finished
