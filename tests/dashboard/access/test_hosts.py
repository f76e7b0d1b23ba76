from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import logging
import socket
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import access
from dashboard.access.hosts import OwnNamesOnly, authority_of
from ingest.settings.settings import Server

NAMES = frozenset({"localhost", "tun.example"})
Pairs = list[tuple[bytes, bytes]]


class Door:
    """The layer in front of an app that answers everything, and what came of a request."""

    def __init__(self) -> None:
        self.now = 0.0
        self.layer = OwnNamesOnly(self._app, NAMES, clock=lambda: self.now)
        self.seen: list[Any] = []
        self.sent: list[Any] = []

    async def _app(self, scope: Any, _receive: Any, send: Any) -> None:
        self.seen.append(scope)
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
        elif scope["type"] == "websocket":
            await send({"type": "websocket.accept"})

    def send(self, headers: Pairs, kind: str = "http", method: str = "GET") -> int:
        """The status: 200 where the app behind was reached."""
        self.seen, self.sent = [], []

        async def sent(message: Any) -> None:
            self.sent.append(message)

        scope = {"type": kind, "path": "/", "headers": headers, **({"method": method} if kind == "http" else {})}
        asyncio.run(self.layer(scope, None, sent))  # type: ignore[arg-type]
        first = self.sent[0]
        if kind == "websocket":
            assert bool(self.seen) == (first["type"] == "websocket.accept")
            # An ASGI server answers 403 to a close that comes before the websocket is accepted.
            return 200 if self.seen else {"websocket.close": 403}[first["type"]]
        assert bool(self.seen) == (first["status"] == 200)
        return int(first["status"])

    def text(self) -> str:
        return b"".join(m.get("body", b"") for m in self.sent).decode()


def headers(host: str | None, **more: str) -> Pairs:
    given = [] if host is None else [(b"host", host.encode("latin-1"))]
    return given + [(k.replace("_", "-").encode(), v.encode("latin-1")) for k, v in more.items()]


@pytest.fixture
def door() -> Door:
    return Door()


@pytest.mark.parametrize(
    "host",
    [
        "localhost",
        "localhost:8600",
        "LocalHost.",
        "tun.example:80",
        "127.0.0.1:8600",
        "192.0.2.7",
        "[::1]:8600",
        "[FE80::1]",
    ],
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_our_names_and_every_address_in_numbers_are_admitted(door: Door, host: str, kind: str) -> None:
    assert door.send(headers(host), kind) == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost.evil.example", "evil.localhost", "tun.example.evil.example", "xtun.example", "0x7f.1"],
)
def test_another_name_is_refused_and_told_how_to_be_let_in(door: Door, host: str) -> None:
    assert door.send(headers(host)) == 421  # RFC 9110, section 15.5.20
    assert f'hosts = ["{host}"] under [server] in tunroom.toml' in door.text()
    assert (b"content-type", b"text/plain; charset=utf-8") in door.sent[0]["headers"]
    # As after DNS rebinding: page and host are the same, and neither is ours.
    assert door.send(headers(host, origin=f"http://{host}"), "websocket") == 403


# RFC 9112, section 3.2: 400 for a Host that is missing, doubled or invalid. RFC 3986, section 3.2.2: its grammar.
@pytest.mark.parametrize(
    "host",
    [
        None,
        "",
        ":8600",
        "localhost:",
        "localhost:0",
        "localhost:65536",
        "localhost:80:80",
        "localhost:8x",
        "a@localhost",
        "localhost/",
        "localhost, evil.example",
        " localhost",
        "::1",
        "[::1",
        "[127.0.0.1]",
        "[fe80::1%eth0]",
        "a..b",
        "locälhost",
        "localhost:²",
        "<b>x</b>",
        "localhost\x00",
        "localhost..",
        "-a.example",
        "*",
    ],
)
def test_a_host_that_is_none_is_refused_without_repeating_it(door: Door, host: str | None) -> None:
    assert door.send(headers(host)) == 400
    assert door.send(headers(host), "websocket") == 403
    assert door.send(headers(host)) == 400
    assert "<" not in door.text()


