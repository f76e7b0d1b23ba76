from __future__ import annotations

import random
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.model import NO_CLOCK, Device, Rejection, Report
from ingest.store import store as store_module
from ingest.store import upsert
from ingest.store.store import AS_SENT, Store
from tests.examples import examples
from tests.ingest.reports import T, as_sent, report


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
@settings(max_examples=examples(10), deadline=None)
def test_any_number_survives_the_file_to_the_last_bit(gravity_sg, temperature_c):
    with Store.in_memory() as store:
        store.keep([report(gravity_sg=gravity_sg, temperature_c=temperature_c)])
        [row] = as_sent(store)
    assert (row["gravity_sg"], row["temperature_c"]) == (gravity_sg, temperature_c)


@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 30)), min_size=1, max_size=40),
    st.randoms(use_true_random=False),
)
@settings(max_examples=examples(10), deadline=None)
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
@settings(max_examples=examples(10), deadline=None)
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
                    upsert.settle(cursor)
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
    [word] = store.device_statuses()
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
    assert store.device_statuses()[0].temperature_c == 20.0


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
@settings(max_examples=examples(10), deadline=None)
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
    monkeypatch.setattr(upsert, "SETTLE_AT", 50)
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
