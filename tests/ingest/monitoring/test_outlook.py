from __future__ import annotations

import json
import threading
import time
from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

import ingest.monitoring.outlook
import ingest.monitoring.planned
from analysis.display_units import DisplayUnits
from analysis.evidence import NotJudged
from analysis.planning import Ended, Obstacle, Packaged
from analysis.planning.release import Condition, Release
from ingest.errors import EntryError
from ingest.model import (
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Preferences,
    Vessel,
)
from ingest.monitoring.alert_conditions import conditions
from ingest.monitoring.notifier import Notifier, verdict_message
from ingest.monitoring.outlook import Outlooks
from ingest.monitoring.planned import constraints_of
from ingest.monitoring.watcher import Watcher, assessment_record
from ingest.store.moving import move
from tests.ingest.monitoring.cellars import NOW, add_batch, said

CLEARED = Release(at=NOW, held_h=60.0, hold_h=48.0, reading_age=timedelta(0), conditions=())


def test_nothing_is_computed_again_without_a_new_reading(store):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    first = outlooks.of(record.batch_id, now=NOW)
    assert outlooks.of(record.batch_id, now=NOW + timedelta(seconds=30), fresh=True) is first


def test_a_new_reading_is_taken_up_when_it_is_asked_for_afresh(store):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    first = outlooks.of(record.batch_id, now=NOW)
    store.keep([said("Quay", record.pitched_at, 6 * 24 - 1)])
    assert outlooks.of(record.batch_id, now=NOW) is first  # it stands for a few seconds
    second = outlooks.of(record.batch_id, now=NOW, fresh=True)
    assert second.assessment.newest_reading_at > first.assessment.newest_reading_at


def test_an_entry_is_taken_up_at_once(store):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    assert [e.kind for e in outlooks.of(record.batch_id, now=NOW).batch.events] == ["pitch"]
    store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=NOW - timedelta(hours=4)))
    assert [e.kind for e in outlooks.of(record.batch_id, now=NOW).batch.events] == ["pitch", "dry hop"]


def test_a_page_leaves_new_readings_to_the_watcher_and_takes_up_entries_itself(store, monkeypatch):
    monkeypatch.setattr("ingest.monitoring.outlook._LEAST_REST_S", 0.0)
    monkeypatch.setattr("ingest.monitoring.outlook._SHARE_OF_A_CORE", 1e9)
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    first = outlooks.of(record.batch_id, now=NOW, wait=False)
    store.keep([said("Quay", record.pitched_at, 6 * 24 - 1)])
    assert outlooks.of(record.batch_id, now=NOW, wait=False) is first
    watched = outlooks.of(record.batch_id, now=NOW)
    assert watched.assessment.newest_reading_at > first.assessment.newest_reading_at
    assert outlooks.of(record.batch_id, now=NOW, wait=False) is watched
    store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=NOW - timedelta(hours=4)))
    events = outlooks.of(record.batch_id, now=NOW, wait=False).batch.events
    assert [e.kind for e in events] == ["pitch", "dry hop"]


def test_the_latest_is_never_computed(store):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    assert outlooks.latest(record.batch_id, now=NOW) is None
    computed = outlooks.of(record.batch_id, now=NOW)
    assert outlooks.latest(record.batch_id, now=NOW) is computed


HOPS_FIRST = {"plan": {"dry_hops": 2, "hop_interval_days": 2.0}}


def test_an_entry_shows_at_the_very_next_look_without_an_assessment(store, monkeypatch):
    """Screens and feeds ask `latest`; the watcher may be busy with other batches for a long while."""
    record = store.save(replace(add_batch(store, "Quay", 9), **HOPS_FIRST))
    outlooks = Outlooks(store)
    before = outlooks.of(record.batch_id, now=NOW)
    assert [(t.act, t.dose) for t in before.to_do()[:2]] == [("hops in", 1), ("hops in", 2)]
    monkeypatch.setattr("analysis.assess", lambda *_, **__: pytest.fail("assessed for a page"))
    store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=NOW))
    after = outlooks.latest(record.batch_id, now=NOW)
    assert [(t.act, t.dose) for t in after.to_do()] == [("hops in", 2), ("package", 1)]
    assert after.to_do()[0].day == NOW.date() + timedelta(days=2)
    assert after.computed_at >= before.computed_at
    assert after.assessment is before.assessment
    assert outlooks.latest(record.batch_id, now=NOW) is after
    store.undo()
    assert [t.dose for t in outlooks.latest(record.batch_id, now=NOW).to_do() if t.act == "hops in"] == [1, 2]
    store.save(EventRecord(batch_id=record.batch_id, kind="package", at=NOW))
    assert outlooks.latest(record.batch_id, now=NOW).to_do() == ()
    store.undo()
    store.save(replace(record, ended_at=NOW))
    assert outlooks.latest(record.batch_id, now=NOW).to_do() == ()


