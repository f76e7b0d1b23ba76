"""Who somebody is: by a session's cookie, by a trusted proxy's word, or, while there is no password, by being here.

While no password is set, only this machine is listened to, and who works at it may do everything. Once one is set,
everybody signs in, whatever address is asked for.
"""

from __future__ import annotations

import asyncio
import ipaddress
import logging
import re
import secrets
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from starlette.types import Scope

from dashboard.access.attempts import Attempts
from dashboard.access.passwords import Passwords, PasswordsUnreadable, Role
from dashboard.access.sessions import Session, Sessions
from ingest.settings import Server, is_loopback

log = logging.getLogger(__name__)

COOKIE: Final = "tunroom_session"
VISIT_HEADER: Final = "x-tunroom-visit"
"""Names an open websocket's visit to the pages behind; whatever a browser sends under this name is taken away."""
_HERE: Final = "127.0.0.1"
_PROXY_LASTS_S: Final = 12 * 3600.0
"""Seconds, after which a websocket that a proxy let in must ask it anew. Common practice: a working day; no source."""
_FORWARDED: Final = (b"forwarded", b"x-forwarded-for", b"x-real-ip", b"via")
"""What a proxy adds to say for whom it asks (RFC 7239, RFC 9110 section 7.6.3, and two in common use)."""
_COOKIE_TOKEN: Final = re.compile(rf"(?:^|;)\s*{COOKIE}=([A-Za-z0-9._-]{{1,256}})\s*(?=;|$)")
_SAY_AGAIN_S: Final = 60.0

NOT_NOW: Final = "Nobody is let in at this moment. What is wrong stands in tunroom's log."
UNSET: Final = (
    "Nobody is let in, since no password is set. On the machine that runs tunroom: tunroom password (in Docker: docker "
    "compose exec tunroom tunroom password --data /data)."
)
THROUGH_A_PROXY: Final = (
    "This request came through a proxy, and there is no password that would tell who asks. On the machine that runs "
    "tunroom: tunroom password. Without the proxy, on that machine itself, the dashboard opens as before."
)
_LOCAL_ONLY: Final = (
    "No password is set, so the dashboard answers on this machine only, not at {host} as the settings say; readings "
    "are taken in as ever. Set one with: tunroom password. Then start tunroom again."
)


@dataclass(frozen=True, slots=True, eq=False)
class Visit:
    """Somebody who was let in, for as long as `stands` says so."""

    role: Role
    stands: Callable[[], bool]
    can_sign_out: bool = False
    visit_id: str = field(default_factory=lambda: secrets.token_urlsafe(16))


@dataclass(frozen=True, slots=True)
class Nobody:
    """Somebody who was not let in."""

    why: str = ""
    """A sentence where signing in would not help."""


