from __future__ import annotations

from dataclasses import replace

from ingest.model import BatchRecord


def window(page, batch_id):
    shown = page("batch", id=batch_id)
    shown.segmented_control(key="part").set_value("This batch").run()
    return shown


def volume(shown):
    return next(n for n in shown.number_input if n.label.startswith("Volume"))


def save(shown):
    [b for b in shown.button if b.label == "Save"][-1].click()
    shown.run()
    assert not shown.exception


def test_what_was_typed_in_one_window_outlives_a_save_in_another(cellar, page):
    store, record = cellar.store, cellar.batches["active"]
    mine = window(page, record.batch_id)
    store.save(replace(record, notes="of the other window"))
    volume(mine).set_value(21.0)
    save(mine)
    now = store.get(BatchRecord, record.batch_id)
    assert (now.volume_l, now.notes) == (21.0, "of the other window")


def test_a_field_that_both_changed_is_asked_about_once(cellar, page):
    store, record = cellar.store, cellar.batches["held"]
    mine = window(page, record.batch_id)
    store.save(replace(record, volume_l=19.0))
    volume(mine).set_value(23.0)
    save(mine)
    assert store.get(BatchRecord, record.batch_id).volume_l == 19.0
    assert volume(mine).value == 23.0
    save(mine)
    assert store.get(BatchRecord, record.batch_id).volume_l == 23.0
