"""Forms that people like, in a real browser: a draft survives, and the packaging sheet answers on a phone at once."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import expect

from ingest.model import BatchRecord, HandSample, Preferences, Vessel
from ingest.store.store import Store
from tests.system.serving import Server, browser
from tests.system.walking import at_rest

pytestmark = pytest.mark.chromium

expect.set_options(timeout=60_000)
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A cellar with one batch that is followed by hand; its address, and the batch's id."""
    folder = tmp_path_factory.mktemp("many")
    server = Server(Path(folder), "serve")
    server.data.mkdir()
    with Store.open(server.data) as store:
        store.save(Preferences(time_zone="Europe/Lisbon"))
        vessel = store.save(Vessel(name="Cask nine", volume_l=20.0))
        batch = store.save(
            BatchRecord(
                name="Gatepost bitter",
                vessel_id=vessel.vessel_id,
                volume_l=20.0,
                original_gravity_sg=1.048,
                pitched_at=datetime.now(UTC) - timedelta(days=9),
            )
        )
        for hours in (30, 4):
            store.save(HandSample(batch_id=batch.batch_id, at=datetime.now(UTC) - timedelta(hours=hours), value=1.011))
    server.start()
    deadline = time.monotonic() + 120
    while not server.health().get("broker_connected"):
        assert time.monotonic() < deadline, "the server did not start"
        time.sleep(0.2)
    yield f"http://127.0.0.1:{server.port}", batch.batch_id
    server.kill()


def test_what_is_half_typed_survives_reload_and_back_and_is_gone_once_saved(site, chromium_program):
    address, _ = site
    with browser(chromium_program, **PHONE) as page:
        page.goto(f"{address}/set-up?part=vessels")
        page.wait_for_function("window.tunroomUnfolds")
        page.get_by_text("Add a vessel", exact=True).click()
        # What still grows moves its button away between the press and its end.
        assert page.evaluate("document.getAnimations().filter((a) => a.effect.target.matches('details')).length") == 0
        name = page.get_by_label("Name", exact=True)
        name.press_sequentially("Cask ten")
        page.get_by_role("spinbutton", name="Volume, L").press_sequentially("23")
        page.reload()
        page.get_by_text("Add a vessel", exact=True).click()
        expect(name).to_have_value("Cask ten")
        page.goto(f"{address}/calendar")
        page.get_by_role("heading", level=1).wait_for()
        page.go_back()
        page.get_by_text("Add a vessel", exact=True).click()
        expect(name).to_have_value("Cask ten")
        page.get_by_role("button", name="Add the vessel").click()
        page.get_by_text("Cask ten is in the cellar.").wait_for()
        page.reload()
        page.get_by_text("Add a vessel", exact=True).click()
        expect(name).to_have_value("")
        page.wait_for_timeout(600)  # a draft that is not gone would be put back a moment later
        expect(name).to_have_value("")


def test_the_packaging_sheet_on_a_phone_answers_at_once_and_goes_in_steps(site, chromium_program):
    address, batch_id = site
    with browser(chromium_program, **PHONE) as page:
        page.goto(f"{address}/packaging?id={batch_id}")
        page.get_by_text("Bottles", exact=True).click()
        verdict = page.locator(".light")
        expect(verdict.locator("strong")).to_be_visible()
        box, choice = verdict.bounding_box(), page.get_by_role("radio", name="Kegs").bounding_box()
        assert box is not None
        assert choice is not None
        assert choice["y"] + choice["height"] < box["y"] < PHONE["height"]  # neither pushes the other below the fold
        carbonation = page.get_by_role("spinbutton", name="Carbonation, volumes")
        at = carbonation.bounding_box()
        assert at is not None
        assert at["y"] < 1500  # the first input comes before the figures
        page.get_by_role("button", name="Next: Batch").click()
        expect(carbonation).to_be_hidden()
        answer = page.locator(".answer")
        page.get_by_role("button", name="Back: Carbonation").scroll_into_view_if_needed()
        expect(answer).to_be_in_viewport()
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        original, state = (
            page.get_by_role("spinbutton", name="Original gravity, SG"),
            page.locator(".entry-state:not(:empty)"),
        )
        expect(original).to_have_value("1.048")
        original.fill("")
        expect(state).to_have_text("Not saved yet.")
        original.press("Tab")
        expect(state).to_have_count(0)  # the store has it
        expect(original).to_have_value("")
        page.reload()
        page.get_by_role("button", name="Next: Batch").click()
        expect(original).to_have_value("")


