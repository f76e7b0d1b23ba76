from __future__ import annotations

import json
from dataclasses import replace

import polars as pl
import pytest

from ingest import transfer
from ingest.errors import EntryError
from ingest.model import BatchRecord, BatchStay, Device, EventRecord, Placement, Vessel
from ingest.store import Store, move, move_many
from tests.ingest.reports import HOUR, T, report


def filled(store: Store) -> BatchRecord:
    """A batch in the left vessel with a float in each, that report every hour for ten hours."""
    for side in ("left", "right"):
        store.save(Vessel(vessel_id=side, name=side))
        store.save(Device(device_id=f"float-{side}", kind="float"))
        store.save(Placement(device_id=f"float-{side}", vessel_id=side, from_at=T - HOUR))
    record = store.save(BatchRecord(batch_id="b1", name="Gatepost", vessel_id="left", pitched_at=T))
    for side in ("left", "right"):
        times = [T + n * HOUR for n in range(10)]
        store.keep([report(device_id=f"float-{side}", measured_at=t, received_at=t) for t in times])
    return record


def measured(store: Store) -> list[tuple[str, int]]:
    rows = store.readings_of("b1").select("device_id", (pl.col("measured_at") - T).dt.total_hours())
    return [(device, hour) for device, hour in rows.iter_rows()]


def test_a_moved_batch_keeps_its_course_and_its_readings_follow_where_it_was(store):
    record = filled(store)
    move(store, record, "right", T + 4 * HOUR, devices_too=False, event=None)
    assert measured(store) == [
        *(("float-left", hour) for hour in range(4)),
        *(("float-right", hour) for hour in range(4, 10)),
    ]
    assert store.get(BatchRecord, "b1").vessel_id == "right"
    assert [e.at for e in store.all(EventRecord, kind="transfer")] == [T + 4 * HOUR]
    assert (store.batch_in("left", T + 3 * HOUR), store.batch_in("left", T + 4 * HOUR)) == (
        store.get(BatchRecord, "b1"),
        None,
    )
    store.undo()
    assert measured(store) == [("float-left", hour) for hour in range(10)]
    assert store.all(EventRecord) == []


def test_several_move_at_once_change_places_and_go_back_as_one(store):
    first = filled(store)
    second = store.save(BatchRecord(batch_id="b2", name="Wicket", vessel_id="right", pitched_at=T))
    move_many(store, [(first, "right"), (second, "left")], T + 4 * HOUR, devices_too=True)
    assert (store.batch_in("left").name, store.batch_in("right").name) == ("Wicket", "Gatepost")
    assert measured(store) == [("float-left", hour) for hour in range(10)]  # its float went along
    assert store.changes()[0].sentence == "Moved 2 batches"
    store.undo()
    assert (store.batch_in("left").name, store.batch_in("right").name) == ("Gatepost", "Wicket")
    assert store.all(EventRecord) == []


def test_two_batches_cannot_move_into_one_vessel_and_then_none_has(store):
    first = filled(store)
    second = store.save(BatchRecord(batch_id="b2", name="Wicket", vessel_id="right", pitched_at=T))
    store.save(Vessel(vessel_id="third", name="third"))
    with pytest.raises(EntryError, match="Gatepost and Wicket both go into third"):
        move_many(store, [(first, "third"), (second, "third")], T + 4 * HOUR, devices_too=False)
    with pytest.raises(EntryError, match="right is taken by Wicket"):
        move_many(store, [(first, "right")], T + 4 * HOUR, devices_too=False)
    assert store.all(EventRecord) == []


def test_a_float_that_went_along_goes_on_measuring_the_batch(store):
    record = filled(store)
    store.remove(store.all(Placement, device_id="float-right")[0])
    move(store, record, "right", T + 4 * HOUR, devices_too=True, event=None)
    assert measured(store) == [("float-left", hour) for hour in range(10)]
    assert [w.device_id for w in store.device_statuses("right")] == ["float-left"]


