from __future__ import annotations

import asyncio
from typing import Any
from urllib.parse import urljoin

import pytest

from dashboard import navigation
from dashboard.web.redirects import LeadHome

KNOWN = frozenset({"healthz", *navigation.paths()})


def ask(path: str, accept: str = "text/html,*/*", method: str = "GET") -> tuple[int, str]:
    """The status and the new address; 200 where the request went on to the app behind."""
    sent: list[dict[str, Any]] = []

    async def app(_scope: Any, _receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "method": method, "path": path, "headers": [(b"accept", accept.encode())]}
    asyncio.run(LeadHome(app, lambda: KNOWN)(scope, None, send))  # type: ignore[arg-type]
    headers = dict(sent[0]["headers"])
    return sent[0]["status"], headers.get(b"location", b"").decode()


def test_an_address_of_no_page_leads_to_the_first_screen() -> None:
    assert ask("/nowhere") == (302, "./?no-page=nowhere")
    assert ask("/<b>x&y</b>"[:6]) == (302, "./?no-page=%3Cb%3Ex%26")


# RFC 3986, section 5: how a browser reads an address that is said from where it is.
@pytest.mark.parametrize("folder", ["http://localhost:8600", "https://tun.example/cellar"])
def test_the_first_screen_is_found_in_the_folder_into_which_a_proxy_put_us(folder: str) -> None:
    for path in ("/nowhere", "/nowhere/"):
        assert urljoin(folder + path, ask(path)[1]) == f"{folder}/?no-page=nowhere"


@pytest.mark.parametrize(
    "path", ["/", *(f"/{p}" for p in navigation.paths()), "/healthz", "/favicon.png", "/media/a/b"]
)
def test_pages_and_their_parts_are_left_alone(path: str) -> None:
    assert ask(path)[0] == 200


def test_a_program_that_asks_for_no_page_is_not_led_astray() -> None:
    assert ask("/nowhere", accept="application/json")[0] == 200
    assert ask("/nowhere", method="POST")[0] == 200


def test_the_first_screen_says_that_there_is_no_such_page(cellar, page) -> None:
    shown = page("today", **{"no-page": "<script>"})
    text = " ".join(str(each.value) for each in shown.get("html"))
    assert "There is no page called “&lt;script&gt;” here. This is Today." in text