def test_an_entry_shows_while_another_thread_still_judges_it(store):
    record = add_batch(store, "Quay", 9)
    outlooks = Outlooks(store)
    outlooks.of(record.batch_id, now=NOW)
    store.save(EventRecord(batch_id=record.batch_id, kind="package", at=NOW))
    outlooks._locks.setdefault(record.batch_id, threading.Lock()).acquire()
    assert outlooks.of(record.batch_id, now=NOW, wait=False).to_do() == ()


def test_what_was_logged_while_the_cellar_was_looked_at_has_happened(store):
    """The watcher takes the time once for all batches; the plan it makes then stands for the hour."""
    record = add_batch(store, "Quay", 9)
    outlooks = Outlooks(store)
    at = NOW + timedelta(minutes=2)
    store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=at))
    outlook = outlooks.of(record.batch_id, now=NOW)
    assert outlook.plan.hop_days == (at.date(),)
    assert outlook.plan.hops_out_day == at.date() + timedelta(days=3)
    assert outlook.plan.hop_chance == 1.0  # what has happened, and no forecast of the same day


def test_nothing_is_cleared_for_packaging_by_readings_judged_before_the_entry(store, monkeypatch):
    record = store.save(replace(add_batch(store, "Quay", 9), plan={"dry_hops": 0}))
    cleared = ingest.monitoring.planned.steady_plan
    monkeypatch.setattr(
        "ingest.monitoring.planned.steady_plan",
        lambda *given, **more: replace(cleared(*given, **more), release=CLEARED),
    )
    outlooks = Outlooks(store)
    assert outlooks.of(record.batch_id, now=NOW).plan.may_package
    store.save(EventRecord(batch_id=record.batch_id, kind="feed", at=NOW - timedelta(hours=5)))
    for hours in (0, 2):  # the hour's new plan rests on the same old assessment
        assert not outlooks.latest(record.batch_id, now=NOW + timedelta(hours=hours)).plan.may_package
    assert outlooks.of(record.batch_id, now=NOW).plan.may_package


def test_readings_alone_cost_no_new_look_at_the_entries(store, monkeypatch):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    outlooks.of(record.batch_id, now=NOW)
    asked = []
    real = store.batch
    monkeypatch.setattr(store, "batch", lambda batch_id: asked.append(batch_id) or real(batch_id))
    for n in range(5):
        store.keep([said("Quay", record.pitched_at, 6 * 24 - 1 + n / 8)])
        outlooks.latest(record.batch_id, now=NOW)
    assert asked == []
    store.save(EventRecord(batch_id=record.batch_id, kind="note", at=NOW))
    for _ in range(5):
        outlooks.latest(record.batch_id, now=NOW)
    assert len(asked) == 1


def test_of_ended_batches_only_those_asked_for_last_are_kept_and_all_that_run(store, monkeypatch):
    monkeypatch.setattr(ingest.monitoring.outlook, "_ENDED_KEPT", 2)
    running = add_batch(store, "running", 1)
    ended = [add_batch(store, f"ended {n}", 1, ended=True) for n in range(4)]
    outlooks = Outlooks(store)
    for record in (running, *ended[:2]):
        outlooks.of(record.batch_id, now=NOW)
    assert outlooks.latest(ended[0].batch_id, now=NOW) is not None  # so the other one has waited longer
    for record in ended[2:]:
        assert outlooks.of(record.batch_id, now=NOW) is not None
    kept = {record.name for record in (running, *ended) if outlooks.latest(record.batch_id, now=NOW) is not None}
    assert kept == {"running", "ended 2", "ended 3"}
    assert outlooks.of(ended[0].batch_id, now=NOW) is not None  # judged anew
    store.save(replace(running, ended_at=NOW))
    later = time.monotonic() + 3700  # nobody has asked for more than an hour
    monkeypatch.setattr(ingest.monitoring.outlook.time, "monotonic", lambda: later)
    outlooks.of(ended[0].batch_id, now=NOW, fresh=True)
    outlooks.of(ended[1].batch_id, now=NOW)
    kept = {record.name for record in (running, *ended) if outlooks.latest(record.batch_id, now=NOW) is not None}
    assert kept == {"ended 0", "ended 1"}


