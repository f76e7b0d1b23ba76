"""Every screen as a picture, to be looked at: on a desktop and a phone, in the light and in the dark edition.

    python tests/benchmarks/pictures.py [--dir DIR] [--only WORD] [--size SIZE ...] [--edition light|dark]

SIZE is desktop and phone if none is named; narrow is a phone of 320 px, and zoomed the desktop at 200 %, whose page is
half as wide (WCAG 2.2, 1.4.4 and 1.4.10).

Two cellars are made afresh: the demo's, and one of many vessels whose batches are in every state that the demo lacks
(`picture_cellar.py`); its screens begin with `many`. Each picture is the whole page, `<screen>-<size>-<edition>.png` in
DIR (default: `tests/screenshots`). What cannot be seen in a picture is said on the terminal: a page that is wider than
its screen, or a button or link of less than 24 px (WCAG 2.2, 2.5.8), and how tall each page is.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.benchmarks import picture_cellar  # noqa: E402 - runs from a clone, without installing
from tests.conftest import need_chromium  # noqa: E402
from tests.system.serving import CHROMIUM_OPTIONS, Server  # noqa: E402
from tests.system.walking import at_rest  # noqa: E402

SIZES = {"desktop": (1440, 900), "phone": (390, 844), "narrow": (320, 640), "zoomed": (720, 450)}
USUAL = ("desktop", "phone")
EDITIONS = ("light", "dark")
SCREENS = {
    "today": "",
    "calendar": "calendar",
    "yeasts": "yeasts",
    "trials": "trials",
    "tasting": "tasting",
    "sensors": "sensors",
    "device": "sensors?device={device}",
    "vessels": "set-up?part=vessels",
    "batches": "set-up?part=batches",
    "cellar": "set-up?part=cellar",
    "notifications": "set-up?part=word",
    "import": "set-up?part=import",
    "health": "set-up?part=health",
    "manual": "how-it-works",
    "manual-part": "how-it-works?part=package",
    "stalled": "batch?id={stalled}",
    "calm": "batch?id={calm}",
    "which-sheet": "packaging",
    "sheet": "packaging?id={calm}",
    "compare": "compare",
    "wort": "several?part=wort",
    "event": "several?part=event",
    "samples": "several?part=samples",
    "divide": "several?part=divide",
    "merge": "several?part=merge",
}
MANY = {
    "many-today": "",
    "many-by-vessel": "?order=By+vessel",
    "many-finished": "?order=By+finish&show=Finished",
    "many-without-a-float": "?show=Without+a+float",
    "many-calendar": "calendar",
    "many-compare": "compare?lot={lot}",
    "many-wort": "several?part=wort",
    "many-event": "several?part=event&lot={lot}",
    "many-samples": "several?part=samples",
    "many-move": "several?part=move",
    **{
        f"many-{what}": f"batch?id={{{what}}}"
        for what in (
            "fresh", "active", "held", "stalled", "hopped", "silent", "cold", "fed", "swinging", "unwatched", "sibling",
            "follows", "packaged", "abandoned", "still",
        )
    },
    "many-changes": "set-up?part=health",
    "many-sheet": "packaging?id={held}",
    **{f"many-sheet-{what}": f"packaging?id={{{what}}}" for what in ("go", "caution", "stop", "abandoned")},
    "many-pairing": "sensors?device=float-new",
}  # fmt: skip
PARTS = ("What we said before", "What was entered", "Notes and photos", "This batch")
SMALL = """() => [...document.querySelectorAll("a, button, input:not([type=file]), summary, [role=radio]")]
  .filter((e) => e.checkVisibility({checkOpacity: true, checkVisibilityCSS: true}))
  .map((e) => [e, (e.closest("label") ?? e).getBoundingClientRect()])
  .filter(([e, r]) => r.width > 1 && r.height > 1 && (r.width < 24 || r.height < 24))
  .filter(([e]) => !(e.tagName === "A" && getComputedStyle(e).display === "inline"))
  .map(([e, r]) => `${e.tagName} ${(e.innerText || e.ariaLabel || "").slice(0, 30)} ${r.width | 0}x${r.height | 0}`)"""


def demo(folder: Path) -> Server:
    """The demo, judged on its whole history."""
    server = Server(folder, "demo", "--fresh")
    server.start()
    until = time.monotonic() + 300
    while server.health().get("readings", 0) < 13_000:
        if time.monotonic() > until:
            raise SystemExit(server.log)
        time.sleep(0.5)
    return server


def many(folder: Path) -> tuple[Server, dict[str, str]]:
    """The cellar of many vessels, and the ids that its addresses need."""
    server = Server(folder, "serve")
    ids = picture_cellar.fill(server.data)
    server.start()
    until = time.monotonic() + 120
    while not server.health():
        if time.monotonic() > until:
            raise SystemExit(server.log)
        time.sleep(0.5)
    return server, {**ids, "lot": picture_cellar.LOT.replace(" ", "+")}


def names(page: Any, address: str) -> dict[str, str]:
    """The ids that addresses need: of a stalled batch, of a calm one, of a device."""
    page.goto(address)
    page.locator("ul.rows li.needy", has_text="Stalled").wait_for(timeout=300_000)
    ids = page.evaluate(
        "() => ['li.needy', 'li.calm'].map((k) => document.querySelector('ul.rows ' + k + ' [data-picture]')"
        ".dataset.picture)"
    )
    page.goto(f"{address}sensors")
    link = page.locator("a[href*='sensors?device=']").first
    link.wait_for()
    return {"stalled": ids[0], "calm": ids[1], "device": str(link.get_attribute("href")).partition("=")[2]}


def settled(page: Any) -> None:
    """Wait until a page has come to rest, its figure too."""
    at_rest(page)
    page.wait_for_timeout(900)


def keep(page: Any, file: Path) -> None:
    """The whole page as a picture: the page itself scrolls within its frame, so the frame is made as tall."""
    tall = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    width, height = page.viewport_size["width"], page.viewport_size["height"]
    wide = page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth")
    page.set_viewport_size({"width": width, "height": max(height, int(tall))})
    page.wait_for_timeout(400)
    page.screenshot(path=file)
    page.set_viewport_size({"width": width, "height": height})
    too_wide = f"  {wide - width} px too wide" if wide > width else ""
    print(f"{file.stem:<34} {tall:>6} px tall{too_wide}")
    for small in page.evaluate(SMALL):
        print(f"    small: {small}")


def take(page: Any, address: str, screens: dict[str, str], ids: dict[str, str], folder: Path, kind: str) -> None:
    """All screens of one size and edition."""
    for name, path in screens.items():
        page.goto(address + path.format(**ids))
        settled(page)
        keep(page, folder / f"{name}-{kind}.png")


def take_parts(page: Any, address: str, batch_id: str, folder: Path, kind: str) -> None:
    """What stands behind the choices at the foot of a batch's page."""
    page.goto(f"{address}batch?id={batch_id}")
    settled(page)
    for n, part in enumerate(PARTS):
        page.get_by_text(part, exact=True).first.click()
        settled(page)
        keep(page, folder / f"batch-part-{n + 1}-{kind}.png")


