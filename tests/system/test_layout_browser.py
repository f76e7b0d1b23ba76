"""Where the page's own rules put things, measured in a browser; no server is needed for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.templates import Markup, fill, join
from dashboard.ui import components, in_one_piece
from tests.conftest import need_chromium
from tests.system.serving import browser

pytestmark = pytest.mark.chromium

DESKTOP, LAPTOP, TABLET, PHONE = 1440, 1280, 900, 390


@pytest.fixture(scope="module")
def page() -> Iterator[Any]:
    with browser(need_chromium()) as opened:
        yield opened


def shown(page: Any, width: int, body: str) -> Any:
    """The page with our rules and this body, as wide as Streamlit's own page is."""
    rules = (
        "body { margin: 0; font: 16px/1.4 'DejaVu Sans', sans-serif; } * { box-sizing: border-box; }" + components._CSS
    )
    main = f'<div data-testid="stMainBlockContainer"><div class="stHtml markup">{body}</div></div>'
    page.set_viewport_size({"width": width, "height": 900})
    page.set_content(f"<meta name=viewport content='width=device-width'><style>{rules}</style>{main}")
    return page


def lines(page: Any, rows: str) -> list[list[tuple[float, float]]]:
    """The left and right edge of each row, by the line that it stands on."""
    boxes = page.evaluate(
        "(rows) => [...document.querySelectorAll(rows)].map((e) => e.getBoundingClientRect())"
        ".map((r) => [Math.round(r.top), r.left, r.right])",
        rows,
    )
    found: dict[int, list[tuple[float, float]]] = {}
    for top, left, right in boxes:
        found.setdefault(top, []).append((left, right))
    return [found[top] for top in sorted(found)]


@pytest.mark.parametrize("kind", ["rows", "rows dense", "entries"])
@pytest.mark.parametrize("width", [DESKTOP, LAPTOP, TABLET, PHONE])
def test_a_list_leaves_no_column_of_its_last_line_empty(page: Any, width: int, kind: str) -> None:
    for many in range(1, 12):
        rows = join(Markup("<li class='needy'><a><b>Vessel</b> wants you.</a></li>") for _ in range(many))
        shown(page, width, fill('<ul class="{{ kind }}">{{ rows }}</ul>', kind=kind, rows=rows))
        found = lines(page, "ul > li")
        edges = {(round(line[0][0]), round(line[-1][1])) for line in found}
        assert len(edges) == 1, f"{many} at {width} px: {found}"  # each line begins and ends where the others do
        most = 3 if width in (DESKTOP, LAPTOP) else 2 if width == TABLET else 1
        assert max(map(len, found)) == min(most, many if many != 4 else 2), f"{many} at {width} px: {found}"
        if width == DESKTOP and many > 1:
            assert min(map(len, found)) > 1, f"{many}: {found}"  # no row alone beside the width of a desktop


def test_a_date_that_begins_a_row_stays_on_its_line_on_a_phone(page: Any) -> None:
    entered = "Changed “Bottle rating” and “Carbonation” on the sheet of Old Gate Ale with a rather long name"
    for when in ("Sat 28 Nov, 18:04", "Sat 28 Nov 2026, 18:04"):
        shown(page, PHONE, components.table(["when", "what"], [[when, entered]], "what was entered"))
        height = page.evaluate(
            "() => { const t = document.createRange(); t.selectNodeContents(document.querySelector('td'));"
            " return new Set([...t.getClientRects()].map((r) => Math.round(r.top))).size }"
        )
        assert height == 1
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE


def test_no_line_ends_at_the_hyphen_of_a_short_id_and_a_long_one_is_not_cut_off(page: Any) -> None:
    long = "probe-of-the-north-wall-of-the-far-cellar-room-0123456789"
    tops = Counter[int]()
    for words in range(1, 9):  # so that at some length the line would end within the id
        text = f"{' '.join(['again'] * words)} probe-room waits and {long} too"
        shown(page, PHONE, components.lead(in_one_piece(text, ["probe-room", long])))
        tops[
            page.evaluate(
                "() => { const h = document.querySelector('h1'), t = document.createTreeWalker(h, 4); let n;"
                " while ((n = t.nextNode())) { const i = n.data.indexOf('probe-room'); if (i < 0) continue;"
                " const r = document.createRange(); r.setStart(n, i); r.setEnd(n, i + 10);"
                " return new Set([...r.getClientRects()].map((b) => Math.round(b.top))).size } }"
            )
        ] += 1
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE
    assert tops == {1: 8}