def test_an_unknown_batch_has_no_outlook(store):
    assert Outlooks(store).of("batch-none", now=NOW) is None


def test_a_batch_without_readings_has_one_that_says_so(store):
    vessel = store.save(Vessel(name="Empty handed"))
    record = store.save(BatchRecord(name="Quiet", vessel_id=vessel.vessel_id, pitched_at=NOW - timedelta(days=1)))
    outlook = Outlooks(store).of(record.batch_id, now=NOW)
    assert outlook.assessment.gravity_sg is None
    assert outlook.plan.packaging_day is None
    assert outlook.plan.reason


def test_a_batch_that_has_ended_is_promised_no_date(store):
    record = add_batch(store, "Old one", 12, ended=True)
    outlooks = Outlooks(store)
    plan = outlooks.of(record.batch_id, now=NOW).plan
    assert (plan.hop_day, plan.packaging_day) == (None, None)
    assert isinstance(plan.reason, Ended)
    packaged_at = NOW - timedelta(hours=2)  # the day before, where it is just past midnight
    store.save(EventRecord(batch_id=record.batch_id, kind="package", at=packaged_at))
    assert outlooks.of(record.batch_id, now=NOW).plan.reason == Packaged(packaged_at.date())


def test_a_batchs_own_wishes_lie_over_the_cellars(store):
    record = BatchRecord(name="Own", vessel_id="v", pitched_at=NOW, hold_h=72, plan={"dry_hops": 2, "unknown": 1})
    constraints = constraints_of(record, Preferences(confidence=0.9, hold_h=36, contact_days=4))
    assert (constraints.hold_h, constraints.contact_days, constraints.confidence, constraints.dry_hops) == (
        72,
        4,
        0.9,
        2,
    )


def test_the_said_days_are_remembered_over_a_restart(store):
    record = add_batch(store, "Quay", 2.2)
    outlook = Outlooks(store).of(record.batch_id, now=NOW)
    store.add_assessment(assessment_record(outlook, NOW, DisplayUnits()))
    constraints = constraints_of(record, store.preferences())
    assert Outlooks(store)._said(record.batch_id, constraints) == (outlook.plan.hop_day, outlook.plan.packaging_day)
    assert outlook.plan.packaging_day is not None


def test_the_retained_verdict_follows_an_entry_at_the_watchers_next_look(store):
    record = store.save(replace(add_batch(store, "Quay", 9), plan={"dry_hops": 1}))
    told: list[dict] = []
    watches = Watcher(store, Outlooks(store), Notifier(store), lambda _, payload: told.append(json.loads(payload)))
    watches.look(NOW)
    assert told[-1]["hop_day"] is not None
    store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=NOW))
    watches.look(NOW + timedelta(seconds=5))
    assert told[-1]["hop_day"] is None
    assert told[-1]["packaging_day"] is not None
    store.save(EventRecord(batch_id=record.batch_id, kind="package", at=NOW))
    watches.look(NOW + timedelta(seconds=10))
    assert told[-1]["packaging_day"] is None
    store.undo(), store.undo()
    watches.look(NOW + timedelta(seconds=15))
    assert told[-1]["hop_day"] is not None


