"""An addition is logged with what it was and how much, in the person's units; what is missing is named."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from ingest.model import BatchRecord, EventRecord
from tests.dashboard.conftest import NOW
from tests.dashboard.screens.test_pages import script, text_of


def field(app: Any, kind: str, label: str) -> Any:
    """The input with this label in the form for an earlier event."""
    [found] = [one for one in app.get(kind) if one.label.startswith(label) and one.key.startswith("earlier event")]
    return found


def opened(record: BatchRecord) -> Any:
    app = script("batch", id=record.batch_id)
    return app.segmented_control(key="part").set_value("What was entered").run()


def log(app: Any, amount: float | None, unit: str, what: str | None, **more: float) -> Any:
    field(app, "selectbox", "What happened").set_value("feed")
    field(app, "number_input", "Amount").set_value(amount)
    field(app, "selectbox", "In").set_value(unit)
    field(app, "selectbox", "It was").set_value(what)
    field(app, "datetime_input", "When").set_value((NOW - timedelta(hours=2)).replace(tzinfo=None))
    for label, value in more.items():
        field(app, "number_input", label.replace("_", " ")).set_value(value)
    [save] = [b for b in app.button if b.key and b.key.startswith("earlier event") and b.label == "Save"]
    return save.click().run()


@pytest.fixture
def record(cellar: Any) -> Any:
    batch = cellar.store.save(BatchRecord(**{**_fields(cellar.batches["active"]), "volume_l": 20.0}))
    before = {e.event_id for e in cellar.store.all(EventRecord)}
    yield batch
    for event in cellar.store.all(EventRecord):
        if event.event_id not in before:
            cellar.store.remove(event)
    cellar.store.save(cellar.batches["active"])


def _fields(batch: BatchRecord) -> dict[str, Any]:
    return {name: getattr(batch, name) for name in batch.__dataclass_fields__}


def test_two_pounds_and_a_half_of_honey_are_kept_as_they_were_typed(cellar: Any, record: BatchRecord) -> None:
    app = log(opened(record), 2.5, "lb", "honey")
    assert not app.exception
    [event] = [e for e in cellar.store.all(EventRecord, batch_id=record.batch_id) if e.added]
    assert (event.kind, event.added, event.amount_unit) == ("feed", "honey", "lb")
    assert event.amount_g == pytest.approx(1133.980925)  # by the definition of the pound
    assert any("honey, 2.5 lb" in one.label for one in app.expander)
    assert "Not known yet" not in app.session_state["said"][0]
    [seen] = [e for e in cellar.store.batch(record.batch_id).events if e.added]
    assert seen.added is not None
    assert seen.added.mass_kg == pytest.approx(1.133980925)
    # Undo takes it back, and only it.
    cellar.store.undo()
    assert not [e for e in cellar.store.all(EventRecord, batch_id=record.batch_id) if e.added]


def test_water_is_a_dilution_and_what_is_missing_of_juice_is_named(cellar: Any, record: BatchRecord) -> None:
    app = log(opened(record), 1.5, "US gal", "water")
    [event] = [e for e in cellar.store.all(EventRecord, batch_id=record.batch_id) if e.added]
    assert (event.kind, event.amount_l) == ("dilute", pytest.approx(5.678118))
    app = log(app, 2.0, "L", "juice")
    said, _ = app.session_state["said"]  # the shell shows it above the page
    assert said.endswith(
        "Not known yet: the gravity of the juice itself. Until then the readings decide how far it moved the gravity."
    )


def test_an_amount_below_nothing_is_refused_in_the_unit_in_which_it_was_typed(cellar: Any, record: BatchRecord) -> None:
    app = log(opened(record), -2.0, "lb", "honey")
    assert "2 lb is below nothing" in text_of(app)
    assert not [e for e in cellar.store.all(EventRecord, batch_id=record.batch_id) if e.added]
