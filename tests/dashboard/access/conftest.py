"""A gate with clocks that a test moves, and requests without a server."""

from __future__ import annotations

import asyncio
import base64
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from argon2 import PasswordHasher

from dashboard.access.gate import COOKIE, Gate
from dashboard.access.passwords import Passwords
from dashboard.access.sign_in import SignedInOnly
from ingest.settings.settings import Server

KEEP = "copper kettle lantern"
LOOK = "window only please"
Pairs = list[tuple[bytes, bytes]]


class Answer:
    """What came back over HTTP."""

    def __init__(self, sent: list[Any]) -> None:
        self.status: int = sent[0]["status"]
        self.headers = [(name.decode().lower(), value.decode()) for name, value in sent[0]["headers"]]
        self.text = b"".join(m.get("body", b"") for m in sent[1:]).decode()

    def header(self, wanted: str) -> str:
        return next((value for name, value in self.headers if name == wanted), "")

    @property
    def cookie(self) -> str:
        found = re.match(rf"{COOKIE}=([^;]*)", self.header("set-cookie"))
        assert found is not None
        return found[1]


class House:
    """The layer in front of an app that answers everything with 200, and what reached that app."""

    def __init__(self, folder: Path, **server: Any) -> None:
        self.wall, self.clock = 1_800_000_000.0, 100.0
        self.passwords = Passwords(folder)
        self.server = Server(**server)
        self.reached: list[Any] = []
        self.caching = b""
        self.open()

    def open(self) -> None:
        """Begin anew, as a restart does."""
        self.gate = Gate(self.server, self.passwords, wall=lambda: self.wall, clock=lambda: self.clock)
        self.layer = SignedInOnly(self._app, self.gate, lambda trouble, towards: f"form {trouble} next={towards}")

    async def _app(self, scope: Any, receive: Any, send: Any) -> None:
        self.reached.append(scope)
        if scope["type"] == "http":
            headers = [(b"cache-control", self.caching)] if self.caching else []
            await send({"type": "http.response.start", "status": 200, "headers": headers})
            await send({"type": "http.response.body", "body": b"inside"})

    def ask(
        self,
        path: str = "/",
        method: str = "GET",
        *,
        cookie: str | None = None,
        form: dict[str, str] | None = None,
        headers: Pairs = [],  # noqa: B006 - read only
        peer: str | None = "192.0.2.7",
        query: str = "",
        scheme: str = "http",
    ) -> Answer:
        pairs = [(b"host", b"tun.example"), *headers]
        if cookie is not None:
            pairs.append((b"cookie", f"{COOKIE}={cookie}".encode()))
        if form is not None:
            pairs.append((b"content-type", b"application/x-www-form-urlencoded"))
        body = [{"type": "http.request", "body": urlencode(form or {}).encode()}]
        sent: list[Any] = []

        async def receive() -> Any:
            return body.pop()

        async def send(message: Any) -> None:
            sent.append(message)

        scope = {
            "type": "http",
            "method": method,
            "path": path,
            "query_string": query.encode(),
            "headers": pairs,
            "client": None if peer is None else (peer, 4000),
            "scheme": scheme,
        }
        self.reached.clear()
        asyncio.run(self.layer(scope, receive, send))
        return Answer(sent)

    def sign_in(self, password: str, **more: Any) -> Answer:
        return self.ask("/sign-in", "POST", form={"password": password, **more.pop("fields", {})}, **more)

    def handshake(self, cookie: str | None = None, headers: Pairs = [], peer: str = "192.0.2.7") -> bool:  # noqa: B006
        """Whether a websocket reaches the app."""
        pairs = list(headers) + ([] if cookie is None else [(b"cookie", f"{COOKIE}={cookie}".encode())])
        sent: list[Any] = []

        async def send(message: Any) -> None:
            sent.append(message)

        scope = {"type": "websocket", "path": "/_stcore/stream", "headers": pairs, "client": (peer, 1), "scheme": "ws"}
        self.reached.clear()
        asyncio.run(self.layer(scope, None, send))  # type: ignore[arg-type]
        assert bool(self.reached) == (sent == [])
        assert self.reached or sent[0]["type"] == "websocket.close"
        return bool(self.reached)


@pytest.fixture(scope="session")
def _hashed() -> str:
    """A passwords' file whose hashes cost little, so that a test may sign in often."""
    cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    hashes = {"keep": cheap.hash(KEEP), "look": cheap.hash(LOOK)}
    return json.dumps({"passwords": hashes, "session_key": base64.b64encode(bytes(range(32))).decode()})


@pytest.fixture
def house(_hashed: str, tmp_path: Path) -> Callable[..., House]:
    """A house with both passwords set; ``house(host="0.0.0.0", trusted_proxy=(…))``."""

    def make(*, locked: bool = True, **server: Any) -> House:
        if locked:
            (tmp_path / "passwords.json").write_text(_hashed)
        return House(tmp_path, **server)

    return make
