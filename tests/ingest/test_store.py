from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest import store as store_module
from ingest import store_intake
from ingest.errors import EntryError, StoreError, StoreInUse, StoreTooNew
from ingest.model import (
    NO_CLOCK,
    AssessmentRecord,
    BatchRecord,
    Device,
    HandSample,
    Placement,
    Rejection,
    Report,
    Vessel,
    Yeast,
)
from ingest.store import AS_SENT, Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


def report(n: int = 0, **said: object) -> Report:
    at = T + n * timedelta(minutes=15)
    given: dict[str, object] = {"device_id": "float-1", "measured_at": at, "received_at": at, "gravity_sg": 1.05}
    return Report(**{**given, **said})  # type: ignore[arg-type]


def as_sent(store: Store, device_id: str = "float-1") -> list[dict[str, object]]:
    return store.readings_as_sent(device_id).to_dicts()


@pytest.fixture
def store():
    with Store.in_memory() as opened:
        yield opened


# -- the file


def test_a_new_cellar_is_made_with_its_folder_and_found_again(tmp_path):
    with Store.open(tmp_path / "deep" / "cellar") as store:
        assert store.path == tmp_path / "deep" / "cellar" / "tunroom.duckdb"
        store.keep([report()])
    with Store.open(tmp_path / "deep" / "cellar" / "tunroom.duckdb") as store:
        assert store.counts()["readings"] == 1


def test_a_second_store_on_one_file_names_this_process(tmp_path):
    with Store.open(tmp_path), pytest.raises(StoreInUse, match=rf"process {os.getpid()}.*--data"):
        Store.open(tmp_path)
    Store.open(tmp_path).close()  # free again


def test_a_second_process_is_told_the_first_ones_number(tmp_path):
    script = "import sys; from pathlib import Path; from ingest.store import Store; Store.open(Path(sys.argv[1]))"
    with Store.open(tmp_path):
        second = subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True)
    assert second.returncode != 0
    assert f"StoreInUse: {tmp_path / 'tunroom.duckdb'} is in use by process {os.getpid()}" in second.stderr


def test_a_file_of_a_later_version_is_refused_and_left_alone(tmp_path):
    with Store.open(tmp_path) as store, store._file.writing() as cursor:
        cursor.execute("INSERT INTO schema_version VALUES (999, 'From the future.', now()::TIMESTAMP)")
    with pytest.raises(StoreTooNew, match=r"tables 999.*Upgrade tunroom"):
        Store.open(tmp_path)
    with pytest.raises(StoreTooNew):  # the refusal let go of the file
        Store.open(tmp_path)


def test_a_file_that_is_no_cellar_is_refused_and_left_as_it_is(tmp_path):
    path = tmp_path / "diary.duckdb"
    path.write_bytes(b"Dear diary" * 1000)
    with pytest.raises(StoreError, match=r"no cellar of tunroom.*left as it is"):
        Store.open(path)
    assert path.read_bytes() == b"Dear diary" * 1000


def test_a_damaged_file_is_refused_with_what_to_do(tmp_path):
    with Store.open(tmp_path) as store:
        store.keep([report(n) for n in range(100)])
        path = store.path
    damaged = bytearray(path.read_bytes())
    damaged[20:4000] = bytes(3980)
    path.write_bytes(damaged)
    with pytest.raises(StoreError, match=r"is damaged.*import your last export"):
        Store.open(tmp_path)


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match="file cannot be used"):
        Store.open(tmp_path / "file")


def test_close_may_be_called_twice_and_calls_after_it_say_so():
    store = Store.in_memory()
    store.close()
    store.close()
    with pytest.raises(StoreError, match="closed"):
        store.keep([report()])


# -- keeping reports


