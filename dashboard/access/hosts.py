"""Answers only to our own names, and only to our own pages: an ASGI layer in front of everything else.

The dashboard has no login, so whatever a browser can be talked into asking it would be answered. Two ways to do so are
closed here, for pages, files, feeds, uploads and the websocket alike:

- A hostile page's name is pointed at this machine (DNS rebinding): the browser then takes us for that page's own
  server, and lets the page read us. Its requests carry that page's name as Host, which is none of ours. Addresses in
  numbers are always admitted: a browser asks no name server for them, so there is nothing to point elsewhere.
- A page of another site, or of another program on this machine, opens the websocket or sends a request that changes
  something: the browser puts that page's address into Origin, which is not the Host it asks.
"""

from __future__ import annotations

import ipaddress
import logging
import re
import socket
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Final

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocketClose

from ingest.settings import Server, is_host_name

log = logging.getLogger(__name__)

_AUTHORITY: Final = re.compile(r"(\[[0-9A-Fa-f:.]{2,45}\]|[^\[\]:]{1,254})(?::([0-9]{1,5}))?")
"""The host and port of RFC 3986, section 3.2; no port is longer than 65535."""
_ORIGIN: Final = re.compile(r"(https?)://(.+)", re.IGNORECASE)
_DEFAULT_PORTS: Final = {"http": 80, "https": 443}

_READING: Final = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing here (RFC 9110, section 9.2.1). A page of another site may ask so, as for any link or
picture, but its browser does not let it read the answer."""
_OURS: Final = frozenset({"same-origin", "none"})
"""Sec-Fetch-Site of a request that one of our own pages made, or the person at the browser (W3C Fetch Metadata)."""

_POLICY_VIOLATION: Final = 1008
"""RFC 6455, section 7.4.1. Before the websocket is accepted, the server answers HTTP 403 instead."""

_SAY_AGAIN_S: Final = 60.0
_NAMES_KEPT: Final = 64
"""Whoever makes up names must not fill log or memory: more than this many a minute go unsaid."""
_LONGEST_SAID: Final = 80

_NO_HOST: Final = (
    "A request must name the server that it asks, once, in its Host header, as in localhost:8600. This one does not."
)
_NOT_OURS: Final = (
    "This request comes from a page of another address, and only the dashboard's own pages may do that. Open the "
    "dashboard at its own address and do it there. If a proxy stands in front of it, let the proxy hand the Host "
    "header on as it comes, with its port."
)


def _unknown(name: str) -> str:
    return (
        f'The dashboard does not answer to the name "{name}". If that is how you reach it, write '
        f'hosts = ["{name}"] under [server] in tunroom.toml (beside the names that stand there), or set the variable '
        "TUNROOM_SERVER__HOSTS, and start tunroom again. Its address in numbers works without that."
    )


@dataclass(frozen=True, slots=True)
class Authority:
    """A host and port, so written that two spellings of the same are equal."""

    host: str
    """A name in small letters, or an address in its shortest form."""
    port: int | None
    """None where none is said."""
    is_address: bool


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a request is not let in."""

    status: int
    sentence: str
    """For the one who asks: what is wrong and how to mend it."""
    noted: str
    """For the log; what came from outside is escaped."""


def authority_of(text: str) -> Authority | None:
    """Read a host with or without port; None where it is neither a name nor an address."""
    found = _AUTHORITY.fullmatch(text)
    if found is None:
        return None
    host, port = found[1], int(found[2]) if found[2] else None
    if port is not None and not 1 <= port <= 65535:
        return None
    try:
        address = ipaddress.IPv6Address(host[1:-1]) if host.startswith("[") else ipaddress.IPv4Address(host)
    except ValueError:
        # "localhost." is the same name said in full (RFC 1034, section 3.1).
        name = host.removesuffix(".").lower()
        return Authority(name, port, is_address=False) if is_host_name(name) else None
    return Authority(address.compressed, port, is_address=True)


def names_of(server: Server) -> frozenset[str]:
    """The names that the dashboard answers to: localhost, this machine's, and those of the settings.

    Nobody is asked: this machine's names are what it calls itself, and the same for multicast DNS (RFC 6762), which
    answers on the local network alone. A name that only the network's name server knows must stand in the settings.
    Names below localhost are not admitted unless set: nothing here uses them, and not every browser keeps them local.
    """
    machine = socket.gethostname().lower().removesuffix(".")
    first = machine.partition(".")[0]
    named = authority_of(server.host)
    bound = {named.host} if named is not None and not named.is_address else set()
    return frozenset(
        name for name in {"localhost", machine, first, f"{first}.local", *bound, *server.hosts} if is_host_name(name)
    )