@pytest.mark.long  # a minute or two, with a server killed and started again
def test_nothing_says_saved_until_the_store_has_it_and_a_lost_server_loses_no_entry(chromium_program, tmp_path):
    server = Server(tmp_path, "serve")
    server.data.mkdir()
    with Store.open(server.data) as store:
        vessel = store.save(Vessel(name="Cask one"))

    def started() -> None:
        server.start()
        deadline = time.monotonic() + 120
        while not server.health().get("broker_connected"):
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.2)

    started()
    cut = {"now": False}

    def carry(ws) -> None:
        """The network between page and server: while it is cut, what the page says goes nowhere."""
        there = ws.connect_to_server()
        ws.on_message(lambda message: None if cut["now"] else there.send(message))

    try:
        with browser(chromium_program, **PHONE) as page:
            page.route_web_socket("**/_stcore/stream", carry)
            page.goto(f"http://127.0.0.1:{server.port}/set-up?part=vessels")
            page.get_by_text("Add a vessel", exact=True).click()
            name, save = page.get_by_label("Name", exact=True), page.get_by_role("button", name="Add the vessel")
            state, saved = page.locator(".entry-state"), page.get_by_text("is in the cellar.")
            name.press_sequentially("Cask two")
            expect(state).to_have_text("Not saved yet.")
            cut["now"] = True
            save.click()
            expect(state).to_contain_text("Not saved yet: there is no answer.")
            expect(saved).to_have_count(0)
            server.kill()
            expect(state).to_contain_text("the connection was lost before the answer")
            expect(saved).to_have_count(0)
            cut["now"] = False
            started()
            page.goto(f"http://127.0.0.1:{server.port}/set-up?part=vessels")
            page.get_by_text("Add a vessel", exact=True).click()
            expect(name).to_have_value("Cask two")
            expect(state).to_contain_text("Not known to be saved")
            save.click()
            expect(saved).to_have_count(1)
            expect(page.locator(".entry-state:not(:empty)")).to_have_count(0)
            expect(saved).to_be_visible()
            at_rest(page)  # what was open may fold up in the same moment
            if not name.is_visible():
                page.get_by_text("Add a vessel", exact=True).click()
            expect(name).to_have_value("")
            name.press_sequentially("Cask")
            expect(saved).to_be_hidden()  # it is not this one that is saved
            name.fill("")
            expect(saved).to_be_visible()
            expect(page.locator(".entry-state:not(:empty)")).to_have_count(0)
            page.reload()
            page.get_by_text("Add a vessel", exact=True).click()
            expect(name).to_have_value("")
            name.press_sequentially("Cask three")
            server.kill()
            expect(state).to_contain_text("Not saved: the connection is lost.")
            started()
            expect(state).to_have_text("Not saved yet.")
            expect(name).to_have_value("Cask three")
            page.goto(f"http://127.0.0.1:{server.port}/set-up?part=vessels&id={vessel.vessel_id}")
            remove = page.get_by_role("button", name="Remove this vessel")
            remove.wait_for()
            at_rest(page)
            cut["now"] = True
            remove.click()
            tapped = page.locator("[class*=st-key-tap-] .entry-state")
            expect(tapped).to_have_text("Saving …")
            server.kill()
            expect(tapped).to_contain_text("Not known to be saved: the connection was lost before the answer.")
    finally:
        server.kill()
    with Store.open(server.data) as store:
        assert sorted(vessel.name for vessel in store.all(Vessel)) == ["Cask one", "Cask two"]
