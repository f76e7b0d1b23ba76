"""A person's first evening with a cellar, in a real browser: set up, connect, mend, calibrate, import, package."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from ingest.model import BatchRecord, Device, HandSample, Placement, Preferences, Report, Vessel
from ingest.store.store import Store
from tests.system.serving import Server, browser
from tests.system.walking import choose

pytestmark = pytest.mark.chromium

PATIENCE_MS = 60_000
"""How long anything may take on a machine that is busy; nothing here measures speed."""
expect.set_options(timeout=PATIENCE_MS)
PHONE = {"width": 390, "height": 844}
PICTURES = Path(__file__).parents[1] / "screenshots"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    made = Server(tmp_path, "serve")
    yield made
    made.kill()


def begin(server: Server, wait_until: Callable[..., None]) -> str:
    server.start()
    wait_until(lambda: server.health().get("broker_connected"), 120, "the start of the server")
    return f"http://127.0.0.1:{server.port}"


def shot(page: Any, name: str) -> None:
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / f"{name}.png", full_page=True)


def fits(page: Any) -> bool:
    """Whether nothing needs sideways scrolling."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def test_an_empty_cellar_is_set_up_and_a_new_float_is_put_to_work(server, chromium_program, publisher, wait_until):
    site = begin(server, wait_until)
    with browser(chromium_program, **PHONE) as page:
        page.goto(site)
        page.get_by_text("There are two ways to begin").wait_for()
        assert fits(page)

        page.goto(f"{site}/set-up")
        page.get_by_text("There is no vessel yet: add the first.").wait_for()
        shot(page, "set-up-empty-phone")
        page.get_by_label("Name", exact=True).fill("Cask nine")
        page.get_by_role("button", name="Add the vessel").click()
        page.get_by_text("Cask nine is in the cellar.").wait_for()

        page.goto(f"{site}/set-up?part=batches")
        page.get_by_text("There is no batch yet").wait_for()
        page.get_by_label("Name", exact=True).fill("Gatepost bitter")
        page.get_by_role("button", name="Add the batch").click()
        page.get_by_text("No vessel is chosen.").wait_for()
        choose(page, "Vessel", "Cask nine, empty")
        choose(page, "Yeast", "Marrow", new=True)
        page.get_by_role("spinbutton", name="Gravity before pitching, SG").fill("1.048")
        page.get_by_role("button", name="Add the batch").click()
        page.get_by_text("Gatepost bitter is in the cellar.").wait_for()
        assert fits(page)

        page.goto(f"{site}/sensors")
        page.get_by_text("No device has spoken yet.").wait_for()
        sender = publisher(server.broker_port)
        for number in range(4):
            at = datetime.now(UTC) - timedelta(minutes=15 * (3 - number))
            payload = {"measured_at": at.isoformat(), "gravity_sg": 1.0479, "temperature_c": 19.6, "battery_v": 3.9}
            sender.publish("tunroom/report/f9", json.dumps(payload).encode(), number)
        # It appears by itself, and its form with it.
        page.get_by_role("button", name="Put it to work").wait_for()
        shot(page, "sensors-new-float-phone")
        choose(page, "Vessel", "Cask nine: Gatepost bitter")
        page.get_by_role("button", name="Put it to work").click()
        page.get_by_text("f9 is put to work in Cask nine.").wait_for()
        assert fits(page)
        page.get_by_role("link", name="Today").click()
        page.get_by_text("Gatepost bitter").first.wait_for()


