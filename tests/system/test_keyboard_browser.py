"""Without a mouse, with large letters, and without movement: the first float, its batch, a sample and the sheet."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import publish
from playwright.sync_api import expect

from tests.system.conftest import wait_until
from tests.system.serving import Server, browser
from tests.system.walking import at_rest, named, tab_to

pytestmark = pytest.mark.chromium

expect.set_options(timeout=60_000)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A cellar in which one float has just spoken for the first time."""
    server = Server(Path(tmp_path_factory.mktemp("keyboard")), "serve")
    server.start()
    wait_until(lambda: server.health().get("broker_connected"), 120, "the start of the server")
    at = datetime.now(UTC) - timedelta(minutes=5)
    body = json.dumps({"measured_at": at.isoformat(), "gravity_sg": 1.0479, "temperature_c": 19.6})
    publish.single("tunroom/report/f9", body, qos=1, hostname="127.0.0.1", port=server.broker_port)
    yield server
    server.kill()


def enter(page: Any, reached: str, **how: Any) -> None:
    """Tab to it, and press Enter."""
    tab_to(page, reached, **how)
    page.keyboard.press("Enter")


def type_into(page: Any, label: str, text: str) -> None:
    """Tab to the field of that label, and type."""
    tab_to(page, named(label, "input"))
    page.keyboard.type(text)


def said(page: Any, sentence: str) -> None:
    page.get_by_role("status").filter(has_text=sentence).first.wait_for()
    at_rest(page)


def test_the_way_from_the_first_float_to_the_packaging_sheet_needs_no_mouse(site, chromium_program):
    with browser(chromium_program) as page:
        page.goto(f"http://127.0.0.1:{site.port}/set-up?part=vessels")
        at_rest(page)
        type_into(page, "Name", "Cask nine")
        enter(page, named("Add the vessel", "button"))
        said(page, "Cask nine is in the cellar.")
        enter(page, "e.matches('.parts a') && e.innerText === 'Batches'", most=60)
        page.get_by_role("button", name="Add the batch").wait_for()
        at_rest(page)
        type_into(page, "Name", "Gatepost bitter")
        tab_to(page, "e.matches('input[role=combobox]') && /Vessel$/.test(e.ariaLabel ?? e.labels?.[0]?.innerText)")
        page.keyboard.press("ArrowDown")
        page.get_by_role("option", name="Cask nine").wait_for()
        page.keyboard.press("Enter")
        enter(page, named("Add the batch", "button"))
        said(page, "Gatepost bitter is in the cellar.")
        enter(page, named("Sensors", "a"))
        page.get_by_role("button", name="Put it to work").wait_for()
        at_rest(page)
        tab_to(page, "e.matches('input[role=combobox]') && /Vessel$/.test(e.ariaLabel ?? e.labels?.[0]?.innerText)")
        page.keyboard.press("ArrowDown")
        page.get_by_role("option", name="Cask nine").first.wait_for()
        page.keyboard.press("Enter")
        enter(page, named("Put it to work", "button"))
        said(page, "f9 is put to work in Cask nine.")
        enter(page, named("Today", "a"))
        page.locator("ul.rows a").first.wait_for()
        at_rest(page)
        enter(page, "e.matches('ul.rows a')")
        page.get_by_role("button", name="Log a hand sample").wait_for()
        at_rest(page)
        enter(page, named("Log a hand sample", "button"))
        page.get_by_role("spinbutton", name="Reading, SG").wait_for()
        type_into(page, "Reading", "1047")
        enter(page, named("Save", "button"))
        said(page, "Saved: hand sample 1.047 SG.")
        enter(page, named("Packaging sheet", "a"))
        page.locator(".light").wait_for()
        at_rest(page)
        tab_to(
            page,
            "e.matches('[role=radio], [role=radio] *, button') && /Bottles/.test(e.innerText)"
            " || e.closest?.('[role=radiogroup]')?.innerText.includes('Bottles')",
        )
        if "Bottles" not in page.evaluate("document.activeElement.innerText ?? ''"):
            page.keyboard.press("ArrowLeft")
        page.keyboard.press("Space")
        page.get_by_role("spinbutton", name="Carbonation, volumes").wait_for()
        at_rest(page)
        type_into(page, "Carbonation", "2,4")
        page.keyboard.press("Tab")
        expect(page.locator(".light strong")).to_have_text("Stop")
        expect(page.get_by_role("spinbutton", name="Carbonation, volumes")).to_have_value("2.40")


def test_nothing_moves_for_those_who_asked_for_no_movement(site, chromium_program):
    moving = """() => [...document.querySelectorAll("*")].filter((e) => {
      const s = getComputedStyle(e);
      return (s.animationName !== "none" && parseFloat(s.animationDuration) > 0.01)
        || parseFloat(s.transitionDuration) > 0.01;
    }).map((e) => e.outerHTML.slice(0, 120))"""
    with browser(chromium_program) as page:
        page.goto(f"http://127.0.0.1:{site.port}/set-up?part=vessels")
        at_rest(page)
        assert page.evaluate(moving) != []  # else what follows could not fail
        page.emulate_media(reduced_motion="reduce")
        assert page.evaluate(moving) == []
