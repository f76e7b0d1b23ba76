from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from dashboard.screens.sensors import placement
from ingest.errors import EntryError
from ingest.model import Device, Placement, Report, Vessel
from ingest.store.store import Store

NOW = datetime.now(UTC).replace(microsecond=0)


@pytest.fixture
def store():
    with Store.in_memory() as made:
        yield made


def heard(store: Store, device_id: str, hours_ago: float) -> None:
    when = NOW - timedelta(hours=hours_ago)
    store.keep([Report(device_id=device_id, measured_at=when, received_at=when, gravity_sg=1.04)])


def test_a_new_device_put_into_a_vessel_is_one_change_that_undo_takes_back_whole(store):
    vessel = store.save(Vessel(name="Vessel 1"))
    placement.put(store, Device(device_id="kelp-1", kind="float"), vessel, NOW - timedelta(hours=5))
    assert store.get(Device, "kelp-1") is not None
    assert [p.vessel_id for p in store.all(Placement)] == [vessel.vessel_id]
    store.undo()
    assert store.get(Device, "kelp-1") is None
    assert store.all(Placement) == []


def test_a_device_is_put_into_a_vessel_that_is_named_with_it(store):
    device = Device(device_id="kelp-1", kind="float")
    placement.put(store, device, placement.named(store, " Cask nine "), NOW - timedelta(hours=5))
    [vessel], [stay] = store.all(Vessel), store.all(Placement)
    assert (vessel.name, stay.vessel_id) == ("Cask nine", vessel.vessel_id)
    assert placement.named(store, "cask NINE") == vessel
    assert placement.named(store, " ") is placement.named(store, None) is None
    store.undo()
    assert store.all(Vessel) == []


def test_moving_a_device_ends_its_stay_where_it_was(store):
    first, second = store.save(Vessel(name="Vessel 1")), store.save(Vessel(name="Vessel 2"))
    device = Device(device_id="kelp-1", kind="float")
    placement.put(store, device, first, NOW - timedelta(days=3))
    placement.put(store, device, second, NOW - timedelta(days=1))
    stays = {p.vessel_id: (p.from_at, p.to_at) for p in store.all(Placement)}
    assert stays == {
        first.vessel_id: (NOW - timedelta(days=3), NOW - timedelta(days=1)),
        second.vessel_id: (NOW - timedelta(days=1), None),
    }
    here = placement.now_in(store, "kelp-1")
    assert here is not None
    assert here.vessel_id == second.vessel_id


def test_a_device_taken_out_sits_nowhere(store):
    vessel = store.save(Vessel(name="Vessel 1"))
    device = Device(device_id="kelp-1", kind="float")
    placement.put(store, device, vessel, NOW - timedelta(days=3))
    placement.put(store, device, None, NOW - timedelta(days=1))
    assert placement.now_in(store, "kelp-1") is None


def test_a_move_to_before_the_present_stay_is_refused_and_changes_nothing(store):
    first, second = store.save(Vessel(name="Vessel 1")), store.save(Vessel(name="Vessel 2"))
    device = Device(device_id="kelp-1", kind="float")
    placement.put(store, device, first, NOW - timedelta(days=1))
    before = store.all(Placement)
    with pytest.raises(EntryError, match="Vessel 1 since a later time") as refused:
        placement.put(store, device, second, NOW - timedelta(days=2))
    assert refused.value.field == "from_at"
    assert store.all(Placement) == before


def test_since_its_first_word_is_when_it_first_measured(store):
    heard(store, "kelp-1", 30)
    heard(store, "kelp-1", 2)
    assert placement.begin(store, "kelp-1", "its first word", None) == NOW - timedelta(hours=30)


def test_another_time_must_be_given(store):
    with pytest.raises(EntryError, match="the time is missing"):
        placement.begin(store, "kelp-1", "another time", None)
    assert placement.begin(store, "kelp-1", "another time", NOW) == NOW