def test_every_value_comes_back_as_it_was_sent(store):
    sent = report(
        measured_at=T + timedelta(microseconds=123_456),
        received_at=T + timedelta(seconds=7),
        inclination_deg=45.123456789,
        gravity_sg=1.0123,
        temperature_c=19.0625,
        battery_v=3.87,
        battery_pct=81.0,
        signal_dbm=-71.0,
        sequence=2**40,
        extra={"firmware": "Ärger 2", "list": [1, None, {"a": 0.1}]},
    )
    store.keep([sent])
    [row] = as_sent(store)
    assert row["extra"] == '{"firmware": "Ärger 2", "list": [1, null, {"a": 0.1}]}'
    for name in ("measured_at", "inclination_deg", "gravity_sg", "temperature_c", "battery_v", "battery_pct"):
        assert row[name] == getattr(sent, name)
    assert (row["signal_dbm"], row["sequence"], row["time_flag"]) == (-71.0, 2**40, None)
    assert abs(row["received_at"] - sent.received_at) < timedelta(seconds=1)
    assert store.readings_as_sent("float-1").schema == AS_SENT
    assert store.readings_as_sent("nobody").schema == AS_SENT


@given(st.floats(min_value=0.9, max_value=1.3), st.floats(min_value=-40, max_value=110))
@settings(max_examples=25, deadline=None)
def test_any_number_survives_the_file_to_the_last_bit(gravity_sg, temperature_c):
    with Store.in_memory() as store:
        store.keep([report(gravity_sg=gravity_sg, temperature_c=temperature_c)])
        [row] = as_sent(store)
    assert (row["gravity_sg"], row["temperature_c"]) == (gravity_sg, temperature_c)


@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 30)), min_size=1, max_size=40),
    st.randoms(use_true_random=False),
)
@settings(max_examples=25, deadline=None)
def test_redelivery_in_any_order_and_grouping_keeps_one_copy(sent, shuffle):
    reports = [report(n, device_id=device, gravity_sg=1.0 + n / 1000) for device, n in sent]
    again = reports * 3
    shuffle.shuffle(again)
    with Store.in_memory() as store:
        new = 0
        while again:
            size = shuffle.randint(1, 20)
            new += store.keep(again[:size])
            again = again[size:]
        assert new == len(set(sent)) == store.counts()["readings"]
        assert store.rejections() == []
        kept = {(d, r["measured_at"]) for d in "abc" for r in as_sent(store, d)}
    assert kept == {(r.device_id, r.measured_at) for r in reports}


values = st.none() | st.sampled_from([1.01, 1.02])
parts = st.builds(
    lambda device, n, gravity, temperature, battery: report(
        n, device_id=device, gravity_sg=gravity, temperature_c=temperature, battery_v=battery
    ),
    st.sampled_from("ab"),
    st.integers(0, 3),
    values,
    values,
    values,
)


@given(st.lists(st.lists(parts, max_size=8), max_size=6), st.booleans())
@settings(max_examples=40, deadline=None)
def test_parts_in_any_batches_give_what_a_plain_dictionary_gives(batches, settled):
    names = ("gravity_sg", "temperature_c", "battery_v")
    expected: dict[tuple[str, datetime], dict[str, float]] = {}
    contradicting = set()
    with Store.in_memory() as store:
        for number, batch in enumerate(batches):
            sent = [replace(r, topic="t", payload=f"{number}.{n}".encode()) for n, r in enumerate(batch)]
            for one in sent:
                reading = expected.setdefault((one.device_id, one.measured_at), {})
                for name in names:
                    value = getattr(one, name)
                    if value is not None and reading.setdefault(name, value) != value:
                        contradicting.add(one.payload)
            store.keep(sent)
            if settled:
                with store._file.writing() as cursor:
                    store_intake.settle(cursor)
        kept = {
            (device, row["measured_at"]): {name: row[name] for name in names if row[name] is not None}
            for device in "ab"
            for row in as_sent(store, device)
        }
        assert kept == expected
        assert {r.payload for r in store.rejections()} == contradicting


def test_quantities_that_arrive_apart_become_one_reading(store):
    assert store.keep([report(gravity_sg=1.04)]) == 1
    assert store.keep([report(gravity_sg=None, temperature_c=20.5)]) == 0
    assert store.keep([report(gravity_sg=None, battery_v=3.9, extra={"a": 1}), report(1)]) == 1
    assert store.keep([report(gravity_sg=None, extra={"b": 2})]) == 0
    first, second = as_sent(store)
    assert (first["gravity_sg"], first["temperature_c"], first["battery_v"]) == (1.04, 20.5, 3.9)
    assert first["extra"] == '{"a": 1, "b": 2}'
    assert second["temperature_c"] is None
    [word] = store.last_words()
    assert word.temperature_c == 20.5
    assert store.rejections() == []


