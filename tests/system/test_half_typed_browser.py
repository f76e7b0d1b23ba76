"""What is half typed into an input outlives that the input is drawn anew, as Chromium itself does it."""

from __future__ import annotations

import pytest

from dashboard.ui import drafts
from tests.conftest import need_chromium
from tests.system.serving import browser

pytestmark = pytest.mark.chromium

FIELD = (
    "<div class='st-key-sheet-batch-1-0-{digest}-{name}'><div data-testid='stNumberInput'>"
    "<input type='text' value='{shown}'></div></div>"
)


def test_a_figure_that_the_float_fills_in_is_not_taken_from_under_the_hand() -> None:
    before = FIELD.format(digest="0123456789", name="final_gravity_sg", shown="1.012")
    other = FIELD.format(digest="0123456789", name="ph", shown="")
    after = FIELD.format(digest="abcdef0123", name="final_gravity_sg", shown="1.011")
    with browser(need_chromium()) as page:
        page.set_default_timeout(20_000)
        page.set_content(f"<main>{before}{other}</main>")
        script = drafts._JS.replace("export default function", "function keep_drafts")
        page.evaluate(f"() => {{ {script}; keep_drafts(); }}")
        page.locator("input").first.fill("")
        page.locator("input").first.press_sequentially("1.00")
        page.evaluate("([html]) => { document.querySelector('main').innerHTML = html; }", [after + other])
        page.wait_for_function("document.querySelector('input').value === '1.00'")
        assert page.evaluate("document.activeElement === document.querySelector('input')")
        assert page.locator("input").nth(1).input_value() == ""
        page.keyboard.type("9")  # and goes on being typed
        assert page.locator("input").first.input_value() == "1.009"
