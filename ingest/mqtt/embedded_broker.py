"""The embedded broker: rumqttd (through `iotcore`) as a child process with a configuration that we write.

It speaks MQTT 3.1.1. It keeps messages for an absent session as long as it runs; its own restart loses sessions,
retained messages and whatever was under way, so a device must keep what was not acknowledged.
"""

from __future__ import annotations

import contextlib
import ipaddress
import json
import logging
import os
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Final

from ingest.errors import IngestError, SettingsError
from ingest.mqtt import embedded_broker_process
from ingest.settings import Broker, is_loopback

log = logging.getLogger(__name__)

LARGEST_PAYLOAD: Final = 1_048_576
"""Bytes; a larger message makes the broker cut its publisher."""

_READY_S: Final = 10.0


class EmbeddedBroker:
    """A broker that lives as long as the block it is entered for."""

    def __init__(self, broker: Broker, data_dir: Path) -> None:
        self._settings = broker
        self._folder = data_dir
        self._process: subprocess.Popen[bytes] | None = None
        self._wanted = False

    @property
    def pid(self) -> int | None:
        """The child's process id, while it runs."""
        return self._process.pid if self._process is not None and self._process.poll() is None else None

    def __enter__(self) -> EmbeddedBroker:
        self.start()
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def start(self) -> None:
        """Start it and wait until it listens.

        Raises
        ------
        SettingsError
            If the port is taken.
        IngestError
            If it does not come up.
        """
        self._refuse_taken_port()
        config = self._write_config()
        # Its own session: Ctrl-C reaches us first, and we take leave of the broker before it goes.
        self._process = subprocess.Popen(  # noqa: S603  our own interpreter and file
            [sys.executable, "-P", embedded_broker_process.__file__, str(config)],
            stdin=subprocess.PIPE,
            start_new_session=True,
        )
        deadline = time.monotonic() + _READY_S
        while time.monotonic() < deadline:
            if self._process.poll() is not None:
                raise IngestError(
                    f"The embedded broker ended at once (code {self._process.returncode}). See what it wrote above."
                )
            with contextlib.suppress(OSError), socket.create_connection(self.address, timeout=0.5):
                self._wanted = True
                log.info("embedded broker listens at %s:%d", self._settings.listen, self._settings.port)
                return
            time.sleep(0.02)
        self._end()
        raise IngestError(f"The embedded broker did not listen within {_READY_S:g} s. Start again, or see the log.")

    @property
    def address(self) -> tuple[str, int]:
        """Where our own client reaches it."""
        host = self._settings.listen.strip("[]")
        if host in {"0.0.0.0", "", "*"}:  # noqa: S104  only compared
            host = "127.0.0.1"
        elif host == "::":
            host = "::1"
        return host, self._settings.port

    def ensure(self) -> None:
        """Start it again if it died, or could not be started again the last time."""
        if self._wanted and self.pid is None:
            log.warning("the embedded broker ended; starting it again")
            self._end()
            self.start()

    def close(self) -> None:
        """Stop it; idempotent."""
        self._wanted = False
        self._end()

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()
        try:
            process.wait(3)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)

    def _refuse_taken_port(self) -> None:
        host, port = self._settings.listen.strip("[]"), self._settings.port
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            if sys.platform != "win32":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError as error:
                raise SettingsError(
                    "broker.port",
                    f"port {port} on {host}, meant for the embedded broker, cannot be used ({error.strerror})",
                    "Stop the program that holds it, choose another with --broker-port NUMBER or port in [broker], "
                    'or use that broker: host = "localhost"',
                ) from None

    def _write_config(self) -> Path:
        broker = self._settings
        host = _numeric(broker.listen)
        lines = [
            "id = 0",
            "[router]",
            "id = 0",
            "max_connections = 1000",
            "max_outgoing_packet_count = 200",
            "max_segment_size = 104857600",
            "max_segment_count = 10",
            "[v4.1]",
            'name = "tunroom"',
            f'listen = "{f"[{host}]" if ":" in host else host}:{broker.port}"',
            "next_connection_delay_ms = 1",
            "[v4.1.connections]",
            "connection_timeout_ms = 60000",
            f"max_payload_size = {LARGEST_PAYLOAD}",
            "max_inflight_count = 500",
            "dynamic_filters = true",
        ]
        if broker.user is not None and broker.password is not None:
            lines += ["[v4.1.connections.auth]", f"{_quoted(broker.user)} = {_quoted(broker.password)}"]
        path = self._folder / "embedded-broker.toml"
        self._folder.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        # It may hold the password: nobody else may read it, not even for a moment.
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
        return path


def _quoted(text: str) -> str:
    return json.dumps(text)  # a JSON string is a TOML basic string


def _numeric(host: str) -> str:
    host = host.strip("[]")
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        if is_loopback(host):
            return "127.0.0.1"
    try:
        return str(socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)[0][4][0])
    except OSError as error:
        raise SettingsError(
            "broker.listen",
            f"{host!r} is no address of this machine ({error.strerror})",
            "Write an address, such as 127.0.0.1, or 0.0.0.0 for all",
        ) from None
