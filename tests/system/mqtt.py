"""A running service, and a client of the broker that speaks to it or listens."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from ingest import service
from ingest.service import Service
from ingest.settings.settings import Broker, Settings


@contextmanager
def running(folder: Path, **broker: Any) -> Iterator[Service]:
    with service.running(Settings(data_dir=folder / "data", broker=Broker(**broker)), watch=False) as parts:
        yield parts


def publish(port: int, *messages: tuple[str, bytes], retain: bool = False, **login: str) -> None:
    client = paho.Client(CallbackAPIVersion.VERSION2)
    if login:
        client.username_pw_set(login["user"], login["password"])
    admitted = threading.Event()
    client.on_connect = lambda *_: admitted.set()
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert admitted.wait(10)
    for topic, payload in messages:
        client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def numbered(number: int, device: str = "float-1") -> tuple[str, bytes]:
    return f"tunroom/report/{device}", json.dumps({"measured_at": 1772352000 + number, "gravity_sg": 1.05}).encode()


def retained(port: int, topic: str, seconds: float = 5) -> bytes | None:
    """What a newcomer hears on this topic at once."""
    heard: list[bytes] = []
    event = threading.Event()

    def on_message(_client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        heard.append(bytes(message.payload))
        event.set()

    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_connect = lambda c, *_: c.subscribe(topic, 1)
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    event.wait(seconds)
    client.disconnect()
    client.loop_stop()
    return heard[0] if heard else None
