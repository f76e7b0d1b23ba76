"""Screens in states that no address alone leads to, as pictures: see `pictures.py`, which takes all others.

    python tests/benchmarks/picture_states.py [--dir DIR] [--only WORD] [--size SIZE ...] [--edition light|dark]
        [--port PORT --broker-port PORT]

A trial with its tasting, a tasting under way (its host, a taster's phone, a ballot by hand), what was learnt, messages
that cannot be read, a calibration, a log being imported, the packaging sheet of a bottle and a keg step by step and
once packaged, what opens by a tap on a batch's page, the manual, signing in, and the first start. It changes the demo:
a tasting is made, messages are sent.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import re
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Protocol

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import paho.mqtt.client as mqtt  # noqa: E402 - runs from a clone, without installing
from paho.mqtt.enums import CallbackAPIVersion  # noqa: E402

from tests.benchmarks.pictures import EDITIONS, SIZES, USUAL, demo, keep, settled  # noqa: E402
from tests.conftest import need_chromium  # noqa: E402
from tests.system.serving import CHROMIUM_OPTIONS, Server  # noqa: E402
from tests.system.walking import choose  # noqa: E402

STEPS: Final = 4
LOG: Final = "when,SG,temp\n2026-01-02 08:00,1.062,20.5\n2026-01-03 08:00,1.041,20.9\n2026-01-09 08:00,1.011,19.8\n"
_TRIALS: Final = {"trial-tasted": "Four single hops", "trial-under-way": "Marrow against Dune"}


class Shoot(Protocol):
    """Takes a picture by its name: of the whole page, or of what is `seen` without scrolling."""

    def __call__(self, name: str, *, seen: bool = False) -> None: ...


def unreadable(broker_port: int) -> None:
    """Messages of a device that says it its own way, and one of a good device with a gravity that cannot be."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", broker_port)
    client.loop_start()
    for n in range(3):
        told = {"liquid": {"density": 1040 - n, "celsius": 19.5}, "cell": 3.9}
        client.publish("tunroom/report/shed-7/raw", json.dumps(told), qos=1).wait_for_publish(20)
    client.publish("tunroom/report/shed-8", json.dumps({"gravity_sg": "1.040"}), qos=1).wait_for_publish(20)
    client.loop_stop()


def links(page: Any, prefix: str) -> dict[str, str]:
    """Each entry of a list by its name: its address."""
    page.locator(f"a[href*='{prefix}']").first.wait_for()
    found = page.evaluate(
        "(p) => [...document.querySelectorAll(`a[href*='${p}']`)].map((a) => [a.innerText, a.getAttribute('href')])",
        prefix,
    )
    return {text.split("\n")[0]: href for text, href in found}


def begin_tasting(page: Any, address: str) -> None:
    """A tasting under way, unless there is one."""
    page.goto(f"{address}tasting")
    settled(page)
    if page.get_by_text("under way:").count():
        return
    if not page.get_by_label("What is asked").is_visible():
        page.get_by_text("A new tasting", exact=True).click()
    page.get_by_label("What is asked").fill("Which do we bottle?")
    for drink in ("Ferry ale", "Lantern pale", "Kitchen bitter"):  # a list of several stays open until it is left
        box = page.get_by_role("combobox", name=re.compile("Drinks$"))
        box.click()
        box.fill(drink)  # the list holds only what is in sight of it
        page.get_by_role("option", name=drink).first.click()
        page.keyboard.press("Escape")
        page.get_by_role("listbox").wait_for(state="detached")
    page.get_by_label("Who tastes").fill("Ines\nOle\nMirja\nTomke")
    page.get_by_role("button", name="Make the tasting").click()
    page.get_by_text("Whose address").wait_for()


def of_tastings(page: Any, address: str, shoot: Shoot) -> None:
    """The host's page, a ballot by hand, a taster's phone from the first page to a glass."""
    begin_tasting(page, address)
    page.goto(f"{address}tasting")
    settled(page)
    shoot("tastings")
    for name, href in links(page, "tasting?id=").items():
        page.goto(address + href)
        settled(page)
        if not page.get_by_text("Whose address").count():
            for part in ("Blend them", "Everything that was said"):
                if page.get_by_text(part, exact=True).count() and not page.get_by_text("What to blend").is_visible():
                    page.get_by_text(part, exact=True).click()
            settled(page)
            shoot("tasting-" + re.sub(r"\W+", "-", name.lower()))
            continue
        choose(page, "Whose address", "Ole")
        page.get_by_text("Show what is in which glass").click()
        page.get_by_text("Enter a ballot by hand", exact=True).click()
        choose(page, "Whose ballot", "Ines")
        settled(page)
        shoot("tasting-host")
        page.goto(page.locator("code", has_text="/taste/").first.inner_text().strip())
        plain(page, shoot, "taste-begin")
        page.goto(page.url + "/1")
        plain(page, shoot, "taste-glass")
        page.get_by_role("button").first.click()
        plain(page, shoot, "taste-refused")


