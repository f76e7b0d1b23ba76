"""One connection to a broker: a paho client, driven by a loop of our own through paho's interface for such loops.

The loop reads as long as there is something to read, and reads nothing while the queue is full: the broker waits, and
the connection is kept alive meanwhile.

A new client is made for each connection. An acknowledgement that comes late then goes to a connection that is gone,
where it does nothing; sent over the new one, its packet id could belong to a message that is not on disk yet.
"""

from __future__ import annotations

import contextlib
import logging
import selectors
import socket
import ssl
import struct
import threading
from collections.abc import Callable, Sequence
from typing import Any, Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from ingest.decoding import Arrival
from ingest.mqtt.receipt import Receipt
from ingest.pipeline import Pipeline
from ingest.settings import Broker

log = logging.getLogger(__name__)

CONNECT_S: Final = 10.0
ONLINE: Final = b"online"
OFFLINE: Final = b"offline"

_PUBACK: Final = 0x40
_IDLE_S: Final = 0.5
_FULL_S: Final = 0.02
_READS: Final = 500
_READ_AHEAD: Final = 64 * 1024


class ReadingAhead(paho.Client):
    """A client that takes from the socket what is there, in one system call instead of three for each message.

    Each call lets go of the interpreter, and between two busy threads it is waiting to get it back that costs. Where
    paho does not ask for bytes by this name, it reads by itself and `has_more` stays false.
    """

    reads_nothing = False
    """While this is true the broker's answer to a ping is not missed: it lies behind what has not been read."""
    _ahead = b""
    _at = 0

    @property
    def has_more(self) -> bool:
        """Whether bytes are here that no selector sees any more."""
        return self._at < len(self._ahead)

    def _sock_recv(self, bufsize: int) -> bytes:
        if not self.has_more:
            self._ahead, self._at = super()._sock_recv(max(bufsize, _READ_AHEAD)), 0
        piece = self._ahead[self._at : self._at + bufsize]
        self._at += len(piece)
        return piece

    def _check_keepalive(self) -> None:
        if self.reads_nothing:
            self._ping_t = 0.0  # as if it had been answered: the next one is sent in its time
        super()._check_keepalive()