class Gate:
    """Says who may come in, and remembers who is in.

    Parameters
    ----------
    server
        Where to listen, and which proxy to trust.
    passwords
        The cellar's.
    wall, clock
        Seconds since 1970 (UTC), and seconds that only go forward.
    """

    def __init__(
        self,
        server: Server,
        passwords: Passwords,
        *,
        wall: Callable[[], float] = time.time,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._server, self.passwords, self._clock = server, passwords, clock
        self.sessions = Sessions(passwords, wall)
        self.attempts = Attempts(clock)
        self.one_at_a_time = asyncio.Lock()
        """Held while a password is looked at: each takes 64 MiB for a moment."""
        self._proxies = [ipaddress.ip_network(each) for each in server.trusted_proxy]
        self._visits: dict[str, Visit] = {}
        self._said_at = -_SAY_AGAIN_S
        self.host, self.notice = _where_to_listen(server, passwords)
        """Where to listen, and why that is not where the settings say; readings are taken in either way."""
        self._asks = server.user_header is not None or bool(self._proxies) or not is_loopback(self.host)

    # -- who asks

    def who(self, scope: Scope) -> Visit | Nobody:
        """Who asks: by a proxy's word, by a cookie, or by being here."""
        try:
            kept = self.passwords.kept()
        except PasswordsUnreadable as error:
            self._say(error)
            return Nobody(NOT_NOW)
        key = kept.key if kept is not None else None
        if (name := self._named_by_proxy(scope)) is not None:
            until = self._clock() + _PROXY_LASTS_S
            role: Role = "keep" if name in self._server.keepers else "look"
            return Visit(role, lambda: self._clock() < until and self._key() == key)
        if kept is not None:
            for token, session in self.sessions_of(scope):
                return Visit(session.role, lambda token=token: self.sessions.read(token) is not None, can_sign_out=True)  # type: ignore[misc]
            return Nobody()
        if self._asks:
            return Nobody(UNSET)
        if any(header_values(scope, name) for name in _FORWARDED):
            return Nobody(THROUGH_A_PROXY)
        return Visit("keep", lambda: self._key() is None)

    def _key(self) -> bytes | None:
        """The key of sessions; b"" while the file cannot be read."""
        try:
            kept = self.passwords.kept()
        except PasswordsUnreadable:
            return b""
        return kept.key if kept is not None else None

    def sessions_of(self, scope: Scope) -> Iterable[tuple[str, Session]]:
        """The sessions whose cookies came along; two paths of one host may have one each."""
        for line in header_values(scope, b"cookie"):
            for token in _COOKIE_TOKEN.findall(line):
                if (session := self.sessions.read(token)) is not None:
                    yield token, session

    def _named_by_proxy(self, scope: Scope) -> str | None:
        if self._server.user_header is None or not self.trusts(scope):
            return None
        said = header_values(scope, self._server.user_header.lower().encode())
        return (said[0].strip() or None) if len(said) == 1 else None

    def trusts(self, scope: Scope) -> bool:
        """Whether the other end of this connection is a proxy that the settings name."""
        client = scope.get("client")
        return client is not None and self._is_proxy(client[0])

    def _is_proxy(self, address: str) -> bool:
        try:
            found = ipaddress.ip_address(address)
        except ValueError:
            return False
        if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is not None:
            found = found.ipv4_mapped
        return any(found in network for network in self._proxies)

    def address_of(self, scope: Scope) -> str:
        """Whose tries these are: the last address before our own proxies, else the other end of the connection."""
        client = scope.get("client")
        address = client[0] if client is not None else ""
        if not self._is_proxy(address):
            return address
        told = ",".join(header_values(scope, b"x-forwarded-for")).split(",")
        for each in (part.strip() for part in reversed(told)):
            if each and not self._is_proxy(each):
                return each
        return address

    def by_tls(self, scope: Scope) -> bool:
        """Whether the browser speaks TLS, with us or with what stands in front of us."""
        if scope.get("scheme") in {"https", "wss"}:
            return True
        if self.trusts(scope) and header_values(scope, b"x-forwarded-proto")[-1:] == ["https"]:
            return True
        # The browser's own word, which the layer in front has compared with the Host.
        return any(origin.lower().startswith("https://") for origin in header_values(scope, b"origin"))

    def cleaned(self, scope: Scope) -> Scope:
        """The scope without what only we or a trusted proxy may say."""
        taken = {VISIT_HEADER.encode()}
        if self._server.user_header is not None and not self.trusts(scope):
            taken.add(self._server.user_header.lower().encode())
        return {**scope, "headers": [(name, value) for name, value in scope["headers"] if name.lower() not in taken]}

    # -- who is in

    def enter(self, visit: Visit) -> None:
        """Remember a visit for as long as its websocket is open."""
        self._visits[visit.visit_id] = visit

    def leave(self, visit: Visit) -> None:
        """Forget it."""
        self._visits.pop(visit.visit_id, None)

    def visit(self, visit_id: str) -> Visit | None:
        """The visit of an open websocket, as long as it stands."""
        found = self._visits.get(visit_id)
        return found if found is not None and found.stands() else None

    def _say(self, error: Exception) -> None:
        now = self._clock()
        if now - self._said_at >= _SAY_AGAIN_S:
            self._said_at = now
            log.error("%s", error)


def _where_to_listen(server: Server, passwords: Passwords) -> tuple[str, str]:
    wished = server.host
    try:
        known = passwords.kept() is not None or server.user_header is not None
    except PasswordsUnreadable as error:
        return (wished if is_loopback(wished) else _HERE), str(error)
    if known or is_loopback(wished):
        return wished, ""
    return _HERE, _LOCAL_ONLY.format(host=wished)


def header_values(scope: Scope, wanted: bytes) -> list[str]:
    """Every value of a header."""
    return [value.decode("latin-1") for name, value in scope["headers"] if name.lower() == wanted]
