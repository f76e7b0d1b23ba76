"""An address that names no page leads to the first screen, which says so in our words."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final
from urllib.parse import urlencode

from starlette.datastructures import Headers
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.templates import Markup, fill

ASKED_FOR: Final = "no-page"
"""The query parameter that tells the first screen which page was asked for."""

_ONE_NAME: Final = re.compile(r"/([^/._][^/.]*)/?")
"""An address of one level that can be no file: those of the page's own parts have more, or a dot."""
_LONGEST: Final = 40


class LeadHome:
    """ASGI middleware: a browser that asks for a page that there is not is sent to the first screen."""

    def __init__(self, app: ASGIApp, known: Callable[[], frozenset[str]]) -> None:
        self._app, self._known = app, known

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        asked = self._astray(scope)
        if asked is None:
            await self._app(scope, receive, send)
        else:
            # From where the browser is, since a proxy may have put us into a folder.
            first = "../" if scope["path"].endswith("/") else "./"
            await RedirectResponse(f"{first}?{urlencode({ASKED_FOR: asked})}", 302)(scope, receive, send)

    def _astray(self, scope: Scope) -> str | None:
        if scope["type"] != "http" or scope["method"] != "GET":
            return None
        found = _ONE_NAME.fullmatch(scope["path"])
        if found is None or "text/html" not in Headers(scope=scope).get("accept", ""):
            return None
        return None if found[1] in self._known() else found[1][:_LONGEST]


def line_html(asked: str) -> Markup:
    """What the first screen says of it, as HTML."""
    name = asked if len(asked) <= _LONGEST else asked[:_LONGEST] + "…"
    line = '<p class="quiet" role="status">There is no page called “{{ name }}” here. This is Today.</p>'
    return fill(line, name=name)
