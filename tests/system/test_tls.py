"""A real server that speaks TLS: its own certificate, a cookie for such lines only, and open lines that end."""

from __future__ import annotations

import base64
import os
import socket
import ssl
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
import trustme

from dashboard.access.passwords import Passwords
from tests.system.serving import Server

KEEP = "copper kettle lantern"


class Secure(Server):
    """As `Server`, asked over TLS."""

    def __init__(self, folder: Path) -> None:
        authority = trustme.CA()
        pair = authority.issue_cert("127.0.0.1", "localhost")
        pair.cert_chain_pems[0].write_to_path(folder / "t.pem")
        pair.private_key_pem.write_to_path(folder / "t.key")
        (folder / "t.toml").write_text('[server]\ncertificate = "t.pem"\nkey = "t.key"\n')
        super().__init__(folder, "serve", "--config", str(folder / "t.toml"))
        self.trusting = ssl.create_default_context()
        authority.configure_trust(self.trusting)

    def line(self) -> ssl.SSLSocket:
        plain = socket.create_connection(("127.0.0.1", self.port), timeout=20)
        return self.trusting.wrap_socket(plain, server_hostname="127.0.0.1")

    def ask(self, request: str, *lines: str, body: str = "") -> str:
        head = [f"{request} HTTP/1.1", f"Host: 127.0.0.1:{self.port}", "Connection: close", *lines]
        with self.line() as line:
            line.sendall("\r\n".join([*head, f"Content-Length: {len(body)}", "", body]).encode())
            came = b""
            while part := line.recv(65536):
                came += part
        return came.decode("latin-1")

    def health(self) -> dict[str, Any]:
        try:
            return {"up": True} if "broker_connected" in self.ask("GET /healthz") else {}
        except OSError:
            return {}


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Secure]:
    made = Secure(tmp_path)
    Passwords(made.data).set("keep", KEEP)
    made.start()
    yield made
    made.kill()


def test_over_tls_one_signs_in_and_a_new_password_ends_open_lines(
    server: Secure, wait_until: Callable[..., None]
) -> None:
    wait_until(lambda: server.health().get("up"), 120, "the server")
    assert "is ready at https://localhost" in server.log
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as plain:
        plain.sendall(b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert b"200 OK" not in plain.recv(4096)
    assert server.ask("GET /_stcore/host-config").startswith("HTTP/1.1 401")
    form = urlencode({"password": KEEP})
    kind = "Content-Type: application/x-www-form-urlencoded"
    elsewhere = server.ask("POST /sign-in", kind, "Origin: https://evil.example", body=form)
    assert elsewhere.startswith("HTTP/1.1 403")
    assert "set-cookie" not in elsewhere.lower()
    answer = server.ask("POST /sign-in", kind, f"Origin: https://127.0.0.1:{server.port}", body=form)
    [told] = [line for line in answer.split("\r\n") if line.lower().startswith("set-cookie")]
    assert told.endswith("; HttpOnly; SameSite=Lax; Secure")
    cookie = "Cookie: " + told.split(": ", 1)[1].partition(";")[0]
    assert server.ask("GET /_stcore/host-config", cookie).startswith("HTTP/1.1 200")
    # What a client says of itself is not believed, though uvicorn by itself believes who sits on this machine.
    forged = server.ask("GET /_stcore/host-config", "X-Forwarded-For: 127.0.0.1", "X-Remote-User: ann")
    assert forged.startswith("HTTP/1.1 401")
    with server.line() as line:
        key = base64.b64encode(os.urandom(16)).decode()
        head = ["GET /_stcore/stream HTTP/1.1", f"Host: 127.0.0.1:{server.port}", "Upgrade: websocket", cookie]
        head += ["Connection: Upgrade", f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13"]
        line.sendall("\r\n".join([*head, "Sec-WebSocket-Protocol: streamlit", "", ""]).encode())
        assert line.recv(4096).startswith(b"HTTP/1.1 101")
        began = time.monotonic()
        changed = server.command_with("another copper kettle\n", "password")
        assert "must sign in again" in changed
        came = b""
        while part := line.recv(65536):
            came += part
            if came[-4:-2] == b"\x88\x02":
                break
        # RFC 6455, sections 5.5.1 and 7.4.1: a close frame with status 1008.
        assert came.endswith(b"\x88\x02\x03\xf0")
        assert time.monotonic() - began < 60
    assert server.ask("GET /_stcore/host-config", cookie).startswith("HTTP/1.1 401")
