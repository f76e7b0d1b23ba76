"""Written settings in a real Mosquitto: no device forges another's readings, a verdict, or our session."""

from __future__ import annotations

import json
import os
import re
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from dashboard.__main__ import main
from ingest.mqtt.session import Subscriber
from ingest.pipeline import Pipeline
from ingest.settings.settings import Broker, load
from ingest.store.store import Store

pytestmark = pytest.mark.mosquitto
Wait = Callable[..., None]
READING = b'{"measured_at": "2026-03-01T10:00:00Z", "gravity_sg": 1.044}'


class Device:
    """An MQTT 5 client whose publishes say what the broker thought of them."""

    def __init__(self, port: int, login: str, password: str, client_id: str = "") -> None:
        self.heard: list[str] = []
        self.answer: Any = None
        self._answered = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id or login, protocol=paho.MQTTv5)
        self._client.username_pw_set(login, password)
        self._client.on_connect = self._connected
        self._client.on_publish = self._published
        self._client.on_disconnect = lambda *_: self._answered.set()  # some brokers also hang up on who may not
        self._client.on_message = lambda _c, _d, message: self.heard.append(message.topic)
        self._client.connect("127.0.0.1", port, 10)
        self._client.loop_start()
        assert self._answered.wait(10)
        self.let_in = not self.answer.is_failure

    def _connected(self, _c: Any, _d: Any, _f: Any, reason: ReasonCode, _p: Any) -> None:
        self.answer = reason
        self._answered.set()

    def _published(self, _c: Any, _d: Any, _mid: int, reason: ReasonCode, _p: Properties) -> None:
        self.answer = reason
        self._answered.set()

    def may_publish(self, topic: str, payload: bytes, retain: bool = False) -> bool:
        self._answered.clear()
        self.answer = None
        self._client.publish(topic, payload, qos=1, retain=retain)
        assert self._answered.wait(10)
        return self.answer is not None and not self.answer.is_failure

    def listen(self) -> None:
        self._client.subscribe([("#", 1), ("$SYS/#", 1), ("tunroom/verdict/#", 1)])

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def broker(
    mosquitto_program: str, tmp_path: Path, port: int, reachable: Callable[[int], bool], wait_until: Wait
) -> Iterator[Path]:
    """Mosquitto with the settings that the command writes, for two devices; the directory."""
    folder = tmp_path / "broker"
    options = ["--data", str(tmp_path / "cellar"), "--device", "float-1", "--device", "float-2"]
    assert main(["broker-settings", str(folder), *options]) == 0
    text = (folder / "tunroom.conf").read_text()
    (tmp_path / "kept").mkdir()
    for written, here in (
        ("listener 1883\n", f"listener {port} 127.0.0.1\n"),
        ("/etc/mosquitto/tunroom", str(folder)),
        ("/var/lib/mosquitto/", f"{tmp_path / 'kept'}/"),
    ):
        assert written in text
        text = text.replace(written, here)
    as_root = "user root\n" if os.geteuid() == 0 else ""
    (tmp_path / "mosquitto.conf").write_text(text + as_root)
    process = subprocess.Popen([mosquitto_program, "-c", str(tmp_path / "mosquitto.conf")])
    wait_until(lambda: reachable(port), what="Mosquitto's listener")
    yield folder
    process.terminate()
    process.wait(10)


def test_a_device_speaks_for_itself_alone(broker: Path, tmp_path: Path, port: int, wait_until: Wait) -> None:
    words = dict(re.findall(r"^(float-\d)  (\S+)$", (broker / "logins.txt").read_text(), re.MULTILINE))
    settings = (broker / "tunroom.toml").read_text().replace("[broker]\n", f"[broker]\nport = {port}\n")
    (broker / "tunroom.toml").write_text(settings)
    ours = load(broker / "tunroom.toml", tmp_path / "cellar", {}).broker
    assert ours == Broker(host="localhost", port=port, user="tunroom", password=ours.password, gateways=())
    store = Store.in_memory()
    pipeline = Pipeline(store, gateways=ours.gateways)
    pipeline.start()
    subscriber = Subscriber(ours, pipeline)
    subscriber.start()
    wait_until(lambda: subscriber.status().connected, what="our own login")
    subscriber.publish("verdict/Vessel 1", b"fermenting")
    one = Device(port, "float-1", words["float-1"])
    try:
        assert one.may_publish("tunroom/report/float-1", READING)
        wait_until(lambda: store.counts()["readings"] == 1, what="the device's own reading")
        for topic in ("tunroom/report/float-2", "tunroom/report/new", "tunroom/verdict/Vessel 1", "tunroom/status",
                      "tunroom/report/float-2/x", "other", "$SYS/x"):  # fmt: skip
            forger = Device(port, "float-2", words["float-2"])
            assert not forger.may_publish(topic.replace("float-2", "float-1"), READING, retain=True), topic
            forger.close()
        # A pack that names two devices, as a gateway's does, sent to one's own topic (RFC 8428).
        pack = [{"bn": "float-2:", "n": "gravity", "u": "kg/m3", "v": 1001}, {"bn": "x:", "n": "t", "u": "Cel", "v": 1}]
        assert one.may_publish("tunroom/report/float-1", json.dumps(pack).encode())
        wait_until(lambda: store.counts()["rejected"] == 1, what="the rejection")
        assert "float-1 speaks for float-2, which only a gateway may" in store.rejections()[0].faults[0].replace(
            "'", ""
        )
        one.listen()
        two = Device(port, "float-2", words["float-2"])
        assert two.may_publish("tunroom/report/float-2", READING)
        wait_until(lambda: store.counts()["readings"] == 2, what="the other device's reading")
        two.close()
        assert one.heard == []
        assert {d.device_id for d in store.device_statuses()} == {"float-1", "float-2"}
        # Another's password, none, and our own session by its name.
        assert not Device(port, "float-2", words["float-1"]).let_in
        assert not Device(port, "tunroom", words["float-1"]).let_in
        thief = Device(port, "float-2", words["float-2"], client_id="tunroom")
        assert thief.let_in
        assert one.may_publish("tunroom/report/float-1", READING.replace(b"1.044", b"1.040").replace(b"T10", b"T11"))
        wait_until(lambda: store.counts()["readings"] == 3, what="a reading in our session, which is still ours")
        assert subscriber.status().problem is None
        thief.close()
    finally:
        one.close()
        subscriber.close()
        pipeline.close()
        store.close()
