"""The first screen with many vessels: what lies below the screen is laid out a moment later, and then for good."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from playwright.sync_api import expect

from dashboard.screens.today.page import MANY
from tests.system.serving import Server, browser, put_casks

pytestmark = pytest.mark.chromium

_NOTE_WHAT_IS_FIRST = """
new MutationObserver(() => {
  const last = document.querySelector(".markup.first .rows.dense li:last-child");
  if (last) window.atFirst = getComputedStyle(last).contentVisibility;
}).observe(document, { childList: true, subtree: true });
"""


def test_rows_below_the_screen_are_laid_out_once_the_browser_has_time_and_stay_so(
    chromium_program: str, tmp_path: Path
) -> None:
    server = Server(tmp_path, "serve")
    put_casks(server.data, MANY + 2)
    server.start()
    try:
        deadline = time.monotonic() + 120
        while not server.health().get("broker_connected"):
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.2)
        with browser(chromium_program, width=390, height=844) as page:
            page.add_init_script(_NOTE_WHAT_IS_FIRST)
            page.goto(f"http://127.0.0.1:{server.port}/")
            expect(page.locator("ul.rows.dense li")).to_have_count(MANY + 2, timeout=120_000)
            assert page.evaluate("window.atFirst") == "auto"
            expect(page.locator(".markup.first")).to_have_count(0, timeout=60_000)
            last = "getComputedStyle(document.querySelector('.rows li:last-child')).contentVisibility"
            assert page.evaluate(last) == "visible"  # a refresh brings new rows: guessed heights would move the page
    finally:
        server.kill()
