"""Forms that stand open in two windows: what one entered is never overwritten, nor let go, without a word."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest
import streamlit as st

from dashboard.screens.sensors import placement
from dashboard.screens.set_up import notifications
from ingest.model import BatchRecord, CalibrationRecord, Device, Placement, Preferences, Report, Vessel
from ingest.store.row_mapping import TABLES

NOW = datetime.now(UTC).replace(microsecond=0)
POINTS = [(25.0, 1.000), (37.5, 1.025), (50.0, 1.050), (75.0, 1.100)]


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


def press(shown, label, which=0):
    [b for b in shown.button if b.label == label][which].click().run()
    assert not shown.exception
    return shown


def alert(shown):
    return " ".join(str(each.value) for each in shown.get("html") if 'role="alert"' in str(each.value))


@pytest.fixture
def floats(service):
    """One float in the first of two vessels, and one that waits for a vessel."""
    store = service.store
    first, second = store.save(Vessel(name="Vessel 1")), store.save(Vessel(name="Vessel 2"))
    device = Device(device_id="kelp-1", kind="float")
    placement.put(store, device, first, NOW - timedelta(days=3))
    for name, said in (("kelp-1", {"inclination_deg": 40.0}), ("kelp-2", {"gravity_sg": 1.04})):
        store.keep([Report(device_id=name, measured_at=NOW, received_at=NOW, **said)])
    return store, device, first, second


def test_busy_days_of_two_windows_are_all_kept(service, page):
    service.store.save(Preferences(time_zone="UTC"))
    mine = page("set_up", part="cellar")
    there = (NOW.date() + timedelta(days=20)).isoformat()
    service.store.save(replace(service.store.preferences(), busy_dates=(there,)))
    here = NOW.date() + timedelta(days=10)
    mine.date_input[0].set_value((here, here))
    press(mine, "Save these days")
    assert service.store.preferences().busy_dates == (here.isoformat(), there)


def test_quiet_hours_of_one_window_and_kinds_of_another_are_both_kept(service, page):
    service.store.save(Preferences(time_zone="UTC"))
    mine = page("set_up", part="word")
    service.store.save(replace(service.store.preferences(), quiet_from=time(22), quiet_to=time(7)))
    mine.button_group[0].set_value(["stalled"])
    press(mine, "Save")
    now = service.store.preferences()
    assert (now.notify_kinds, now.quiet_from, now.quiet_to) == (("stalled",), time(22), time(7))


def test_an_address_is_added_beside_one_of_another_window(service, page, monkeypatch):
    monkeypatch.setattr(notifications, "_checked", lambda url: url)
    service.store.save(Preferences(time_zone="UTC"))
    mine = page("set_up", part="word")
    mine.text_input[0].set_value("json://localhost/mine")
    service.store.save(replace(service.store.preferences(), notify_urls=("json://localhost/theirs",)))
    press(mine, "Add the address")
    assert service.store.preferences().notify_urls == ("json://localhost/theirs", "json://localhost/mine")


def test_a_float_that_was_moved_in_another_window_is_told_before_it_is_moved_again(floats, page):
    store, device, _, second = floats
    third = store.save(Vessel(name="Vessel 3"))
    mine = page("sensors", device="kelp-1")
    placement.put(store, device, second, NOW - timedelta(hours=1))
    into = next(s for s in mine.selectbox if s.label == "Into")
    into.set_value(third)
    press(mine, "Put it there")
    assert "it now sits in Vessel 2 since" in alert(mine)
    assert placement.now_in(store, "kelp-1").vessel_id == second.vessel_id
    press(mine, "Put it there")
    assert placement.now_in(store, "kelp-1").vessel_id == third.vessel_id


def test_a_new_float_that_another_window_put_to_work_is_not_put_elsewhere_without_a_word(floats, page):
    store, _, first, second = floats
    mine = page("sensors")
    next(s for s in mine.selectbox if s.label == "Vessel").set_value(second)
    placement.put(store, Device(device_id="kelp-2", kind="float"), first, NOW - timedelta(hours=1))
    press(mine, "Put it to work")
    assert "kelp-2 was put to work meanwhile in another window in Vessel 1" in alert(mine)
    assert [p.vessel_id for p in store.all(Placement, device_id="kelp-2")] == [first.vessel_id]
    assert "meanwhile" not in alert(mine.run())


def test_putting_a_float_to_work_tells_of_no_other_window(floats, page):
    _, _, _, second = floats
    mine = page("sensors")
    next(s for s in mine.selectbox if s.label == "Vessel").set_value(second)
    assert "meanwhile" not in alert(press(mine, "Put it to work"))


def test_a_calibration_made_in_another_window_is_told_and_what_was_typed_stays(floats, page):
    store, *_ = floats
    mine = page("sensors", device="kelp-1")
    for n, (said, true) in enumerate(POINTS):
        next(i for i in mine.number_input if i.label == f"Point {n + 1}: it says, °").set_value(said)
        next(i for i in mine.number_input if i.label == f"Point {n + 1}: gravity, SG").set_value(true)
    mine.run()
    assert "Not saved yet." in html_of(mine)
    store.save(CalibrationRecord(device_id="kelp-1", kind="inclination", points=((20.0, 1.0), (60.0, 1.08), (70, 1.1))))
    press(mine, "Save the calibration")
    assert "it was calibrated there" in alert(mine)
    assert len(store.all(CalibrationRecord)) == 1
    press(mine, "Save the calibration")
    assert [r.points for r in store.all(CalibrationRecord)][1:] == [tuple(POINTS)]


def test_a_form_that_was_sent_as_it_stood_before_a_change_says_so_and_keeps_what_was_typed(cellar, page):
    store, record = cellar.store, cellar.batches["held"]
    mine = page("batch", id=record.batch_id)
    mine.segmented_control(key="part").set_value("This batch").run()
    store.save(replace(record, notes="of the other window"))
    next(c for c in mine.checkbox if c.label == "It was packaged").set_value(False)
    press(mine, "End the batch")
    assert "changed meanwhile in another window" in alert(mine)
    assert store.get(BatchRecord, record.batch_id).ended_at is None
    assert next(c for c in mine.checkbox if c.label == "It was packaged").value is False
    store.undo()


@pytest.mark.parametrize("screen", ["batch", "today", "sensors"])
def test_what_is_drawn_alone_is_handed_no_entry_that_another_window_may_change(cellar, page, monkeypatch, screen):
    handed, fragment = [], st.fragment

    def listening(show, **options):
        drawn = fragment(show, **options)
        return lambda *given, **named: handed.append((*given, *named.values())) or drawn(*given, **named)

    monkeypatch.setattr(st, "fragment", listening)
    page(screen, id=cellar.batches["active"].batch_id)
    entries = tuple(TABLES)
    assert not [each for given in handed for each in given if isinstance(each, entries)]
    assert handed
