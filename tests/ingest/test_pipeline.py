from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from ingest.decoding.deduplication import Arrival
from ingest.decoding.rules import rule_from
from ingest.errors import StoreFull
from ingest.model import Rejection, Report
from ingest.pipeline import Pipeline, take_again
from ingest.store.store import Store

NOW = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)


class Broker:
    """Hears acknowledgements, and what was on disk at that moment."""

    def __init__(self, store: Any) -> None:
        self.heard: list[int] = []
        self.on_disk: list[int] = []
        self.dropped = 0
        self._store = store

    def acknowledge(self, packet_ids: Sequence[int]) -> None:
        self.heard.extend(packet_ids)
        self.on_disk.append(self._store.counts()["readings"])

    def drop(self) -> None:
        self.dropped += 1


class Stubborn:
    """A store that fails as told, then works."""

    def __init__(self, *failures: Exception) -> None:
        self.failures = list(failures)
        self.kept: list[Report] = []
        self.rejected: list[Rejection] = []
        self.calls = 0

    def keep(self, reports: Sequence[Report], rejections: Sequence[Rejection] = ()) -> int:
        self.calls += 1
        if self.failures:
            raise self.failures.pop(0)
        self.kept.extend(reports)
        self.rejected.extend(rejections)
        return len(reports)

    def counts(self) -> dict[str, int]:
        return {"readings": len(self.kept)}


def message(at: int, source: Any = None, *, device: str = "float-1", received: datetime | None = None) -> Arrival:
    payload = {"measured_at": 1772352000 + at, "gravity_sg": 1.05}
    return arrival(payload, at, source, device=device, received=received)


def arrival(
    payload: Any, packet_id: int = 1, source: Any = None, *, device: str = "float-1", received: datetime | None = None
) -> Arrival:
    return Arrival(f"tunroom/report/{device}", json.dumps(payload).encode(), received or NOW, source, packet_id)


@pytest.fixture
def store() -> Iterator[Store]:
    opened = Store.in_memory()
    yield opened
    opened.close()


def run(pipeline: Pipeline, arrivals: Sequence[Arrival]) -> None:
    pipeline.start()
    for each in arrivals:
        assert pipeline.put(each)
    assert pipeline.settle(10)


def test_messages_are_acknowledged_in_order_of_arrival_after_they_are_on_disk(store: Store) -> None:
    broker = Broker(store)
    pipeline = Pipeline(store)
    run(pipeline, [message(at, broker) for at in range(3000)])
    pipeline.close()
    assert broker.heard == list(range(3000))
    assert all(on_disk >= heard for on_disk, heard in zip(broker.on_disk, [1, *broker.on_disk[:-1]], strict=True))
    assert broker.on_disk[-1] == store.counts()["readings"] == 3000


def test_a_message_delivered_twice_is_one_row_and_acknowledged_twice(store: Store) -> None:
    broker = Broker(store)
    pipeline = Pipeline(store)
    run(pipeline, [message(1, broker), message(1, broker)])
    pipeline.close()
    assert broker.heard == [1, 1]
    assert store.counts()["readings"] == 1


def test_a_bad_message_is_kept_with_bytes_topic_and_faults_and_acknowledged(store: Store) -> None:
    broker = Broker(store)
    pipeline = Pipeline(store)
    run(pipeline, [Arrival("tunroom/report/f", b'{"gravity_sg": "1.05"}', NOW, broker, 7)])
    pipeline.close()
    [rejection] = store.rejections()
    assert (rejection.topic, rejection.payload) == ("tunroom/report/f", b'{"gravity_sg": "1.05"}')
    assert rejection.faults[0].startswith("$.gravity_sg: ")
    assert broker.heard == [7]


def test_without_clock_and_counter_the_same_bytes_count_once_within_the_window(store: Store) -> None:
    pipeline = Pipeline(store, repeat_window_s=30)
    seconds = [0, 10, 29, 30, 45, 75]
    run(pipeline, [arrival({"temperature_c": 19.5}, received=NOW + timedelta(seconds=s)) for s in seconds])
    pipeline.close()
    kept = store.readings_as_sent("float-1")["measured_at"].to_list()
    # 0 counts and opens a window; 10 and 29 fall into it; 30 opens the next one, with 45 in it; 75 opens another.
    assert [(when - NOW).total_seconds() for when in kept] == [0, 30, 75]