class OwnNamesOnly:
    """ASGI middleware: refuses requests for another Host, and what pages of another Origin may not do.

    Parameters
    ----------
    app
        What stands behind.
    names
        The names to answer to, in small letters, as of `names_of`; addresses need not be named.
    clock
        Seconds that only go forward, for the log's rest.
    """

    def __init__(self, app: ASGIApp, names: Collection[str], clock: Callable[[], float] = time.monotonic) -> None:
        self._app, self._names, self._clock = app, frozenset(names), clock
        self._noted: dict[str, float] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in {"http", "websocket"}:  # the lifespan asks for nothing
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is None:
            await self._app(_with_plain_origin(scope), receive, send)
            return
        self._note(refusal)
        if scope["type"] == "websocket":
            await WebSocketClose(_POLICY_VIOLATION)(scope, receive, send)
            return
        headers = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
        await PlainTextResponse(refusal.sentence + "\n", refusal.status, headers)(scope, receive, send)

    def _refusal(self, scope: Scope) -> Refusal | None:
        hosts = _header(scope, b"host")
        host = authority_of(hosts[0]) if len(hosts) == 1 else None
        if host is None:  # RFC 9112, section 3.2: 400 where it is missing, doubled or no host
            return Refusal(400, _NO_HOST, f"a request with the Host header {_said(hosts)}")
        if not host.is_address and host.host not in self._names:  # RFC 9110, section 15.5.20: 421
            return Refusal(421, _unknown(host.host), f"a request for the name {_said(hosts)}")
        if scope["type"] == "http" and scope["method"] in _READING:
            return None
        # A browser always says from where a websocket or a change comes (RFC 6455, section 4.1; Fetch, "append a
        # request Origin header"). What says nothing is a program of the user's, which no page can steer and which
        # could say what it likes: refusing it would keep nobody out.
        origins = _header(scope, b"origin")
        if origins and not (len(origins) == 1 and _same(origins[0], host)):
            return Refusal(403, _NOT_OURS, f"a request to {_said(hosts)} by a page of {_said(origins)}")
        sites = _header(scope, b"sec-fetch-site")
        if not _OURS.issuperset(sites):
            return Refusal(403, _NOT_OURS, f"a request to {_said(hosts)} that is {_said(sites)}")
        return None

    def _note(self, refusal: Refusal) -> None:
        now = self._clock()
        self._noted = {noted: at for noted, at in self._noted.items() if now - at < _SAY_AGAIN_S}
        if refusal.noted in self._noted or len(self._noted) >= _NAMES_KEPT:
            return
        self._noted[refusal.noted] = now
        log.warning("refused %s (HTTP %d)", refusal.noted, refusal.status)


def _same(origin: str, host: Authority) -> bool:
    """Whether a page's origin is the host it asks; never so for "null", the origin of a page without an address.

    The scheme is not compared: behind a proxy that speaks TLS we cannot know it. Hence a Host without port has the
    usual one of the origin's scheme.
    """
    found = _ORIGIN.fullmatch(origin)
    page = authority_of(found[2]) if found else None
    if found is None or page is None:
        return False
    usual = _DEFAULT_PORTS[found[1].lower()]
    return (page.host, page.port or usual) == (host.host, host.port or usual)


def _with_plain_origin(scope: Scope) -> Scope:
    """The scope of an admitted websocket with its Origin spelt as its Host is.

    Streamlit compares the two letter by letter, and where they differ in a default port asks an outside service for
    this machine's address. The question is settled here; it need not come to that.
    """
    if scope["type"] != "websocket" or not _header(scope, b"origin"):
        return scope
    [host] = (value for name, value in scope["headers"] if name.lower() == b"host")
    headers = [(name, b"http://" + host if name.lower() == b"origin" else value) for name, value in scope["headers"]]
    return {**scope, "headers": headers}


def _header(scope: Scope, wanted: bytes) -> list[str]:
    """Every value of a header; bytes that are no ASCII stay apart, and match nothing."""
    return [value.decode("latin-1") for name, value in scope["headers"] if name.lower() == wanted]


def _said(values: list[str]) -> str:
    """What was sent, for the log: quoted, on one line, shortened, nothing but printable ASCII."""
    text = ", ".join(ascii(value[:_LONGEST_SAID]) for value in values[:2])
    return text or "missing"
