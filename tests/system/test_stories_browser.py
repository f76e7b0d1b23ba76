"""What a person does, in a real browser at the sizes of a laptop and of a phone, on the demo's cellar."""

from __future__ import annotations

import contextlib
import functools
import importlib.resources
import json
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import publish
from playwright.sync_api import Page, expect, sync_playwright

from dashboard.report import report_html
from dashboard.ui.components import FIGURES, LIVE_S
from ingest.monitoring import ReportInterval, ReportPage
from ingest.monitoring.reports import ReportFigure, ReportLine, ReportTable
from ingest.store.store import Store
from tests.conftest import find_program, free_port, need_chromium
from tests.system.serving import CHROMIUM_OPTIONS, Server

pytestmark = pytest.mark.chromium

SCREENSHOTS = Path(__file__).parents[1] / "screenshots"
SIZES = {"desktop": (1440, 900), "phone": (390, 844)}
HEAD = ("today", "calendar", "yeasts", "trials", "sensors", "set-up", "how-it-works")
MANUAL = ("how-it-works?part=settings-and-commands", "how-it-works?part=messages")
PATIENCE_MS = 60_000
"""How long anything may take on a machine that is busy; nothing here measures speed."""
expect.set_options(timeout=PATIENCE_MS)
AXE = (importlib.resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    program = need_chromium()
    with sync_playwright() as playwright:
        yield playwright.chromium.launch(executable_path=program, args=CHROMIUM_OPTIONS)


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Iterator[Server]:
    """The demo, with its history in and judged."""
    if find_program("chromium", "chromium-browser", "google-chrome") is None:
        need_chromium()
    server = Server(tmp_path_factory.mktemp("demo"), "demo")
    server.start("--fresh")
    deadline = time.monotonic() + 300
    while server.health().get("readings", 0) < 13_000:
        assert time.monotonic() < deadline, server.log
        time.sleep(0.5)
    yield server
    server.kill()


@pytest.fixture(scope="module")
def profiles(chromium) -> Callable[[str, str], Any]:
    """The browser's profile of a size and an edition: pages share what it has fetched, and no session of ours."""

    @functools.cache
    def profile(size: str, edition: str) -> Any:
        width, height = SIZES[size]
        context = chromium.new_context(viewport={"width": width, "height": height}, color_scheme=edition)
        context.set_default_timeout(PATIENCE_MS)
        return context

    return profile


@pytest.fixture
def page(profiles, request) -> Iterator[Page]:
    """A page of desktop size in the light edition, unless the test says otherwise by `size` and `edition`."""
    facts = getattr(request.node, "callspec", None)
    parameters = facts.params if facts else {}
    opened = profiles(parameters.get("size", "desktop"), parameters.get("edition", "light"))
    before = opened.pages
    yield opened.new_page()
    for each in opened.pages:
        if each not in before:
            each.close()


def visit(page: Page, server: Server, path: str = "") -> None:
    page.goto(f"http://127.0.0.1:{server.port}/{path}")
    expect(page.locator(".cellar")).to_be_visible(timeout=PATIENCE_MS)


def today(page: Page, server: Server) -> None:
    """The first screen, once every batch has been judged on its whole history."""
    visit(page, server)
    rows = page.locator("ul.rows li")
    expect(rows).to_have_count(8)
    expect(page.locator("ul.rows li.needy", has_text="Stalled")).to_have_count(1, timeout=300_000)


def resize(page: Page, size: str) -> None:
    """As if the window were drawn to another size, or the page opened on a phone: one layout serves both."""
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_timeout(500)


def keep(page: Page, name: str) -> None:
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"{name}.png", full_page=True)


def open_batch(page: Page, server: Server, words: str) -> None:
    today(page, server)
    page.locator("ul.rows a", has_text=words).first.click()
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible(timeout=PATIENCE_MS)


def test_a_first_start_in_an_empty_cellar_offers_the_two_ways_to_begin(page, tmp_path):
    server = Server(tmp_path, "serve")
    server.start()
    try:
        deadline = time.monotonic() + 60
        while not server.health():
            assert time.monotonic() < deadline, server.log
            time.sleep(0.2)
        visit(page, server)
        expect(page.get_by_role("heading", name="This cellar is empty.")).to_be_visible()
        for size in SIZES:
            resize(page, size)
            keep(page, f"empty-{size}")
        for path in HEAD:
            visit(page, server, path)
            expect(page.locator("h1").first).to_be_visible()
            expect(page.get_by_text("Something went wrong")).to_have_count(0)
        visit(page, server)
        expect(page.get_by_role("heading", name="Connect a float or a probe")).to_be_visible()
        page.get_by_role("link", name="Set up: import a log").click()
        expect(page).to_have_url(re.compile(r"/set-up\?part=import"))
    finally:
        server.kill()


