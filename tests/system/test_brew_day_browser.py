"""A whole brew in a real browser, from an empty cellar to the next batch; at each step no screen contradicts another.

The program runs under a clock that the test sets, so that five days take seconds: float readings come over MQTT from
outside, and everything else is typed and pressed on the pages.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from playwright.sync_api import expect

from analysis.wording import Voice
from tests.system import told
from tests.system.conftest import wait_until
from tests.system.serving import Server, browser
from tests.system.shifted import offset_file, set_clock
from tests.system.told import Told, contradictions
from tests.system.walking import at_rest, choose, number, press

pytestmark = pytest.mark.chromium

expect.set_options(timeout=60_000)
PITCHED = datetime(2027, 3, 4, 18, tzinfo=UTC)
EVERY = timedelta(minutes=30)
ORIGINAL_SG = 1.048
CURVE = ((25.0, 1.000), (37.5, 1.025), (50.0, 1.050))
"""The invented float's calibration: inclination in degrees, gravity in SG."""


def gravity_after(hours: float) -> float:
    """An invented ale from 1.048 to 1.011 SG, most of it within three days."""
    fall = 0.026 / (1 + math.exp(-(hours - 26) / 5)) + 0.011 * (1 - math.exp(-max(hours - 22, 0) / 12))
    return ORIGINAL_SG - fall


def inclination(gravity_sg: float) -> float:
    """What the float says at this gravity."""
    return float(np.interp(gravity_sg, [g for _, g in CURVE], [i for i, _ in CURVE]))


@dataclass
class Cellar:
    """The program under its clock, a browser's page, and what it publishes."""

    server: Server
    page: Any
    messages: dict[str, dict[str, Any]]
    client: paho.Client
    rng: np.random.Generator
    sent_until: datetime = PITCHED
    floats: dict[str, str] = field(default_factory=dict)
    """Which float is in which vessel."""
    ids: dict[str, str] = field(default_factory=dict)
    """The batch in each vessel."""
    hopped: set[str] = field(default_factory=set)

    def set_clock(self, now: datetime) -> None:
        """Let the program think that it is `now`."""
        set_clock(self.server.data, now)

    @property
    def say(self) -> Voice:
        """The words of the program's moment."""
        ahead = float(offset_file(self.server.data).read_text())
        return Voice(now=datetime.now(UTC) + timedelta(seconds=ahead))

    def visit(self, path: str = "") -> Any:
        self.page.goto(f"http://127.0.0.1:{self.server.port}/{path}")
        at_rest(self.page)
        return self.page

    def save(self, button: str, says: str) -> None:
        """Press a button; the page says what was entered."""
        self.page.get_by_role("button", name=button).first.click()
        expect(self.page.get_by_role("status").filter(has_text=says).first).to_be_visible()

    def send(self, device: str, until: datetime, kind: str) -> None:
        """A float's readings since the last ones, in one message."""
        at, reports = self.sent_until, []
        while (at := at + EVERY) <= until:
            gravity = gravity_after((at - PITCHED).total_seconds() / 3600) + self.rng.normal(0, 0.0002)
            said = {"gravity_sg": round(gravity, 4)}
            if kind == "inclination":
                said = {"inclination_deg": round(inclination(gravity), 2)}
            reports.append({"measured_at": at.isoformat(), "temperature_c": 19.5, "battery_v": 3.9, **said})
        self.client.publish(f"tunroom/report/{device}", json.dumps(reports), qos=1).wait_for_publish(30)

    def live_until(self, now: datetime) -> None:
        """Let time pass up to `now`, with both floats speaking, until every batch is judged on it."""
        self.set_clock(now + timedelta(seconds=20))
        self.send("f1", now, "inclination")
        self.send("f2", now, "gravity")
        self.sent_until = now
        for vessel in self.floats:
            self.judged(lambda vessel=vessel: self.newest(vessel) > now - timedelta(hours=2))

    def newest(self, vessel: str) -> datetime:
        """The hour of the newest reading on which the message about a vessel rests."""
        said = self.messages.get(vessel, {}).get("newest_reading_at")
        return datetime.fromisoformat(said) if said else PITCHED - timedelta(days=1)

    def judged(self, condition: Callable[[], bool]) -> None:
        """Wait for the messages that follow an entry."""
        wait_until(condition, 200, "the verdict after an entry")

    def rows(self) -> dict[str, dict[str, Any]]:
        """The rows of the first screen, by vessel."""
        page = self.visit()
        page.locator("ul.rows li").first.wait_for()
        page.wait_for_function("!document.body.innerText.includes('Being worked out')")
        return {row["vessel"]: row for row in page.evaluate(told.READ_ROWS)}

    def beside(self, *wanted: tuple[str, str]) -> list[dict[str, Any]]:
        """What pages say, each read by its script; they are opened side by side, as on several phones."""
        address = f"http://127.0.0.1:{self.server.port}"
        pages = [self.page.context.new_page() for _ in wanted]
        try:
            for page, (path, _) in zip(pages, wanted, strict=True):
                page.goto(f"{address}/{path}", wait_until="commit")
            for page in pages:
                at_rest(page)
            return [page.evaluate(reads) for page, (_, reads) in zip(pages, wanted, strict=True)]
        finally:
            for page in pages:
                page.close()

    def agrees(self, vessel: str) -> None:
        """Read everything that is said of this vessel, from the pages of one moment; nothing contradicts another."""
        rows = self.rows()
        lead, row = self.page.locator("h1.lead").inner_text(), rows[vessel]
        batch_id = self.ids[vessel] = row["batch_id"]
        calendar, page, sheet = self.beside(
            ("calendar", told.READ_CALENDAR),
            (f"batch?id={batch_id}", told.READ_BATCH),
            (f"packaging?id={batch_id}", told.READ_SHEET),
        )
        days = [(date.fromisoformat(i["day"]), i["what"]) for i in calendar["items"] if i["batch_id"] == batch_id]
        found = Told(
            row,
            page,
            tuple(days),
            sheet,
            self.messages[vessel],
            ORIGINAL_SG,
            hops_in=vessel in self.hopped,
            follows=row["figures"][:1] == ["no float"],
        )
        assert contradictions(found, self.say) == []
        assert ("Nothing needs you" in lead) != any(each["needy"] for each in rows.values()), lead


