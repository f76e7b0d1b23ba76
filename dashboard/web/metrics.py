"""`/metrics`: the same facts as *Set up: Health*, as numbers for a program that watches (Prometheus' text format).

Unless the settings open it, only programs on this machine are answered. A request that a proxy on this machine hands
on is not one of theirs: its Host is the name that the browser asked for, and most proxies say for whom they ask.
"""

from __future__ import annotations

import ipaddress
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from dashboard import context
from ingest.service import Service
from ingest.settings import is_loopback

PATH: Final = "/metrics"
_ON_BEHALF: Final = ("forwarded", "x-forwarded-for", "x-real-ip", "via")
"""RFC 7239, RFC 9110 (7.6.3), and what proxies send besides."""


def may_ask(request: Request) -> bool:
    """Whether a program on this machine asks for itself."""
    client = request.client.host if request.client is not None else ""
    try:
        here = ipaddress.ip_address(client).is_loopback
    except ValueError:
        here = False
    name = request.url.hostname or ""
    return here and is_loopback(name) and not any(header in request.headers for header in _ON_BEHALF)


def _answer(service: Service) -> Response:
    from dashboard.web import numbers  # the library is needed by few, and nobody's start is to wait for it

    headers = {"content-type": numbers.MEDIA_TYPE, "cache-control": "no-store"}
    return Response(numbers.text_of(service), headers=headers)


async def metrics(request: Request) -> Response:
    """The numbers, or 403 for who may not ask."""
    service = context.service()
    if not service.settings.server.open_metrics and not may_ask(request):
        told = "Only programs on this machine may read this; open_metrics = true under [server] lets others do so too."
        return PlainTextResponse(told, status_code=403)
    return await run_in_threadpool(_answer, service)  # it reads the store: pages must not wait for it


ROUTES: Final = [Route(PATH, metrics)]