def test_other_bytes_another_topic_a_counter_or_a_clock_count_each_time(store: Store) -> None:
    pipeline = Pipeline(store, repeat_window_s=30)
    later = [NOW + timedelta(seconds=s) for s in range(6)]
    run(
        pipeline,
        [
            arrival({"temperature_c": 19.5}, received=later[0]),
            arrival({"temperature_c": 19.6}, received=later[1]),
            arrival({"temperature_c": 19.5}, received=later[2], device="float-2"),
            arrival({"temperature_c": 19.5, "sequence": 1}, received=later[3]),
            arrival({"temperature_c": 19.5, "sequence": 2}, received=later[4]),
            arrival({"temperature_c": 19.5, "measured_at": "2026-03-01T09:00:00Z"}, received=later[5]),
        ],
    )
    pipeline.close()
    assert store.counts()["readings"] == 6


def test_a_counter_makes_a_second_delivery_one_row_even_much_later(store: Store) -> None:
    pipeline = Pipeline(store)
    run(
        pipeline,
        [arrival({"temperature_c": 19.5, "sequence": 1}, received=NOW + timedelta(hours=h)) for h in range(3)],
    )
    pipeline.close()
    assert store.counts()["readings"] == 1


def test_quantities_that_come_one_by_one_from_a_device_without_a_clock_are_one_reading(store: Store) -> None:
    rules = [
        rule_from({"topic": f"shed/{{device}}/{name}", name: {"value": "@", "unit": unit}})
        for name, unit in [("gravity", "SG"), ("temperature", "°C"), ("battery", "V")]
    ]
    sent = [
        (0.0, "gravity", b"1.048"),
        (0.3, "temperature", b"19.5"),
        (1.9, "battery", b"3.9"),
        (60.0, "temperature", b"19.6"),
        (60.5, "gravity", b"1.047"),
        (61.0, "temperature", b"19.7"),  # said already: a reading of its own
        (90.0, "gravity", b"1.046"),
        (92.5, "temperature", b"19.8"),  # too late to belong to it
    ]
    pipeline = Pipeline(store, rules=rules)
    run(pipeline, [Arrival(f"shed/f/{name}", p, NOW + timedelta(seconds=s)) for s, name, p in sent])
    pipeline.close()
    rows = store.readings_as_sent("f").select("gravity_sg", "temperature_c", "battery_v").rows()
    assert rows == [
        (1.048, 19.5, 3.9),
        (1.047, 19.6, None),
        (None, 19.7, None),
        (1.046, None, None),
        (None, 19.8, None),
    ]


def test_a_retained_message_counts_only_if_it_says_when_it_was_measured(store: Store) -> None:
    broker = Broker(store)
    pipeline = Pipeline(store)
    timed, timeless = message(1, broker), arrival({"temperature_c": 19.5}, 2, broker)
    timed.retained = timeless.retained = True
    run(pipeline, [timed, timeless])
    pipeline.close()
    assert store.counts() | {"last_reading_at": None} == {"readings": 1, "rejected": 0, "last_reading_at": None}
    assert broker.heard == [1, 2]


def test_senml_relative_times_count_once_within_the_window(store: Store) -> None:
    pack = [{"bn": "f/", "n": "temperature", "u": "Cel", "v": 19, "t": -60}, {"n": "temperature", "u": "Cel", "v": 20}]
    pipeline = Pipeline(store, repeat_window_s=30)
    run(pipeline, [arrival(pack, received=NOW + timedelta(seconds=s)) for s in (0, 1, 31)])
    pipeline.close()
    assert store.counts()["readings"] == 4


def test_while_the_disk_is_full_nothing_is_acknowledged_and_then_all_is() -> None:
    store = Stubborn(StoreFull("The disk is full."), StoreFull("The disk is full."))
    broker = Broker(store)
    pipeline = Pipeline(store)  # type: ignore[arg-type]
    pipeline.start()
    pipeline.put(message(1, broker))
    deadline = time.monotonic() + 5
    while pipeline.problem is None and time.monotonic() < deadline:
        time.sleep(0.01)
    assert pipeline.problem == "The disk is full."
    assert broker.heard == []
    assert pipeline.queued == 1
    assert pipeline.settle(10)
    pipeline.close()
    assert pipeline.problem is None
    assert broker.heard == [1]
    assert len(store.kept) == 1


