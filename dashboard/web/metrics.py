"""`/metrics`: the same facts as *Set up: Health*, as numbers for a program that watches (Prometheus' text format).

Unless the settings open it, only programs on this machine are answered. A request that a proxy on this machine hands
on is not one of theirs: its Host is the name that the browser asked for, and most proxies say for whom they ask.
"""

from __future__ import annotations

from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from dashboard import access, context
from ingest.service import Service


def _answer(service: Service) -> Response:
    from dashboard.web import numbers  # the library is needed by few, and nobody's start is to wait for it

    headers = {"content-type": numbers.MEDIA_TYPE, "cache-control": "no-store"}
    return Response(numbers.text_of(service), headers=headers)


async def metrics(request: Request) -> Response:
    """The numbers, or 403 for who may not ask."""
    service = context.service()
    if not service.settings.server.open_metrics and not access.asks_for_itself(request.scope):
        told = "Only programs on this machine may read this; open_metrics = true under [server] lets others do so too."
        return PlainTextResponse(told, status_code=403)
    return await run_in_threadpool(_answer, service)  # it reads the store: pages must not wait for it


ROUTES: Final = [Route(access.METRICS, metrics)]
