"""A part of a divided batch has the course of the whole up to the division, and its own from then on."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from ingest.errors import EntryError
from ingest.model import BatchRecord, Device, EventRecord, HandSample, Placement, Report, Vessel
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)


def at(hours):
    return T + timedelta(hours=hours)


@pytest.fixture
def store():
    with Store.in_memory() as made:
        yield made


@pytest.fixture
def whole(store):
    """Twenty litres in the large vessel with a float every hour, divided after 48 hours."""
    large = store.save(Vessel(vessel_id="large", name="Large"))
    store.save(Device(device_id="float-1", kind="float"))
    store.save(Placement(device_id="float-1", vessel_id=large.vessel_id, from_at=T))
    hours = range(96)
    store.keep(
        [
            Report(device_id="float-1", measured_at=at(h), received_at=at(h), gravity_sg=1.060 - 0.0003 * h)
            for h in hours
        ]
    )
    record = BatchRecord(
        batch_id="whole", name="Tuesday wort", vessel_id="large", pitched_at=T, volume_l=20.0, ended_at=at(48)
    )
    return store.save(record)


def part_in(store, vessel, litres, **facts):
    store.save(Vessel(vessel_id=vessel, name=vessel.capitalize()))
    return store.save(
        BatchRecord(
            batch_id=f"part-{vessel}",
            name="Part",
            vessel_id=vessel,
            pitched_at=T,
            volume_l=litres,
            divided_from="whole",
            divided_at=at(48),
            **facts,
        )
    )


def test_a_part_has_the_readings_of_the_whole_up_to_the_division(store, whole):
    part = part_in(store, "small", 5.0)
    readings = store.readings_of(part.batch_id)
    assert readings["measured_at"].to_list() == [at(h) for h in range(48)]
    assert store.newest_reading_at(part.batch_id) <= at(48)
    assert store.own_reading_at(part.batch_id) is None


def test_after_the_division_the_part_goes_on_with_its_own_float(store, whole):
    part = part_in(store, "small", 5.0)
    store.save(Device(device_id="float-2", kind="float"))
    store.save(Placement(device_id="float-2", vessel_id="small", from_at=at(50)))
    store.keep([Report(device_id="float-2", measured_at=at(h), received_at=at(h), gravity_sg=1.040) for h in (52, 60)])
    readings = store.readings_of(part.batch_id)
    assert readings.filter(readings["device_id"] == "float-2")["measured_at"].to_list() == [at(52), at(60)]
    assert readings["measured_at"].max() == at(60)
    assert store.own_reading_at(part.batch_id) == at(60)
    assert store.readings_of("whole")["measured_at"].max() == at(47)


def test_the_part_that_stays_keeps_the_float_of_its_vessel(store, whole):
    stays = store.save(replace(whole, batch_id="stays", ended_at=None, divided_from="whole", divided_at=at(48)))
    assert store.readings_of(stays.batch_id)["measured_at"].to_list() == [at(h) for h in range(96)]
    assert all(e.kind != "transfer" for e in store.batch(stays.batch_id).events)


def test_what_was_done_and_sampled_before_belongs_to_the_part_and_what_came_later_does_not(store, whole):
    store.save(EventRecord(batch_id="whole", kind="nutrient", at=at(10)))
    store.save(EventRecord(batch_id="whole", kind="dry hop", at=at(48)))
    store.save(EventRecord(batch_id="whole", kind="package", at=at(20)))
    store.save(HandSample(batch_id="whole", at=at(12), value=1.055))
    part = part_in(store, "small", 5.0)
    kinds = [e.kind for e in store.batch(part.batch_id).events]
    assert "nutrient" in kinds
    assert "sample" in kinds
    assert "dry hop" not in kinds
    assert "package" not in kinds
    assert "transfer" in kinds  # it left the vessel: the hold begins anew


def test_a_part_has_its_share_of_what_was_added_to_the_whole(store, whole):
    # Two litres of juice into twenty: of a part of eleven litres, one is juice, and ten were pitched (by hand).
    store.save(EventRecord(batch_id="whole", kind="feed", at=at(10), added="juice", amount_l=2.0))
    batch = store.batch(part_in(store, "half", 11.0).batch_id)
    [fed] = [e.added for e in batch.events if e.kind == "feed"]
    assert fed.volume_l == pytest.approx(1.0)
    assert batch.volume_l == pytest.approx(10.0)


def test_where_the_part_s_volume_is_not_known_no_amount_is_told(store, whole):
    store.save(EventRecord(batch_id="whole", kind="feed", at=at(10), added="juice", amount_l=2.0))
    batch = store.batch(part_in(store, "half", None).batch_id)
    [fed] = [e.added for e in batch.events if e.kind == "feed"]
    assert fed.volume_l is None
    assert batch.volume_l is None


def test_a_vessel_is_free_for_a_part_once_the_earlier_batch_has_left(store, whole):
    store.save(Vessel(vessel_id="small", name="Small"))
    earlier = BatchRecord(name="Earlier", vessel_id="small", pitched_at=at(-200), ended_at=at(40))
    store.save(earlier)
    part = replace(whole, batch_id="part", vessel_id="small", ended_at=None, divided_from="whole", divided_at=at(48))
    store.check(part)
    with pytest.raises(EntryError, match="taken by Earlier"):
        store.check(replace(part, divided_at=at(30)))


def test_a_part_needs_the_time_of_its_division(whole):
    with pytest.raises(EntryError, match="time of the division"):
        replace(whole, divided_from="other")
    with pytest.raises(EntryError, match="before pitching"):
        replace(whole, divided_from="other", divided_at=at(-1))


def test_parts_speak_for_the_whole_only_where_they_were_measured(store, whole):
    assert store.speaks_for_itself(whole)
    part = part_in(store, "small", 5.0)
    assert not store.speaks_for_itself(whole)
    assert not store.speaks_for_itself(part)
    store.save(HandSample(batch_id=part.batch_id, at=at(50), value=1.045))
    assert store.speaks_for_itself(part)