def test_while_it_is_too_early_no_message_has_a_date(store):
    record = store.save(replace(add_batch(store, "Young", 0.6), plan={"dry_hops": 1}))
    told: list[dict] = []
    outlooks = Outlooks(store)
    Watcher(store, outlooks, Notifier(store), lambda _, payload: told.append(json.loads(payload))).look(NOW)
    days = ("finish_p10", "finish_p50", "finish_p90", "hop_day", "packaging_day", "hop_chance", "packaging_chance")
    assert {name: told[-1][name] for name in days} == dict.fromkeys(days)
    assert told[-1]["reason"].startswith("Too early to give a date")
    outlook = outlooks.of(record.batch_id, now=NOW)
    assert outlook.to_do() == ()
    assert [c.kind for c in conditions(NOW, [outlook], [], store.preferences(), str) if c.state] == []


def test_a_release_ends_with_the_reading_that_it_rests_on_and_not_with_the_hour(store):
    record = add_batch(store, "Quay", 6)  # last heard of at half past, two hours before `NOW`
    outlooks = Outlooks(store)
    first = outlooks.of(record.batch_id, now=NOW)
    heard = first.assessment.newest_reading_at
    before, after = heard + timedelta(hours=24), heard + timedelta(hours=24, minutes=1)
    assert before.hour == after.hour
    fresh = [
        outlooks.latest(record.batch_id, now=at).plan.release.holds(Condition.READING_FRESH) for at in (before, after)
    ]
    assert fresh == [True, False]


def test_a_device_clock_that_runs_a_little_ahead_does_not_make_its_reading_one_of_the_future(store):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    heard = outlooks.of(record.batch_id, now=NOW).assessment.newest_reading_at
    for ahead, counts in ((timedelta(minutes=3), True), (timedelta(minutes=8), False)):
        outlooks.forget()
        outlook = outlooks.of(record.batch_id, now=heard - ahead)
        # The one before it was made half an hour earlier.
        assert outlook.assessment.newest_reading_at == (heard if counts else heard - timedelta(minutes=30))
        assert outlook.plan.release.holds(Condition.READING_FRESH)


@pytest.mark.parametrize("ahead", [timedelta(hours=2), timedelta(hours=72), timedelta(days=365)])
@pytest.mark.parametrize("days", [1.2, 6])
def test_a_row_of_the_future_makes_no_hold_and_does_not_stop_the_clock(store, days, ahead):
    record = add_batch(store, "Quay", days)
    before = Outlooks(store).of(record.batch_id, now=NOW).assessment
    odd = replace(said("Quay", record.pitched_at, days * 24 - 2.5), measured_at=NOW + ahead, received_at=NOW)
    store.keep([odd])
    outlooks = Outlooks(store)
    after = outlooks.of(record.batch_id, now=NOW)
    assert after.assessment.newest_reading_at == before.newest_reading_at
    assert (after.assessment.phase, after.assessment.held_h) == (before.phase, before.held_h)
    assert not after.plan.may_package
    # Its time comes, and no other reading has come after it.
    due = outlooks.of(record.batch_id, now=NOW + ahead + timedelta(minutes=1), fresh=True)
    assert due.assessment.newest_reading_at == NOW + ahead
    outlooks.forget()
    # What is read now is not the newest row that is kept, and counts all the same.
    store.keep([said("Quay", record.pitched_at, days * 24 + 0.25)])
    later = outlooks.of(record.batch_id, now=NOW + timedelta(minutes=20), fresh=True)
    assert later.assessment.now == record.pitched_at + timedelta(hours=days * 24 + 0.25)


@pytest.mark.parametrize("jump", [timedelta(hours=2), -timedelta(hours=2)])
def test_a_clock_that_jumps_by_two_hours_releases_nothing_and_adds_no_hold(store, jump):
    record = add_batch(store, "Quay", 6)
    usual = Outlooks(store).of(record.batch_id, now=NOW)
    jumped = Outlooks(store).of(record.batch_id, now=NOW + jump)
    assert jumped.assessment.held_h <= usual.assessment.held_h
    assert not jumped.plan.may_package


def test_another_calibration_of_the_float_is_known_to_the_gate(store):
    record = add_batch(store, "Quay", 6)
    at = NOW - timedelta(hours=20)
    store.save(Device(device_id="another float", kind="float"))
    for device, since in (("float Quay", at), ("float Quay", None), ("another float", at)):
        store.save(CalibrationRecord(device_id=device, kind="gravity offset", from_at=since, points=((1.010, 1.010),)))
    assert store.batch(record.batch_id).float_changed_at == (at,)