def test_a_bad_payload_is_mended_by_a_rule_and_half_typed_input_survives(
    server, chromium_program, publisher, wait_until
):
    site = begin(server, wait_until)
    sender = publisher(server.broker_port)
    for number in range(5):
        odd = {"seconds": int(datetime.now(UTC).timestamp()) - 60 * number, "liquid": {"temp": 68.0 + number}}
        sender.publish(f"tunroom/report/oak-{number % 2}", json.dumps(odd).encode(), number)
    with browser(chromium_program, **PHONE) as page:
        page.goto(f"{site}/sensors")
        page.get_by_text("could not be taken in").first.wait_for()
        page.get_by_text("Build a rule for these").click()
        page.get_by_text("It would read all five messages.").wait_for()
        assert fits(page)
        shot(page, "sensors-rule-phone")
        topic = page.get_by_role("textbox", name="Topic, with {device} where the id stands")
        topic.fill("tunroom/report/{dev")
        # New readings come in while the person is typing; the list above refreshes, what was typed stays.
        sender.publish("tunroom/report/f9", b'{"gravity_sg": 1.05}', 50)
        page.get_by_text("f9").first.wait_for()
        expect(topic).to_have_value("tunroom/report/{dev")
        topic.fill("tunroom/report/{device}")
        topic.press("Tab")
        choose(page, "Time of measurement", "seconds")
        page.get_by_text("It would read all five messages.").wait_for()
        page.get_by_role("button", name="Save the rule and take them in").click()
        page.get_by_text("oak-0").first.wait_for()
        wait_until(lambda: page.get_by_text("could not be taken in").count() == 0, 60, "the end of the rejections")
    assert server.health()["readings"] == 6


def finished_batch(data: Path) -> str:
    """A cellar whose one batch has finished and held, with a hand sample that agrees."""
    pitched = datetime.now(UTC) - timedelta(days=9)
    rng = np.random.default_rng(5)
    with Store.open(data) as store:
        store.save(Preferences(time_zone="Europe/Lisbon"))
        vessel = store.save(Vessel(name="Cask nine", volume_l=20.0))
        batch = store.save(
            BatchRecord(
                name="Gatepost bitter",
                vessel_id=vessel.vessel_id,
                drink="ale",
                original_gravity_sg=1.048,
                pitched_at=pitched,
                expected_low=0.72,
                expected_high=0.78,
            )
        )
        store.save(Device(device_id="f9", kind="float"))
        store.save(Placement(device_id="f9", vessel_id=vessel.vessel_id, from_at=pitched))
        reports = []
        for hour in np.arange(0.5, 9 * 24 - 0.1, 0.5):
            fall = 0.026 / (1 + np.exp(-(hour - 30) / 5)) + 0.011 * (1 - np.exp(-max(hour - 26, 0) / 16))
            at = pitched + timedelta(hours=float(hour))
            reports.append(
                Report(
                    device_id="f9",
                    measured_at=at,
                    received_at=at,
                    inclination_deg=41.0,
                    gravity_sg=round(1.048 - fall + rng.normal(0, 0.0004), 4),
                    temperature_c=19.5,
                )
            )
        store.keep(reports)
        sample = HandSample(batch_id=batch.batch_id, at=datetime.now(UTC) - timedelta(hours=2), value=1.011)
        store.save(sample)
        return batch.batch_id


