"""What is drawn of a batch that has ended."""

from __future__ import annotations

from datetime import timedelta

from analysis import Batch, assess
from dashboard.queries import queries
from ingest.model import BatchRecord
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent


def test_nothing_is_drawn_ahead_of_a_batch_that_ended_amid_its_fall():
    hours = every_half_hour(10)
    readings, ale = sent(hours, s_curve(hours)), Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale")
    record = BatchRecord(name="Short Walk", vessel_id="v", pitched_at=PITCHED, ended_at=at(50))
    a = assess(readings, ale, now=at(50))
    assert a.finish is not None
    assert a.course["at"].max() > at(50) + timedelta(hours=24)
    drawn = queries.as_it_ended(a, record)
    assert drawn.finish is None
    assert drawn.course["at"].max() <= at(50)
    finished = assess(readings, ale, now=at(230))
    assert queries.as_it_ended(finished, record) is finished  # when it finished lies behind, and stays drawn