def test_a_stalled_batch_is_first_and_explains_itself(demo, page):
    today(page, demo)
    first = page.locator("ul.rows li").first
    expect(first).to_contain_text("Stalled at")
    expect(first).to_contain_text("Take a hand sample first")
    expect(first.locator("svg.spark .course")).to_be_visible()
    for size in SIZES:
        resize(page, size)
        keep(page, f"today-{size}")
    first.locator("a").click()
    expect(page).to_have_url(re.compile(r"/batch\?id=batch-"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("Stalled at")
    expect(page.get_by_text("The evidence")).to_be_visible()
    expect(page.get_by_text("Has it been seen to hold?")).to_be_visible()
    at_rest(page)
    for size in reversed(SIZES):
        resize(page, size)
        keep(page, f"batch-{size}")


def test_what_draws_figures_is_loaded_while_the_first_screen_is_read(demo, chromium):
    page = chromium.new_context().new_page()  # that has fetched nothing yet
    assert FIGURES, "Streamlit's page has changed: find its part that draws figures again"
    loaded = f"performance.getEntriesByType('resource').some(e => e.name.endsWith('/{FIGURES}') && e.responseEnd > 0)"
    today(page, demo)
    page.wait_for_function(loaded)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.locator("ul.rows a[href^='batch?id=']").first.click()  # a row that is ready to package leads to its sheet
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible(timeout=PATIENCE_MS)
    assert asked
    assert not [url for url in asked if url.endswith(FIGURES)]
    page.context.close()


def test_a_batch_has_an_address_that_can_be_sent(demo, page, chromium):
    open_batch(page, demo, "Stalled")
    about = page.locator(".about").inner_text()
    assert "Vessel 6" in about
    other = chromium.new_context().new_page()
    other.goto(page.url)
    expect(other.locator(".about")).to_have_text(about)
    expect(other.get_by_role("heading", level=1)).to_contain_text("Stalled at")
    other.context.close()


FIGURE = "document.querySelector('.js-plotly-plot')"
MAIN = "document.querySelector('[data-testid=stMain]')"


def shown_range(page: Page, axis: str) -> list[float | str]:
    """The range of an axis, once there is a figure: it is made anew when what it shows changes."""
    found = page.wait_for_function(f"{FIGURE}?._fullLayout?.{axis}?.range").json_value()
    assert isinstance(found, list)
    return found


def span(page: Page) -> tuple[datetime, datetime]:
    """From when to when the curve is shown, to the second."""
    first, last = (datetime.fromisoformat(str(at)).replace(microsecond=0) for at in shown_range(page, "xaxis"))
    return first, last


def heights(page: Page) -> list[float]:
    return [float(height) for height in shown_range(page, "yaxis")]


def zoom(page: Page, tries: int = 4) -> None:
    """Drag over a part of the curve until the address names it; a picture drawn anew in the middle drops a drag."""
    whole = shown_range(page, "xaxis")[0]
    drag = page.locator(".js-plotly-plot .draglayer .xy .nsewdrag").first
    for left in reversed(range(tries)):
        page.wait_for_function(f"{FIGURE}?.tunroomHeard === true")
        drag.scroll_into_view_if_needed()
        box = drag.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.3)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + box["height"] * 0.8, steps=8)
        page.mouse.up()
        with contextlib.suppress(*([AssertionError] if left else [])):
            expect(page).to_have_url(re.compile("zoom="), timeout=10_000)
            # A picture that was under way when the drag ended may come once more as it was; the next one has the zoom.
            page.wait_for_function(f"Date.parse({FIGURE}?._fullLayout?.xaxis?.range?.[0]) > Date.parse('{whole}')")
            return


def begins_before(page: Page, then: datetime) -> None:
    """Wait until the curve shows what was before `then`."""
    shown = f"{FIGURE}?._fullLayout?.xaxis?.range?.[0]"
    page.wait_for_function(f"Date.parse({shown}) < {1000 * then.timestamp() - 1000:.0f}")


