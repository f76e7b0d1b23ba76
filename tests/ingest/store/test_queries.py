from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from ingest.errors import EntryError
from ingest.model import BatchRecord, Device, HandSample, Placement, Report, Vessel, Yeast
from ingest.store.store import Store
from tests.ingest.reports import HOUR, T, report


def test_last_words_are_the_same_after_the_cellar_is_opened_again(tmp_path):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="float-1", kind="float"))
        store.keep([report(n, temperature_c=20.0 + n, battery_v=4.0, signal_dbm=-70.0) for n in range(100)])
        store.keep([report(50, device_id="new-probe", gravity_sg=None, temperature_c=4.0)])
        store.keep([report(51, device_id="new-float", gravity_sg=None, inclination_deg=40.0)])
        before = store.device_statuses()
    with Store.open(tmp_path) as store:
        assert store.device_statuses() == before
    assert [(w.device_id, w.kind, w.known) for w in before] == [
        ("float-1", "float", True),
        ("new-float", "float", False),
        ("new-probe", "probe", False),
    ]
    assert before[0].temperature_c == 119.0
    assert before[0].usual_interval_s == 900.0


def test_silence_is_longer_than_three_usual_intervals(store):
    now = datetime.now(UTC).replace(microsecond=0)

    def heard(device_id: str, minutes_ago: float) -> list[Report]:
        times = [now - timedelta(minutes=minutes_ago) - n * timedelta(minutes=10) for n in range(5, -1, -1)]
        return [report(device_id=device_id, measured_at=t, received_at=t) for t in times]

    store.keep(heard("late", 29) + heard("silent", 31) + [report(device_id="once")])
    assert {w.device_id: w.silent for w in store.device_statuses()} == {"late": False, "silent": True, "once": False}


def test_the_last_words_of_a_vessel_are_those_of_the_devices_that_sit_there_now(store):
    here, there = store.save(Vessel(name="Here")), store.save(Vessel(name="There"))
    for device_id in ("stays", "moved", "other"):
        store.save(Device(device_id=device_id, kind="float"))
    stays = [
        ("stays", here, T, None),
        ("moved", here, T, T + HOUR),
        ("moved", there, T + HOUR, None),
        ("other", there, T, None),
    ]
    for device_id, vessel, since, until in stays:
        store.save(Placement(device_id=device_id, vessel_id=vessel.vessel_id, from_at=since, to_at=until))
    store.keep([report(device_id=d) for d in ("stays", "moved", "other", "nowhere")])
    words = {v.vessel_id: store.device_statuses(v.vessel_id) for v in (here, there)}
    assert {at: [w.device_id for w in found] for at, found in words.items()} == {
        here.vessel_id: ["stays"],
        there.vessel_id: ["moved", "other"],
    }
    assert [w for w in store.device_statuses() if w.vessel_id == there.vessel_id] == words[there.vessel_id]
    assert store.device_statuses("vessel-none") == []


@pytest.mark.parametrize(
    ("volts_a_day", "noise_v", "low", "high"),
    [
        (0.0042, 0.004, 140, 250),  # slow and noisy: (4.12 − 3.3 − 20 days' fall) / 0.0042 ≈ 175 days
        (0.05, 0.004, 0.0, 5.0),
        (0.0, 0.004, None, None),
        (0.0002, 0.02, None, None),  # a fall that drowns in its noise
    ],
)
def test_battery_days_are_told_only_where_the_fall_is_clear(store, volts_a_day, noise_v, low, high):
    rng = random.Random(3)
    sent = []
    for n in range(20 * 24):
        at = T + n * HOUR
        volts = 4.12 - volts_a_day * n / 24 + rng.gauss(0, noise_v)
        sent.append(report(measured_at=at, received_at=at, battery_v=round(volts, 3)))
    store.keep(sent)
    [word] = store.device_statuses()
    if low is None:
        assert word.battery_days_left is None
    else:
        assert low <= word.battery_days_left <= high