def test_a_contradicting_value_is_kept_as_rejected_with_its_bytes_and_the_first_stays(store):
    store.keep([report(gravity_sg=1.048)])
    second = report(gravity_sg=1.05, temperature_c=20.0, topic="cellar/float-1", payload=b'{"gravity_sg": 1.05}\xff')
    for _ in range(2):  # delivered again, it is still one conflict
        store.keep([second])
    [row] = as_sent(store)
    assert (row["gravity_sg"], row["temperature_c"]) == (1.048, 20.0)
    [conflict] = store.rejections()
    assert (conflict.topic, conflict.payload) == ("cellar/float-1", b'{"gravity_sg": 1.05}\xff')
    [fault] = conflict.faults
    assert fault.startswith("$.gravity_sg: conflicts with 1.048 already kept")


def test_a_conflict_within_one_batch_is_seen_too(store):
    store.keep([report(gravity_sg=1.048), report(gravity_sg=1.05, topic="t", payload=b"second")])
    assert [row["gravity_sg"] for row in as_sent(store)] == [1.048]
    assert [r.payload for r in store.rejections()] == [b"second"]


def test_the_bytes_of_a_conflict_are_those_of_the_message_that_contradicts(store):
    store.keep([report(gravity_sg=None, temperature_c=20.0)])
    batch = [
        report(gravity_sg=1.05, topic="gravity", payload=b"1.05"),  # completes
        report(gravity_sg=None, temperature_c=21.0, topic="temperature", payload=b"21"),  # contradicts
        report(gravity_sg=None, temperature_c=20.0, topic="temperature", payload=b"20"),  # the first, delivered again
    ]
    assert store.keep(batch) == 0
    assert [(r.topic, r.payload) for r in store.rejections()] == [("temperature", b"21")]
    assert (as_sent(store)[0]["gravity_sg"], as_sent(store)[0]["temperature_c"]) == (1.05, 20.0)
    assert store.last_words()[0].temperature_c == 20.0


def test_a_clock_that_stands_still_costs_neither_bytes_nor_time(store):
    still = [report(gravity_sg=1.0 + n / 10_000, topic="t", payload=str(n).encode()) for n in range(1500)]
    began = time.perf_counter()
    assert store.keep(still) == 1
    assert time.perf_counter() - began < 10
    assert len(store.rejections(limit=2000)) == 1499


def test_a_counter_identifies_a_report_without_a_clock(store):
    def counted(seconds: int, **said: object) -> Report:
        at = T + timedelta(seconds=seconds)
        return report(measured_at=at, received_at=at, time_flag=NO_CLOCK, **said)

    assert store.keep([counted(0, sequence=7)]) == 1
    assert store.keep([counted(40_000, sequence=7)]) == 0  # delivered again, received later
    assert store.keep([counted(40_001, sequence=8)]) == 1
    assert store.keep([counted(50_000, sequence=7, gravity_sg=1.03)]) == 1  # the counter began again
    assert store.keep([counted(40 * 86_400, sequence=8)]) == 1  # too long ago to be the same
    pack = [counted(1, sequence=3), counted(1, sequence=4), counted(1, sequence=4)]
    assert store.keep(pack) == 2  # read at one instant, and one of them twice
    assert store.counts()["readings"] == 6
    assert store.rejections() == []


def test_a_device_without_clock_and_counter_keeps_each_report(store):
    bare = [report(n, time_flag=NO_CLOCK) for n in range(3)]
    assert store.keep(bare) == 3


@pytest.mark.parametrize(
    ("said", "path"),
    [
        ({"measured_at": datetime(1969, 1, 1, tzinfo=UTC)}, "$.measured_at"),
        ({"measured_at": datetime(2200, 1, 1, tzinfo=UTC)}, "$.measured_at"),
        ({"sequence": 2**63}, "$.sequence"),
        ({"sequence": 1.5}, "$.sequence"),
        ({"gravity_sg": float("inf")}, "$.gravity_sg"),
        ({"temperature_c": float("nan")}, "$.temperature_c"),
        ({"battery_v": "3.9"}, "$.battery_v"),
    ],
)
def test_what_the_tables_cannot_hold_is_rejected_and_never_stops_the_rest(store, said, path):
    assert store.keep([report(**said, topic="t", payload=b"bytes"), report(1)]) == 1
    [rejection] = store.rejections()
    assert rejection.payload == b"bytes"
    assert rejection.faults[0].startswith(path)


