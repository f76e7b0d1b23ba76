"""What a person does on the pages: choose, type, press; each waits until the page has taken it."""

from __future__ import annotations

import re
from typing import Any

PATIENCE_MS = 60_000
"""How long anything may take on a machine that is busy; nothing here measures speed."""


def at_rest(page: Any) -> None:
    """Wait until the page has been laid out and its script has run to the end."""
    page.locator("h1").first.wait_for()
    page.wait_for_function(
        "!document.querySelector('[data-testid=stSkeleton]') &&"
        " document.querySelector('[data-testid=stApp]')?.dataset.testScriptState === 'notRunning'"
    )


def choose(page: Any, label: str, option: str, nth: int = 0, *, new: bool = False) -> None:
    """Choose from a list, or type what is not in it. A page that is being laid out may close it: then once more."""
    named = re.compile(rf"(^|\. ){re.escape(label)}$")
    for _ in range(5):
        # An open list hides everything else from a reader of the screen, the other lists among it.
        box = page.get_by_role("combobox", name=named).nth(nth).element_handle()
        try:
            box.click(timeout=4_000)
            if new:
                box.fill(option)
            page.get_by_role("option", name=option).first.click(timeout=4_000)
        except Exception as error:
            if type(error).__name__ not in ("TimeoutError", "Error"):
                raise
            continue
        page.get_by_role("listbox").wait_for(state="detached")
        return
    raise AssertionError(f"{option} could not be chosen under {label}")


def number(page: Any, label: str, value: str, nth: int = 0) -> None:
    """Type into a field of numbers, and leave it."""
    field = page.get_by_role("spinbutton", name=label, exact=True).nth(nth)
    if "," in value:  # as people type it, which no script may set
        field.press_sequentially(value)
    else:
        field.fill(value)
    field.press("Tab")


def press(page: Any, choice: str) -> None:
    """Choose one of a row of choices."""
    page.get_by_role("radio", name=choice, exact=True).or_(page.get_by_role("button", name=choice, exact=True)).click()


# What is wrong with where the focus is: not to be seen (WCAG 2.2, 2.4.7: an outline, of the element or of what frames
# it), or wholly under something that stays (2.4.11). Nothing is wrong with the body, nor with
# Streamlit's own skip link.
WRONG_FOCUS = """() => {
  const e = document.activeElement;
  if (!e || e === document.body || e.matches("[data-testid=stSkipToContent]")) return "";
  const what = `${e.tagName} ${e.getAttribute("aria-label") ?? e.innerText ?? ""} ${e.outerHTML.slice(0, 160)}`;
  const frame = (x) => {
    const s = getComputedStyle(x);
    return (parseFloat(s.outlineWidth) >= 2 && s.outlineStyle !== "none");
  };
  const frames = [e, e.parentElement, e.parentElement?.parentElement, e.nextElementSibling].filter(Boolean);
  if (!frames.some(frame)) return "no frame: " + what;
  const shown = frames.find(frame).getBoundingClientRect();
  const box = {l: Math.max(shown.left, 0), r: Math.min(shown.right, innerWidth),
               t: Math.max(shown.top, 0), b: Math.min(shown.bottom, innerHeight)};
  if (box.r - box.l < 4 || box.b - box.t < 4) return "out of sight: " + what;
  for (const x of [0.15, 0.5, 0.85]) for (const y of [0.2, 0.5, 0.8]) {
    const at = document.elementFromPoint(box.l + x * (box.r - box.l), box.t + y * (box.b - box.t));
    if (at && frames.some((f) => f.contains(at) || at.contains(f))) return "";
  }
  return "hidden: " + what;
}"""


def _strike(page: Any, *keys: str) -> str:
    """Press keys, and say what is then wrong with where the focus is.

    A busy page hands the focus on, and brings what has it into view, some frames later; what is still so after a second
    is wrong.
    """
    for key in keys:
        page.keyboard.press(key)
    for _ in range(10):
        page.evaluate("new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
        if not (wrong := page.evaluate(WRONG_FOCUS)):
            break
        page.wait_for_timeout(100)
    return str(wrong)


def tab_to(page: Any, reached: str, most: int = 90, *, back: bool = False) -> None:
    """Press Tab until the focus is on what `reached`, a JavaScript expression of the element `e`, is true of.

    Wherever the focus comes by, it can be seen; where the page was drawn anew at that moment, once it comes by again.
    """
    onward, backward = ("Shift+Tab", "Tab") if back else ("Tab", "Shift+Tab")
    for _ in range(most):
        wrong = _strike(page, onward)
        for _again in range(2):
            if wrong:
                at_rest(page)
                wrong = _strike(page, backward, onward)
        assert wrong == "", wrong
        if page.evaluate(f"(() => {{ const e = document.activeElement; return Boolean({reached}); }})()"):
            return
    raise AssertionError(
        f"Tab never reached what {reached}; it is at {page.evaluate('document.activeElement.outerHTML')[:300]}"
    )


def named(name: str, tags: str = "*") -> str:
    """That an element is called `name`: by its label, or by its text."""
    return (
        f"e.matches({tags!r}) && [e.getAttribute('aria-label'), e.innerText, ...[...(e.labels ?? [])].map(l => "
        f"l.innerText)].some(t => (t ?? '').trim().startsWith({name!r}))"
    )