def test_two_hosts_are_refused_even_where_both_are_ours(door: Door) -> None:
    assert door.send(headers("localhost") * 2) == 400
    assert door.send([(b"host", b"localhost"), (b"Host", b"evil.example")]) == 400


@given(st.binary(max_size=40), st.sampled_from(["http", "websocket"]))
def test_whatever_bytes_stand_for_the_host_only_ours_reach_the_app(raw: bytes, kind: str) -> None:
    door = Door()
    status = door.send([(b"host", raw)], kind)
    assert status in {200, 400, 403, 421}
    if status == 200:
        read = authority_of(raw.decode("latin-1"))
        assert read is not None
        assert read.is_address or read.host in NAMES


@given(st.text("lo.cahstexmpun:@[]/\\?#%*0189 \t-_\r\n", max_size=24))
def test_what_differs_from_our_names_by_a_letter_is_not_admitted(text: str) -> None:
    host = text.rpartition(":")[0] if text.rpartition(":")[2].isdigit() else text
    ours = host.removesuffix(".").lower() in NAMES
    with contextlib.suppress(ValueError):
        ours = ours or bool(ipaddress.ip_address(host.strip("[]")))
    if not ours:
        assert Door().send(headers(text)) != 200


@given(st.ip_addresses(), st.none() | st.integers(1, 65535))
def test_an_address_is_the_same_in_every_spelling(address: Any, port: int | None) -> None:
    end = "" if port is None else f":{port}"
    spellings = (
        [str(address)] if address.version == 4 else [f"[{address}]", f"[{address.exploded}]", f"[{address}]".upper()]
    )
    assert len({authority_of(spelling + end) for spelling in spellings}) == 1
    assert all(
        Door().send(headers(each + end, origin=f"http://{spellings[0]}{end}"), "websocket") == 200 for each in spellings
    )


SAME = [
    ("localhost:8600", "http://localhost:8600"),
    ("LOCALHOST:8600", "http://localhost:8600"),
    ("tun.example", "https://tun.example"),  # behind a proxy that speaks TLS
    ("tun.example:443", "https://tun.example"),
    ("tun.example", "https://tun.example:443"),
    ("tun.example", "http://tun.example"),
    ("[::1]:8600", "http://[::1]:8600"),
    ("[0:0::1]:8600", "http://[::1]:8600"),
]
OTHER = [
    ("localhost:8600", "http://localhost:3000"),
    ("localhost:8600", "http://localhost"),
    ("localhost:8600", "http://127.0.0.1:8600"),
    ("localhost:8600", "http://evil.example"),
    ("localhost:8600", "http://evil.example:8600"),
    ("localhost:8600", "http://localhost:8600.evil.example"),
    ("localhost:8600", "http://evil@localhost:8600"),
    ("localhost:8600", "http://localhost:8600/"),
    ("localhost:8600", "localhost:8600"),
    ("localhost:8600", "file://localhost:8600"),
    ("localhost:8600", "chrome-extension://abcdef"),
    ("localhost:8600", "null"),
    ("localhost:8600", ""),
    ("tun.example", "https://tun.example:8443"),
    ("tun.example:80", "https://tun.example"),
    ("192.0.2.7:8600", "http://192.0.2.8:8600"),
]


@pytest.mark.parametrize(("host", "origin"), SAME)
def test_our_own_pages_may_speak_with_us(door: Door, host: str, origin: str) -> None:
    assert door.send(headers(host, origin=origin), "websocket") == 200
    assert door.send(headers(host, origin=origin), method="POST") == 200


@pytest.mark.parametrize(("host", "origin"), OTHER)
def test_pages_of_another_origin_may_not(door: Door, host: str, origin: str) -> None:
    assert door.send(headers(host, origin=origin), "websocket") == 403
    for method in ("POST", "PUT", "DELETE", "PATCH", "TRACE", "MADE-UP"):
        assert door.send(headers(host, origin=origin), method=method) == 403
    assert "only the dashboard's own pages may do that" in door.text()
    # A link or a picture changes nothing, and its page cannot read the answer.
    assert door.send(headers(host, origin=origin)) == 200