def test_a_flood_of_made_up_device_ids_is_rejected_at_last_and_known_devices_go_on(store, monkeypatch):
    monkeypatch.setattr(store_module, "MOST_DEVICES", 5)
    assert store.keep([report(n, device_id=f"made-up-{n}") for n in range(8)]) == 5
    assert store.keep([report(9, device_id="made-up-2"), report(9, device_id="made-up-9")]) == 1
    assert len(store.rejections()) == 4
    assert "would be device 6" in store.rejections()[0].faults[0]


def test_two_bad_messages_that_drew_one_id_are_both_kept(store):
    first = Rejection(rejection_id="r", topic="t", payload=b"one", received_at=T, faults=("a",))
    second = replace(first, payload=b"two")
    store.keep([], [first, second])
    store.keep([], [first, second])  # given again
    store.keep([], [replace(first, payload=b"three")])
    payloads = [r.payload for r in store.rejections()]
    assert {b"one", b"two", b"three"} <= set(payloads)
    assert payloads.count(b"one") == 1
    assert len({r.rejection_id for r in store.rejections()}) == len(payloads)


@given(st.text(st.characters(codec=None), min_size=1, max_size=8), st.binary(max_size=20))
@settings(max_examples=40, deadline=None)
def test_any_text_and_any_bytes_can_be_kept(text, payload):
    with Store.in_memory() as store:
        sent = report(device_id=text, time_flag=text, extra={text: [text]})
        bad = Rejection(topic=text, payload=payload, received_at=T, faults=(text,))
        assert store.keep([sent], [bad]) == 1
        assert store.keep([sent], [bad]) == 0
        store.save(Device(device_id=text, kind="float"))
        store.set_note(text, text)
        [kept] = store.rejections()
        assert kept.payload == payload
        assert len(store.device_ids()) == 1
        store.undo()


def test_sorting_readings_away_changes_nothing_that_can_be_seen(store, monkeypatch):
    monkeypatch.setattr(store_intake, "SETTLE_AT", 50)
    store._settle_at = 50
    shuffled = [report(n, device_id=f"float-{n % 3}", gravity_sg=1 + n / 10_000) for n in range(120)]
    random.Random(5).shuffle(shuffled)
    for start in range(0, 120, 20):
        store.keep(shuffled[start : start + 20])
    [(old, new)] = store._file.read("SELECT (SELECT count(*) FROM report_old), (SELECT count(*) FROM report_new)")
    assert (old, new) == (120, 0)
    assert store.keep(shuffled) == 0
    assert store.keep([replace(r, temperature_c=20.0) for r in shuffled]) == 0
    rows = [row for d in range(3) for row in as_sent(store, f"float-{d}")]
    assert {(row["measured_at"], row["gravity_sg"], row["temperature_c"]) for row in rows} == {
        (r.measured_at, r.gravity_sg, 20.0) for r in shuffled
    }
    assert store.counts()["readings"] == 120


def test_a_span_of_readings_includes_both_ends(store):
    store.keep([report(n) for n in range(10)])
    some = store.readings_as_sent("float-1", since=report(2).measured_at, until=report(5).measured_at)
    assert some["measured_at"].to_list() == [report(n).measured_at for n in range(2, 6)]


# -- last words


def test_last_words_are_the_same_after_the_cellar_is_opened_again(tmp_path):
    with Store.open(tmp_path) as store:
        store.save(Device(device_id="float-1", kind="float"))
        store.keep([report(n, temperature_c=20.0 + n, battery_v=4.0, signal_dbm=-70.0) for n in range(100)])
        store.keep([report(50, device_id="new-probe", gravity_sg=None, temperature_c=4.0)])
        store.keep([report(51, device_id="new-float", gravity_sg=None, inclination_deg=40.0)])
        before = store.last_words()
    with Store.open(tmp_path) as store:
        assert store.last_words() == before
    assert [(w.device_id, w.kind, w.known) for w in before] == [
        ("float-1", "float", True),
        ("new-float", "float", False),
        ("new-probe", "probe", False),
    ]
    assert before[0].temperature_c == 119.0
    assert before[0].usual_interval_s == 900.0