def press(page: Page, choice: str) -> None:
    """Choose one of a row of choices."""
    page.get_by_role("radio", name=choice, exact=True).or_(page.get_by_role("button", name=choice, exact=True)).click()


def refreshes(page: Page, number: int) -> None:
    """Wait until the curve's part of the page has been asked for anew so many times."""
    page.wait_for_timeout(number * 1000 * LIVE_S + 1500)


def test_a_zoom_and_the_scroll_survive_the_live_refresh(demo, page):
    open_batch(page, demo, "Vessel 2")
    before = span(page)
    zoom(page)
    zoomed = span(page)
    assert before[0] < zoomed[0] < zoomed[1] < before[1]
    page.evaluate(f"{MAIN}.scrollTop = 300")
    # What is looked at stays where it is, also where a sentence above it grows by a line meanwhile.
    top = "Math.round(document.querySelector('.js-plotly-plot').getBoundingClientRect().top)"
    scrolled = page.evaluate(top)
    assert scrolled < 400
    refreshes(page, 2)
    assert span(page) == zoomed
    assert abs(page.evaluate(top) - scrolled) <= 2


def test_a_zoom_survives_a_reload_and_other_scales_until_a_double_click(demo, page):
    open_batch(page, demo, "Vessel 2")
    zoom(page)
    zoomed, high = span(page), heights(page)
    page.reload()
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible()
    assert span(page) == zoomed
    assert heights(page) == pytest.approx(high, abs=1e-5)  # the address names them to five places
    press(page, "°P")
    expect(page.locator(".js-plotly-plot", has_text="Apparent extract")).to_be_visible()
    assert span(page) == zoomed
    press(page, "SG")
    expect(page.locator(".js-plotly-plot", has_text="Gravity, SG")).to_be_visible()
    page.wait_for_function(f"{FIGURE}?.tunroomHeard === true")
    page.locator(".js-plotly-plot .draglayer .xy .nsewdrag").first.dblclick()
    expect(page).not_to_have_url(re.compile("zoom="))
    begins_before(page, zoomed[0])
    expect(page.get_by_role("button", name="Whole course")).to_have_count(0)


def test_the_whole_course_is_a_button_away(demo, page):
    open_batch(page, demo, "Vessel 2")
    whole = span(page)
    zoom(page)
    zoomed = span(page)[0]
    page.get_by_role("button", name="Whole course").click()
    expect(page).not_to_have_url(re.compile("zoom="))
    begins_before(page, zoomed)
    assert abs(span(page)[0] - whole[0]) < timedelta(hours=3)  # its margin is a share of a length that may grow


def test_a_new_device_is_on_the_open_page_by_itself(demo, page):
    today(page, demo)
    body = {"measured_at": datetime.now(UTC).isoformat(), "gravity_sg": 1.05, "temperature_c": 20.0}
    publish.single(
        "tunroom/report/visitor", json.dumps(body), qos=1, hostname="127.0.0.1", port=demo.broker_port, retain=False
    )
    expect(page.get_by_text("Three new devices speak and wait")).to_be_visible()


def test_scales_can_be_switched(demo, page):
    open_batch(page, demo, "Vessel 3")
    press(page, "°P")
    expect(page.locator(".js-plotly-plot", has_text="Apparent extract")).to_be_visible(timeout=PATIENCE_MS)
    resize(page, "phone")
    press(page, "Days since pitching")
    expect(page.locator(".js-plotly-plot", has_text="days since pitching")).to_be_visible(timeout=PATIENCE_MS)


@pytest.mark.parametrize("size", SIZES)
def test_hop_day_is_done_in_few_taps_and_can_be_undone(demo, page, size):
    # The batch that stands steady and awaits its hops.
    open_batch(page, demo, "Vessel 4")
    expect(page.get_by_text("Dry hop", exact=True)).to_be_visible()
    page.get_by_role("button", name="Log an event").click()
    press(page, "Dry hops in")
    expect(page.get_by_role("button", name="The hops are in")).to_be_visible()
    # A run may be over before anybody looks: what was answered with a question must not stand there as being saved.
    page.wait_for_timeout(700)
    expect(page.locator("[class*=st-key-tap-] .entry-state:not(:empty)")).to_have_count(0, timeout=700)
    page.get_by_role("button", name="The hops are in").click()  # which and how much may be said, and need not
    expect(page.get_by_text("Logged: dry hops added, just now.")).to_be_visible(timeout=PATIENCE_MS)
    expect(page.get_by_text("Hops come out", exact=True)).to_be_visible(timeout=PATIENCE_MS)
    keep(page, f"hop-day-{size}")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("Dry hop", exact=True)).to_be_visible(timeout=PATIENCE_MS)