def plain(page: Any, shoot: Shoot, name: str) -> None:
    """A page that is no page of Streamlit's."""
    page.locator("h1, form").first.wait_for()
    shoot(name)


def of_trials(page: Any, address: str, shoot: Shoot) -> None:
    page.goto(f"{address}trials")
    settled(page)
    shoot("trials")
    found = links(page, "trials?id=")
    for name, called in _TRIALS.items():
        page.goto(address + found[called])
        settled(page)
        if name == "trial-under-way":
            page.get_by_text("Change this trial", exact=True).click()
            settled(page)
        shoot(name)


def of_yeasts(page: Any, address: str, shoot: Shoot) -> None:
    page.goto(f"{address}yeasts")
    settled(page)
    page.get_by_text("Compare hops and doses", exact=True).click()
    settled(page)
    shoot("yeasts")


def of_sensors(page: Any, address: str, shoot: Shoot) -> None:
    page.goto(f"{address}sensors")
    page.get_by_text("Build a rule for these").first.wait_for()
    settled(page)
    page.get_by_text("Build a rule for these").first.click()
    settled(page)
    shoot("sensors-rejected")
    page.goto(f"{address}sensors?device=float-01")
    settled(page)
    for part in page.get_by_text(re.compile("^(Inclination to gravity|Gravity offset|What it said)")).all():
        part.click()
        settled(page)
    shoot("device-calibration")


def of_set_up(page: Any, address: str, shoot: Shoot) -> None:
    for part in ("batches", "vessels", "yeasts", "cellar", "word", "health"):
        page.goto(f"{address}set-up?part={part}")
        settled(page)
        if part in ("batches", "vessels", "yeasts"):
            found = links(page, f"set-up?part={part}&id=")
            page.goto(address + next(iter(found.values())))
            settled(page)
        shoot(f"set-up-{part}")
    page.goto(f"{address}set-up?part=import")
    settled(page)
    page.locator("input[type=file]").set_input_files(
        {"name": "spring.csv", "mimeType": "text/csv", "buffer": LOG.encode()}
    )
    page.get_by_text("Which column is what?").wait_for()
    settled(page)
    shoot("set-up-import")


def of_packaging(page: Any, address: str, shoot: Shoot) -> None:
    page.goto(f"{address}packaging")
    settled(page)
    shoot("packaging")
    found = links(page, "packaging?id=")
    named = ("Orchard three", "Ferry ale", "Small brown", "Lantern pale")
    ready, fermenting, packaged, untouched = (
        next(href for name, href in found.items() if each in name) for each in named
    )
    for name, href, package in (
        ("sheet-undecided", untouched, ""),
        ("sheet-bottles", ready, "Bottles"),
        ("sheet-kegs", ready, "Kegs"),
        ("sheet-too-early", fermenting, "Bottles"),
        ("sheet-packaged", packaged, ""),
    ):
        page.goto(address + href)
        settled(page)
        if package:
            page.get_by_role("radio", name=package).click()
            page.locator(".answer.go, .answer.caution, .answer.stop").first.wait_for()
            settled(page)
        shoot(name)
        onward = page.get_by_role("button", name=re.compile("^Next: "))
        for n in range(STEPS if package == "Bottles" and href == ready else 0):
            if not onward.is_visible():
                break
            onward.click()
            settled(page)
            shoot(f"{name}-step-{n + 2}")


def of_entries(page: Any, address: str, shoot: Shoot) -> None:
    """What opens by a tap beside a batch's vessel, as it is seen then: nothing of it is logged."""
    page.goto(address)
    running = next(href for name, href in links(page, "batch?id=").items() if "Ferry ale" in name)
    for name, button, pill in (
        ("entry-event", "Log an event", ""),
        ("entry-hops", "Log an event", "Dry hops in"),
        ("entry-transfer", "Log an event", "Transferred"),
        ("entry-packaged", "Log an event", "Packaged"),
        ("entry-sample", "Log a hand sample", ""),
        ("entry-float", "Move a float", ""),
    ):
        page.goto(address + running)
        settled(page)
        page.get_by_role("button", name=button).first.click()
        settled(page)
        if pill:
            page.get_by_text(pill, exact=True).last.click()
            settled(page)
        shoot(name, seen=True)
    page.goto(address + running)
    settled(page)
    page.get_by_text("Milestones", exact=False).first.click()
    settled(page)
    shoot("entry-milestones")


