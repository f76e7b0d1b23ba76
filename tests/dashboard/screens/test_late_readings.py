from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from analysis.wording import Voice
from dashboard.queries.attention import Standing
from dashboard.queries.late_readings import before_their_place
from dashboard.screens.batch.page import figures_html
from dashboard.screens.today import vessel_list
from dashboard.wording import device
from ingest.model import BatchRecord, Device, HandSample, Placement, Report, Vessel
from tests.dashboard.conftest import NOW

SAMPLE = "Last hand sample"
HOUR = timedelta(hours=1)


def put(store, *, placed_h: float, **said: float):
    """A batch pitched 50 hours ago whose float spoke each hour since, and is said to sit in it for `placed_h` hours."""
    vessel = store.save(Vessel(name="Vessel 1"))
    record = store.save(BatchRecord(name="Pale", vessel_id=vessel.vessel_id, pitched_at=NOW - 50 * HOUR))
    store.save(Device(device_id="kelp-1", kind="float"))
    store.save(Placement(device_id="kelp-1", vessel_id=vessel.vessel_id, from_at=NOW - placed_h * HOUR))
    hours = range(1, 61)
    store.keep(
        [Report(device_id="kelp-1", measured_at=NOW - h * HOUR, received_at=NOW - h * HOUR, **said) for h in hours]
    )
    return record


def test_readings_before_a_place_are_offered_and_taken_in_with_one_tap(empty, page):
    store = empty.store
    record = put(store, placed_h=10.5, gravity_sg=1.05)
    shown = page("batch", id=record.batch_id)
    # Spoken each hour since pitching 50 hours ago: 50, of which 10 lie in the stay.
    assert any("40 readings of kelp-1 lie before its place here" in each.value for each in shown.get("html"))
    next(each for each in shown.button if each.label == "Take them in").click().run()
    assert not shown.exception
    assert store.readings_of(record.batch_id).height == 50
    assert before_their_place(store, record) == []
    store.undo()
    assert store.readings_of(record.batch_id).height == 10


def test_readings_that_are_left_out_are_never_offered_again(empty, page):
    store = empty.store
    record = put(store, placed_h=10.5, gravity_sg=1.05)
    shown = page("batch", id=record.batch_id)
    next(each for each in shown.button if each.label == "Leave them out, and ask no more").click().run()
    assert not shown.exception
    late = NOW - 45.5 * HOUR
    store.keep([Report(device_id="kelp-1", measured_at=late, received_at=NOW, gravity_sg=1.05)])
    assert before_their_place(store, record) == []
    assert store.readings_of(record.batch_id).height == 10
    store.undo()
    assert len(before_their_place(store, record)) == 1


def test_what_was_read_in_another_vessel_is_not_offered(empty):
    store = empty.store
    record = put(store, placed_h=10.5, gravity_sg=1.05)
    other = store.save(Vessel(name="Vessel 2"))
    until = NOW - 20.5 * HOUR
    store.save(Placement(device_id="kelp-1", vessel_id=other.vessel_id, from_at=NOW - 60 * HOUR, to_at=until))
    [late] = before_their_place(store, record)
    assert (late.count, late.first_at) == (10, NOW - 20 * HOUR)


def test_a_hand_sample_does_not_make_a_silent_float_look_fresh(empty, page):
    store = empty.store
    record = put(store, placed_h=50, gravity_sg=1.05)
    store.save(HandSample(batch_id=record.batch_id, at=NOW - HOUR / 60, value=1.05, unit="SG"))
    outlook = empty.outlooks.of(record.batch_id)
    facts = str(figures_html(outlook, Voice(now=NOW)))
    ages = {name: re.search(f"<dt>{name}</dt><dd><[a-z]+[^>]*>([^<]*)", facts)[1] for name in ("Last reading", SAMPLE)}
    assert ages == {"Last reading": "60\u202fmin ago", SAMPLE: "1\u202fmin ago"}


def test_header_tile_and_pages_tell_one_age_of_a_float_that_sent_late_what_it_had_kept(empty):
    store = empty.store
    vessel = store.save(Vessel(name="Vessel 1"))
    record = store.save(BatchRecord(name="Pale", vessel_id=vessel.vessel_id, pitched_at=NOW - 50 * HOUR))
    store.save(Device(device_id="kelp-1", kind="float"))
    store.save(Placement(device_id="kelp-1", vessel_id=vessel.vessel_id, from_at=NOW - 50 * HOUR))
    store.keep(
        [Report(device_id="kelp-1", measured_at=NOW - h * HOUR, received_at=NOW, gravity_sg=1.05) for h in range(3, 50)]
    )
    outlook = empty.outlooks.of(record.batch_id)
    [word] = store.device_statuses()
    say = Voice(now=NOW)
    tile = Standing(record, vessel, outlook, (word,), ())
    told = [
        say.ago(store.counts()["last_reading_at"]),
        re.search(r">([^<>]* ago)<", str(vessel_list.row(tile, say)))[1],
        re.search("<dt>Last reading</dt><dd><[a-z]+[^>]*>([^<]*)", str(figures_html(outlook, say)))[1],
    ]
    assert told == ["3\u202fh ago"] * 3
    assert f'title="{say.exact(word.measured_at)}"' in str(vessel_list.row(tile, say))
    assert f'data-exact="{say.exact(word.measured_at)}"' in str(figures_html(outlook, say))
    assert replace(tile, record=replace(record, pitched_at=NOW - HOUR)).read_at is None  # read of what was before it
    assert device.sentence(word, "Vessel 1", say).startswith("Last reading 3\u202fh ago, heard just now")


@pytest.mark.parametrize("address", ["batch", "today"])
def test_a_float_without_calibration_is_told_as_such_and_not_as_unheard(empty, page, address):
    record = put(empty.store, placed_h=50, inclination_deg=42.0, temperature_c=19.0)
    empty.outlooks.of(record.batch_id)
    shown = page(address, **({"id": record.batch_id} if address == "batch" else {}))
    text = " ".join(str(each.value) for each in shown.get("html")) + str([b.proto for b in shown.main])
    assert "nothing has been heard" not in text
    text = re.sub(r'<span class=\\*"whole\\*">([^<]*)</span>', r"\1", text)
    assert "Float kelp-1 is heard, but not calibrated: its inclination tells no gravity yet." in text
    assert address == "today" or "No gravity yet: what is heard from this vessel tells none." in text