def test_yeasts_are_compared_in_a_sentence_first(demo, page):
    visit(page, demo, "yeasts")
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_be_visible(timeout=300_000)
    expect(heading).to_contain_text(re.compile("sooner|further|too few|alike", re.IGNORECASE))
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible()
    at_rest(page)
    for size in SIZES:
        resize(page, size)
        keep(page, f"yeasts-{size}")


def test_the_calendar_names_the_next_thing_and_draws_all_batches(demo, page):
    visit(page, demo, "calendar")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Next:", timeout=300_000)
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible(timeout=PATIENCE_MS)
    at_rest(page)
    for size in SIZES:
        resize(page, size)
        keep(page, f"calendar-{size}")


def too_wide(page: Page) -> list[int]:
    """The widths of a phone, and of a desktop at 200 %, in px, at which the page scrolls sideways."""
    found = []
    # 320 px: WCAG 2.2, 1.4.10; 720 px: a desktop of 1440 px at 200 %, 1.4.4.
    for width in (720, 390, 320):
        page.set_viewport_size({"width": width, "height": 844})
        page.wait_for_timeout(500)
        if page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") > width:
            found.append(width)
    return found


@pytest.fixture(scope="module")
def addresses(demo, profiles) -> dict[str, str]:
    """The addresses of the pages that need the id of a batch, of one with a date, or of the trial that was tasted."""
    page = profiles("desktop", "light").new_page()
    today(page, demo)
    batch = page.locator("ul.rows a[href^='batch?id=']").first.get_attribute("href") or ""
    dated = page.locator("ul.rows a[href^='batch?id=']", has_text="Vessel 3").get_attribute("href") or ""
    visit(page, demo, "trials")
    trial = page.locator("a[href^='trials?id=']", has_text="Four single hops").get_attribute("href") or ""
    page.close()
    return {"batch": batch, "dated": dated, "packaging": batch.replace("batch?", "packaging?", 1), "trial": trial}