def test_silence_is_longer_than_three_usual_intervals(store):
    now = datetime.now(UTC).replace(microsecond=0)

    def heard(device_id: str, minutes_ago: float) -> list[Report]:
        times = [now - timedelta(minutes=minutes_ago) - n * timedelta(minutes=10) for n in range(5, -1, -1)]
        return [report(device_id=device_id, measured_at=t, received_at=t) for t in times]

    store.keep(heard("late", 29) + heard("silent", 31) + [report(device_id="once")])
    assert {w.device_id: w.silent for w in store.last_words()} == {"late": False, "silent": True, "once": False}


@pytest.mark.parametrize(
    ("volts_a_day", "noise_v", "low", "high"),
    [
        (0.0042, 0.004, 140, 250),  # slow and noisy: (4.12 − 3.3 − 20 days' fall) / 0.0042 ≈ 175 days
        (0.05, 0.004, 0.0, 5.0),
        (0.0, 0.004, None, None),
        (0.0002, 0.02, None, None),  # a fall that drowns in its noise
    ],
)
def test_battery_days_are_told_only_where_the_fall_is_clear(store, volts_a_day, noise_v, low, high):
    rng = random.Random(3)
    sent = []
    for n in range(20 * 24):
        at = T + n * HOUR
        volts = 4.12 - volts_a_day * n / 24 + rng.gauss(0, noise_v)
        sent.append(report(measured_at=at, received_at=at, battery_v=round(volts, 3)))
    store.keep(sent)
    [word] = store.last_words()
    if low is None:
        assert word.battery_days_left is None
    else:
        assert low <= word.battery_days_left <= high


def test_a_recharged_battery_starts_a_new_line(store):
    days = [3.6 - 0.02 * n for n in range(10)] + [4.2 - 0.02 * n for n in range(10)]
    store.keep([report(n * 96, battery_v=v) for n, v in enumerate(days)])
    [word] = store.last_words()
    assert word.battery_days_left == pytest.approx((4.02 - 3.3) / 0.02, rel=0.01)


# -- batches


@pytest.fixture
def cellar(store):
    store.save(Vessel(vessel_id="v1", name="Vessel 1"))
    store.save(Device(device_id="float-1", kind="float", corrects_temperature=True))
    store.save(BatchRecord(batch_id="b1", name="First", vessel_id="v1", pitched_at=T, ended_at=T + 10 * HOUR))
    store.save(BatchRecord(batch_id="b2", name="Second", vessel_id="v1", pitched_at=T + 20 * HOUR))
    store.save(Placement(device_id="float-1", vessel_id="v1", from_at=T - HOUR))
    store.keep([report(n) for n in range(-4, 4 * 30)])
    return store


def test_a_reading_finds_its_batch_by_time(cellar):
    first, second = cellar.readings_of("b1"), cellar.readings_of("b2")
    assert (first["measured_at"].min(), first["measured_at"].max()) == (T, T + 10 * HOUR - HOUR / 4)
    assert second["measured_at"].min() == T + 20 * HOUR
    assert cellar.newest_reading_at("b2") == report(119).measured_at
    assert cellar.batch_in("v1", T + HOUR) == cellar.get(BatchRecord, "b1")
    assert cellar.batch_in("v1", T + 15 * HOUR) is None
    assert [b.batch_id for b in cellar.active_batches()] == ["b2"]
    assert [b.batch_id for b in cellar.finished_batches()] == ["b1"]


def test_a_float_that_is_moved_at_an_instant_counts_in_one_vessel_only(cellar):
    cellar.save(Vessel(vessel_id="v2", name="Vessel 2"))
    cellar.save(BatchRecord(batch_id="b3", name="Third", vessel_id="v2", pitched_at=T))
    cellar.save(replace(cellar.all(Placement)[0], to_at=T + 5 * HOUR))
    cellar.save(Placement(device_id="float-1", vessel_id="v2", from_at=T + 5 * HOUR))
    assert cellar.readings_of("b1")["measured_at"].max() == T + 5 * HOUR - HOUR / 4
    assert cellar.readings_of("b3")["measured_at"].min() == T + 5 * HOUR