def looks(playwright: Any, arguments: argparse.Namespace) -> Iterator[tuple[Any, str]]:
    """A page of each size and edition that is asked for, with its name."""
    chromium = playwright.chromium.launch(executable_path=need_chromium(), args=CHROMIUM_OPTIONS)
    for size in arguments.size or USUAL:
        for edition in arguments.edition or EDITIONS:
            width, height = SIZES[size]
            context = chromium.new_context(
                viewport={"width": width, "height": height},
                color_scheme=edition,
                has_touch=size in ("phone", "narrow"),
                device_scale_factor=2 if size == "zoomed" else 1,
            )
            context.set_default_timeout(60_000)
            yield context.new_page(), f"{size}-{edition}"
            context.close()


def main() -> None:
    """Start the cellars and take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--dir", type=Path, default=ROOT / "tests" / "screenshots")
    parser.add_argument("--only", default="", help="screens whose name holds this word")
    parser.add_argument("--size", choices=SIZES, action="append")
    parser.add_argument("--edition", choices=EDITIONS, action="append")
    parser.add_argument("--port", type=int, help="a demo that runs already")
    arguments = parser.parse_args()
    arguments.dir.mkdir(parents=True, exist_ok=True)
    from playwright.sync_api import sync_playwright

    few, lots = ({name: path for name, path in all_.items() if arguments.only in name} for all_ in (SCREENS, MANY))
    parts = arguments.only in "batch"
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright, contextlib.ExitStack() as stack:
        address, other, ids, other_ids = f"http://127.0.0.1:{arguments.port}/", "", {}, {}
        if (few or parts) and not arguments.port:
            server = demo(Path(folder))
            stack.callback(server.kill)
            address = f"http://127.0.0.1:{server.port}/"
        if lots:
            (Path(folder) / "many").mkdir()
            shelf, other_ids = many(Path(folder) / "many")
            stack.callback(shelf.kill)
            other = f"http://127.0.0.1:{shelf.port}/"
        for page, kind in looks(playwright, arguments):
            if few or parts:
                ids = ids or names(page, address)
                take(page, address, few, ids, arguments.dir, kind)
            if parts:
                take_parts(page, address, ids["calm"], arguments.dir, kind)
            take(page, other, lots, other_ids, arguments.dir, kind)


if __name__ == "__main__":
    main()
