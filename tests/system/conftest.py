"""Real brokers, a path that can be cut, and a publisher that knows what was acknowledged."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

ROOT = Path(__file__).parents[2]


def wait_until(condition: Callable[[], object], seconds: float = 15.0, what: str = "the condition") -> None:
    """Wait until `condition` is truthy; fail if it takes longer."""
    deadline, pause_s = time.monotonic() + seconds, 0.02
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(f"{what} did not come true within {seconds:g} s")
        time.sleep(pause_s)
        pause_s = min(1.3 * pause_s, 0.5)  # who asks all the time takes the processor from what he waits for


def reachable(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=0.5):
        return True
    return False


class Mosquitto:
    """A Mosquitto broker with its own configuration and persistence in a folder of the test."""

    def __init__(self, program: str, folder: Path, port: int, extra: str = "", listener: str = "") -> None:
        self.port = port
        self._program = program
        self._config = folder / "mosquitto.conf"
        self._log = folder / "mosquitto.log"
        (folder / "persistence").mkdir(exist_ok=True)
        text = f"""
            listener {port} 127.0.0.1
            {listener}
            {"" if "allow_anonymous" in extra else "allow_anonymous true"}
            max_inflight_messages 0
            max_queued_messages 0
            persistence true
            persistence_location {folder / "persistence"}/
            autosave_interval 1
            {"user root" if hasattr(os, "geteuid") and os.geteuid() == 0 else ""}
            {extra}
        """
        self._config.write_text("\n".join(line.strip() for line in text.splitlines()))
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> str:
        return self._log.read_text(errors="replace")

    def start(self) -> None:
        with self._log.open("ab") as log:
            self._process = subprocess.Popen([self._program, "-c", str(self._config)], stdout=log, stderr=log)
        wait_until(lambda: reachable(self.port), what="Mosquitto's listener")

    def stop(self) -> None:
        """Stop it as an administrator does; it writes its persistence."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None

    def restart(self) -> None:
        self.stop()
        self.start()


@pytest.fixture
def mosquitto(mosquitto_program: str, tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """Start a broker: `mosquitto(port, extra="", listener="")`."""
    started: list[Mosquitto] = []

    def start(port: int, extra: str = "", listener: str = "") -> Mosquitto:
        broker = Mosquitto(mosquitto_program, tmp_path, port, extra, listener)
        started.append(broker)
        broker.start()
        return broker

    yield start
    for broker in started:
        broker.stop()


class Proxy:
    """A TCP path to a port that can be cut and healed."""

    def __init__(self, target: int) -> None:
        self._target = target
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._cut = threading.Event()
        self._closing = False
        self._pairs: set[socket.socket] = set()
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Break every connection, and refuse new ones."""
        self._cut.set()
        with self._lock:
            broken, self._pairs = self._pairs, set()
        for each in broken:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def heal(self) -> None:
        self._cut.clear()

    def close(self) -> None:
        self._closing = True
        self.cut()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _accept(self) -> None:
        while not self._closing:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self._cut.is_set():
                near.close()
                continue
            try:
                far = socket.create_connection(("127.0.0.1", self._target), timeout=2)
                far.settimeout(None)
            except OSError:
                near.close()
                continue
            with self._lock:
                self._pairs |= {near, far}
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self._pump, args=(source, sink), daemon=True).start()

    def _pump(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for each in (source, sink):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
        with self._lock:
            self._pairs -= {source, sink}
        source.close()


class Publisher:
    """Publishes at QoS 1 and knows which messages the broker has acknowledged; paho sends the others again."""

    def __init__(self, port: int, client_id: str = "publisher") -> None:
        self.acknowledged: set[int] = set()
        self._sent: dict[int, paho.MQTTMessageInfo] = {}
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=False)
        self._client.max_inflight_messages_set(200)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect_async("127.0.0.1", port, keepalive=5)
        self._client.loop_start()

    def publish(self, topic: str, payload: bytes, number: int) -> None:
        self._sent[number] = self._client.publish(topic, payload, qos=1)

    @property
    def pending(self) -> int:
        """How many publishes the broker has not acknowledged yet."""
        # is_published() raises for what was queued while disconnected, although it is sent later.
        for number in [number for number, info in self._sent.items() if info._published]:
            del self._sent[number]
            self.acknowledged.add(number)
        return len(self._sent)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture(name="wait_until")
def _wait_until() -> Callable[..., None]:
    return wait_until


@pytest.fixture(name="reachable")
def _reachable() -> Callable[[int], bool]:
    return reachable


@pytest.fixture
def proxy_to() -> Iterator[Callable[[int], Proxy]]:
    made: list[Proxy] = []

    def make(port: int) -> Proxy:
        made.append(Proxy(port))
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture
def publisher() -> Iterator[Callable[[int], Publisher]]:
    made: list[Publisher] = []

    def make(port: int) -> Publisher:
        made.append(Publisher(port))
        return made[-1]

    yield make
    for each in made:
        each.close()


class IngestProcess:
    """`python -m ingest` in a process of its own, to be killed."""

    def __init__(self, folder: Path, settings: str) -> None:
        self._config = folder / "tunroom.toml"
        self._config.write_text(settings)
        self.data = folder / "data"
        self._log = folder / "ingest.log"
        self._said_before = 0
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> str:
        return self._log.read_text(errors="replace") if self._log.exists() else ""

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    @property
    def ready(self) -> bool:
        """Whether the process that was started last has said that it takes readings in."""
        return "takes readings in" in self.log[self._said_before :]

    def start(self) -> None:
        self._said_before = len(self.log)
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "ingest", "--config", str(self._config), "--data", str(self.data)],
                cwd=ROOT,
                stdout=log,
                stderr=log,
            )

    def kill(self) -> None:
        """SIGKILL: nothing is finished, nothing is said."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def stop(self) -> int:
        assert self._process is not None
        wait_until(lambda: self.ready, 60, "the start of ingest")
        self._process.send_signal(signal.SIGTERM)
        code = self._process.wait(30)
        self._process = None
        return code


@pytest.fixture
def ingest_process(tmp_path: Path) -> Iterator[Callable[[str], IngestProcess]]:
    made: list[IngestProcess] = []

    def make(settings: str) -> IngestProcess:
        made.append(IngestProcess(tmp_path, settings))
        return made[-1]

    yield make
    for each in made:
        each.kill()