class Connection:
    """A connection from the attempt to its end; also the `Source` of the messages that came over it."""

    def __init__(
        self, broker: Broker, version: MQTTProtocolVersion, pipeline: Pipeline, receipt: Callable[[], Receipt]
    ) -> None:
        self.version = version
        self.accepting = True
        """False while we take leave: what still comes is left unacknowledged, for the next time."""
        self._broker = broker
        self._pipeline = pipeline
        self._receipt = receipt
        self._seen = 0
        self._dropped = threading.Event()
        self._wake_r, self._wake_w = socket.socketpair()
        self._wake_r.setblocking(False)
        self._wake_w.setblocking(False)
        self.client = self._make_client()

    def _make_client(self) -> ReadingAhead:
        broker = self._broker
        client = ReadingAhead(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            clean_session=None if self.version == MQTTProtocolVersion.MQTTv5 else False,
            protocol=self.version,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_S
        client.suppress_exceptions = True  # a second net below our own
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        if broker.tls:
            context = ssl.create_default_context(cafile=str(broker.tls_ca_file) if broker.tls_ca_file else None)
            if broker.tls_certificate_file is not None:
                context.load_cert_chain(broker.tls_certificate_file, broker.tls_key_file)
            client.tls_set_context(context)
        client.will_set(f"{broker.prefix}/status", OFFLINE, qos=1, retain=True)
        client.on_message = self._on_message
        # With this set, paho leaves writing to our loop, whichever thread has something to say.
        client.on_socket_register_write = lambda *_: self._wake()
        return client

    def connect(self, host: str, port: int) -> None:
        """Open the connection and say who we are; the answer comes while `run` runs."""
        if self.version == MQTTProtocolVersion.MQTTv5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = int(self._broker.session_expiry_days * 86_400)
            properties.ReceiveMaximum = self._broker.receive_maximum
            self.client.connect(host, port, self._broker.keep_alive_s, clean_start=False, properties=properties)
        else:
            self.client.connect(host, port, self._broker.keep_alive_s)

    def run(self, lost: threading.Event, tick: Callable[[], None]) -> None:
        """Carry messages until the connection is lost; `tick` is called at least twice a second."""
        client, seen_by_selector = self.client, 0
        with selectors.DefaultSelector() as selector:
            selector.register(self._wake_r, selectors.EVENT_READ)
            sock = client.socket()
            while sock is not None and not lost.is_set() and not self._dropped.is_set():
                full = client.reads_nothing = self._pipeline.full
                wanted = (0 if full else selectors.EVENT_READ) | (selectors.EVENT_WRITE if client.want_write() else 0)
                if wanted != seen_by_selector:
                    _watch(selector, sock, seen_by_selector, wanted)
                    seen_by_selector = wanted
                # TLS may have decrypted more than was read; no selector sees that.
                decrypted = isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
                pending = not full and (client.has_more or decrypted)
                ready = selector.select(0 if pending else _FULL_S if full else _IDLE_S)
                readable = pending
                for key, events in ready:
                    if key.fileobj is self._wake_r:
                        with contextlib.suppress(BlockingIOError):
                            self._wake_r.recv(4096)
                    else:
                        readable = readable or bool(events & selectors.EVENT_READ)
                code = self._read() if readable else MQTTErrorCode.MQTT_ERR_SUCCESS
                if not code and client.want_write():
                    code = client.loop_write()
                if code or client.loop_misc():
                    return
                tick()
                sock = client.socket()

    def _read(self) -> MQTTErrorCode:
        """Read messages while they come, but not forever: what is to be written must have its turn."""
        for _ in range(_READS):
            before = self._seen
            code = self.client.loop_read()
            if code or self._seen == before or self._pipeline.full:
                return code
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def _wake(self) -> None:
        with contextlib.suppress(OSError):  # full of wake-ups already, or closed
            self._wake_w.send(b"\0")

    def drop(self) -> None:
        """Leave without a word, so that the broker sends again what was not acknowledged."""
        self._dropped.set()
        self._wake()

    def close(self) -> None:
        """Be done with it; idempotent."""
        self.client.disconnect()
        if self.client.socket() is not None:
            self.client.loop_write()
        self._wake_r.close()
        self._wake_w.close()

    def subscribe(self, topics: Sequence[str]) -> None:
        """Subscribe at QoS 1. What is retained is wanted once, not again after every reconnect."""
        if self.version == MQTTProtocolVersion.MQTTv5:
            once = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
            self.client.subscribe([(topic, once) for topic in topics])
        else:
            self.client.subscribe([(topic, 1) for topic in topics])

    def say(self, topic: str, payload: bytes) -> paho.MQTTMessageInfo:
        """Publish something that is to stay."""
        return self.client.publish(topic, payload, qos=1, retain=True)

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        try:
            self._seen += 1
            if not self.accepting:
                return
            try:
                topic = message.topic
            except UnicodeDecodeError as error:  # the error holds the bytes, which the message keeps to itself
                topic = error.object.decode("utf-8", "backslashreplace")
            source = self if message.qos else None
            at, not_after = self._receipt()
            payload = bytes(message.payload)
            self._pipeline.put(Arrival(topic, payload, at, source, message.mid, message.retain, not_after))
        except Exception:  # the loop must go on; unacknowledged, the message comes again
            log.exception("a message could not be queued; the broker will send it again")

    def acknowledge(self, packet_ids: Sequence[int]) -> None:
        """Acknowledge in this order; called by the pipeline, in its own thread.

        `Client.ack` makes one packet and one system call for each message, which cost more than decoding it. The
        packets are joined and handed to paho's own queue as one; where that is not to be had, one by one will do.
        """
        queue = getattr(self.client, "_packet_queue", None)
        if queue is None:
            for packet_id in packet_ids:
                self.client.ack(packet_id, 1)
        elif self.client.socket() is not None:
            # MQTT 3.1.1 and 5, section 3.4: PUBACK, two bytes follow, the packet id; no reason code means success.
            queue(_PUBACK, bytearray().join(struct.pack("!BBH", _PUBACK, 2, each) for each in packet_ids), 0, 1)


def _watch(selector: selectors.BaseSelector, sock: Any, before: int, wanted: int) -> None:
    if not wanted:
        selector.unregister(sock)
    elif before:
        selector.modify(sock, wanted)
    else:
        selector.register(sock, wanted)
