from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from analysis.evidence import Advice, EvenFall, NotBegun
from analysis.model import Assessment, Batch, Creep, Event, HandReading, Range
from analysis.planning.constraints import Plan
from analysis.planning.release import Asked, Release, release
from dashboard.queries.attention import needs_of
from dashboard.wording import voice_of
from ingest.model import BatchRecord, Preferences, Vessel
from ingest.monitoring.outlook import Outlook
from ingest.store.device_status import DeviceStatus

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
TODAY = date(2026, 11, 25)
SAY = voice_of(Preferences(time_zone="UTC"), NOW)
VESSEL = Vessel(vessel_id="v", name="Vessel 3", temperature_low_c=17.0, temperature_high_c=20.0)
WORD = DeviceStatus(device_id="f", kind="float", known=True, vessel_id="v", measured_at=NOW, received_at=NOW)


def outlook(plan: Plan | None = None, events: tuple[Event, ...] = (), **facts) -> Outlook:
    values = {
        "now": NOW,
        "phase": "steady",
        "finished": False,
        "stalled": False,
        "p_finished": 0.9,
        "finish": None,
        "held_since": None,
        "held_h": 10.0,
        "hold_met": False,
        "gravity_sg": Range(1.011, 1.012, 1.013),
        "terminal_gravity_sg": None,
        "remaining_fall_sg": None,
        "original_gravity_sg": None,
        "apparent_attenuation": 0.77,
        "temperature_c": 19.0,
        "evidence": (),
        "newest_reading_at": NOW,
    }
    pitched = NOW - timedelta(days=8)
    return Outlook(
        record=BatchRecord(name="Harbour Pale", vessel_id="v", pitched_at=pitched),
        vessel=VESSEL,
        batch=Batch(pitched_at=pitched, events=events),
        readings=pl.DataFrame(),
        assessment=Assessment(**{**values, **facts}),
        plan=plan or Plan(made_at=NOW),
        computed_at=NOW,
    )


def kinds(found: Outlook, *words: DeviceStatus) -> list[str]:
    return [need.kind for need in needs_of(found, words or (WORD,), SAY)]


def test_a_batch_that_goes_well_needs_nothing():
    assert kinds(outlook()) == []


def test_the_most_pressing_comes_first():
    silent = replace(WORD, silent=True, received_at=NOW - timedelta(hours=9))
    found = outlook(Plan(made_at=NOW, packaging_day=TODAY), phase="stalled", stalled=True, temperature_c=25.0)
    assert kinds(found, silent) == ["stalled", "package today", "silent", "temperature"]


def test_a_float_that_is_silent_since_the_batch_before_is_not_called_heard_and_not_calibrated():
    angle = replace(WORD, inclination_deg=41.0, gravity_sg=None, silent=True, received_at=NOW - timedelta(days=8))
    unread = {"phase": "lag", "gravity_sg": None, "newest_reading_at": None, "temperature_c": None}
    assert kinds(outlook(**unread), angle) == ["silent"]
    at = pl.DataFrame({"measured_at": [NOW], "gravity_sg": [None]})
    assert kinds(outlook(**unread, marked=at), replace(angle, silent=False)) == ["not calibrated"]


def test_what_to_do_about_a_stall_is_said_in_the_units_of_the_person():
    found = outlook(phase="stalled", stalled=True, advice=(Advice.HAND_SAMPLE, Advice.WARM))
    american = voice_of(Preferences(time_zone="UTC", temperature_unit="°F"), NOW)
    [metric], [imperial] = (needs_of(found, (WORD,), voice) for voice in (SAY, american))
    assert "warm the vessel by 2 to 3 °C" in metric.todo
    assert "warm the vessel by 4 to 5 °F" in imperial.todo