@pytest.fixture
def cellar(tmp_path: Path, chromium_program: str) -> Iterator[Cellar]:
    server = Server(tmp_path, "serve", module="tests.system.shifted")
    client = paho.Client(CallbackAPIVersion.VERSION2, "a-float-and-a-reader")
    messages: dict[str, dict[str, Any]] = {}

    def heard(_client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        vessel = message.topic.rpartition("/")[2]
        if message.payload:
            messages[vessel] = json.loads(message.payload)
        else:
            messages.pop(vessel, None)

    def connected(_client: Any, *_: Any) -> None:
        client.subscribe("tunroom/verdict/#", qos=1)  # anew each time: a broker may close what slept for a day

    client.on_message, client.on_connect = heard, connected
    made = Cellar(server, None, messages, client, np.random.default_rng(11))
    made.set_clock(PITCHED - timedelta(hours=2))
    server.start()
    try:
        wait_until(lambda: server.health().get("broker_connected"), 120, "the start of the server")
        client.connect("127.0.0.1", server.broker_port)
        client.loop_start()
        with browser(chromium_program, width=1280, height=900) as page:
            made.page = page
            yield made
    finally:
        client.loop_stop()
        server.kill()


def first_float(cellar: Cellar) -> None:
    """Two floats speak in an empty cellar, are put to work and calibrated."""
    cellar.visit().get_by_text("There are two ways to begin").wait_for()
    at = PITCHED - timedelta(hours=1)
    cellar.set_clock(at)
    for device, said in (("f1", {"inclination_deg": 25.0}), ("f2", {"gravity_sg": 1.0})):
        body = {"measured_at": at.isoformat(), "temperature_c": 20.0, **said}
        cellar.client.publish(f"tunroom/report/{device}", json.dumps(body), qos=1).wait_for_publish(30)
    for n, vessel in enumerate(("Cask 1", "Cask 5")):
        page = cellar.visit("set-up?part=vessels")
        if n:
            page.get_by_text("Add a vessel", exact=True).click()
        page.get_by_label("Name", exact=True).fill(vessel)
        cellar.save("Add the vessel", f"{vessel} is in the cellar.")
    page = cellar.visit("sensors")
    expect(page.get_by_role("button", name="Put it to work")).to_have_count(2)
    for device, vessel in (("f1", "Cask 1, empty"), ("f2", "Cask 2")):
        choose(page, "Vessel", vessel, new=vessel == "Cask 2")
        cellar.save("Put it to work", f"{device} is put to work")
    page = cellar.visit("sensors?device=f1")
    page.get_by_text("Inclination to gravity: add").click()
    for row, (angle, gravity) in enumerate(CURVE):
        number(page, f"Point {row + 1}: it says, °", f"{angle}")
        number(page, f"Point {row + 1}: gravity, SG", f"{gravity:.3f}")
    page.get_by_text("Standard error").first.wait_for()
    cellar.save("Save the calibration", "its readings are read anew")


def one_wort_into_four(cellar: Cellar) -> None:
    """One form for four vessels, two of them with a float; a fifth vessel stays empty."""
    cellar.set_clock(PITCHED + timedelta(seconds=20))
    page = cellar.visit("several?part=wort")
    page.get_by_role("textbox", name="Name of the wort").fill("Gatepost bitter")
    choose(page, "Yeast for all", "Marrow", new=True)
    number(page, "Gravity before pitching, SG", "1048")
    number(page, "Volume of each, L", "20")
    number(page, "Dry hop doses", "1")
    for row in range(4):
        choose(page, "Vessel", f"Cask {row + 1}", row, new=True)
    for row, device in enumerate(("f1", "f2")):
        choose(page, "Float", device, row)
    cellar.save("Add them all", "Gatepost bitter is in four vessels.")
    cellar.floats = {"Cask 1": "f1", "Cask 2": "f2"}


def hops_into(cellar: Cellar, vessel: str) -> None:
    """Hops are logged on the batch's page, as they go in."""
    page = cellar.visit(f"batch?id={cellar.ids[vessel]}")
    page.get_by_role("button", name="Log an event").click()
    press(page, "Dry hops in")
    number(page, "Amount, g", "60")
    choose(page, "Hop variety", "Osprey", new=True)
    cellar.save("The hops are in", "Logged: dry hops added, just now.")


def moved(cellar: Cellar, vessel: str, to: str) -> None:
    """The batch goes into another vessel, and its float with it."""
    page = cellar.visit(f"batch?id={cellar.ids[vessel]}")
    page.get_by_role("button", name="Log an event").click()
    press(page, "Transferred")
    page.get_by_text("Where it went, of a transfer").click()
    choose(page, "It went into", f"{to}, empty")
    cellar.save("Save the transfer", "Logged: transferred, just now.")
    cellar.ids[to], cellar.floats[to] = cellar.ids.pop(vessel), cellar.floats.pop(vessel)


def hand_samples(cellar: Cellar, gravities: dict[str, str]) -> None:
    """Samples of several vessels in one form."""
    page = cellar.visit("several?part=samples")
    for vessel, gravity in gravities.items():
        number(page, f"{vessel}: Gatepost bitter, SG", gravity)
    cellar.save("Save the samples", f"Saved: {('no', 'one', 'two', 'three')[len(gravities)]} hand sample")


def packaged(cellar: Cellar, vessel: str) -> None:
    """The sheet is filled in, and the batch packaged and ended."""
    page = cellar.visit(f"packaging?id={cellar.ids[vessel]}")
    press(page, "Bottles")
    number(page, "Carbonation, volumes", "2.4")
    number(page, "Bottle rated for, bar", "8")
    expect(page.locator(".light strong")).to_have_text(re.compile("Go|Caution"))
    expect(page.locator(".answer")).to_contain_text("Priming sugar")
    at_rest(page)
    sheet = page.evaluate(told.READ_SHEET)
    assert sheet["light"] == sheet["answer"]
    page.get_by_text("It is done: log the packaging").click()
    cellar.save("Log it and end the batch", "Gatepost bitter is packaged; its vessel is free.")


def followed_up(cellar: Cellar, batch_id: str) -> None:
    """After a week a test bottle is opened; until then every screen says that it is still to come."""
    page = cellar.visit("packaging")
    expect(page.locator(".entries", has_text="Test bottle")).to_contain_text("Gatepost bitter")
    page = cellar.visit(f"packaging?id={batch_id}")
    expect(page.get_by_role("heading", level=1)).to_contain_text("is packaged")
    choose(page, "It was", "right")
    cellar.save("Save what it showed", "The test bottle of Gatepost bitter was right.")
    expect(page.get_by_role("heading", level=1)).to_have_text("Gatepost bitter: the test bottle was right.")
    page = cellar.visit("packaging")
    expect(page.locator("a", has_text="Test bottle")).to_have_count(0)


def next_batch(cellar: Cellar, vessel: str) -> None:
    """The same again into the vessel that is free: drink, yeast and plan as last time."""
    page = cellar.visit("several?part=wort")
    choose(page, "As last time", "Gatepost bitter")
    expect(page.get_by_role("textbox", name="Name of the wort")).to_have_value("Gatepost bitter")
    page.get_by_role("textbox", name="Name of the wort").fill("Gatepost bitter, again")
    choose(page, "Vessel", vessel, 0, new=True)
    cellar.save("Add them all", "Gatepost bitter, again is in one vessel.")


@pytest.mark.long
def test_a_brew_from_an_empty_cellar_to_the_next_batch_contradicts_itself_nowhere(cellar: Cellar) -> None:
    first_float(cellar)
    one_wort_into_four(cellar)
    for day, vessel in ((0.5, "Cask 1"), (1.25, "Cask 3"), (4.0, "Cask 2")):
        cellar.live_until(PITCHED + timedelta(days=day))
        cellar.agrees(vessel)
    cellar.live_until(PITCHED + timedelta(days=5))
    cellar.hopped.add("Cask 1")
    hops_into(cellar, "Cask 1")
    cellar.judged(lambda: cellar.messages["Cask 1"]["hop_day"] is None)
    cellar.agrees("Cask 1")
    moved(cellar, "Cask 2", "Cask 5")
    cellar.judged(lambda: "Cask 5" in cellar.messages)
    cellar.agrees("Cask 5")
    hand_samples(cellar, {"Cask 1": "1011", "Cask 3": "1.011", "Cask 4": "1,011"})
    cellar.judged(lambda: cellar.newest("Cask 3") > PITCHED)
    cellar.agrees("Cask 3")
    cellar.live_until(PITCHED + timedelta(days=8.5))
    cellar.agrees("Cask 1")
    packaged(cellar, "Cask 1")
    old = cellar.ids.pop("Cask 1")
    cellar.hopped.discard("Cask 1")
    assert "Cask 1" not in cellar.rows()
    del cellar.floats["Cask 1"]
    cellar.set_clock(PITCHED + timedelta(days=16))
    followed_up(cellar, old)
    next_batch(cellar, "Cask 1")
    cellar.judged(lambda: cellar.messages.get("Cask 1", {}).get("batch") == "Gatepost bitter, again")
    cellar.agrees("Cask 1")


def test_a_contradiction_would_be_found() -> None:
    """Each of these was once so on the screens, or could be."""
    row = {
        "vessel": "Cask 1",
        "needy": False,
        "next": "Hops today",
        "says": "Dry hop today.",
        "todo": "",
        "figures": ["Steady", "1.013", "19.5\u202f°C"],
    }
    page = {
        "lead": "Finished: the gravity has held at 1.011 for 62\u202fh.",
        "wants": ["Weigh the hops and add them."],
        "facts": {"Phase": "Finished", "Likely gravity": "1.011", "Temperature": "19.5\u202f°C"},
        "days": {"Package": "Tomorrow"},
        "notions": [],
        "told": ["a date is a forecast"],
    }
    message = {
        "phase": "finished",
        "finished": True,
        "held_h": 62,
        "p_finished": 0.97,
        "gravity_sg": 1.0112,
        "newest_reading_at": "2027-03-09T18:00:00+00:00",
        "hop_day": None,
        "packaging_day": "2027-03-12",
        "may_package": False,
        "reason": "",
    }
    sheet = {"light": "Go", "answer": "Go", "standing": "Packaging day: Friday. Held 40 of 48\u202fh."}
    days = ((date(2027, 3, 12), "Package Cask 1 (Gatepost bitter)"),)
    say = Voice(now=datetime(2027, 3, 9, 18, tzinfo=UTC))
    found = "\n".join(contradictions(Told(row, page, days, sheet, message, ORIGINAL_SG, hops_in=True), say))
    for what in ("phase", "gravity", "the hops are in", "packaging_day", "held", "says Go", "no sentence", "next is"):
        assert what in found, what
    assert "temperature" not in found
