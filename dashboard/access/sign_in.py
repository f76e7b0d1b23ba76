"""Lets in who belongs: an ASGI layer in front of every page, file, upload, feed and websocket.

Without a session four things are answered: `/healthz`, the calendar feeds and the tasters' pages (whose addresses are
their own secrets), and signing in. Signing in and out change something, so they are POST requests, and the layer in
front of this one (`hosts`) refuses those that a page of another address makes.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
import re
from collections.abc import Awaitable, Callable
from typing import Final
from urllib.parse import parse_qs, urlencode

from starlette.datastructures import MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

from dashboard.access.gate import COOKIE, NOT_NOW, VISIT_HEADER, Gate, Nobody, Visit, header_values
from dashboard.access.local import asks_for_itself
from dashboard.access.passwords import PasswordsUnreadable
from dashboard.access.sessions import LASTS_S

log = logging.getLogger(__name__)

SIGN_IN: Final = "/sign-in"
SIGN_OUT: Final = "/sign-out"
METRICS: Final = "/metrics"
"""Numbers for a program on this machine, which has no hands to sign in with."""
OPEN: Final = (re.compile(r"/healthz"), re.compile(r"/feed/[^/]+/[^/]+\.ics"))
"""Addresses that are read without signing in."""
GUEST: Final = re.compile(r"/taste/[A-Za-z0-9_-]{22}(/[0-9]{1,2})?")
"""Addresses of tasters, which are read and sent to without signing in: 128 random bits say whose each is."""
_READING: Final = frozenset({"GET", "HEAD"})
_PAGE: Final = re.compile(r"/[^/._]*/?")
"""An address that a person may have opened, as opposed to a part of a page."""
_TOWARDS: Final = re.compile(r"[a-z-]{0,40}(\?[A-Za-z0-9_.~=&%+-]{1,400})?")
"""Where to go once signed in: a page of ours, never another place."""
_MOST_FORM: Final = 4096
"""Bytes; a password and a page."""
_POLICY_VIOLATION: Final = 1008
"""RFC 6455, section 7.4.1."""
_LOOK_S: Final = 0.25
"""How soon an open websocket is closed once its session has ended; nothing passes through it meanwhile."""
_HEADERS: Final = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # The form's Origin must be told: it is what shows that the form is ours.
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'",
}

_WRONG: Final = "That is not the password."
_NOT_SIGNED_IN: Final = "Sign in first: open the dashboard in a browser, at its own address.\n"
_LOOKS_ONLY: Final = "This session may look, not change anything.\n"

Page = Callable[[str, str], str]
"""The sign-in page as HTML, from what went wrong (empty: nothing) and where to go afterwards."""


class SignedInOnly:
    """ASGI middleware: everything behind it is for those who have signed in, or need not.

    Parameters
    ----------
    app
        What stands behind.
    gate
        Says who somebody is.
    page
        Makes the sign-in page.
    """

    def __init__(self, app: ASGIApp, gate: Gate, page: Page) -> None:
        self._app, self._gate, self._page = app, gate, page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in {"http", "websocket"}:  # the lifespan asks for nothing
            await self._app(scope, receive, send)
            return
        scope = self._gate.cleaned(scope)
        if _open(scope):
            await self._app(scope, receive, send)
            return
        who = self._gate.who(scope)
        if scope["type"] == "websocket":
            await self._websocket(who, scope, receive, send)
            return
        try:
            answer = await self._answer(who, scope, receive)
        except PasswordsUnreadable:  # it became so at this moment
            answer = _refused(Nobody(NOT_NOW), scope)
        if answer is None:
            await self._app(scope, receive, _for_one_person(send))
        else:
            await answer(scope, receive, send)

    async def _answer(self, who: Visit | Nobody, scope: Scope, receive: Receive) -> Response | None:
        """What is said instead of what stands behind; None: it may be asked."""
        path, method = scope["path"], scope["method"]
        if path == SIGN_OUT and method == "POST":
            return await asyncio.to_thread(self._sign_out, scope)
        if path == SIGN_IN and not (isinstance(who, Nobody) and who.why):
            if method == "POST":
                return await self._sign_in(scope, receive)
            if method in _READING:
                return self._form(scope, _towards(_query(scope).get("next", [""])[0]))
        if isinstance(who, Nobody):
            return _refused(who, scope)
        if who.role == "look" and method not in _READING:
            return PlainTextResponse(_LOOKS_ONLY, 403, _HEADERS)
        return None

    # -- signing in and out

    def _form(self, scope: Scope, towards: str, trouble: str = "", status: int = 200, wait_s: float = 0) -> Response:
        if self._gate.passwords.kept() is None:  # nobody need sign in, or only a proxy says who somebody is
            return _to(scope, "")
        headers = {**_HEADERS, **({"Retry-After": str(math.ceil(wait_s))} if wait_s else {})}
        return HTMLResponse(self._page(trouble, towards), status, headers)

    async def _sign_in(self, scope: Scope, receive: Receive) -> Response:
        form = await _form_of(scope, receive)
        if form is None:
            return PlainTextResponse("This is not what the form sends.\n", 400, _HEADERS)
        towards, address = _towards(form.get("next", "")), self._gate.address_of(scope)
        if (wait := self._gate.attempts.begin(address)) > 0:
            return self._form(scope, towards, f"There were too many tries. {_wait(wait)}", 429, wait)
        async with self._gate.one_at_a_time:
            before = self._gate.passwords.kept()
            role = await asyncio.to_thread(self._gate.passwords.role_of, form.get("password", ""))
        if role is None or self._gate.passwords.kept() is not before:  # a password that was replaced at this moment
            log.warning("a wrong password was tried from %s", ascii(address[:60]))
            return self._form(scope, towards, _WRONG, 403)
        self._gate.attempts.succeeded(address)
        for _, earlier in list(self._gate.sessions_of(scope)):
            await asyncio.to_thread(self._gate.sessions.end, earlier)
        answer = _to(scope, towards)
        answer.headers.append("Set-Cookie", self._cookie(scope, self._gate.sessions.open(role), LASTS_S))
        return answer

    def _sign_out(self, scope: Scope) -> Response:
        for _, session in list(self._gate.sessions_of(scope)):
            self._gate.sessions.end(session)
        answer = _to(scope, "sign-in")
        answer.headers.append("Set-Cookie", self._cookie(scope, "", 0))
        return answer

    def _cookie(self, scope: Scope, value: str, lasts_s: int) -> str:
        # Without a path it holds for the folder of the sign-in page (RFC 6265, section 5.1.4): also where a proxy puts
        # us into one, and for no other program beside us there.
        secure = "; Secure" if self._gate.by_tls(scope) else ""
        return f"{COOKIE}={value}; Max-Age={lasts_s}; HttpOnly; SameSite=Lax{secure}"

    # -- the websocket

    async def _websocket(self, who: Visit | Nobody, scope: Scope, receive: Receive, send: Send) -> None:
        if isinstance(who, Nobody):
            await WebSocketClose(_POLICY_VIOLATION)(scope, receive, send)
            return
        told = (VISIT_HEADER.encode(), who.visit_id.encode())
        self._gate.enter(who)
        try:
            await _while_it_stands(
                who, lambda r, s: self._app({**scope, "headers": [*scope["headers"], told]}, r, s), receive, send
            )
        finally:
            self._gate.leave(who)


async def _while_it_stands(
    visit: Visit, talk: Callable[[Receive, Send], Awaitable[None]], receive: Receive, send: Send
) -> None:
    """Let an app talk over a websocket until the visit ends: then nothing more passes, and it is closed."""
    over = asyncio.Event()

    async def watch() -> None:
        while visit.stands():
            await asyncio.sleep(_LOOK_S)
        over.set()
        with contextlib.suppress(RuntimeError, OSError):  # it may have been closed at this moment
            await send({"type": "websocket.close", "code": _POLICY_VIOLATION})

    async def hears() -> Message:
        message = asyncio.ensure_future(receive())
        ended = asyncio.ensure_future(over.wait())
        try:
            await asyncio.wait({message, ended}, return_when=asyncio.FIRST_COMPLETED)
            if message.done() and (visit.stands() or message.result()["type"] != "websocket.receive"):
                return message.result()
            return {"type": "websocket.disconnect", "code": _POLICY_VIOLATION}
        finally:
            message.cancel()
            ended.cancel()

    async def says(message: Message) -> None:
        if not over.is_set() and (visit.stands() or message["type"] == "websocket.close"):
            await send(message)

    watching = asyncio.ensure_future(watch())
    try:
        await talk(hears, says)
    finally:
        watching.cancel()


def _for_one_person(send: Send) -> Send:
    """Answers that no cache between us and the browser keeps for others (RFC 9111, section 5.2.2.7)."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=list(message["headers"]))
            said = [part.strip() for part in headers.get("cache-control", "").split(",") if part.strip()]
            headers["Cache-Control"] = ", ".join(["private", *(part for part in said if part != "public")])
            message = {**message, "headers": headers.raw}
        await send(message)

    return sent


