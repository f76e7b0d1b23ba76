from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, HandSample, Vessel
from ingest.store.moving import move
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def store():
    with Store.in_memory() as opened:
        yield opened


def number(store: Store, sentence: str) -> int:
    """The id of the newest line of the journal that begins so."""
    return next(c.change_id for c in store.changes() if c.sentence.startswith(sentence))


def test_an_older_change_goes_back_and_what_does_not_rest_on_it_stays(store):
    store.save(Vessel(vessel_id="v1", name="One"))
    store.save(Vessel(vessel_id="v2", name="Two"))
    first = number(store, "Added vessel One")
    assert store.resting_on(first) == []
    assert store.take_back(first) == "Taken back: Added vessel One"
    assert [v.name for v in store.all(Vessel)] == ["Two"]
    assert store.take_back(first) is None  # it does not stand any more
    assert store.undo() == "Taken back: Added vessel Two"


def test_of_an_entry_that_was_changed_again_only_what_the_change_altered_goes_back(store):
    vessel = store.save(Vessel(vessel_id="v1", name="One"))
    vessel = store.save(replace(vessel, volume_l=12.0))
    resized = number(store, "Changed vessel One")
    vessel = store.save(replace(vessel, name="First", temperature_low_c=12.0))
    assert store.resting_on(resized) == []
    store.take_back(resized)
    assert store.get(Vessel, "v1") == replace(vessel, volume_l=None)


def test_what_rests_on_a_change_is_told_and_goes_with_it(store):
    store.save(Vessel(vessel_id="v1", name="One"))
    store.save(Vessel(vessel_id="v2", name="Two"))
    for batch, vessel in (("b1", "v1"), ("b2", "v2")):
        store.save(BatchRecord(batch_id=batch, name=batch, vessel_id=vessel, pitched_at=T))
        store.save(EventRecord(event_id=f"e {batch}", batch_id=batch, kind="nutrient", at=T + DAY))
    first = number(store, "Added vessel One")
    also = store.resting_on(first)
    assert [c.sentence for c in also] == ["Logged the nutrient of b1 in One", "Added batch b1 in One"]
    with pytest.raises(EntryError, match="something else was entered since"):
        store.take_back(first, [also[0].change_id])
    assert len(store.all(EventRecord)) == 2
    taken = store.take_back(first, [c.change_id for c in also])
    assert taken == "Taken back: Added vessel One, and 2 that rested on it"
    assert [v.name for v in store.all(Vessel)] == ["Two"]
    assert [e.batch_id for e in store.all(EventRecord)] == ["b2"]
    assert [b.name for b in store.all(BatchRecord)] == ["b2"]


def test_a_sample_that_was_corrected_twice_goes_back_with_the_second_correction(store):
    store.save(Vessel(vessel_id="v1", name="One"))
    store.save(BatchRecord(batch_id="b1", name="b1", vessel_id="v1", pitched_at=T))
    sample = store.save(HandSample(sample_id="s", batch_id="b1", at=T + DAY, value=1.030))
    store.save(replace(sample, value=1.020))
    corrected = number(store, "Changed hand sample")
    store.save(replace(sample, value=1.021))
    [also] = store.resting_on(corrected)
    store.take_back(corrected, [also.change_id])
    assert store.get(HandSample, "s") == sample


def test_what_would_contradict_what_came_later_is_refused_with_its_reason(store):
    for n in (1, 2):
        store.save(Vessel(vessel_id=f"v{n}", name=f"Cask {n}"))
    record = store.save(BatchRecord(batch_id="b1", name="Quay", vessel_id="v1", pitched_at=T))
    move(store, record, "v2", T + DAY, devices_too=False, event=None)
    store.save(BatchRecord(batch_id="b2", name="Pier", vessel_id="v1", pitched_at=T + 2 * DAY))
    moved = number(store, "Moved Quay")
    with pytest.raises(EntryError, match="it cannot be taken back as things stand: Cask 1 is taken by Pier"):
        store.take_back(moved, [c.change_id for c in store.resting_on(moved)])
    assert store.get(BatchRecord, "b1").vessel_id == "v2"
    assert not any(c.undone for c in store.changes())


def test_texts_changed_in_one_sitting_are_one_line_and_one_undo(store):
    def said(before: str | None) -> str:
        return f"Changed it from {before}"

    store.save(Vessel(name="Before"))
    for n in range(30):
        store.change_note("sheet", str(n), said, gather=timedelta(minutes=30))
    assert [c.sentence for c in store.changes()] == ["Changed it from None", "Added vessel Before"]
    store.save(Vessel(name="Between"))
    store.change_note("sheet", "later", said, gather=timedelta(minutes=30))
    assert [c.sentence for c in store.changes()][:2] == ["Changed it from 29", "Added vessel Between"]
    store.change_note("sheet", "29", said, gather=timedelta(minutes=30))
    assert store.changes()[0].undone  # nothing is left of it
    assert store.undo() == "Taken back: Added vessel Between"
    assert store.undo() == "Taken back: Changed it from None"
    assert store.get_note("sheet") is None
    store.change_note("sheet", "1", said, gather=timedelta(minutes=30))
    store.change_note("sheet", "2", said, gather=timedelta(0))
    assert [c.sentence for c in store.changes()][:2] == ["Changed it from 1", "Changed it from None"]
