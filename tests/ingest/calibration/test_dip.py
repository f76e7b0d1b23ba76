"""One float among many jugs: each visit is one sample with an offset of its own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from ingest.model import BatchRecord, Device, Placement, Report, Vessel
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)


def at(hours):
    return T + timedelta(hours=hours)


@pytest.fixture
def store():
    with Store.in_memory() as made:
        for n in (1, 2):
            made.save(Vessel(vessel_id=f"jug-{n}", name=f"Jug {n}"))
            made.save(BatchRecord(batch_id=f"batch-{n}", name=f"Batch {n}", vessel_id=f"jug-{n}", pitched_at=T))
        made.save(Device(device_id="kelp-1", kind="float"))
        yield made


def visit(store, jug, since, hours, gravity):
    store.save(Placement(device_id="kelp-1", vessel_id=jug, from_at=at(since), to_at=at(since + hours)))
    minutes = range(0, int(hours * 60), 5)
    store.keep(
        [
            Report(
                device_id="kelp-1",
                measured_at=at(since + m / 60),
                received_at=at(since + m / 60),
                # The first minutes, while bubbles cling to it, are far off.
                gravity_sg=gravity + (0.009 if m < 10 else 0.0002 * ((m // 5) % 3 - 1)),
                temperature_c=19.0,
            )
            for m in minutes
        ]
    )


def test_half_an_hour_is_one_sample_at_the_settled_level(store):
    visit(store, "jug-1", 24, 0.5, 1.050)
    visit(store, "jug-2", 25, 0.5, 1.046)
    first, second = store.readings_of("batch-1"), store.readings_of("batch-2")
    assert first.height == second.height == 1
    # 1.0500 by hand; the water correction from 19 °C moves it by less than half a point.
    assert first["gravity_sg"].item() == pytest.approx(1.0500, abs=0.0005)
    assert second["gravity_sg"].item() == pytest.approx(1.0460, abs=0.0005)
    assert not first["by_hand"].item()  # a float's word: it does not confirm a float


def test_each_visit_may_have_another_offset(store):
    for day in (1, 2, 3):
        visit(store, "jug-1", 24 * day, 0.5, 1.050 - 0.006 * day)
    moves = [e.at for e in store.batch("batch-1").events if e.kind == "float moved"]
    assert moves == [at(48), at(72)]
    assert store.readings_of("batch-1").height == 3


def test_a_stay_of_a_day_and_one_that_lasts_are_courses(store):
    visit(store, "jug-1", 24, 24.0, 1.050)
    assert store.readings_of("batch-1").height == 24 * 12
    store.save(Placement(device_id="kelp-1", vessel_id="jug-2", from_at=at(48)))
    store.keep(
        [
            Report(device_id="kelp-1", measured_at=at(48.2 + n / 60), received_at=at(49), gravity_sg=1.04)
            for n in (1, 2, 3)
        ]
    )
    assert store.readings_of("batch-2").height == 3


def test_a_float_that_was_put_in_once_tells_a_course_however_short(store):
    visit(store, "jug-1", 24, 0.5, 1.050)
    assert store.readings_of("batch-1").height == 6


def test_a_visit_cut_short_before_it_settled_still_tells(store):
    visit(store, "jug-2", 20, 0.5, 1.050)
    visit(store, "jug-1", 24, 0.1, 1.050)
    assert store.readings_of("batch-1").height == 1
