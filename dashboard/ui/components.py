"""Pieces that every page is made of: the look, the head with its state of the connection, undo, and failures."""

from __future__ import annotations

import functools
import logging
import random
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final, TypeVar

import streamlit as st

from analysis import wording
from analysis.wording import Voice
from dashboard import context
from dashboard.charts import Edition, variables
from dashboard.queries import queries
from dashboard.templates import Markup, escape, fill, join, render
from dashboard.ui.labels import plain
from dashboard.ui.links import address as address
from dashboard.ui.links import link as link
from dashboard.ui.links import underlined as underlined
from dashboard.ui.names import in_one_piece as in_one_piece
from ingest.errors import EntryError, IngestError, NotAllowed

log = logging.getLogger(__name__)

LIVE_S: Final = 5
"""A live part of a page is at most this old."""
_HASTE: Final = 0.2
"""Up to this share sooner, each viewer at a pace of their own: those who opened a page together drift apart."""
_CSS: Final = "".join((Path(__file__).parent / f).read_text(encoding="utf-8") for f in ("style.css", "style_forms.css"))
_BESIDE_ON_A_PHONE: Final = 3
"""Columns that fit beside one another on a screen of 360 px."""
_IN_A_ROW: Final = 45
"""Characters that fit into a row of a table on a screen of 360 px, beside what keeps three columns apart."""
_ONE_LINE: Final = 22
"""Characters of a cell that stay on one line where there is room; a date such as Sat 28 Nov 2026, 18:04 has as many."""
_SAID: Final = "said"
_SAVED_AS: Final = "saved as"

FIGURES: Final = next((f.name for f in (Path(st.__file__).parent / "static/static/js").glob("PlotlyChart.*.js")), None)
"""The part of Streamlit's own page that draws figures: by far the largest, and loaded only where there is one."""

# Rows are plain links with an address of their own; a plain click stays within the session instead of loading anew.
# While the reader looks at the page, what draws figures is loaded, so that a batch's page need not wait for it.
# Whose session has ended, by time or by a new password, is led to sign in instead of to a page that stands still.
_LINKS_JS: Final = """
const stillSignedIn = () => {
  if (document.hidden || !document.querySelector("form.sign-out")) return;
  fetch("_stcore/health").then((answer) => { if (answer.status === 401) location.reload(); }).catch(() => {});
};
const lookAhead = (name) => {
  const start = document.querySelector('script[type="module"][src]');
  if (!name || !start || window.tunroomAhead || navigator.connection?.saveData) return;
  window.tunroomAhead = true;
  import(new URL(name, start.src).href).catch(() => {});
};
export default function (component) {
  const { data, setTriggerValue } = component;
  const whenIdle = window.requestIdleCallback ?? setTimeout;
  setTimeout(() => whenIdle(() => lookAhead(data)), 1000);
  const follow = (event) => {
    if (event.defaultPrevented || event.button !== 0) return;
    if (event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    const link = event.target.closest("a[data-go]");
    if (!link) return;
    event.preventDefault();
    setTriggerValue("go", link.getAttribute("data-go"));
  };
  document.addEventListener("click", follow);
  document.addEventListener("visibilitychange", stillSignedIn);
  const looking = setInterval(stillSignedIn, 10000);
  return () => {
    document.removeEventListener("click", follow);
    document.removeEventListener("visibilitychange", stillSignedIn);
    clearInterval(looking);
  };
}
"""

# Streamlit's own HTML element drops SVG. What is put here is made by our templates. It is replaced in
# place and only when it changed, and the link that had the keyboard's focus keeps it. Pictures travel apart from the
# text around them, since they change far less often than the ages of readings do.
_FILL_JS: Final = """
const fill = () => {
  const pictures = window.tunroomPictures ?? {};
  for (const place of document.querySelectorAll("[data-picture]")) {
    const picture = pictures[place.dataset.picture];
    if (picture === undefined || place.shown === picture) continue;
    place.innerHTML = picture;
    place.shown = picture;
  }
};
"""
_MARKUP_JS: Final = (
    _FILL_JS
    + """
export default function (component) {
  const { data, parentElement } = component;
  let place = parentElement.querySelector(".markup");
  if (!place) {
    place = document.createElement("div");
    place.className = "markup first";
    parentElement.appendChild(place);
    // What lies below the screen is laid out once the browser has time (see the style of "first").
    const whenIdle = window.requestIdleCallback ?? setTimeout;
    setTimeout(() => whenIdle(() => place.classList.remove("first"), { timeout: 1000 }), 500);
  }
  if (place.shown === data) return;
  const held = place.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
  place.innerHTML = data;
  place.shown = data;
  fill();
  if (held) place.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
}
"""
)
_PICTURES_JS: Final = (
    _FILL_JS
    + """
export default function (component) {
  if (window.tunroomPictures !== component.data) window.tunroomPictures = component.data;
  fill();
}
"""
)

F = TypeVar("F", bound=Callable[..., Any])


def edition() -> Edition:
    """Whether this reader's page is light or dark."""
    return "dark" if st.context.theme.type == "dark" else "light"


