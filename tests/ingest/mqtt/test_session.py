from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import pytest

from ingest.mqtt import session as module
from ingest.mqtt.session import Subscriber
from ingest.pipeline import Pipeline
from ingest.settings.settings import Broker
from ingest.store.store import Store


class Hurried(threading.Event):
    """Notes how long was to be waited, and does not wait; set after so many waits."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self.waits: list[float] = []
        self._most = most

    def wait(self, timeout: float | None = None) -> bool:
        assert timeout is not None
        self.waits.append(timeout)
        if len(self.waits) >= self._most:
            self.set()
        return self.is_set()


@pytest.fixture
def pipeline() -> Iterator[Pipeline]:
    with Store.in_memory() as store:
        made = Pipeline(store)
        made.start()
        yield made
        made.close()


def attempts(pipeline: Pipeline, port: int, seed: int, most: int = 12) -> list[float]:
    subscriber = Subscriber(Broker(host="127.0.0.1", port=port), pipeline, random_seed=seed)
    hurried = Hurried(most)
    subscriber._stopping = hurried
    subscriber.start()
    subscriber._thread.join(20)
    assert "Nothing listens" in str(subscriber.status().problem)
    return hurried.waits


def test_the_pauses_between_attempts_grow_to_a_minute_and_are_jittered(pipeline: Pipeline, port: int) -> None:
    waits = attempts(pipeline, port, seed=1)
    for at, waited in enumerate(waits):
        full = min(60.0, 0.5 * 2 ** (at + 1))
        assert full / 2 <= waited <= full
    assert waits != attempts(pipeline, port, seed=2), "two that lost one broker must not knock together"


def test_a_host_that_accepts_and_says_nothing_is_one_clear_sentence(
    pipeline: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "CONNECT_S", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        subscriber = Subscriber(Broker(host="127.0.0.1", port=silent.getsockname()[1]), pipeline)
        subscriber.start()
        deadline = time.monotonic() + 10
        while subscriber.status().problem is None and time.monotonic() < deadline:
            time.sleep(0.02)
        assert "does not answer" in str(subscriber.status().problem)
        assert not subscriber.status().connected
        subscriber.close()


@contextmanager
def broker_that_says(after: bytes) -> Iterator[int]:
    """Admits whoever connects by MQTT 5, and then says these bytes (nothing: it hangs up at once)."""
    admitted = bytes.fromhex("2003000000")  # CONNACK, success, no properties: MQTT 5, 3.2
    with socket.create_server(("127.0.0.1", 0)) as listening:
        done = threading.Event()

        def serve() -> None:
            while not done.is_set():
                try:
                    client, _ = listening.accept()
                except OSError:
                    return
                with client, suppress(OSError):
                    client.recv(4096)
                    client.sendall(admitted)
                    time.sleep(0.2)
                    client.sendall(after)
                    time.sleep(0.2)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield int(listening.getsockname()[1])
        done.set()
        listening.shutdown(socket.SHUT_RDWR)
        thread.join(5)


@pytest.mark.parametrize(
    ("after", "sentence"),
    [
        (bytes.fromhex("0000"), "sent what is no MQTT"),  # a packet of type 0, which is forbidden: MQTT 5, 2.1.2
        (bytes.fromhex("e0018e"), "another program uses the client id 'tunroom'"),  # DISCONNECT, session taken over
        (b"", "keeps hanging up soon after it has answered"),
    ],
)
def test_why_a_connection_was_lost_is_only_said_where_it_is_known(
    pipeline: Pipeline, after: bytes, sentence: str
) -> None:
    with broker_that_says(after) as port:
        subscriber = Subscriber(Broker(host="127.0.0.1", port=port), pipeline)
        subscriber.start()
        try:
            until(lambda: sentence in str(subscriber.status().problem), 30)
        finally:
            subscriber.close()


def until(condition: Callable[[], bool], seconds: float) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_closing_before_starting_and_closing_twice_do_no_harm(pipeline: Pipeline, port: int) -> None:
    subscriber = Subscriber(Broker(host="127.0.0.1", port=port), pipeline)
    subscriber.close()
    subscriber.close()


def test_what_keeps_the_pipeline_from_its_work_shows_in_the_status(pipeline: Pipeline, port: int) -> None:
    subscriber = Subscriber(Broker(host="127.0.0.1", port=port), pipeline)
    pipeline.problem = "The disk is full."
    assert subscriber.status().problem == "The disk is full."


@pytest.mark.parametrize(
    ("filters", "kept"),
    [
        (["a/report/+", "shed/#", "shed/+/temp", "shed"], ["a/report/+", "shed/#"]),
        (["a/report/+", "#"], ["#"]),
        (["a/+", "a/b", "a/+"], ["a/+", "a/b"]),
        (["shed/#", "shedding/x"], ["shed/#", "shedding/x"]),
    ],
)
def test_a_filter_that_a_broader_one_covers_is_left_out(filters: list[str], kept: list[str]) -> None:
    assert list(module.without_covered(filters)) == kept