def test_a_message_that_alone_makes_the_store_fail_is_kept_as_rejected_and_the_others_get_through() -> None:
    class Picky(Stubborn):
        def keep(self, reports: Sequence[Report], rejections: Sequence[Rejection] = ()) -> int:
            if any(report.device_id == "poison" for report in reports):
                raise RuntimeError("a defect")
            return super().keep(reports, rejections)

    store = Picky()
    broker = Broker(store)
    pipeline = Pipeline(store)  # type: ignore[arg-type]
    for at, device in enumerate(["a", "poison", "b"]):
        pipeline.put(message(at, broker, device=device))
    pipeline.start()
    assert pipeline.settle(10)
    pipeline.close()
    assert [report.device_id for report in store.kept] == ["a", "b"]
    assert [rejection.topic for rejection in store.rejected] == ["tunroom/report/poison"]
    assert broker.heard == [0, 1, 2]


def test_what_the_store_refuses_altogether_is_asked_for_again_over_a_new_connection() -> None:
    store = Stubborn(*[RuntimeError("a defect")] * 2)  # the message, and then its rejection
    broker = Broker(store)
    pipeline = Pipeline(store)  # type: ignore[arg-type]
    pipeline.put(message(1, broker))
    pipeline.start()
    assert pipeline.settle(10)
    assert (broker.heard, broker.dropped) == ([], 1)
    assert "could not be kept (RuntimeError)" in str(pipeline.problem)
    pipeline.put(message(1, broker))  # it came again
    assert pipeline.settle(10)
    pipeline.close()
    assert (broker.heard, len(store.kept), pipeline.problem) == ([1], 1, None)


def test_a_full_queue_makes_the_network_wait_and_drops_nothing(store: Store) -> None:
    pipeline = Pipeline(store, most=10)
    sent = threading.Event()

    def send() -> None:
        for at in range(50):
            pipeline.put(message(at))
        sent.set()

    thread = threading.Thread(target=send)
    thread.start()
    assert not sent.wait(0.3)
    assert pipeline.queued == 10
    pipeline.start()
    assert sent.wait(10)
    thread.join()
    assert pipeline.settle(10)
    pipeline.close()
    assert store.counts()["readings"] == 50


def test_closing_finishes_what_is_queued_and_takes_nothing_more(store: Store) -> None:
    pipeline = Pipeline(store)
    for at in range(100):
        pipeline.put(message(at))
    pipeline.start()
    pipeline.close()
    pipeline.close()
    assert store.counts()["readings"] == 100
    assert pipeline.put(message(101)) is False


def test_a_new_rule_takes_stored_rejections_in_again_with_their_time_of_receipt(store: Store) -> None:
    pipeline = Pipeline(store)
    run(
        pipeline,
        [Arrival("shed/p1/temp", b"68", NOW), Arrival("shed/p1/temp", b"warm", NOW), Arrival("barn/x", b"1", NOW)],
    )
    pipeline.close()
    rule = rule_from({"topic": "shed/{device}/temp", "temperature": {"value": "@", "unit": "°F"}})
    assert take_again(store, [rule]) == 1
    assert take_again(store, [rule]) == 0
    [row] = store.readings_as_sent("p1").to_dicts()
    assert row["temperature_c"] == pytest.approx(20.0)
    assert row["measured_at"] == NOW
    assert sorted(r.payload for r in store.rejections()) == [b"1", b"warm"]


def test_quantities_that_arrive_apart_become_one_reading_and_a_contradiction_is_kept(store: Store) -> None:
    rules = [
        rule_from(
            {
                "topic": f"shed/{{device}}/{name}",
                name: {"value": "v", "unit": unit},
                "measured_at": {"value": "t", "unit": "s"},
            }
        )
        for name, unit in [("gravity", "SG"), ("temperature", "°C")]
    ]
    pipeline = Pipeline(store, rules=rules)
    run(
        pipeline,
        [
            Arrival("shed/f/gravity", b'{"v": 1.048, "t": 1772352000}', NOW),
            Arrival("shed/f/temperature", b'{"v": 19.5, "t": 1772352000}', NOW),
            Arrival("shed/f/temperature", b'{"v": 25.0, "t": 1772352000}', NOW),
        ],
    )
    pipeline.close()
    [row] = store.readings_as_sent("f").to_dicts()
    assert (row["gravity_sg"], row["temperature_c"]) == (1.048, 19.5)
    [rejection] = store.rejections()
    assert (rejection.topic, rejection.payload) == ("shed/f/temperature", b'{"v": 25.0, "t": 1772352000}')


def test_a_trickle_is_committed_together() -> None:
    store = Stubborn()
    pipeline = Pipeline(store)  # type: ignore[arg-type]
    pipeline.start()
    for n in range(60):
        pipeline.put(message(n))
        time.sleep(0.002)
    assert pipeline.settle(5)
    pipeline.close()
    assert len(store.kept) == 60
    assert store.calls <= 30  # two or three on a quiet machine; 60 if each were committed as it comes