def look() -> None:
    """The page's colours and rules. Until the browser has said which edition it shows, its own wish decides."""
    told = st.context.theme.type
    if told is None:
        dark = f"@media (prefers-color-scheme: dark) {{:root{{{variables('dark')}}}}}"
        colours = f":root{{{variables('light')}}}{dark}"
    else:
        colours = f":root{{{variables(edition())}}}"
    st.html(fill("<style>{{ rules }}</style>", rules=Markup(colours + _CSS)))


def followed_link() -> str | None:
    """Where the reader just asked to go by a link in HTML, such as ``batch?id=batch-1``."""
    renderer = st.components.v2.component("tunroom_links", js=_LINKS_JS)
    result = renderer(key="followed-link", data=FIGURES, on_go_change=lambda: None, height=0)
    go = result.get("go")
    return str(go) if go else None


def unbroken(html: Markup) -> Markup:
    """The HTML with no-break spaces between a number and its month or unit."""
    return Markup(wording.unbroken(html))


def markup(html: Markup, key: str) -> None:
    """Show HTML that may hold SVG."""
    st.components.v2.component("tunroom_markup", js=_MARKUP_JS, isolate_styles=False)(data=str(unbroken(html)), key=key)


def pictures(pictures: Mapping[str, Markup], key: str) -> None:
    """Hand SVG to the places in `markup` that name it by ``data-picture``."""
    renderer = st.components.v2.component("tunroom_pictures", js=_PICTURES_JS, isolate_styles=False)
    renderer(data={name: str(picture) for name, picture in pictures.items()}, key=key)


def screen(show: F) -> F:
    """A page whose failure is a sentence, never a traceback."""

    @functools.wraps(show)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        with context.making_a_page():
            try:
                return show(*args, **kwargs)
            except Exception as error:
                show_failure(error)
                return None

    return guarded  # type: ignore[return-value]


def live(show: F) -> F:
    """A part of a page that refreshes itself without moving the rest.

    It has a place that is not its own: what Streamlit has not yet sent of a part it drops when that part is drawn anew,
    and what follows would come for a place that does not exist yet ("Bad delta path index", and an empty page).
    """
    guarded = screen(show)

    @functools.wraps(show)
    def refreshed(*args: Any, **kwargs: Any) -> Any:
        if "pace" not in st.session_state:
            st.session_state["pace"] = LIVE_S * random.uniform(1 - _HASTE, 1)  # noqa: S311 - no secret
        with st.container():
            return st.fragment(guarded, run_every=st.session_state["pace"])(*args, **kwargs)

    return refreshed  # type: ignore[return-value]


def part(show: F) -> F:
    """A part of a page that is drawn alone when something in it is touched; in a place of its own as a live one."""
    guarded = screen(show)

    @functools.wraps(show)
    def drawn(*args: Any, **kwargs: Any) -> Any:
        with st.container():
            return st.fragment(guarded)(*args, **kwargs)

    return drawn  # type: ignore[return-value]


def show_failure(error: Exception) -> None:
    """Say what went wrong and what to do; the traceback goes to the log."""
    if isinstance(error, NotAllowed):
        banner("Nothing was changed.", str(error))
        return
    if isinstance(error, IngestError | context.NotRunning):
        log.warning("shown on a page: %s", error)
        banner("This cannot be shown now.", str(error))
        return
    log.error("a page failed", exc_info=error)
    banner(
        "Something went wrong on this page.",
        "Nothing that was measured or entered is lost. Load the page again; if it stays, the server's log says more.",
    )


def on_script_error(error: Exception) -> bool:
    """Show a sentence instead of a traceback, and keep the traceback in the log."""
    show_failure(error)
    return True


def banner(title: str, text: str) -> None:
    """A line that cannot be overlooked."""
    st.html(fill('<div class="banner" role="alert"><b>{{ title }}</b> {{ text }}</div>', title=title, text=text))


def aged(when: datetime, say: Voice) -> Markup:
    """An age that says its exact time when it is tapped or has the focus: a thumb does not hover."""
    age = '<button type="button" class="exact" data-exact="{{ exact }}">{{ age }}</button>'
    return fill(age, exact=say.exact(when), age=say.ago(when))


def with_ages(text: str, times: Iterable[datetime], say: Voice) -> Markup:
    """A sentence in which the ages of these times say, when tapped, what they are exactly; of two alike, the last."""
    found = {say.ago(when): when for when in times}
    longest_first = "|".join(re.escape(age) for age in sorted(found, key=len, reverse=True))
    parts = re.split(f"({longest_first})", text) if found else [text]
    return join(aged(found[part], say) if part in found else escape(part) for part in parts)


def state_line() -> Markup:
    """Whether readings come in, and how old the newest is, as HTML."""
    say = queries.voice()
    heard = queries.counts(say)["last_reading_at"]
    if heard is None:
        return fill('<span class="status">Listening; nothing heard yet</span>')
    return fill('<span class="status">Last reading {{ age }}</span>', age=aged(heard, say))


