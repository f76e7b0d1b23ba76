"""On a machine so busy that a live part is drawn anew before its page has left, no page stays blank."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ingest.model import BatchRecord, HandSample, Vessel
from ingest.store.store import Store
from tests.system.serving import Server, browser

pytestmark = pytest.mark.chromium


def test_a_page_that_is_refreshed_before_it_has_arrived_is_shown_whole(chromium_program: str, tmp_path: Path) -> None:
    server = Server(tmp_path, "serve", module="tests.system.seldom_sent")
    server.data.mkdir()
    now = datetime.now(UTC)
    with Store.open(server.data) as store:
        for n in range(3):
            vessel = store.save(Vessel(name=f"Cask {n}"))
            batch = store.save(
                BatchRecord(name=f"Bitter {n}", vessel_id=vessel.vessel_id, pitched_at=now - timedelta(days=2))
            )
            store.save(HandSample(batch_id=batch.batch_id, at=now - timedelta(hours=3), value=1.030))
    server.start()
    try:
        until = time.monotonic() + 120
        while not server.health().get("broker_connected"):
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.2)
        with browser(chromium_program, width=390, height=844) as page:
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