def test_a_float_in_doubt_and_a_batch_that_does_not_begin_want_somebody():
    doubt = outlook(phase="slowing", advice=(Advice.HAND_SAMPLE_OF_A_DOUBT,), evidence=(EvenFall(0.00035, 240.0),))
    [need] = needs_of(doubt, (WORD,), SAY)
    assert need.kind == "float in doubt"
    assert "drifting" in need.sentence
    assert "hand sample" in need.todo
    late = (Advice.SAMPLE_BEFORE_THE_FALL, Advice.PITCH_ANEW)
    [need] = needs_of(outlook(phase="lag", advice=late, evidence=(NotBegun(96.0, 1.051),)), (WORD,), SAY)
    assert need.kind == "not begun"
    assert "oxygen" in need.todo
    assert kinds(outlook(phase="lag", advice=(Advice.WAIT_FOR_THE_FALL,))) == []


def gate(found: Outlook) -> Release:
    asked = Asked(hold_h=48.0, hops_done=True, packaging_day=TODAY, today=TODAY)
    return release(found.assessment, found.batch, asked, now=NOW)


SURE = {
    "finished": True, "phase": "finished", "held_h": 90.0, "hand_sample_agrees": True,
    "hand_samples": (HandReading(NOW, 1.012),), "remaining_fall_sg": Range(0.0, 0.0002, 0.0006),
}  # fmt: skip


@pytest.mark.parametrize(("agrees", "asked"), [(None, True), (False, True), (True, False)])
def test_packaging_day_asks_for_a_hand_sample_until_one_agrees(agrees, asked):
    found = outlook(**{**SURE, "hand_sample_agrees": agrees})
    found = replace(found, plan=Plan(made_at=NOW, packaging_day=TODAY, release=gate(found)))
    [need] = needs_of(found, (WORD,), SAY)
    assert ("hand sample" in need.todo) is asked


def test_renewed_fall_says_not_to_package():
    creep = Creep(Range(0.001, 0.002, 0.003), NOW - timedelta(hours=9))
    [need] = needs_of(outlook(phase="creeping", creep=creep), (WORD,), SAY)
    assert need.kind == "renewed fall"
    assert "Do not package yet" in need.todo


@pytest.mark.parametrize("day", [TODAY, TODAY - timedelta(days=2)])
def test_hop_day_is_due_on_its_day_and_until_the_hops_are_in(day):
    plan = Plan(made_at=NOW, hop_day=day, hop_chance=0.9)
    assert kinds(outlook(plan)) == ["hop today"]
    assert kinds(outlook(plan, (Event("dry hop", NOW),))) == []


def test_the_second_dose_is_asked_for_on_its_own_day_and_not_for_the_first():
    hopped = (Event("dry hop", NOW - timedelta(days=2)),)
    later = Plan(made_at=NOW, hop_days=(TODAY - timedelta(days=2), TODAY + timedelta(days=1)), hop_chance=1.0)
    assert kinds(outlook(later, hopped)) == []
    today = Plan(made_at=NOW, hop_days=(TODAY - timedelta(days=2), TODAY), hop_chance=1.0)
    [need] = needs_of(outlook(today, hopped), (WORD,), SAY)
    assert need.sentence == "Dry hop today (dose 2 of 2)."
    assert kinds(outlook(today, (*hopped, Event("dry hop", NOW)))) == []


def test_hops_that_came_out_are_neither_asked_in_nor_out():
    plan = Plan(made_at=NOW, hop_days=(TODAY, TODAY), hops_out_day=TODAY, packaging_day=TODAY + timedelta(days=3))
    out = (Event("dry hop", NOW - timedelta(hours=2)), Event("hops out", NOW))
    assert kinds(outlook(plan, out)) == kinds(outlook(plan, out[1:])) == []


def test_tomorrow_is_not_today():
    tomorrow = TODAY + timedelta(days=1)
    assert kinds(outlook(Plan(made_at=NOW, hop_day=tomorrow, packaging_day=tomorrow))) == []