@live
def connection() -> None:
    """The state of the connection, beside the cellar's name on every page; trouble is a bar that stays in sight."""
    problem = queries.problem()
    if problem is None:
        st.html(state_line(), width="content")
        return
    st.html('<span class="status trouble">Readings are held up</span>', width="content")
    trouble = (
        '<div class="banner trouble" role="alert"><b>Readings are not coming in as they should.</b> {{ why }}</div>'
    )
    st.html(fill(trouble, why=problem), width="content")


def newest_change() -> int | None:
    """The id of the newest line of the journal."""
    return next((change.change_id for change in context.store().changes(1)), None)


def say_done(sentence: str, before: int | None) -> None:
    """Remember what was just entered, to show it at the head of the page: with its undo, if it is a line of its own.

    `before` is what `newest_change` was before the entry; one that changed nothing must not undo an older one.
    """
    newest = newest_change()
    st.session_state[_SAID] = (sentence, newest if newest != before else None)
    st.session_state[_SAVED_AS] = None


def saved_as(form_key: str) -> None:
    """Remember of which form it was, so that the browser lets its draft go: the store has it."""
    st.session_state[_SAVED_AS] = form_key


def done_line() -> None:
    """What was just entered, with the way to take it back."""
    said = st.session_state.get(_SAID)
    if not said:
        return
    sentence, change_id = said
    with st.container(key="done", horizontal=True, vertical_alignment="center"):
        with st.container(key=f"saved as/{st.session_state.get(_SAVED_AS)}", width="content"):
            st.html(fill('<span role="status">{{ sentence }}</span>', sentence=sentence))
        undo = False
        if change_id is not None:
            with st.container(key="tap undo", width="content"):
                undo = st.button("Undo", key="undo", type="secondary")
        if change_id is not None and undo:
            st.session_state[_SAID] = None
            st.toast(plain(_taken_back(change_id)))
            st.rerun()
        if st.button("Keep" if change_id is not None else "Close", key="keep", type="tertiary"):
            st.session_state[_SAID] = None
            st.rerun()


def _taken_back(change_id: int) -> str:
    """Take back one change, where none rests on it; what came of it."""
    if context.store().resting_on(change_id):
        return "Other entries rest on it by now. Set up, Health and undo, says which, and takes them back with it."
    try:
        told = context.service().take_back(change_id)
    except EntryError as error:
        return wording.capital(str(error))
    return told or "It was taken back already."


def attempt(enter: Callable[[], Any], done: str) -> EntryError | None:
    """Run an entry; say it is done, or give back what is wrong so that it can stand beside its field."""
    before = newest_change()
    try:
        enter()
    except EntryError as error:
        return error
    except ValueError as error:
        return EntryError("", str(error))
    except IngestError as error:
        return EntryError("", str(error))
    say_done(done, before)
    return None


def beside(error: EntryError | None, *fields: str) -> None:
    """Show `error` here if it belongs to one of `fields` (an empty name: to the whole form)."""
    if error is not None and error.field in fields:
        st.html(fill('<div class="banner" role="alert">{{ error }}</div>', error=str(error)))


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], caption: str, *, wide: bool = False) -> Markup:
    """A quiet table as HTML. Cells are text, on one line in a `wide` one.

    On a phone the rows of one of many columns, or of long ones, stand below one another, each value beside its heading.
    """
    stacks = len(headings) > _BESIDE_ON_A_PHONE or (len(headings) == _BESIDE_ON_A_PHONE and _too_long(headings, rows))
    kind = " ".join(["log", *(["wide"] if wide else []), *(["stacks"] if stacks else [])])
    return render(
        "ui/table.html", headings=headings, rows=rows, caption=caption, kind=kind, stacks=stacks, short=_ONE_LINE
    )


def _too_long(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> bool:
    """Whether the longest cells of all columns do not fit beside one another on a phone."""
    text = (headings, *([cell.striptags() if isinstance(cell, Markup) else cell for cell in row] for row in rows))
    return sum(max(map(len, column)) for column in zip(*text, strict=True)) > _IN_A_ROW


def titled_table(headings: Sequence[str], rows: Sequence[Sequence[str]], title: str, *, wide: bool = False) -> Markup:
    """A table whose title stands above it: of one that does not explain itself by where it stands."""
    return fill('<h4 class="title">{{ title }}</h4>', title=title) + table(headings, rows, title, wide=wide)


def sentences(told: Iterable[str]) -> Markup:
    """The items of a list, a sentence each."""
    return join(fill("<li>{{ sentence }}</li>", sentence=sentence) for sentence in told)


def lead(sentence: str) -> Markup:
    """The sentence that a page leads with."""
    return unbroken(fill('<h1 class="lead">{{ sentence }}</h1>', sentence=sentence))


@dataclass(frozen=True, slots=True)
class Row:
    """One of the things that a page leads to: its address, its name and what is said of it."""

    target: str
    name: str
    says: str
    current: bool = False


def entries(rows: Sequence[Row]) -> Markup:
    """A list of things to choose from."""
    return render("ui/entries.html", rows=rows) if rows else Markup()
