"""Addresses beside the pages that give files: the calendar feed, for calendar programs.

The feed's address holds a token that nobody can guess; whoever has the address can read the dates, and nothing else.
The address of one batch has a token of its own, which reads that batch alone and does not tell the cellar's.
A wrong token, an unknown batch and a cellar that is not open all look the same from outside.
"""

from __future__ import annotations

import base64
import hmac
import secrets
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from dashboard import context
from dashboard.web import warm_up
from ingest import logs
from ingest.model import BatchRecord, Preferences
from ingest.monitoring import Outlook
from ingest.store import Store

CELLAR: Final = "cellar"
"""The name of the feed of all batches; any other name is a batch's id."""

_TOKEN_BYTES: Final = 24
"""Random bytes: 192 bits, where OWASP's guide asks for 128 of a session's name."""
_CALENDAR: Final = "text/calendar; charset=utf-8"


def token_of(store: Store) -> str:
    """The token in the feed's address, made when it is first asked for."""
    return store.preferences().calendar_token or renewed_token(store)


def renewed_token(store: Store) -> str:
    """A new token: the old address stops working."""
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    logs.hide(token)
    return store.save(replace(store.preferences(), calendar_token=token)).calendar_token


def feed_path(token: str, name: str = CELLAR) -> str:
    """The feed's address on this server; `token` is the cellar's, and a batch's address does not hold it."""
    return f"/feed/{token if name == CELLAR else _batch_token(token, name)}/{name}.ics"


def may_read(preferences: Preferences, token: str, name: str = CELLAR) -> bool:
    """Whether this token reads the feed of this name; takes as long for a wrong one as for the right one.

    The cellar's token reads the feeds of its batches too, whose days it holds anyway.
    """
    kept = preferences.calendar_token
    fits = [secrets.compare_digest(each.encode(), token.encode()) for each in (kept, _batch_token(kept, name))]
    return bool(kept) and (fits[0] or (fits[1] and name != CELLAR))


def _batch_token(token: str, name: str) -> str:
    """A batch's own token: 192 bits of an HMAC (RFC 2104) under the cellar's, so that it ends when that is renewed."""
    digest = hmac.digest(token.encode(), name.encode(), "sha256")[:_TOKEN_BYTES]
    return base64.urlsafe_b64encode(digest).decode()


def outlooks_of(name: str) -> list[Outlook] | None:
    """The outlooks whose dates a feed holds; None where there is no such feed."""
    service = context.service()
    if name == CELLAR:
        records: Sequence[BatchRecord] = service.store.active_batches()
    else:
        record = service.store.get(BatchRecord, name)
        if record is None:
            return None
        records = [record]
    found = (service.outlooks.latest(record.batch_id) for record in records)
    return [outlook for outlook in found if outlook is not None]


def calendar_text(name: str = CELLAR) -> bytes | None:
    """A feed as a calendar program reads it (RFC 5545); None where there is no such feed."""
    warm_up.load()
    from dashboard.queries import calendar_feed  # with its library: whoever subscribes can wait, the start need not

    outlooks = outlooks_of(name)
    if outlooks is None:
        return None
    return calendar_feed.feed(outlooks, preferences=context.store().preferences(), now=datetime.now(UTC))


def feed(request: Request) -> Response:
    """The dates of the cellar, or of one batch."""
    nothing = PlainTextResponse("There is nothing at this address.", status_code=404)
    try:
        preferences = context.store().preferences()
    except context.NotRunning:
        return nothing
    if not may_read(preferences, request.path_params["token"], request.path_params["name"]):
        return nothing
    text = calendar_text(request.path_params["name"])
    if text is None:
        return nothing
    return Response(text, media_type=_CALENDAR, headers={"Cache-Control": "private, no-cache"})


ROUTES: Final = (Route("/feed/{token}/{name}.ics", feed, methods=["GET", "HEAD"]),)