def test_a_recharged_battery_starts_a_new_line(store):
    days = [3.6 - 0.02 * n for n in range(10)] + [4.2 - 0.02 * n for n in range(10)]
    store.keep([report(n * 96, battery_v=v) for n, v in enumerate(days)])
    [word] = store.device_statuses()
    assert word.battery_days_left == pytest.approx((4.02 - 3.3) / 0.02, rel=0.01)


@pytest.fixture
def cellar(store):
    store.save(Vessel(vessel_id="v1", name="Vessel 1"))
    store.save(Device(device_id="float-1", kind="float", corrects_temperature=True))
    store.save(BatchRecord(batch_id="b1", name="First", vessel_id="v1", pitched_at=T, ended_at=T + 10 * HOUR))
    store.save(BatchRecord(batch_id="b2", name="Second", vessel_id="v1", pitched_at=T + 20 * HOUR))
    store.save(Placement(device_id="float-1", vessel_id="v1", from_at=T - HOUR))
    store.keep([report(n) for n in range(-4, 4 * 30)])
    return store


def test_a_reading_finds_its_batch_by_time(cellar):
    first, second = cellar.readings_of("b1"), cellar.readings_of("b2")
    assert (first["measured_at"].min(), first["measured_at"].max()) == (T, T + 10 * HOUR - HOUR / 4)
    assert second["measured_at"].min() == T + 20 * HOUR
    assert cellar.newest_reading_at("b2") == report(119).measured_at
    assert cellar.batch_in("v1", T + HOUR) == cellar.get(BatchRecord, "b1")
    assert cellar.batch_in("v1", T + 15 * HOUR) is None
    assert [b.batch_id for b in cellar.active_batches()] == ["b2"]
    assert [b.batch_id for b in cellar.finished_batches()] == ["b1"]


def test_a_float_that_is_moved_at_an_instant_counts_in_one_vessel_only(cellar):
    cellar.save(Vessel(vessel_id="v2", name="Vessel 2"))
    cellar.save(BatchRecord(batch_id="b3", name="Third", vessel_id="v2", pitched_at=T))
    cellar.save(replace(cellar.all(Placement)[0], to_at=T + 5 * HOUR))
    cellar.save(Placement(device_id="float-1", vessel_id="v2", from_at=T + 5 * HOUR))
    assert cellar.readings_of("b1")["measured_at"].max() == T + 5 * HOUR - HOUR / 4
    assert cellar.readings_of("b3")["measured_at"].min() == T + 5 * HOUR


def test_readings_until_a_moment_leave_later_ones_out(cellar):
    assert cellar.readings_of("b1", until=T + HOUR)["measured_at"].max() == T + HOUR


def test_a_batch_knows_its_yeasts_range_and_what_was_done_to_it(cellar):
    cellar.save(Yeast(name="Marrow", attenuation_low=0.7, attenuation_high=0.78, diastatic=True))
    cellar.save(replace(cellar.get(BatchRecord, "b2"), yeast="Marrow", hold_h=72.0))
    cellar.save(HandSample(batch_id="b2", at=T + 25 * HOUR, value=1.02))
    batch = cellar.batch("b2")
    assert batch.expected_attenuation == (0.7, 0.78)
    assert batch.diastatic
    assert batch.hold_h == 72.0
    assert [(e.kind, e.gravity_sg) for e in batch.events] == [("pitch", None), ("sample", pytest.approx(1.02))]


def test_a_second_float_in_a_batch_counts_as_a_moved_float(cellar):
    cellar.save(replace(cellar.all(Placement)[0], to_at=T + 22 * HOUR))
    cellar.save(Device(device_id="float-2", kind="float"))
    cellar.save(Placement(device_id="float-2", vessel_id="v1", from_at=T + 23 * HOUR))
    assert [(e.kind, e.at) for e in cellar.batch("b2").events][1:] == [("float moved", T + 23 * HOUR)]


def test_a_batch_that_is_not_there_is_named():
    with Store.in_memory() as store, pytest.raises(EntryError, match="no batch 'b9'"):
        store.readings_of("b9")
