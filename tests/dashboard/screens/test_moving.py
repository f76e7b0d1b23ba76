from __future__ import annotations

from datetime import UTC, datetime, timedelta

from ingest.model import BatchRecord, EventRecord, Vessel
from tests.dashboard.conftest import opened


def press(shown, label):
    [b for b in shown.button if b.label == label][-1].click()
    shown.run()
    assert not shown.exception


def select(shown, label, value):
    box = next(s for s in shown.selectbox if s.label == label)
    box.select(next(o for o in box.options if o.startswith(value)))
    return shown


def test_another_vessel_is_a_move_or_a_mistake_and_says_so_first(cellar, page):
    store, record = cellar.store, cellar.batches["active"]
    before = store.readings_of(record.batch_id).height
    store.save(Vessel(name="Spare tun"))
    shown = page("batch", id=record.batch_id)
    shown.segmented_control(key="part").set_value("This batch").run()
    select(shown, "Vessel", "Spare tun")
    press(shown, "Save")
    assert store.get(BatchRecord, record.batch_id).vessel_id == record.vessel_id
    select(shown, "It changes because", "it was moved")
    press(shown, "Save")
    now = store.get(BatchRecord, record.batch_id)
    assert store.get(Vessel, now.vessel_id).name == "Spare tun"
    assert store.readings_of(record.batch_id).height == before
    [logged] = store.all(EventRecord, batch_id=record.batch_id, kind="transfer")
    assert datetime.now(UTC) - logged.at < timedelta(minutes=2)


def test_a_transfer_asks_where_it_went(cellar, page):
    store, record = cellar.store, cellar.batches["held"]
    before = store.readings_of(record.batch_id).height
    store.save(Vessel(name="Other tun"))
    shown = opened(page("batch", id=record.batch_id), f"log event 0 {record.batch_id}")
    shown.button_group(key="event/0").set_value("transfer").run()
    press(shown, "Save the transfer")
    assert store.all(EventRecord, batch_id=record.batch_id, kind="transfer") == []
    select(shown, "It went into", "Other tun")
    press(shown, "Save the transfer")
    assert len(store.all(EventRecord, batch_id=record.batch_id, kind="transfer")) == 1
    now = store.get(BatchRecord, record.batch_id)
    assert store.get(Vessel, now.vessel_id).name == "Other tun"
    assert store.readings_of(record.batch_id).height == before


def test_packaged_is_asked_before_it_is_logged(cellar, page):
    store, record = cellar.store, cellar.batches["stalled"]
    shown = opened(page("batch", id=record.batch_id), f"log event 0 {record.batch_id}")
    [pills] = [b for b in shown.button_group if b.key.startswith("event/")]
    pills.set_value("package").run()
    assert store.all(EventRecord, batch_id=record.batch_id, kind="package") == []
    press(shown, "Yes, it is packaged")
    assert len(store.all(EventRecord, batch_id=record.batch_id, kind="package")) == 1


def test_no_entry_becomes_a_transfer_without_a_place_where_it_went(cellar, page):
    store, record = cellar.store, cellar.batches["active"]
    logged = store.save(EventRecord(batch_id=record.batch_id, kind="nutrient", at=datetime.now(UTC)))
    shown = page("batch", id=record.batch_id)
    shown.segmented_control(key="part").set_value("What was entered").run()
    box = next(s for s in shown.selectbox if s.label == "What happened" and s.value == "nutrient")
    box.set_value("transfer")
    next(b for b in shown.button if b.key and logged.event_id in b.key and b.key.endswith("/save")).click().run()
    assert "no other entry can be made a transfer" in " ".join(str(each.value) for each in shown.get("html"))
    assert store.get(EventRecord, logged.event_id).kind == "nutrient"
    store.undo()
