"""On a machine so busy that a live part is drawn anew before its page has left, no page stays blank."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from tests.system.serving import Server, browser, put_casks

pytestmark = pytest.mark.chromium


@pytest.mark.parametrize("busy", ["seldom_sent", "slowly_made"])
def test_a_page_that_is_refreshed_before_it_has_arrived_is_shown_whole(
    chromium_program: str, tmp_path: Path, busy: str
) -> None:
    server = Server(tmp_path, "serve", module=f"tests.system.{busy}")
    put_casks(server.data, 3)
    server.start()
    try:
        until = time.monotonic() + 120
        while not server.health().get("broker_connected"):
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.2)
        with browser(chromium_program, width=390, height=844) as page:
            page.set_default_timeout(180_000)  # each answer waits for its turn, and other tests keep the machine busy
            page.goto(f"http://127.0.0.1:{server.port}/")
            for shown, way in (
                (page.locator("ul.rows li a").first, page.locator("ul.rows li a").first),
                (page.get_by_text("Three questions, kept apart"), page.get_by_role("link", name="Today")),
                (page.locator("ul.rows li a").first, None),
            ):
                wrong = page.get_by_text("Bad delta path index")
                shown.or_(wrong).first.wait_for()
                assert wrong.count() == 0
                if way is not None:
                    way.click()
    finally:
        server.kill()