def test_a_packaged_batch_has_no_packaging_day_left():
    plan = Plan(made_at=NOW, packaging_day=TODAY)
    assert kinds(outlook(plan, (Event("package", NOW),))) == []


def test_a_forecast_alone_does_not_clear_packaging():
    [need] = needs_of(outlook(Plan(made_at=NOW, packaging_day=TODAY)), (WORD,), SAY)
    assert "not yet cleared" in need.sentence
    assert "hand sample" in need.todo


def test_packaging_day_sends_nobody_to_the_sheet_on_stale_readings():
    heard = NOW - timedelta(days=3)
    for newest, todo in ((NOW, "Follow the sheet."), (heard, "The newest reading is 3 days old")):
        found = outlook(**{**SURE, "newest_reading_at": newest})
        plan = Plan(made_at=NOW, packaging_day=TODAY, release=gate(found))
        [need] = [n for n in needs_of(replace(found, plan=plan), (WORD,), SAY) if n.kind == "package today"]
        assert need.todo.startswith(todo)
        assert ("not yet cleared" in need.sentence) is (newest == heard)


def test_packaging_day_names_what_a_batch_that_is_followed_by_hand_lacks():
    found = outlook(**{**SURE, "followed_by_hand": True})
    plan = Plan(made_at=NOW, packaging_day=TODAY, release=gate(found))
    [need] = needs_of(replace(found, plan=plan), (WORD,), SAY)
    assert "not yet cleared" in need.sentence
    assert "another degassed hand sample, at least 48 hours after the first" in need.todo


def test_a_renewed_fall_without_hops_does_not_speak_of_hops():
    [need] = needs_of(outlook(phase="creeping", falls_again=True), (WORD,), SAY)
    assert need.kind == "renewed fall"
    assert "hops" not in need.todo


def test_hops_come_out_on_their_day():
    plan = Plan(made_at=NOW, hops_out_day=TODAY, packaging_day=TODAY + timedelta(days=4))
    hopped = (Event("dry hop", NOW - timedelta(days=3)),)
    assert kinds(outlook(plan, hopped)) == ["hops out today"]
    assert kinds(outlook(plan, (*hopped, Event("hops out", NOW)))) == []


@pytest.mark.parametrize(
    ("celsius", "found"), [(16.4, ["temperature"]), (16.6, []), (20.4, []), (20.6, ["temperature"])]
)
def test_a_temperature_sends_nobody_to_the_cellar_for_a_trifle(celsius, found):
    assert kinds(outlook(temperature_c=celsius)) == found


def test_a_chilled_batch_is_not_called_too_cold():
    assert kinds(outlook(temperature_c=4.0, events=(Event("crash", NOW - timedelta(days=1)),))) == []


def test_a_low_battery_is_said_quietly():
    [need] = needs_of(outlook(), (replace(WORD, battery_days_left=3.0),), SAY)
    assert need.kind == "battery"
    assert not need.pressing


def test_a_vessel_that_nothing_measures_is_named():
    assert [n.kind for n in needs_of(outlook(newest_reading_at=None), (), SAY)] == ["unwatched"]


def test_a_batch_followed_by_hand_samples_alone_is_left_in_peace():
    assert [n.kind for n in needs_of(outlook(), (), SAY)] == []


def test_a_renewed_fall_asks_for_nothing_that_is_done():
    creep = Creep(Range(0.001, 0.002, 0.003), NOW - timedelta(hours=9))
    out = (Event("dry hop", NOW - timedelta(days=3)), Event("hops out", NOW - timedelta(hours=2)))
    [need] = needs_of(outlook(events=out, phase="creeping", creep=creep), (WORD,), SAY)
    assert "Take the hops out" not in need.todo
    assert "Wait until the gravity holds again" in need.todo
    packaged = (*out, Event("package", NOW))
    [need] = needs_of(outlook(events=packaged, phase="creeping", creep=creep), (WORD,), SAY)
    assert "Do not package" not in need.todo
    assert "may build pressure" in need.todo