def _open(scope: Scope) -> bool:
    """Whether this may be asked without signing in."""
    reads = scope["type"] == "http" and scope["method"] in _READING
    tastes = scope["type"] == "http" and (reads or scope["method"] == "POST")
    if tastes and GUEST.fullmatch(scope["path"]):
        return True
    if reads and scope["path"] == METRICS:
        return asks_for_itself(scope)
    return reads and any(each.fullmatch(scope["path"]) for each in OPEN)


def _refused(who: Nobody, scope: Scope) -> Response:
    path, asks_for_page = scope["path"], "text/html" in ",".join(header_values(scope, b"accept"))
    if who.why:
        return PlainTextResponse(who.why + "\n", 403, _HEADERS)
    if scope["method"] in _READING and asks_for_page and _PAGE.fullmatch(path):
        query = scope.get("query_string", b"").decode("latin-1")
        towards = _towards(path.strip("/") + (f"?{query}" if query else ""))
        return _to(scope, f"sign-in?{urlencode({'next': towards})}" if towards else "sign-in")
    return PlainTextResponse(_NOT_SIGNED_IN, 401, {**_HEADERS, "WWW-Authenticate": 'Session realm="tunroom"'})


def _to(scope: Scope, page: str) -> Response:
    """On to a page of ours, said from where the browser is: a proxy may have put us into a folder."""
    up = "../" * (scope["path"].count("/") - 1) or "./"
    return Response(None, 303, {**_HEADERS, "Location": up + page})


def _towards(wished: str) -> str:
    return wished if _TOWARDS.fullmatch(wished) and not wished.startswith("sign-") else ""


def _query(scope: Scope) -> dict[str, list[str]]:
    return parse_qs(scope.get("query_string", b"").decode("latin-1"), max_num_fields=20)


async def _form_of(scope: Scope, receive: Receive) -> dict[str, str] | None:
    """The fields of a small form; None where it is none."""
    kinds = header_values(scope, b"content-type")
    if len(kinds) != 1 or kinds[0].partition(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        return None
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        body += message.get("body", b"")
        if len(body) > _MOST_FORM:
            return None
        if not message.get("more_body", False):
            break
    try:
        fields = parse_qs(body.decode("ascii"), keep_blank_values=True, max_num_fields=8, errors="strict")
    except ValueError:
        return None
    return {name: values[0] for name, values in fields.items()}


def _wait(seconds: float) -> str:
    if seconds < 90:
        return f"Wait {math.ceil(seconds)} seconds and try again."
    return f"Wait {math.ceil(seconds / 60)} minutes and try again."
