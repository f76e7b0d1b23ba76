"""The MQTT session: connect, subscribe, keep it up, and say in a sentence what is wrong.

What was not acknowledged when a connection ended comes again over the next one, and the store keeps one copy.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from ingest.decoding import topics_of
from ingest.mqtt import diagnostics
from ingest.mqtt.connection import CONNECT_S, OFFLINE, ONLINE, Connection
from ingest.mqtt.receipt import ReceiptClock
from ingest.pipeline import Pipeline
from ingest.settings import Broker

log = logging.getLogger(__name__)

_LONGEST_BACKOFF_S: Final = 60.0
_STABLE_S: Final = 10.0
_OFTEN: Final = 3
_NO_MQTT: Final = frozenset({"Protocol error", "Malformed packet"})
"""MQTT 5, 2.4: what either side calls a packet that the standard does not allow; paho says the first."""


@dataclass(frozen=True, slots=True)
class BrokerStatus:
    """How it stands between us and the broker. `problem` is a sentence, None where all is well."""

    connected: bool
    queued: int
    problem: str | None


class Subscriber:
    """One session with one broker, kept up by a thread of its own."""

    def __init__(
        self,
        broker: Broker,
        pipeline: Pipeline,
        *,
        address: tuple[str, int] | None = None,
        topics: Sequence[str] = (),
        only_311: bool = False,
        before_connect: Callable[[], None] | None = None,
        random_seed: int | None = None,
    ) -> None:
        self._broker = broker
        self._pipeline = pipeline
        self._address = address or (broker.host or "127.0.0.1", broker.port)
        self._versions = (
            (MQTTProtocolVersion.MQTTv311,) if only_311 else (MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311)
        )
        self._version = self._versions[0]
        self._before_connect = before_connect
        self._random = random.Random(random_seed)  # noqa: S311  jitter, no secret
        others = topics_of(broker.sites, broker.prefix)
        self._topics = without_covered((f"{broker.prefix}/report/+", *others, *broker.topics, *topics))
        self._said: dict[str, bytes] = {}
        self._lock = threading.Lock()
        self._connection: Connection | None = None
        self._lost = threading.Event()
        self._answered = False
        self._refuses_5 = False
        self._connected = False
        self._connected_at = 0.0
        self._short_lived = 0
        self._draining = False
        self._stopping = threading.Event()
        self._problem: str | None = None
        self._clock = ReceiptClock()
        self._thread = threading.Thread(target=self._run, name="subscriber", daemon=True)

    # --- what others call ---------------------------------------------------------------------------------------

    def status(self) -> BrokerStatus:
        """How it stands now."""
        return BrokerStatus(self._connected, self._pipeline.queued, self._problem or self._pipeline.problem)

    def lifeless(self) -> str | None:
        """A sentence where the thread that keeps the session up has ended."""
        if self._stopping.is_set() or self._thread.ident is None or self._thread.is_alive():
            return None
        return "Nobody listens to the broker any more: the thread that does it has ended."

    def start(self) -> None:
        """Begin to connect."""
        self._thread.start()

    def listen_to(self, topics: Sequence[str]) -> None:
        """Subscribe to these topics too, now and after every reconnect."""
        with self._lock:
            before, self._topics = self._topics, without_covered((*self._topics, *topics))
            new = tuple(topic for topic in self._topics if topic not in before)
            connection = self._connection if self._connected else None
        if new and connection is not None:
            connection.subscribe(new)

    def publish(self, topic: str, payload: bytes) -> None:
        """Say something, retained, below the prefix; said again whenever we connect, so that it is never lost."""
        full = f"{self._broker.prefix}/{topic}"
        with self._lock:
            self._said[full] = payload
            connection = self._connection if self._connected else None
        if connection is not None:
            connection.say(full, payload)

    def close(self, timeout_s: float = 10.0) -> None:
        """Take leave: finish what is queued, say that we are offline, disconnect; idempotent."""
        self._draining = True
        with self._lock:
            connection = self._connection
        if connection is not None:
            connection.accepting = False
        self._pipeline.settle(timeout_s)
        self._stopping.set()
        if connection is not None and self._connected:
            try:
                connection.say(f"{self._broker.prefix}/status", OFFLINE).wait_for_publish(2)
            except (RuntimeError, ValueError):
                log.debug("the connection was gone before we could take leave")
        self._lost.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    # --- the thread ---------------------------------------------------------------------------------------------

    def _run(self) -> None:
        failures = 0
        while not self._stopping.is_set():
            began = time.monotonic()
            try:
                self._connect_once()
            except Exception as error:  # whatever it is, the next attempt may succeed
                self._say(diagnostics.unreachable(error, self._address))
            self._connected = False
            failures = 0 if time.monotonic() - began > _STABLE_S else failures + 1
            backoff = min(_LONGEST_BACKOFF_S, 0.5 * 2 ** min(failures, 10))
            self._stopping.wait(backoff * self._random.uniform(0.5, 1.0))

    def _connect_once(self) -> None:
        if self._before_connect is not None:
            self._before_connect()
        self._lost.clear()
        self._answered = False
        connection = Connection(self._broker, self._version, self._pipeline, self._clock.read)
        try:
            connection.accepting = not self._draining
            connection.client.on_connect = _guarded(self._on_connect)
            connection.client.on_disconnect = _guarded(self._on_disconnect)
            connection.client.on_subscribe = _guarded(self._on_subscribe)
            connection.connect(*self._address)
            with self._lock:
                self._connection = connection
            deadline = time.monotonic() + CONNECT_S
            if not self._stopping.is_set():
                connection.run(self._lost, lambda: self._tick(deadline))
            if self._stopping.is_set():
                return
            if not self._answered:
                self._closed_before_answer()
            elif not self._refuses_5:  # it may have hung up for another reason than the version: try 5 again
                self._version = self._versions[0]
        finally:
            with self._lock:
                self._connection = None
            connection.close()

    def _tick(self, deadline: float) -> None:
        if not self._answered and time.monotonic() > deadline:
            raise TimeoutError
        if self._short_lived and self._connected and time.monotonic() - self._connected_at > _STABLE_S:
            self._short_lived = 0
            self._problem = None

    def _closed_before_answer(self) -> None:
        """Brokers that know no MQTT 5, and some that refuse a password, just hang up."""
        if self._version == MQTTProtocolVersion.MQTTv5:
            self._version = MQTTProtocolVersion.MQTTv311
            log.info("the broker hung up on MQTT 5; trying 3.1.1")
            return
        self._version = self._versions[0]
        self._say(diagnostics.hung_up(self._broker, self._address))

    # --- paho's callbacks; nothing may escape from one ----------------------------------------------------------

    def _on_connect(self, client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _props: Any) -> None:
        self._answered = True
        if reason.is_failure:
            if reason.getName() == "Unsupported protocol version" and len(self._versions) > 1:
                self._version, self._refuses_5 = MQTTProtocolVersion.MQTTv311, True
                log.info("the broker knows no MQTT 5; using 3.1.1")
            else:
                self._say(diagnostics.refused(reason.getName(), self._broker, self._address))
            self._lost.set()
            return
        if self._short_lived < _OFTEN:
            if self._problem is not None:
                log.info("connected again")
            self._problem = None
        with self._lock:
            connection, topics, said = self._connection, self._topics, dict(self._said)
            self._connected_at = time.monotonic()
            self._connected = connection is not None
        if connection is None or connection.client is not client:
            return
        connection.subscribe(topics)
        connection.say(f"{self._broker.prefix}/status", ONLINE)
        for topic, payload in said.items():
            connection.say(topic, payload)

    def _on_disconnect(self, _client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _props: Any) -> None:
        was, self._connected = self._connected, False
        if was and not self._stopping.is_set():
            lived_s = time.monotonic() - self._connected_at
            self._short_lived = self._short_lived + 1 if lived_s < _STABLE_S else 0
            if reason.getName() == "Session taken over":
                self._say(diagnostics.taken_over(self._broker, self._address))
            elif reason.getName() in _NO_MQTT:
                self._say(diagnostics.no_mqtt(self._address))
            elif self._short_lived >= _OFTEN:  # many brokers do not say that another client took the session over
                self._say(diagnostics.keeps_hanging_up(self._broker, self._address))
            else:
                self._say(diagnostics.gone(self._address))
        self._lost.set()

    def _on_subscribe(self, _client: paho.Client, _data: Any, _mid: int, codes: list[ReasonCode], _props: Any) -> None:
        if any(code.is_failure for code in codes):
            self._say(diagnostics.subscription_refused(self._topics, self._address))

    def _say(self, sentence: str) -> None:
        if sentence != self._problem:
            log.warning("%s", sentence)
        self._problem = sentence


def without_covered(filters: Sequence[str]) -> tuple[str, ...]:
    """The topic filters without those that a broader one ending in # covers: some brokers would send twice."""

    def covers(wide: str, narrow: str) -> bool:
        return wide != narrow and wide.endswith("#") and (narrow.startswith(wide[:-1]) or narrow == wide[:-2])

    unique = tuple(dict.fromkeys(filters))
    return tuple(narrow for narrow in unique if not any(covers(wide, narrow) for wide in unique))


def _guarded(callback: Callable[..., None]) -> Callable[..., None]:
    def call(*arguments: Any) -> None:
        try:
            callback(*arguments)
        except Exception:
            log.exception("a callback of the MQTT client failed")

    return call