def test_readings_until_a_moment_leave_later_ones_out(cellar):
    assert cellar.readings_of("b1", until=T + HOUR)["measured_at"].max() == T + HOUR


def test_a_batch_knows_its_yeasts_range_and_what_was_done_to_it(cellar):
    cellar.save(Yeast(name="Marrow", attenuation_low=0.7, attenuation_high=0.78, diastatic=True))
    cellar.save(replace(cellar.get(BatchRecord, "b2"), yeast="Marrow", hold_h=72.0))
    cellar.save(HandSample(batch_id="b2", at=T + 25 * HOUR, value=1.02))
    batch = cellar.batch("b2")
    assert batch.expected_attenuation == (0.7, 0.78)
    assert batch.diastatic
    assert batch.hold_h == 72.0
    assert [(e.kind, e.gravity_sg) for e in batch.events] == [("pitch", None), ("sample", pytest.approx(1.02))]


def test_a_second_float_in_a_batch_counts_as_a_moved_float(cellar):
    cellar.save(replace(cellar.all(Placement)[0], to_at=T + 22 * HOUR))
    cellar.save(Device(device_id="float-2", kind="float"))
    cellar.save(Placement(device_id="float-2", vessel_id="v1", from_at=T + 23 * HOUR))
    assert [(e.kind, e.at) for e in cellar.batch("b2").events][1:] == [("float moved", T + 23 * HOUR)]


def test_a_batch_that_is_not_there_is_named():
    with Store.in_memory() as store, pytest.raises(EntryError, match="no batch 'b9'"):
        store.readings_of("b9")


# -- the rest


def test_rejections_come_newest_first_and_can_be_resolved(store):
    bad = [
        Rejection(rejection_id=f"r{n}", topic="t", payload=bytes([n, 255]), received_at=T + n * HOUR, faults=("a", "b"))
        for n in range(3)
    ]
    store.keep([], bad)
    assert store.rejections(limit=2) == [bad[2], bad[1]]
    store.resolve_rejections(["r1", "r2", "unheard of"])
    assert store.rejections() == [bad[0]]
    assert {r.rejection_id for r in store.rejections(resolved=True)} == {"r1", "r2"}
    assert store.counts()["rejected"] == 1


def test_what_was_said_is_kept_in_order(store):
    said = [
        AssessmentRecord(
            batch_id="b", made_at=T + n * HOUR, phase="active", finished=False, stalled=False, hold_met=False,
            finish_p50=T, detail={"why": ["a", n]},
        )
        for n in (2, 1)
    ]  # fmt: skip
    for record in said:
        store.add_assessment(record)
    assert store.assessments("b") == said[::-1]
    assert store.assessments("other") == []


def test_a_note_is_replaced_by_its_key(store):
    assert store.get_note("k") is None
    store.set_note("k", "one")
    store.set_note("k", "two")
    assert store.get_note("k") == "two"
    assert store.notes() == {"k": "two"}


def test_many_threads_may_call_at_once(tmp_path: Path):
    problems: list[BaseException] = []
    with Store.open(tmp_path) as store:
        store.save(Vessel(vessel_id="v", name="V"))
        store.save(Device(device_id="float-1", kind="float"))
        store.save(BatchRecord(batch_id="b", name="B", vessel_id="v", pitched_at=T))
        store.save(Placement(device_id="float-1", vessel_id="v", from_at=T))

        def send(turn: int) -> None:
            for n in range(turn, 200, 2):  # both senders overlap by delivering twice
                store.keep([report(n), report(n + 1), report(n, device_id=f"other-{turn}")])

        def look() -> None:
            for n in range(60):
                store.readings_of("b")
                store.last_words()
                store.counts()
                store.set_note(f"n{n % 3}", str(n))
                store.save(replace(store.get(Vessel, "v"), volume_l=1.0 + n))

        def guarded(work, *given) -> None:
            try:
                work(*given)
            except BaseException as error:
                problems.append(error)

        threads = [threading.Thread(target=guarded, args=(send, turn)) for turn in (0, 1)]
        threads += [threading.Thread(target=guarded, args=(look,)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert problems == []
        assert store.readings_as_sent("float-1").height == 201
        assert store.counts()["readings"] == 401
        assert store._file.read("SELECT count(*), count(DISTINCT device_id) FROM device_key") == [(3, 3)]