def of_manual(page: Any, address: str, shoot: Shoot) -> None:
    page.goto(f"{address}how-it-works")
    settled(page)
    shoot("manual")
    found = links(page, "how-it-works?part=")
    for name, href in found.items():
        page.goto(address + href)
        settled(page)
        shoot("manual-" + re.sub(r"\W+", "-", name.lower())[:30])


def of_empty(page: Any, address: str, shoot: Shoot) -> None:
    """An empty cellar, page by page."""
    for path in ("", "calendar", "yeasts", "trials", "tasting", "sensors", "packaging", "set-up", "set-up?part=health"):
        page.goto(address + path)
        settled(page)
        shoot("first-" + (re.sub(r"\W+", "-", path) or "today"))


def of_signing_in(page: Any, address: str, shoot: Shoot) -> None:
    page.goto(address)
    plain(page, shoot, "sign-in")
    page.locator("input[type=password]").fill("wrong")
    page.keyboard.press("Enter")
    plain(page, shoot, "sign-in-refused")


GROUPS: Final[dict[str, Callable[[Any, str, Shoot], None]]] = {
    "trials": of_trials,
    "tasting": of_tastings,
    "yeasts": of_yeasts,
    "sensors": of_sensors,
    "set-up": of_set_up,
    "packaging": of_packaging,
    "entries": of_entries,
    "manual": of_manual,
}
"""What is shown of the demo."""

ALONE: Final[dict[str, Callable[[Any, str, Shoot], None]]] = {"first": of_empty, "signing-in": of_signing_in}
"""What needs a server of its own: an empty cellar, and one with a password."""


def picture(page: Any, file: Path, *, seen: bool) -> None:
    """One picture: of a page of Streamlit's the whole of it, unless it is of what is seen."""
    if seen:
        page.screenshot(path=file)
    elif page.locator("[data-testid=stMain]").count():
        keep(page, file)
    else:
        page.screenshot(path=file, full_page=True)


def each_way(playwright: Any, arguments: argparse.Namespace, address: str, group: str) -> None:
    """One group in every size and edition that was asked for."""
    chromium = playwright.chromium.launch(executable_path=need_chromium(), args=CHROMIUM_OPTIONS)
    for size in arguments.size or USUAL:
        for edition in arguments.edition or EDITIONS:
            width, height = SIZES[size]
            context = chromium.new_context(
                viewport={"width": width, "height": height}, color_scheme=edition, has_touch=size in ("phone", "narrow")
            )
            context.set_default_timeout(60_000)
            page = context.new_page()

            def shoot(name: str, *, seen: bool = False, page: Any = page, kind: str = f"{size}-{edition}") -> None:
                picture(page, arguments.dir / f"{name}-{kind}.png", seen=seen)

            try:
                (GROUPS | ALONE)[group](page, address, shoot)
            except Exception as error:  # one screen that fails leaves the others to be looked at
                if not type(error).__module__.startswith("playwright"):
                    raise
                with contextlib.suppress(Exception):
                    page.screenshot(path=arguments.dir / f"FAILED-{group}-{size}-{edition}.png")
                print(f"{group} {size} {edition}: {str(error).splitlines()[0]}")
            context.close()
    chromium.close()


def main() -> None:
    """Start what is needed and take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--dir", type=Path, default=ROOT / "tests" / "screenshots")
    parser.add_argument("--only", choices=[*GROUPS, *ALONE], action="append", help="a group of screens")
    parser.add_argument("--size", choices=SIZES, action="append")
    parser.add_argument("--edition", choices=EDITIONS, action="append")
    parser.add_argument("--port", type=int, help="a demo that runs already")
    parser.add_argument("--broker-port", type=int, help="its broker")
    arguments = parser.parse_args()
    arguments.dir.mkdir(parents=True, exist_ok=True)
    from playwright.sync_api import sync_playwright

    groups = arguments.only or [*GROUPS, *ALONE]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        if any(group in GROUPS for group in groups):
            server = None if arguments.port else demo(Path(folder))
            try:
                if "sensors" in groups:
                    unreadable(server.broker_port if server else arguments.broker_port)
                for group in groups:
                    if group in GROUPS:
                        at = f"http://127.0.0.1:{server.port if server else arguments.port}/"
                        each_way(playwright, arguments, at, group)
            finally:
                if server is not None:
                    server.kill()
        for group in groups:
            if group in ALONE:
                alone = Path(folder) / group
                alone.mkdir()
                server = Server(alone, "serve")
                if group == "signing-in":
                    server.command_with("a-long-password-1\n", "password")
                server.start()
                page_of = f"http://127.0.0.1:{server.port}/"
                try:
                    until = time.monotonic() + 60
                    while not server.health() and time.monotonic() < until:
                        time.sleep(0.2)
                    each_way(playwright, arguments, page_of, group)
                finally:
                    server.kill()


if __name__ == "__main__":
    main()
