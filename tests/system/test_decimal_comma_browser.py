"""A comma in a field of a number, as Chromium itself takes it."""

from __future__ import annotations

from typing import Any

import pytest

from dashboard.ui import decimal_comma
from tests.conftest import need_chromium
from tests.system.serving import browser

pytestmark = pytest.mark.chromium


def typed(page: Any, keys: str, *, listening: bool) -> str:
    page.set_content("<input type='number' step='any'><input id='name'>")
    if listening:
        script = decimal_comma._JS.replace("export default function", "function listen")
        page.evaluate(f"() => {{ {script}; window.leave = listen(); }}")
    page.locator("input[type=number]").press_sequentially(keys)
    page.locator("#name").press_sequentially(keys)
    assert page.locator("#name").input_value() == keys
    said = str(page.locator("input[type=number]").input_value())
    page.evaluate("() => window.leave?.()")
    return said


def test_a_comma_is_the_point_of_a_number() -> None:
    with browser(need_chromium()) as page:
        assert typed(page, "1,012", listening=True) == "1.012"
        assert typed(page, "12,5", listening=True) == "12.5"
        assert typed(page, "-0,5", listening=True) == "-0.5"
        assert typed(page, "1.012", listening=True) == "1.012"
        assert typed(page, "1 012", listening=True) == "1012"
        assert typed(page, "\N{MINUS SIGN}0,5", listening=True) == "-0.5"
        assert typed(page, "12,5", listening=False) != "12.5"  # what a browser makes of it by itself


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12,5", "12.5"),
        ("1\N{NARROW NO-BREAK SPACE}012", "1012"),
        (" 1 012,5\n", "1012.5"),
        ("\N{MINUS SIGN}1.2", "-1.2"),
        ("1.012", "1.012"),
        ("1012", "1012"),
    ],
)
def test_a_figure_that_is_pasted_is_taken_as_it_is_written(text: str, value: str) -> None:
    script = decimal_comma._JS.replace("export default function", "function listen")
    with browser(need_chromium()) as page:
        page.set_content("<input type='number' step='any'>")
        page.evaluate(f"() => {{ {script}; listen(); }}")
        page.locator("input").focus()
        page.evaluate(
            """(text) => {
              const clipboardData = new DataTransfer();
              clipboardData.setData("text/plain", text);
              const paste = new ClipboardEvent("paste", {clipboardData, bubbles: true, cancelable: true});
              if (document.activeElement.dispatchEvent(paste)) document.execCommand("insertText", false, text);
            }""",
            text,
        )
        assert page.locator("input").input_value() == value
