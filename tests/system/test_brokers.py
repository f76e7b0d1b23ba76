"""What the MQTT standards promise, on real brokers: sessions, acknowledgements, retained words, last will."""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from ingest.decoding.rules import rule_from
from ingest.errors import SettingsError
from ingest.mqtt.embedded_broker import EmbeddedBroker
from ingest.mqtt.session import Subscriber
from ingest.pipeline import Pipeline
from ingest.service import Service
from ingest.settings.settings import Broker
from ingest.store.store import Store
from tests.system.mqtt import numbered, publish, retained, running

Wait = Callable[..., None]


# --- the embedded broker: needs nothing but Python -------------------------------------------------------------


def test_readings_come_in_through_the_embedded_broker(tmp_path: Path, port: int, wait_until: Wait) -> None:
    with running(tmp_path, port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        publish(port, *(numbered(n) for n in range(20)), ("tunroom/report/f", b"not JSON"))
        wait_until(lambda: parts.store.counts()["readings"] == 20, what="20 readings")
        wait_until(lambda: parts.store.counts()["rejected"] == 1, what="the rejection")
        assert parts.subscriber.status().problem is None


def test_whatever_is_sent_to_the_embedded_broker_is_heard_but_not_our_own_words(
    tmp_path: Path, port: int, wait_until: Wait
) -> None:
    with running(tmp_path, port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        time.sleep(0.5)
        parts.subscriber.publish("verdict/Vessel 1", b"fermenting")
        publish(port, ("shed/p1/temp", b"68"), numbered(1))
        wait_until(lambda: parts.store.counts()["readings"] == 1, what="the reading")
        wait_until(lambda: parts.store.counts()["rejected"] == 1, what="what a rule can be made of")
        time.sleep(0.5)
        assert [rejection.topic for rejection in parts.store.rejections()] == ["shed/p1/temp"]


def test_the_embedded_broker_keeps_messages_while_we_are_away(tmp_path: Path, port: int, wait_until: Wait) -> None:
    settings = Broker(port=port)
    with EmbeddedBroker(settings, tmp_path) as broker:
        for first in (0, 10):
            with Store.open(tmp_path / "tunroom.duckdb") as store:
                pipeline = Pipeline(store)
                pipeline.start()
                subscriber = Subscriber(settings, pipeline, address=broker.address, only_311=True)
                subscriber.start()
                wait_until(lambda s=subscriber: s.status().connected, what="the connection")
                wait_until(lambda s=store, n=first: s.counts()["readings"] == n, what="what was sent meanwhile")
                time.sleep(0.3)  # the first time the subscription must reach the broker
                subscriber.close()
                pipeline.close()
            publish(port, *(numbered(n) for n in range(first, first + 10)))


def test_the_embedded_broker_is_started_again_if_it_dies(tmp_path: Path, port: int, wait_until: Wait) -> None:
    with running(tmp_path, port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        assert parts.broker is not None
        first = parts.broker.pid
        assert first is not None
        os.kill(first, signal.SIGKILL)
        wait_until(lambda: not parts.subscriber.status().connected, what="the loss")
        wait_until(lambda: parts.subscriber.status().connected, what="the reconnection")
        assert parts.broker.pid not in (None, first)
        # As far as its guarantees go: sessions are gone with it, what is sent from now on is kept.
        wait_until(lambda: _arrives(parts, port), what="a reading after the restart")


def _arrives(parts: Service, port: int) -> bool:
    publish(port, numbered(1))
    time.sleep(0.2)
    return bool(parts.store.counts()["readings"] == 1)


def test_the_embedded_broker_goes_when_its_parent_is_killed(
    tmp_path: Path, port: int, wait_until: Wait, ingest_process: Any, reachable: Any
) -> None:
    process = ingest_process(f"[broker]\nport = {port}\n")
    process.start()
    wait_until(lambda: process.ready, 60, "the start")
    assert reachable(port)
    process.kill()
    wait_until(lambda: not reachable(port), what="the end of the embedded broker")


def test_the_embedded_broker_asks_for_the_password_it_was_given(tmp_path: Path, port: int, wait_until: Wait) -> None:
    password = 'pä ss"w\\ord'
    with running(tmp_path, port=port, user="cellar", password=password) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        publish(port, numbered(1), user="cellar", password=password)
        wait_until(lambda: parts.store.counts()["readings"] == 1, what="the reading")
        stranger = paho.Client(CallbackAPIVersion.VERSION2, reconnect_on_failure=False)
        admitted: list[bool] = []
        stranger.on_connect = lambda *_: admitted.append(True)
        stranger.connect("127.0.0.1", port)
        stranger.loop_start()
        time.sleep(1)
        stranger.loop_stop()
        assert admitted == []
        written = tmp_path / "data" / "embedded-broker.toml"
        if os.name == "posix":
            assert written.stat().st_mode & 0o077 == 0


def test_a_large_message_comes_through_the_embedded_broker(tmp_path: Path, port: int, wait_until: Wait) -> None:
    buffered = [{"measured_at": 1772352000 + n, "gravity_sg": 1.05, "temperature_c": 19.5} for n in range(5000)]
    with running(tmp_path, port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        publish(port, ("tunroom/report/float-1", json.dumps(buffered).encode()))
        wait_until(lambda: parts.store.counts()["readings"] == 5000, what="5000 readings")


def test_a_taken_port_is_named_with_what_to_do(tmp_path: Path, port: int) -> None:
    with EmbeddedBroker(Broker(port=port), tmp_path), pytest.raises(SettingsError) as caught:
        EmbeddedBroker(Broker(port=port), tmp_path / "other").start()
    assert f"port {port} on 127.0.0.1" in str(caught.value)
    assert "--broker-port" in str(caught.value)


def test_mqtt_311_is_spoken_where_the_broker_knows_no_5(tmp_path: Path, port: int, wait_until: Wait) -> None:
    # The embedded broker speaks 3.1.1 only; named as a host, it is a broker of which we know nothing.
    with EmbeddedBroker(Broker(port=port), tmp_path), running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        time.sleep(0.3)
        publish(port, numbered(1))
        wait_until(lambda: parts.store.counts()["readings"] == 1, what="the reading")
        assert parts.subscriber.status().problem is None


# --- Mosquitto -------------------------------------------------------------------------------------------------


@pytest.mark.mosquitto
def test_what_was_sent_while_we_were_away_comes_in_when_we_return(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    broker = mosquitto(port)
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        time.sleep(0.5)
    publish(port, *(numbered(n) for n in range(200)))
    broker.restart()
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.store.counts()["readings"] == 200, what="200 readings")
    assert "(p5, c0, k30" in broker.log  # MQTT 5, a session that is continued, keep-alive 30 s


@pytest.mark.mosquitto
@pytest.mark.parametrize("only_311", [False, True], ids=["MQTT 5", "MQTT 3.1.1"])
def test_what_was_acknowledged_does_not_come_again(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait, only_311: bool
) -> None:
    mosquitto(port)
    settings = Broker(host="127.0.0.1", port=port)
    for expected in (300, 0):  # the second time with an empty store, which would show whatever came again
        with Store.in_memory() as store:
            pipeline = Pipeline(store)
            pipeline.start()
            subscriber = Subscriber(settings, pipeline, only_311=only_311)
            subscriber.start()
            wait_until(lambda s=subscriber: s.status().connected, what="the connection")
            time.sleep(0.5)
            if expected:
                publish(port, *(numbered(n) for n in range(expected)))
            wait_until(lambda s=store, n=expected: s.counts()["readings"] == n, what=f"{expected} readings")
            time.sleep(0.5)
            assert store.counts()["readings"] == expected
            subscriber.close()
            pipeline.close()


@pytest.mark.mosquitto
def test_while_the_queue_is_full_the_broker_waits_and_the_connection_lives(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    broker = mosquitto(port)
    with Store.in_memory() as store:
        pipeline = Pipeline(store, most=10)  # not started: nobody empties the queue
        subscriber = Subscriber(Broker(host="127.0.0.1", port=port, keep_alive_s=5), pipeline)
        subscriber.start()
        wait_until(lambda: subscriber.status().connected, what="the connection")
        time.sleep(0.5)
        publish(port, *(numbered(n) for n in range(100)))
        # A broker gives up after one and a half times the keep-alive; paho at the second ping without an answer.
        time.sleep(13)
        assert subscriber.status().connected
        assert subscriber.status().queued == 10
        assert broker.log.count("as tunroom") == 1
        pipeline.start()
        wait_until(lambda: store.counts()["readings"] == 100, what="all that waited")
        subscriber.close()
        pipeline.close()


@pytest.mark.mosquitto
def test_status_says_online_then_offline_and_a_kill_leaves_the_last_will(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait, ingest_process: Any
) -> None:
    mosquitto(port)
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        wait_until(lambda: retained(port, "tunroom/status", 1) == b"online", what="online")
    assert retained(port, "tunroom/status") == b"offline"
    process = ingest_process(f'[broker]\nhost = "127.0.0.1"\nport = {port}\n')
    process.start()
    wait_until(lambda: retained(port, "tunroom/status", 1) == b"online", 60, "online")
    process.kill()
    wait_until(lambda: retained(port, "tunroom/status", 1) == b"offline", what="the last will")


@pytest.mark.mosquitto
def test_what_we_say_is_said_again_to_a_broker_that_lost_it(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    broker = mosquitto(port, "persistence false")
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        parts.subscriber.publish("verdict/Vessel 1", b"fermenting")
        wait_until(lambda: retained(port, "tunroom/verdict/+", 1) == b"fermenting", what="the verdict")
        broker.restart()
        wait_until(lambda: retained(port, "tunroom/verdict/+", 1) == b"fermenting", what="the verdict again")


@pytest.mark.mosquitto
def test_a_retained_bare_number_is_not_a_new_reading_at_every_connection(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    mosquitto(port)
    publish(port, ("tunroom/report/old", b'{"temperature_c": 4}'), retain=True)
    publish(port, (numbered(1)[0], numbered(1)[1]), retain=True)
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.store.counts()["readings"] == 1, what="the reading that has a time")
        time.sleep(0.5)
        assert [word.device_id for word in parts.store.device_statuses()] == ["float-1"]
        publish(port, ("tunroom/report/old", b'{"temperature_c": 5}'), retain=True)
        wait_until(lambda: parts.store.counts()["readings"] == 2, what="the one that came live")
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        time.sleep(0.5)
        assert parts.store.counts()["readings"] == 2


@pytest.mark.mosquitto
def test_a_rule_made_while_running_listens_at_once_and_takes_in_what_was_rejected(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    mosquitto(port)
    with running(tmp_path, host="127.0.0.1", port=port, topics=("shed/p1/temp",)) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        publish(port, ("shed/p1/temp", b"68"))
        wait_until(lambda: parts.store.counts()["rejected"] == 1, what="the rejection")
        rule = rule_from({"topic": "shed/{device}/temp", "temperature": {"value": "@", "unit": "°F"}})
        assert parts.save_rule(rule) == 1
        wait_until(lambda: _heard(parts, port), what="the other probe")
    with running(tmp_path, host="127.0.0.1", port=port) as parts:
        assert [each.topic for each in parts.rules()] == ["shed/{device}/temp"]


def _heard(parts: Service, port: int) -> bool:
    publish(port, ("shed/p2/temp", b"70"))
    time.sleep(0.2)
    return any(word.device_id == "p2" for word in parts.store.device_statuses())


@pytest.mark.mosquitto
def test_a_topic_that_is_not_utf8_or_odd_does_not_stop_the_subscriber(
    tmp_path: Path, port: int, mosquitto: Any, wait_until: Wait
) -> None:
    mosquitto(port)
    with running(tmp_path, host="127.0.0.1", port=port, topics=("odd/#",)) as parts:
        wait_until(lambda: parts.subscriber.status().connected, what="the connection")
        publish(port, ("odd/ünï/🍺", b"\xff" * 10), ("odd", b""), ("odd/" + "x" * 500, b"[" * 50_000), numbered(1))
        wait_until(lambda: parts.store.counts() and parts.store.counts()["readings"] == 1, what="the good reading")
        assert parts.store.counts()["rejected"] == 3