def test_packaging_day_says_go_caution_or_stop_and_prints(server, chromium_program, wait_until, tmp_path):
    server.data.mkdir()
    batch_id = finished_batch(server.data)
    site = begin(server, wait_until)
    with browser(chromium_program, **PHONE) as page:
        page.goto(f"{site}/packaging?id={batch_id}")
        page.get_by_text("Say first whether it goes into bottles or kegs.").wait_for()
        page.get_by_text("Bottles", exact=True).click()
        carbonation = page.get_by_role("spinbutton", name="Carbonation, volumes")
        verdict = page.locator(".light")
        expect(verdict).to_contain_text("No carbonation is wished for")
        carbonation.fill("2.4")
        page.keyboard.press("Tab")
        expect(verdict).not_to_contain_text("No carbonation is wished for")
        # It has finished and held, a hand sample agrees, and it is near where the yeast ends at the lowest; but nobody
        # knows yet what the bottles hold.
        expect(verdict.locator("strong")).to_have_text("Caution")
        expect(verdict.locator("li").first).to_contain_text("what the bottles are rated for, in bar")
        rating = page.get_by_role("spinbutton", name="Bottle rated for, bar")
        rating.fill("10")
        page.keyboard.press("Tab")
        expect(verdict.locator("strong")).to_have_text("Go")
        expect(page.get_by_text("safe", exact=True)).to_have_count(0)
        assert fits(page)
        shot(page, "packaging-phone")
        # It might yet fall further than was thought.
        page.get_by_role("spinbutton", name="Lowest plausible gravity, SG").fill("0.990")
        page.keyboard.press("Tab")
        expect(verdict).to_contain_text("In the worst case")
        expect(verdict.locator("strong")).to_have_text("Caution")
        # A number that cannot be: said beside it, no verdict, and nothing lost.
        rating.fill("-3")
        page.keyboard.press("Tab")
        expect(verdict).to_contain_text("No verdict yet.")
        expect(carbonation).to_have_value("2.40")
        # A rating below the pressure to expect.
        page.get_by_role("spinbutton", name="Bottle rated for, bar").fill("2")
        page.keyboard.press("Tab")
        expect(verdict.locator("strong")).to_have_text("Stop")
        with page.expect_download() as waiting:
            page.get_by_role("button", name="Download the sheet, to print").click()
        sheet = Path(waiting.value.path()).read_text(encoding="utf-8")
        assert "Gatepost bitter" in sheet
        assert "<strong>Stop</strong>" in sheet
        assert "<script" not in sheet
        page.reload()
        expect(verdict.locator("strong")).to_have_text("Stop")
        expect(carbonation).to_have_value("2.40")


def test_a_float_is_calibrated_and_a_log_imported_in_the_browser(server, chromium_program, wait_until, tmp_path):
    server.data.mkdir()
    finished_batch(server.data)
    log = tmp_path / "spring ale.csv"
    hours = np.arange(0, 8 * 24, 1.0)
    start = datetime(2026, 3, 1, 10, tzinfo=UTC)
    rows = [
        f"{(start + timedelta(hours=float(h))).isoformat()},{1.012 + 0.040 / (1 + np.exp((h - 40) / 9)):.4f},19.5"
        for h in hours
    ]
    log.write_text("\n".join(["timestamp,SG,temp", *rows]) + "\n", encoding="utf-8")
    site = begin(server, wait_until)
    with browser(chromium_program) as page:
        page.goto(f"{site}/sensors?device=f9")
        page.get_by_text("Inclination to gravity: add").click()
        points = [(25.0, 1.000), (37.5, 1.050), (50.0, 1.025)]
        for number, (inclination, gravity) in enumerate(points):
            page.get_by_role("spinbutton", name=f"Point {number + 1}: it says, °").first.fill(str(inclination))
            page.keyboard.press("Tab")
            page.get_by_role("spinbutton", name=f"Point {number + 1}: gravity, SG").fill(str(gravity))
            page.keyboard.press("Tab")
        page.get_by_text("contradict one another").first.wait_for()
        page.get_by_role("spinbutton", name="Point 2: gravity, SG").fill("1.025")
        page.keyboard.press("Tab")
        page.get_by_role("spinbutton", name="Point 3: gravity, SG").fill("1.050")
        page.keyboard.press("Tab")
        page.get_by_text("Standard error").first.wait_for()
        page.locator(".js-plotly-plot").first.wait_for()
        shot(page, "calibration")
        page.get_by_role("button", name="Save the calibration").first.click()
        page.get_by_text("its readings are read anew").first.wait_for()

        page.goto(f"{site}/set-up?part=import")
        page.locator("input[type=file]").set_input_files(log)
        page.get_by_label("Name of the batch").fill("Spring ale")
        page.keyboard.press("Tab")
        page.get_by_role("button", name="Take it in").click()
        page.get_by_text("192 of 192 rows are new readings").wait_for()
        page.goto(f"{site}/set-up?part=batches")
        page.get_by_text("one batch has ended", exact=False).first.click()
        page.get_by_text("Spring ale").first.wait_for()
