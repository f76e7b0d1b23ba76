"""Notes and photos of a batch."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

import pytest
from PIL import Image

from dashboard.screens.batch import photos
from ingest.errors import EntryError
from ingest.model import BatchRecord, Photo, Vessel
from ingest.photos import MOST_PHOTOS

NOW = datetime.now(UTC).replace(microsecond=0)


def field(inputs, label):
    return next(each for each in inputs if each.label.startswith(label))


@pytest.fixture
def record(service):
    vessel = service.store.save(Vessel(name="Jug 1"))
    return service.store.save(
        BatchRecord(
            name="Harbour", vessel_id=vessel.vessel_id, pitched_at=NOW - timedelta(days=3), notes="first\nsecond"
        )
    )


def picture():
    to = io.BytesIO()
    Image.new("RGB", (64, 48)).save(to, "PNG")
    return to.getvalue()


def opened(page, record):
    shown = page("batch", id=record.batch_id)
    field(shown.button_group, "More about").set_value("Notes and photos")
    return shown.run()


def test_notes_of_several_lines_are_kept_and_shown(service, record, page):
    shown = opened(page, record)
    assert field(shown.text_area, "Notes").value == "first\nsecond"
    field(shown.text_area, "Notes").set_value("one\ntwo\nthree")
    next(b for b in shown.button if b.label == "Save the notes").click()
    shown.run()
    assert service.store.get(BatchRecord, record.batch_id).notes == "one\ntwo\nthree"


def test_a_photo_is_shown_with_its_words_and_can_be_removed(service, record, page):
    photos.add(record, picture(), "the foam")
    shown = opened(page, record)
    assert not shown.exception
    remove = next(b for b in shown.button if b.label.startswith("Remove the photo"))
    remove.click()
    shown.run()
    assert service.store.all(Photo) == []
    service.store.undo()
    assert len(service.store.all(Photo)) == 1


def test_a_batch_has_no_more_photos_than_it_may(service, record):
    for _ in range(MOST_PHOTOS):
        photos.add(record, picture(), "")
    with pytest.raises(EntryError, match=f"has {MOST_PHOTOS} photos"):
        photos.add(record, picture(), "")