def serious_violations(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.2 A and AA, where it calls that serious or critical."""
    page.evaluate(AXE)
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = page.evaluate("only => axe.run(document, {resultTypes: ['violations'], runOnly: only})", rules)
    return [
        f"{v['id']}: {node['target']} {node['html'][:160]} {node.get('failureSummary', '')[:200]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
        for node in v["nodes"]
    ]


def lasting_violations(page: Page) -> list[str]:
    """Violations that are there once the page is at rest: what is being replaced is faded for a moment."""
    for wait_ms in (300, *5 * [1500]):
        page.wait_for_timeout(wait_ms)
        found = serious_violations(page)
        if not found:
            break
    return found


def at_rest(page: Page) -> None:
    """Wait until the page has been laid out and its script has run to the end."""
    expect(page.locator("h1").first).to_be_visible()
    expect(page.locator("[data-testid=stSkeleton]")).to_have_count(0)
    expect(page.locator("[data-testid=stApp][data-test-script-state=notRunning]")).to_be_visible()
    page.wait_for_timeout(500)


def test_axe_would_find_a_violation(demo, page):
    visit(page, demo)
    page.evaluate("document.querySelector('.cellar').insertAdjacentHTML('beforeend', '<img src=\"data:,\">')")
    assert any(v.startswith("image-alt") for v in serious_violations(page))


@pytest.mark.parametrize(
    ("path", "size", "edition"),
    [
        *(
            (path, "desktop", "light")
            for path in [*HEAD, "batch", "packaging", "trial", "several", "compare", MANUAL[0]]
        ),
        *(
            (path, "phone", "dark")
            for path in [*HEAD, "batch", "dated", "packaging", "trial", "several", "compare", *MANUAL]
        ),
    ],
)
def test_axe_finds_no_serious_violation_and_no_phone_scrolls_sideways(demo, page, addresses, path, size, edition):
    visit(page, demo, addresses.get(path, path))
    at_rest(page)
    assert lasting_violations(page) == []
    assert size != "phone" or too_wide(page) == []


@pytest.mark.parametrize(("size", "edition"), [("phone", "light"), ("desktop", "dark")])
def test_axe_finds_no_serious_violation_in_open_entries(demo, page, size, edition):
    open_batch(page, demo, "Vessel 4")
    page.get_by_role("button", name="Log a hand sample").click()
    expect(page.get_by_role("button", name="Save")).to_be_visible()
    assert lasting_violations(page) == []


def test_reports_print_within_the_margins_of_both_papers(page):
    # ISO 216: A4 is 210 by 297 mm; ANSI Letter 8.5 by 11 in. 96 px an inch, margins of 18 mm (tests/dashboard/report).
    long = "Extraordinarilylongnamedhopvarietyofthewholevalley" * 2
    rows = tuple((long, *(["8 (−1 to 22)"] * 3), f"{long} and {n}") for n in range(60))
    lines = tuple(ReportLine(f"{long} {n}", (0.0, 9.0), (0.0, 70.0 + n)) for n in range(3))
    report = ReportPage(
        title=long,
        about=long,
        lead=f"{long} leads.",
        paragraphs=(long,),
        figures=(ReportFigure("Courses", "apparent attenuation, %", 0, lines),),
        tables=(ReportTable("Milestones", ("", long, "B", "C", "D"), rows),),
        lists=(("Take care", (long,)),),
        made="Made today.",
        intervals=(ReportInterval(long, 40.0, 60.0, 70.0),),
    )
    page.set_content(report_html(asdict(report)))
    page.emulate_media(media="print")
    for paper, width_mm in (("A4", 210.0), ("Letter", 215.9)):
        page.set_viewport_size({"width": int((width_mm - 36.0) / 25.4 * 96.0), "height": 900})
        wide = "[...document.querySelectorAll('*')].filter(e => e.getBoundingClientRect().right > innerWidth + 1)"
        assert page.evaluate(f"{wide}.map(e => e.outerHTML.slice(0, 80))") == [], paper


def test_the_keyboard_reaches_a_batch_and_its_entries(demo, page):
    today(page, demo)
    for _ in range(40):
        page.keyboard.press("Tab")
        # "Skip to main content" has Streamlit's own frame, and the page's body none.
        seen = "document.activeElement.matches('body, [data-testid=stSkipToContent]') || "
        assert page.evaluate(f"{seen}parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 2"), (
            page.evaluate("document.activeElement.outerHTML")
        )
        if page.evaluate("document.activeElement.matches('ul.rows a')"):
            break
    assert page.evaluate("document.activeElement.matches('ul.rows a')")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"/(batch|packaging)\?id="))
    expect(page.get_by_role("button", name="Log an event")).to_be_visible(timeout=PATIENCE_MS)
    for _ in range(60):
        page.keyboard.press("Tab")
        if "Log an event" in page.evaluate("document.activeElement.innerText ?? ''"):
            break
    page.keyboard.press("Enter")
    expect(page.get_by_text("What has just happened?")).to_be_visible()


def test_a_lost_server_or_broker_never_shows_a_traceback(demo, page):
    visit(page, demo, "batch?id=%3Cscript%3E")
    expect(page.get_by_role("heading", name="Which batch?")).to_be_visible()
    expect(page.get_by_text("Traceback")).to_have_count(0)


def test_the_demo_finishes_a_batch_survives_a_restart_and_stops_cleanly(demo, wait_until):  # the last: it stops it
    def finished() -> bool:
        time.sleep(2)  # each answer is a process of its own
        with_plan = demo.command("plan", "Vessel 4", "--json")
        assert with_plan.returncode == 0, with_plan.stderr
        return json.loads(with_plan.stdout)["finished"] is True

    last = demo.health()["last_reading_at"]
    assert datetime.now(UTC) - datetime.fromisoformat(last) < timedelta(minutes=20)
    # It leans on the earlier batches, which a busy machine has not learnt from by the first reading.
    wait_until(finished, 60, "the verdict on the batch that the demo has finished")

    second = demo.command("demo", "--port", str(free_port()), "--broker-port", str(free_port()))
    assert second.returncode == 2
    assert "already runs" in second.stderr

    assert demo.interrupt() == 0, demo.log[-4000:]
    assert "Traceback" not in demo.log
    with Store.open(demo.data) as store:
        before = store.counts()["readings"]
    assert before > 10_000

    demo.start()
    wait_until(lambda: demo.health().get("readings", 0) >= before, 60, "what was kept")
    wait_until(lambda: demo.health().get("readings", 0) > before, 90, "what the devices sent since")
    assert demo.interrupt() == 0, demo.log[-4000:]