def test_a_sample_that_kept_its_gas_is_known_to_the_gate(store):
    record = add_batch(store, "Quay", 6)
    for hours, degassed in ((5, False), (4, True)):
        at = NOW - timedelta(hours=hours)
        store.save(HandSample(batch_id=record.batch_id, at=at, value=1.012, temperature_c=20.0, degassed=degassed))
    samples = Outlooks(store).of(record.batch_id, now=NOW).assessment.hand_samples
    assert [one.at for one in samples] == [NOW - timedelta(hours=4)]


def test_a_sample_that_is_entered_while_its_batch_is_judged_is_in_the_readings_and_in_the_batch(store, monkeypatch):
    record = add_batch(store, "Quay", 6)
    calibrated, entered = store.calibrated, []

    def meanwhile(batch_id):
        if not entered:
            at = NOW - timedelta(hours=4)
            entered.append(store.save(HandSample(batch_id=batch_id, at=at, value=1.010, temperature_c=20.0)))
        return calibrated(batch_id)

    monkeypatch.setattr(store, "calibrated", meanwhile)
    outlook = Outlooks(store).of(record.batch_id, now=NOW)
    by_hand = outlook.assessment.marked.filter(pl.col("by_hand"))["measured_at"].to_list()
    assert [e.at for e in outlook.batch.events if e.kind == "sample"] == by_hand == [NOW - timedelta(hours=4)]


def test_an_entry_outlives_the_plan_that_another_thread_makes_for_the_new_hour(store, monkeypatch):
    """Every event that was saved is in what is shown next, however many threads bring plans up to the hour."""
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    outlooks.of(record.batch_id, now=NOW)
    real = ingest.monitoring.planned.steady_plan

    def slowly(*given, **more):
        time.sleep(0.003)
        return real(*given, **more)

    monkeypatch.setattr(ingest.monitoring.planned, "steady_plan", slowly)
    stop, lost = threading.Event(), []

    def turn_the_hours(first: int) -> None:
        n = first
        while not stop.is_set():
            outlooks.latest(record.batch_id, now=NOW + timedelta(hours=n % 12))
            n += 1

    threads = [threading.Thread(target=turn_the_hours, args=(n,)) for n in range(3)]
    for thread in threads:
        thread.start()
    for n in range(25):
        event = store.save(EventRecord(batch_id=record.batch_id, kind="note", at=NOW - timedelta(minutes=n + 1)))
        outlooks.latest(record.batch_id, now=NOW)
        time.sleep(0.004)
        shown = outlooks.latest(record.batch_id, now=NOW)
        if event.at not in {e.at for e in shown.batch.events}:
            lost.append(n)
    stop.set()
    for thread in threads:
        thread.join()
    assert lost == []


def test_a_hold_of_nothing_is_refused_where_it_is_entered(store):
    record = add_batch(store, "Quay", 1.2)
    for entry in (replace(record, hold_h=0.0), Preferences(hold_h=0.0)):
        with pytest.raises(EntryError, match="0 is out of range") as refused:
            store.save(entry)
        assert refused.value.field == "hold_h"


def test_a_stored_hold_of_nothing_is_survived_and_said_on_its_batch(store, monkeypatch):
    monkeypatch.setattr("ingest.store.entries.check_hold_h", lambda _: None)  # as an earlier version took it in
    odd = store.save(replace(add_batch(store, "Odd", 9), hold_h=0.0))
    sound = add_batch(store, "Sound", 6)
    monkeypatch.undo()
    told = {o.record.batch_id: o for o in Watcher(store, Outlooks(store), Notifier(store)).look(NOW)}
    assert set(told) == {odd.batch_id, sound.batch_id}
    assert any("0 hours, cannot be used; 48 hours count instead" in doubt for doubt in told[odd.batch_id].doubts)
    assert told[sound.batch_id].doubts == ()
    assert told[odd.batch_id].batch.hold_h == 48
    assert constraints_of(odd, store.preferences()).hold_h == 48


