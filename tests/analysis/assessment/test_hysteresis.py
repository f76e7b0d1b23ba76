"""What an assessment carries on from the last: not lost by readings that come late, lost where what it saw is gone."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from analysis import Assessment, Batch, assess
from analysis.assessment.hysteresis import carry_on
from analysis.model import Hysteresis
from analysis.readings import mark
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent

ALE = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale")
HOURS = every_half_hour(12)
READINGS = sent(HOURS, s_curve(HOURS))
GAP = pl.col("measured_at").is_between(at(24 * 9), at(24 * 9 + 3))
"""What a float could not send for a while."""


def carried(said: Assessment, readings: pl.DataFrame, batch: Batch = ALE) -> Hysteresis:
    now = at(24 * 11)
    return carry_on(said, mark(readings.filter(pl.col("measured_at") <= now), batch, now=now), batch, now)


@pytest.fixture(scope="module")
def said() -> Assessment:
    found = assess(READINGS.filter(~GAP), ALE, now=at(24 * 10))
    assert found.finished
    return found


def test_readings_that_come_late_take_no_verdict_back(said: Assessment) -> None:
    assert carried(said, READINGS.filter(~GAP)) == said.hysteresis
    assert carried(said, READINGS) == replace(said.hysteresis, called_h=None)


def test_what_was_changed_or_is_gone_is_judged_afresh(said: Assessment) -> None:
    lost = READINGS.filter(~pl.col("measured_at").is_between(at(48), at(50)))
    moved = READINGS.with_columns(gravity_sg=pl.when(GAP).then(None).otherwise(pl.col("gravity_sg") + 0.001))
    assert carried(said, lost) == Hysteresis()
    assert carried(said, moved) == Hysteresis()
    assert carried(said, READINGS, replace(ALE, original_gravity_sg=1.060)) == Hysteresis()
    assert carried(said, READINGS, replace(ALE, pitched_at=PITCHED - timedelta(hours=5))) == Hysteresis()
