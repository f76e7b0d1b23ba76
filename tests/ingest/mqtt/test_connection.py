"""Two private names of paho are used for speed; each has a public way beside it, taken where the name is gone."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from ingest.mqtt.connection import Connection, ReadingAhead
from ingest.mqtt.embedded_broker import EmbeddedBroker
from ingest.mqtt.receipt import Receipt
from ingest.mqtt.session import Subscriber
from ingest.pipeline import Pipeline
from ingest.settings.settings import Broker
from ingest.store.store import Store


@pytest.fixture
def pipeline() -> Iterator[Pipeline]:
    with Store.in_memory() as store:
        made = Pipeline(store)
        made.start()
        yield made
        made.close()


def connection(pipeline: Pipeline) -> Connection:
    return Connection(Broker(), MQTTProtocolVersion.MQTTv311, pipeline, lambda: Receipt(datetime.now(UTC), None))


class Counting:
    """A client that has no queue of its own packets, only what paho documents."""

    def __init__(self) -> None:
        self.acknowledged: list[tuple[int, int]] = []

    def ack(self, packet_id: int, qos: int) -> None:
        self.acknowledged.append((packet_id, qos))


def test_the_private_names_that_we_use_are_there_in_the_installed_paho() -> None:
    assert callable(paho.Client._sock_recv), "bytes are read ahead by it; else paho reads by itself"
    assert callable(paho.Client._packet_queue), "acknowledgements are joined by it; else each goes by Client.ack"


def test_without_a_packet_queue_each_message_is_acknowledged_by_the_public_call(pipeline: Pipeline) -> None:
    made: Any = connection(pipeline)
    real, made.client = made.client, Counting()
    made.acknowledge([7, 8, 9])
    assert made.client.acknowledged == [(7, 1), (8, 1), (9, 1)]
    made.client = real
    made.close()


def test_a_topic_that_is_no_utf_8_is_kept_by_what_the_public_property_says(pipeline: Pipeline) -> None:
    class Odd:
        qos, mid, retain, payload = 0, 0, False, b"1"

        @property
        def topic(self) -> str:
            return b"shed/\xff".decode()

    taken: list[Any] = []
    made: Any = connection(pipeline)
    made._pipeline = type("Put", (), {"put": staticmethod(taken.append)})
    made._on_message(None, None, Odd())
    assert [arrival.topic for arrival in taken] == ["shed/\\xff"]
    made.close()


@pytest.mark.parametrize("ahead", [True, False], ids=["read ahead", "read by paho"])
def test_messages_come_in_whether_or_not_paho_asks_for_bytes_by_the_name_we_know(
    pipeline: Pipeline, tmp_path: Path, port: int, monkeypatch: pytest.MonkeyPatch, ahead: bool
) -> None:
    if not ahead:
        monkeypatch.delattr(ReadingAhead, "_sock_recv")
    came: set[str] = set()
    monkeypatch.setattr(pipeline, "put", lambda arrival: came.add(arrival.topic))
    with EmbeddedBroker(Broker(port=port), tmp_path) as broker:
        subscriber = Subscriber(
            Broker(port=port),
            pipeline,
            address=broker.address,
            topics=("#",),
            only_311=True,
            before_connect=broker.ensure,
        )
        subscriber.start()
        speaker = paho.Client(CallbackAPIVersion.VERSION2)
        try:
            until(lambda: subscriber.status().connected)
            speaker.connect("127.0.0.1", port)
            speaker.loop_start()
            for n in range(40):
                speaker.publish(f"tunroom/float-{n}/gravity_sg", b"1.0123", qos=1).wait_for_publish(10)
            until(lambda: {f"tunroom/float-{n}/gravity_sg" for n in range(40)} <= came)
        finally:
            speaker.disconnect()
            speaker.loop_stop()
            subscriber.close()


def until(condition: Any, seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "it did not come true"
        time.sleep(0.02)