def test_two_origins_are_refused(door: Door) -> None:
    twice = headers("localhost:8600") + [(b"origin", b"http://localhost:8600")] * 2
    assert door.send(twice, "websocket") == 403


def test_a_program_that_is_no_browser_says_no_origin_and_is_admitted(door: Door) -> None:
    assert door.send(headers("localhost:8600"), "websocket") == 200
    assert door.send(headers("localhost:8600"), method="POST") == 200


# W3C Fetch Metadata Request Headers: none is what the person at the browser did.
@pytest.mark.parametrize(
    ("site", "status"), [("same-origin", 200), ("none", 200), ("same-site", 403), ("cross-site", 403), ("odd", 403)]
)
def test_what_the_browser_says_of_the_site_is_heeded_where_origin_is_missing(
    door: Door, site: str, status: int
) -> None:
    assert door.send(headers("localhost:8600", sec_fetch_site=site), method="POST") == status
    assert door.send(headers("localhost:8600", sec_fetch_site=site), "websocket") == status
    assert door.send(headers("localhost:8600", sec_fetch_site=site)) == 200


@pytest.mark.parametrize(("host", "origin"), SAME)
def test_what_is_behind_has_no_second_thoughts_about_an_origin(door: Door, host: str, origin: str) -> None:
    from streamlit.web.server import server_util
    from streamlit.web.server.starlette import starlette_websocket

    def asked(_url: str) -> bool:
        pytest.fail("Streamlit goes on to ask for this machine's address")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(starlette_websocket, "is_url_from_allowed_origins", asked)
        patch.setattr(server_util, "is_url_from_allowed_origins", asked)
        assert door.send(headers(host, origin=origin), "websocket") == 200
        behind = dict(door.seen[0]["headers"])
        assert starlette_websocket._is_origin_allowed(behind[b"origin"].decode(), behind[b"host"].decode())


def test_the_lifespan_passes(door: Door) -> None:
    async def go() -> None:
        await door.layer({"type": "lifespan"}, None, None)  # type: ignore[arg-type]

    asyncio.run(go())
    assert door.seen == [{"type": "lifespan"}]


def test_a_refused_name_is_logged_once_a_minute_in_one_printable_line(
    door: Door, caplog: pytest.LogCaptureFixture
) -> None:
    hostile = "evil\x1b[2J\r\nroot: all is well " + "\xe9" * 500
    with caplog.at_level(logging.WARNING):
        for _ in range(50):
            door.send(headers(hostile))
            door.send(headers("evil.example"))
        assert len(caplog.records) == 2
        door.now = 61.0
        door.send(headers("evil.example"))
    assert len(caplog.records) == 3
    for record in caplog.records:
        assert record.getMessage().isascii()
        assert record.getMessage().isprintable()
        assert len(record.getMessage()) < 500
    assert "evil.example" in caplog.records[1].getMessage()


def test_made_up_names_do_not_fill_log_or_memory(door: Door, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        for n in range(1000):
            door.send(headers(f"n{n}.example"))
    assert len(caplog.records) <= 64


def test_our_names_are_found_without_asking_anyone(monkeypatch: pytest.MonkeyPatch) -> None:
    def asked(*_: Any) -> Any:
        pytest.fail("a name server would be asked")

    for look_up in ("getfqdn", "gethostbyaddr", "gethostbyname", "gethostbyname_ex", "getaddrinfo", "getnameinfo"):
        monkeypatch.setattr(socket, look_up, asked)
    monkeypatch.setattr(socket, "gethostname", lambda: "Attic.home.example")
    named = {"localhost", "attic.home.example", "attic", "attic.local"}
    assert access.names_of(Server()) == named
    assert access.names_of(Server(host="0.0.0.0", hosts=("tun.example",))) == named | {"tun.example"}
    assert access.names_of(Server(host="Tun.example")) == named | {"tun.example"}
    monkeypatch.setattr(socket, "gethostname", lambda: "")
    assert access.names_of(Server()) == {"localhost"}
