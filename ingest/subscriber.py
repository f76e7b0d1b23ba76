"""The MQTT client: connect, subscribe, queue, acknowledge, and go on trying.

A new paho client is made for each connection. An acknowledgement that comes late then goes to a connection that is
gone, where it does nothing; sent over the new one, its packet id could belong to a message that is not on disk yet.
What was not acknowledged comes again, and the store keeps one copy.
"""

from __future__ import annotations

import logging
import random
import socket
import ssl
import struct
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from ingest.pipeline import Arrival, Pipeline
from ingest.settings import Broker

log = logging.getLogger(__name__)

ONLINE: Final = b"online"
OFFLINE: Final = b"offline"

_PUBACK: Final = 0x40
_CONNECT_S: Final = 10.0
_LONGEST_BACKOFF_S: Final = 60.0
_STABLE_S: Final = 10.0
_OFTEN: Final = 3


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
        self._topics: tuple[str, ...] = (f"{broker.prefix}/report/+", *broker.topics)
        self._said: dict[str, bytes] = {}
        self._lock = threading.Lock()
        self._client: paho.Client | None = None
        self._lost = threading.Event()
        self._answered = False
        self._connected = False
        self._connected_at = 0.0
        self._short_lived = 0
        self._draining = False
        self._stopping = threading.Event()
        self._problem: str | None = None
        self._last_received = datetime.min.replace(tzinfo=UTC)
        self._thread = threading.Thread(target=self._run, name="subscriber", daemon=True)

    # --- what others call ---------------------------------------------------------------------------------------

    def status(self) -> BrokerStatus:
        """How it stands now."""
        return BrokerStatus(self._connected, self._pipeline.queued, self._problem or self._pipeline.problem)

    def start(self) -> None:
        """Begin to connect."""
        self._thread.start()

    def listen_to(self, topics: Sequence[str]) -> None:
        """Subscribe to these topics too, now and after every reconnect."""
        with self._lock:
            new = tuple(topic for topic in dict.fromkeys(topics) if topic not in self._topics)
            self._topics = (*self._topics, *new)
            client = self._client if self._connected else None
        if new and client is not None:
            client.subscribe([_subscription(topic, self._version) for topic in new])

    def publish(self, topic: str, payload: bytes) -> None:
        """Say something, retained, below the prefix; said again whenever we connect, so that it is never lost."""
        full = f"{self._broker.prefix}/{topic}"
        with self._lock:
            self._said[full] = payload
            client = self._client if self._connected else None
        if client is not None:
            client.publish(full, payload, qos=1, retain=True)

    def close(self, timeout_s: float = 10.0) -> None:
        """Take leave: finish what is queued, say that we are offline, disconnect; idempotent."""
        self._draining = True
        self._pipeline.settle(timeout_s)
        self._stopping.set()
        with self._lock:
            client = self._client if self._connected else None
        if client is not None:
            try:
                client.publish(f"{self._broker.prefix}/status", OFFLINE, qos=1, retain=True).wait_for_publish(2)
                client.disconnect()
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
                self._say(sentence_for(error, self._broker, self._address))
            self._connected = False
            failures = 0 if time.monotonic() - began > _STABLE_S else failures + 1
            backoff = min(_LONGEST_BACKOFF_S, 0.5 * 2 ** min(failures, 10))
            self._stopping.wait(backoff * self._random.uniform(0.5, 1.0))

    def _connect_once(self) -> None:
        if self._before_connect is not None:
            self._before_connect()
        client = self._make_client()
        self._lost.clear()
        self._answered = False
        host, port = self._address
        try:
            if self._version == MQTTProtocolVersion.MQTTv5:
                properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
                properties.SessionExpiryInterval = int(self._broker.session_expiry_days * 86_400)
                properties.ReceiveMaximum = self._broker.receive_maximum
                client.connect(host, port, self._broker.keep_alive_s, clean_start=False, properties=properties)
            else:
                client.connect(host, port, self._broker.keep_alive_s)
            with self._lock:
                self._client = client
            client.loop_start()
            self._watch(client)
        finally:
            with self._lock:
                self._client = None
            client.disconnect()
            client.loop_stop()

    def _watch(self, client: paho.Client) -> None:
        """Wait until the connection is lost, or was never made."""
        deadline = time.monotonic() + _CONNECT_S
        while not self._lost.wait(0.5):
            if not self._answered and time.monotonic() > deadline:
                raise TimeoutError
            if self._short_lived and self._connected and time.monotonic() - self._connected_at > _STABLE_S:
                self._short_lived = 0
                self._problem = None
        if not self._answered and not self._stopping.is_set():
            self._closed_before_answer()

    def _closed_before_answer(self) -> None:
        """Brokers that know no MQTT 5, and some that refuse a password, just hang up."""
        if self._version == MQTTProtocolVersion.MQTTv5:
            self._version = MQTTProtocolVersion.MQTTv311
            log.info("the broker hung up on MQTT 5; trying 3.1.1")
            return
        self._version = self._versions[0]
        broker = self._broker
        who = f"user {broker.user!r}" if broker.user else "a client without user and password"
        lacking = (
            "TLS" if not broker.tls else "a client certificate" if not broker.tls_certificate_file else "another one"
        )
        self._say(
            f"{self._where()} hung up before it answered: it may not admit {who}, or want {lacking}. "
            "Check user, password_file and the tls settings in [broker], and that the port is the right one."
        )

    def _make_client(self) -> paho.Client:
        broker = self._broker
        if self._version == MQTTProtocolVersion.MQTTv5:
            client = paho.Client(
                CallbackAPIVersion.VERSION2,
                broker.client_id,
                protocol=MQTTProtocolVersion.MQTTv5,
                manual_ack=True,
                reconnect_on_failure=False,
            )
        else:
            client = paho.Client(
                CallbackAPIVersion.VERSION2,
                broker.client_id,
                clean_session=False,
                protocol=MQTTProtocolVersion.MQTTv311,
                manual_ack=True,
                reconnect_on_failure=False,
            )
        client.connect_timeout = _CONNECT_S
        client.suppress_exceptions = True  # a second net below our own; see _guarded
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        if broker.tls:
            context = ssl.create_default_context(cafile=str(broker.tls_ca_file) if broker.tls_ca_file else None)
            if broker.tls_certificate_file is not None:
                context.load_cert_chain(broker.tls_certificate_file, broker.tls_key_file)
            client.tls_set_context(context)
        client.will_set(f"{broker.prefix}/status", OFFLINE, qos=1, retain=True)
        client.on_connect = _guarded(self._on_connect)
        client.on_disconnect = _guarded(self._on_disconnect)
        client.on_subscribe = _guarded(self._on_subscribe)
        client.on_message = _Intake(client, self._pipeline, self._received_at, lambda: self._draining)
        return client

    # --- paho's callbacks; nothing may escape from one ----------------------------------------------------------

    def _on_connect(self, client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _props: Any) -> None:
        self._answered = True
        if reason.is_failure:
            if reason.getName() == "Unsupported protocol version" and len(self._versions) > 1:
                self._version = MQTTProtocolVersion.MQTTv311
                log.info("the broker knows no MQTT 5; using 3.1.1")
            else:
                self._say(refusal(reason.getName(), self._broker, self._where()))
            self._lost.set()
            return
        self._connected = True
        self._connected_at = time.monotonic()
        if self._short_lived < _OFTEN:
            if self._problem is not None:
                log.info("connected again")
            self._problem = None
        with self._lock:
            topics, said = self._topics, dict(self._said)
        client.subscribe([_subscription(topic, self._version) for topic in topics])
        client.publish(f"{self._broker.prefix}/status", ONLINE, qos=1, retain=True)
        for topic, payload in said.items():
            client.publish(topic, payload, qos=1, retain=True)

    def _on_disconnect(self, _client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _props: Any) -> None:
        was, self._connected = self._connected, False
        if was and not self._stopping.is_set():
            lived_s = time.monotonic() - self._connected_at
            self._short_lived = self._short_lived + 1 if lived_s < _STABLE_S else 0
            # Many brokers do not say that another client took the session over, but it shows.
            if reason.getName() == "Session taken over" or self._short_lived >= _OFTEN:
                self._say(
                    f"{self._where()} keeps hanging up: another program may use the client id "
                    f"{self._broker.client_id!r}. Stop it, or give one of them another client_id in [broker]."
                )
            else:
                self._say(f"{self._where()} is gone. Connecting again.")
        self._lost.set()

    def _on_subscribe(self, _client: paho.Client, _data: Any, _mid: int, codes: list[ReasonCode], _props: Any) -> None:
        if any(code.is_failure for code in codes):
            self._say(
                f"{self._where()} refuses a subscription ({', '.join(sorted({c.getName() for c in codes}))}). "
                f"Let the user read {', '.join(self._topics)}."
            )

    def _received_at(self) -> datetime:
        """Now, and later than ever before: two messages never share an instant, even if the clock is set back."""
        now = datetime.now(UTC)
        if now <= self._last_received and self._last_received - now < timedelta(seconds=1):
            now = self._last_received + timedelta(microseconds=1)
        self._last_received = now
        return now

    def _where(self) -> str:
        return f"The broker at {self._address[0]}:{self._address[1]}"

    def _say(self, sentence: str) -> None:
        if sentence != self._problem:
            log.warning("%s", sentence)
        self._problem = sentence


