"""What nobody watched adds nothing to a hold, and a gravity that cannot be is not judged."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Assessment, Batch, Event, assess
from analysis.display_units import DisplayUnits
from analysis.evidence import CannotBe
from analysis.model import HandReading
from analysis.planning import Constraints
from analysis.planning.plan import plan
from analysis.wording import reason
from analysis.wording.evidence import sentences
from tests.analysis.conftest import PITCHED, ferment


def at(hour: float) -> Any:
    return PITCHED + timedelta(hours=float(hour))


def brew(*events: Event, **given: Any) -> Batch:
    return Batch(**{"pitched_at": PITCHED, "original_gravity_sg": 1.052, "drink": "ale", "events": events, **given})


def by_hand(*samples: tuple[float, float]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "measured_at": [at(hour) for hour, _ in samples],
            "gravity_sg": [gravity for _, gravity in samples],
            "temperature_c": [None] * len(samples),
            "by_hand": [True] * len(samples),
        },
        schema_overrides={"temperature_c": pl.Float64},
    )


def fermented(until_h: float) -> pl.DataFrame:
    made = ferment(days=40)
    return made.readings.filter(pl.col("measured_at") <= at(until_h)).with_columns(by_hand=pl.lit(value=False))


def with_one(rows: pl.DataFrame, hour: float) -> pl.DataFrame:
    last = rows.tail(1).with_columns(measured_at=pl.lit(at(hour)).cast(rows.schema["measured_at"]))
    return pl.concat([rows, last])


# Three days, a month and a year after the last reading; today such a row was a hold of 8,770 h.
@pytest.mark.parametrize("gap_h", [72.0, 720.0, 8770.0])
@pytest.mark.parametrize("until_h", [60.0, 200.0])
def test_one_reading_after_a_silence_makes_no_hold(until_h: float, gap_h: float) -> None:
    rows = fermented(until_h)
    before = assess(rows, brew(), now=at(until_h))
    after = assess(with_one(rows, until_h + gap_h), brew(), now=at(until_h + gap_h))
    assert after.held_h <= before.held_h + 8  # where bins begin depends on now
    assert not (after.hold_met and not before.hold_met)
    assert after.held_since is None or after.now - after.held_since <= timedelta(hours=before.held_h + 9)


def test_what_lies_after_now_is_never_judged() -> None:
    rows = fermented(60)
    now = assess(rows, brew(), now=at(60))
    later = assess(with_one(rows, 60 + 8760), brew(), now=at(60))
    assert (later.phase, later.held_h, later.p_finished) == (now.phase, now.held_h, now.p_finished)
    assert later.newest_reading_at == now.newest_reading_at


def test_a_reading_a_day_holds_as_well_as_one_a_minute() -> None:
    daily = fermented(400).gather_every(48)
    said = assess(daily, brew(), now=daily["measured_at"][-1])
    assert said.held_h >= 120


def of_hand(*samples: tuple[float, float], events: tuple[Event, ...] = ()) -> Assessment:
    begun = ((0.5, 1.052), (30, 1.040), (50, 1.024), (72, 1.014), (120, 1.0118))
    return assess(by_hand(*begun, *samples), brew(*events), now=at(samples[-1][0]))


def test_a_batch_that_is_followed_by_hand_may_be_packaged_after_two_samples() -> None:
    twice = of_hand((200, 1.0112), (224, 1.0113), (250, 1.0112))
    assert twice.followed_by_hand
    assert twice.hand_samples[-2:] == (HandReading(at(224), 1.0113), HandReading(at(250), 1.0112))
    constraints = Constraints(dry_hops=0)
    made = plan(twice, brew(), constraints, now=at(251))
    assert twice.finished
    assert made.may_package
    assert not plan(twice, brew(), constraints, now=at(250 + 25)).may_package


def test_a_sample_that_kept_its_gas_agrees_with_nothing() -> None:
    gassy = tuple(Event("sample", at(h), 1.0112, degassed=False) for h in (120, 200, 224))
    twice = of_hand((200, 1.0112), (224, 1.0113), (250, 1.0112), events=gassy)
    assert [one.at for one in twice.hand_samples if one.at >= at(200)] == [at(250)]
    assert not plan(twice, brew(*gassy), Constraints(dry_hops=0), now=at(251)).may_package


def test_floats_are_not_followed_by_hand() -> None:
    rows = pl.concat([fermented(200), by_hand((199, 1.0120))])
    said = assess(rows, brew(), now=at(200))
    assert not said.followed_by_hand
    assert said.hand_sample_agrees
    assert said.held_sg == pytest.approx(1.0128, abs=0.001)


# No fermentation ends above where it began. All extract of 1.050 gone is 0.989 (Balling: 1 / 0.8192 apparent).
@pytest.mark.parametrize("level_sg", [1.170, 1.065, 0.980])
@pytest.mark.parametrize("hours", [48, 120, 240])
def test_a_gravity_that_cannot_be_is_doubted_in_the_verdict(level_sg: float, hours: int) -> None:
    times = np.arange(0.0, hours, 0.5)
    random = np.random.default_rng(1)
    rows = pl.DataFrame(
        {
            "measured_at": [at(h) for h in times],
            "gravity_sg": level_sg + 0.0003 * random.standard_normal(times.size),
            "temperature_c": np.full(times.size, 20.0),
        }
    )
    batch = brew(original_gravity_sg=1.050)
    said = assess(rows, batch, now=at(hours))
    [doubt] = [one for one in said.evidence if isinstance(one, CannotBe)]
    assert doubt.gravity_sg == pytest.approx(level_sg, abs=0.001)
    assert not said.finished
    assert not said.ready
    assert said.held_h == 0
    assert said.finish is None
    assert "or that gravity is wrong" in " ".join(sentences(said.evidence, DisplayUnits()))
    made = plan(said, batch, Constraints(), now=at(hours))
    assert not made.may_package
    assert made.hop_day is None
    assert made.packaging_day is None
    assert "the float is in doubt" in reason(made.blocked_by, DisplayUnits())


@pytest.mark.parametrize("level_sg", [1.050, 0.990, 1.010])
def test_a_gravity_that_can_be_is_judged(level_sg: float) -> None:
    times = np.arange(0.0, 120, 0.5)
    fell = 1.050 - (1.050 - level_sg) / (1 + np.exp(-(times - 40) * 0.12))
    rows = pl.DataFrame({"measured_at": [at(h) for h in times], "gravity_sg": fell})
    said = assess(rows, brew(original_gravity_sg=1.050), now=at(120))
    assert [one for one in said.evidence if isinstance(one, CannotBe)] == []