def test_a_batch_that_cannot_be_judged_clears_nothing_and_says_so_while_others_are_judged(store, monkeypatch):
    odd, sound = add_batch(store, "Odd", 9), add_batch(store, "Sound", 6)
    odd = store.save(replace(odd, plan={"rest_days": -5.0}))
    outlooks = Outlooks(store)
    told = {o.record.batch_id: o for o in Watcher(store, outlooks, Notifier(store)).look(NOW)}
    assert told[sound.batch_id].assessment.gravity_sg is not None
    for hours in (0, 2):
        shown = outlooks.of(odd.batch_id, now=NOW + timedelta(hours=hours))
        assert not shown.plan.may_package
        assert shown.plan.reason is Obstacle.NOT_JUDGED
        assert shown.assessment.evidence == (NotJudged(),)
        assert "could not be judged" in shown.doubts[0]
    mended = outlooks.of(store.save(replace(odd, plan={})).batch_id, now=NOW)
    assert mended.assessment.gravity_sg is not None
    assert mended.doubts == ()


def test_what_was_read_in_another_vessel_raises_no_alarm_in_the_one_that_it_moved_into(store):
    record = add_batch(store, "Quay", 6)
    cold = store.save(Vessel(vessel_id="cold", name="Cold tun", temperature_low_c=1.0, temperature_high_c=4.0))
    move(store, record, "cold", NOW - timedelta(hours=1), devices_too=True, event=None)
    outlook = Outlooks(store).of(record.batch_id, now=NOW)
    assert (outlook.vessel, outlook.assessment.temperature_c, outlook.temperature_here_c) == (cold, 20.0, None)
    assert states(outlook) == [None]
    store.keep([replace(said("Quay", record.pitched_at, 143.5), gravity_sg=1.012)])
    there = Outlooks(store).of(record.batch_id, now=NOW)
    assert there.temperature_here_c == 20.0
    assert states(there) == [True]


def states(outlook) -> list[bool | None]:
    """Whether the temperature is told to be outside its range."""
    found = conditions(NOW, [outlook], [], Preferences(), lambda device_id: device_id)
    return [one.state for one in found if one.kind == "temperature outside its range"]


def test_after_a_hand_sample_the_message_tells_the_gravity_of_the_dots(store):
    record = add_batch(store, "Quay", 6)
    store.save(HandSample(batch_id=record.batch_id, at=NOW - timedelta(hours=3), value=1.0145, temperature_c=20.0))
    outlook = Outlooks(store).of(record.batch_id, now=NOW)
    marked = outlook.assessment.marked.filter(pl.col("measured_at") > NOW - timedelta(hours=12))
    dots = marked.filter(~pl.col("by_hand"))["gravity_sg"].median()
    said = json.loads(verdict_message(outlook, DisplayUnits())[1])
    assert dots == pytest.approx(1.0145, abs=0.0005)  # the float said 1.012
    assert said["gravity_sg"] == pytest.approx(dots, abs=0.0004)
    assert said["float_gravity_sg"] is None


def test_a_fault_that_passes_does_not_stand(store, monkeypatch):
    record = add_batch(store, "Quay", 6)
    outlooks = Outlooks(store)
    clock = [1000.0]
    monkeypatch.setattr(ingest.monitoring.outlook.time, "monotonic", lambda: clock[0])
    tries, sound = [], ingest.monitoring.outlook.analysis.assess

    def fails(readings, *arguments, **more):
        if not readings.is_empty():  # what stands in for a batch that cannot be judged has none
            tries.append(clock[0] - 1000)
            if clock[0] < 1040:
                raise MemoryError
        return sound(readings, *arguments, **more)

    monkeypatch.setattr(ingest.monitoring.outlook.analysis, "assess", fails)
    for _ in range(60):
        shown = outlooks.of(record.batch_id, now=NOW)
        clock[0] += 1
    assert tries == [0, 5, 15, 35, 75][: len(tries)]
    assert shown.plan.reason is Obstacle.NOT_JUDGED
    for _ in range(60):
        shown = outlooks.of(record.batch_id, now=NOW)
        clock[0] += 1
    assert tries == [0, 5, 15, 35, 75]
    assert shown.assessment.gravity_sg is not None
    assert shown.doubts == ()