class _Intake:
    """Paho's `on_message` for one connection, and the way back for the acknowledgements of what came over it."""

    def __init__(
        self, client: paho.Client, pipeline: Pipeline, received_at: Callable[[], datetime], draining: Callable[[], bool]
    ) -> None:
        self._client = client
        self._put = pipeline.put
        self._received_at = received_at
        self._draining = draining

    def __call__(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        try:
            if self._draining():
                return
            try:
                topic = message.topic
            except UnicodeDecodeError:  # paho keeps the bytes to itself
                topic = message._topic.decode("utf-8", "backslashreplace")
            source = self if message.qos else None
            self._put(Arrival(topic, bytes(message.payload), self._received_at(), source, message.mid, message.retain))
        except Exception:  # the network thread must go on; unacknowledged, the message comes again
            log.exception("a message could not be queued; the broker will send it again")

    def acknowledge(self, packet_ids: Sequence[int]) -> None:
        """Acknowledge in this order.

        `Client.ack` makes one packet and one system call for each message, which cost more than decoding it. The
        packets are joined and handed to paho's own queue as one; where that is not to be had, one by one will do.
        """
        queue = getattr(self._client, "_packet_queue", None)
        if queue is None:
            for packet_id in packet_ids:
                self._client.ack(packet_id, 1)
            return
        # MQTT 3.1.1 and 5, section 3.4: PUBACK, two bytes follow, the packet id; no reason code means success.
        queue(_PUBACK, bytearray().join(struct.pack("!BBH", _PUBACK, 2, each) for each in packet_ids), 0, 1)


def _subscription(topic: str, version: MQTTProtocolVersion) -> tuple[str, Any]:
    # What is retained is wanted once, with the first subscription, and not again after every reconnect.
    if version == MQTTProtocolVersion.MQTTv5:
        return topic, SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
    return topic, 1


def _guarded(callback: Callable[..., None]) -> Callable[..., None]:
    def call(*arguments: Any) -> None:
        try:
            callback(*arguments)
        except Exception:
            log.exception("a callback of the MQTT client failed")

    return call


def refusal(reason: str, broker: Broker, where: str) -> str:
    """A sentence for a refused login."""
    who = f"user {broker.user!r}" if broker.user else "a client without user and password"
    if reason in {"Bad user name or password", "Not authorized"}:
        return f"{where} does not admit {who}. Check user and password_file in [broker]."
    if reason == "Client identifier not valid":
        return f"{where} refuses the client id {broker.client_id!r}. Set another client_id in [broker]."
    return f"{where} refused the connection ({reason}). Trying again."


def sentence_for(error: Exception, broker: Broker, address: tuple[str, int]) -> str:
    """A sentence for a connection that failed: what, where, how to mend it."""
    host, port = address
    where = f"The broker at {host}:{port}"
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"{where} shows a certificate that cannot be trusted ({error.verify_message}). "
            "Set tls_ca_file in [broker] to the authority that signed it, and host to the name it was made out for."
        )
    if isinstance(error, ssl.SSLError):
        reason = (error.reason or str(error)).replace("_", " ").lower()
        return (
            f"{where} and we could not agree on TLS ({reason}). "
            "Check that this is its TLS port, and tls_certificate_file and tls_key_file if it asks for a certificate."
        )
    if isinstance(error, socket.gaierror):
        return f"There is no host {host!r} to be found. Check host in [broker], and the network."
    if isinstance(error, ConnectionRefusedError):
        return f"Nothing listens at {host}:{port}. Start the broker, or check host and port in [broker]."
    if isinstance(error, TimeoutError):
        return f"{where} does not answer. Check host and port in [broker], and whether a firewall stands between."
    if isinstance(error, OSError):
        return f"{where} cannot be reached ({error.strerror or error}). Check the network; trying again."
    return f"{where} could not be used ({error}). Trying again."