def test_a_corrected_vessel_corrects_where_the_batch_was_from_then_on(store):
    record = filled(store)
    store.save(replace(record, vessel_id="right"))
    assert measured(store) == [("float-right", hour) for hour in range(10)]
    move(store, store.get(BatchRecord, "b1"), "left", T + 4 * HOUR, devices_too=False, event=None)
    store.save(Vessel(vessel_id="third", name="third"))
    store.save(replace(store.get(BatchRecord, "b1"), vessel_id="third"))
    assert measured(store) == [("float-right", hour) for hour in range(4)]
    assert [span.vessel_id for span in store.vessels_of(store.get(BatchRecord, "b1"))] == ["right", "third"]


def test_a_transfer_that_is_changed_or_removed_takes_the_move_with_it(store):
    record = filled(store)
    move(store, record, "right", T + 4 * HOUR, devices_too=False, event=None)
    [logged] = store.all(EventRecord, kind="transfer")
    store.save(replace(logged, at=T + 8 * HOUR))
    assert measured(store)[7:9] == [("float-left", 7), ("float-right", 8)]
    store.remove(store.all(EventRecord, kind="transfer")[0])
    assert store.get(BatchRecord, "b1").vessel_id == "left"
    assert measured(store) == [("float-left", hour) for hour in range(10)]
    store.undo()
    assert store.get(BatchRecord, "b1").vessel_id == "right"
    assert measured(store)[7:9] == [("float-left", 7), ("float-right", 8)]


def test_a_move_into_a_vessel_that_is_taken_is_refused_and_a_freed_one_can_be_filled(store):
    record = filled(store)
    other = BatchRecord(batch_id="b2", name="Harbour", vessel_id="right", pitched_at=T + 2 * HOUR)
    store.save(other)
    with pytest.raises(EntryError, match="right is taken by Harbour"):
        move(store, record, "right", T + 4 * HOUR, devices_too=False, event=None)
    with pytest.raises(EntryError, match="had not been pitched"):
        move(store, record, "right", T - HOUR, devices_too=False, event=None)
    with pytest.raises(EntryError, match="already"):
        move(store, record, "left", T + 4 * HOUR, devices_too=False, event=None)
    assert measured(store) == [("float-left", hour) for hour in range(10)]
    store.save(replace(other, ended_at=T + 3 * HOUR))
    move(store, record, "right", T + 4 * HOUR, devices_too=False, event=None)
    store.save(BatchRecord(batch_id="b3", name="Next", vessel_id="left", pitched_at=T + 5 * HOUR))
    with pytest.raises(EntryError, match="holds or held"):
        store.remove(store.get(Vessel, "left"))


def test_moves_go_out_and_come_in_with_the_cellar_and_older_exports_have_none(store, tmp_path):
    record = filled(store)
    # The vessel that it went into was another's before: only its stays tell that both are right.
    store.save(BatchRecord(batch_id="b0", name="Early", vessel_id="right", pitched_at=T - HOUR, ended_at=T + 2 * HOUR))
    move(store, record, "right", T + 4 * HOUR, devices_too=False, event=None)
    transfer.export_cellar(store, tmp_path / "out")
    readings = pl.read_parquet(tmp_path / "out" / "readings.parquet").filter(pl.col("batch_id") == "b1")
    assert readings["vessel_id"].value_counts().sort("vessel_id").rows() == [("left", 4), ("right", 6)]
    with Store.in_memory() as other:
        transfer.import_cellar(other, tmp_path / "out")
        assert measured(other) == measured(store)
    store.undo()
    transfer.export_cellar(store, tmp_path / "older")
    about = json.loads((tmp_path / "older" / "cellar.json").read_text())
    del about["batch_stay"]
    (tmp_path / "older" / "cellar.json").write_text(json.dumps({**about, "tables": 4}))
    (tmp_path / "older" / "batch_stay.parquet").unlink()
    with Store.in_memory() as other:
        transfer.import_cellar(other, tmp_path / "older")
        assert measured(other) == [("float-left", hour) for hour in range(10)]
        assert other.all(BatchStay) == []
