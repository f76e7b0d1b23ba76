"""A batch without a float beside siblings in the cellar: whom it follows, and that nothing is decided by it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from ingest.model import BatchRecord, Device, HandSample, Placement, Report, Vessel
from ingest.monitoring import Outlooks, asks_for_sample, following_of, next_step, schedule_of, siblings_of, wished_c
from ingest.store.store import Store

NOW = datetime.now(UTC).replace(microsecond=0)
PITCHED = NOW - timedelta(days=7)


@pytest.fixture(scope="module")
def cellar():
    """One wort in three vessels: the first has a float and has finished, the second and third have none."""
    with Store.in_memory() as store:
        for n in (1, 2, 3):
            store.save(Vessel(vessel_id=f"v{n}", name=f"Vessel {n}", temperature_low_c=18.0, temperature_high_c=20.0))
            store.save(
                BatchRecord(
                    batch_id=f"b{n}",
                    name="Tuesday wort",
                    vessel_id=f"v{n}",
                    yeast="Marrow" if n < 3 else "Dune",
                    original_gravity_sg=1.05,
                    pitched_at=PITCHED,
                    split_of="Tuesday wort",
                )
            )
        store.save(Device(device_id="f", kind="float"))
        store.save(Placement(device_id="f", vessel_id="v1", from_at=PITCHED))
        hours = np.arange(0.5, 7 * 24, 1.0)
        gravity = (
            1.011
            + 0.039 / (1 + np.exp((hours / 24 - 1.6) / 0.4))
            + np.random.default_rng(3).normal(0, 0.0004, hours.size)
        )
        store.keep(
            [
                Report(
                    device_id="f",
                    measured_at=(at := PITCHED + timedelta(hours=float(h))),
                    received_at=at,
                    gravity_sg=float(g),
                    temperature_c=19.0,
                )
                for h, g in zip(hours, gravity, strict=True)
            ]
        )
        outlooks = Outlooks(store)
        for n in (1, 2, 3):
            outlooks.of(f"b{n}")
        yield store, outlooks


def test_siblings_share_wort_and_yeast(cellar):
    store, _ = cellar
    assert [b.batch_id for b in siblings_of(store, store.get(BatchRecord, "b2"))] == ["b1"]
    assert siblings_of(store, store.get(BatchRecord, "b3")) == []
    assert siblings_of(store, replace(store.get(BatchRecord, "b2"), split_of=None)) == []
    assert siblings_of(store, replace(store.get(BatchRecord, "b2"), yeast=None)) == []


def test_one_without_a_float_follows_the_one_that_has_one_but_is_not_called_finished(cellar):
    store, outlooks = cellar
    leader, follower = outlooks.latest("b1"), outlooks.latest("b2")
    told = following_of(store, outlooks, store.get(BatchRecord, "b2"), NOW)
    assert told.names == ("Vessel 1",)
    assert told.gravity_sg.p50 == pytest.approx(leader.assessment.gravity_sg.p50, abs=0.001)
    assert leader.assessment.finished
    assert not follower.assessment.finished
    assert follower.plan.release is None or not follower.plan.release.ready
    assert not store.speaks_for_itself(store.get(BatchRecord, "b2"))
    assert following_of(store, outlooks, store.get(BatchRecord, "b1"), NOW) is None


def test_vessels_that_stand_far_apart_in_warmth_do_not_follow(cellar):
    store, outlooks = cellar
    usual = store.get(Vessel, "v2")
    store.save(replace(usual, temperature_low_c=12.0, temperature_high_c=14.0))
    assert following_of(store, outlooks, store.get(BatchRecord, "b2"), NOW) is None
    store.save(replace(usual, temperature_low_c=None, temperature_high_c=None))
    unknown = following_of(store, outlooks, store.get(BatchRecord, "b2"), NOW)
    store.save(usual)
    known = following_of(store, outlooks, store.get(BatchRecord, "b2"), NOW)
    assert not unknown.like_warm
    assert unknown.gravity_sg.p90 >= known.gravity_sg.p90


def test_it_asks_for_a_sample_until_it_has_one(cellar):
    store, outlooks = cellar
    record = store.get(BatchRecord, "b2")
    told = following_of(store, outlooks, record, NOW)
    assert asks_for_sample(store, record, told, NOW)
    assert not asks_for_sample(store, store.get(BatchRecord, "b1"), None, NOW)
    sample = store.save(HandSample(batch_id="b2", at=NOW - timedelta(hours=2), value=1.012))
    assert not asks_for_sample(store, record, told, NOW)
    assert following_of(store, outlooks, record, NOW).agrees is True
    store.remove(sample)


def test_a_batch_s_own_temperatures_go_before_its_vessel_s():
    vessel = Vessel(name="Vessel 1", temperature_low_c=17.0, temperature_high_c=20.0)
    record = BatchRecord(
        name="Slow lager", vessel_id="v", pitched_at=PITCHED, plan={"temperatures": [[2, 10, 12], [6, 16, None], "odd"]}
    )
    day = timedelta(days=1)
    assert wished_c(record, vessel, PITCHED + day) == (17.0, 20.0)
    assert wished_c(record, vessel, PITCHED + 3 * day) == (10.0, 12.0)
    assert wished_c(record, vessel, PITCHED + 7 * day) == (16.0, None)
    assert wished_c(record, None, PITCHED + day) == (None, None)
    assert [step.day for step in schedule_of(record)] == [2, 6]
    assert next_step(record, PITCHED + 3 * day).day == 6
    assert next_step(record, PITCHED + 7 * day) is None


def test_a_float_that_comes_or_goes_is_seen_at_once(cellar):
    store, _ = cellar
    record = store.get(BatchRecord, "b3")
    assert store.floats_in("b3") == []
    store.save(Device(device_id="g", kind="float"))
    stay = store.save(Placement(device_id="g", vessel_id="v3", from_at=NOW - timedelta(hours=1)))
    assert store.floats_in("b3") == ["g"]
    assert not asks_for_sample(store, record, None, NOW)
    store.save(replace(stay, to_at=NOW))
    assert store.floats_in("b3") == []
    assert store.floats_in("b3", since=PITCHED) == ["g"]
    store.remove(store.get(Device, "g"))
