"""The pages, their addresses, and the head that they share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from urllib.parse import parse_qsl

import streamlit as st

from dashboard import access, context
from dashboard.screens import calendar
from dashboard.screens.batch import page as batch
from dashboard.screens.compare import page as compare
from dashboard.screens.how_it_works import page as how_it_works
from dashboard.screens.packaging import page as packaging
from dashboard.screens.sensors import page as sensors
from dashboard.screens.set_up import page as set_up
from dashboard.screens.several import page as several
from dashboard.screens.tasting import page as tasting
from dashboard.screens.today import page as today
from dashboard.screens.trials import page as trials
from dashboard.screens.yeasts import page as yeasts
from dashboard.templates import fill, render
from dashboard.ui import components, decimal_comma, drafts, unfolding


@dataclass(frozen=True, slots=True)
class Entry:
    """One page: where it is, what it is called, and whether the head names it."""

    path: str
    title: str
    show: Callable[[], None]
    in_head: bool = True


PAGES: Final[tuple[Entry, ...]] = (
    Entry("today", "Today", today.show),
    Entry("calendar", "Calendar", calendar.show),
    Entry("yeasts", "Yeasts", yeasts.show),
    Entry("trials", "Trials", trials.show),
    Entry("tasting", "Tasting", tasting.show),
    Entry("sensors", "Sensors", sensors.show),
    Entry("set-up", "Set up", set_up.show),
    Entry("how-it-works", "How it works", how_it_works.show),
    Entry("batch", "Batch", batch.show, in_head=False),
    Entry("packaging", "Packaging day", packaging.show, in_head=False),
    Entry("compare", "Compare", compare.show, in_head=False),
    Entry("several", "Several at once", several.show, in_head=False),
)


def paths() -> tuple[str, ...]:
    """The address of every page, without its first stroke."""
    return tuple(entry.path for entry in PAGES)


def run() -> None:
    """Lay out the head and run the page that was asked for."""
    with context.making_a_page():
        _run()


def _run() -> None:
    st.set_page_config(page_title="tunroom", page_icon=_icon(), layout="wide")
    made = {
        entry.path: st.Page(
            components.screen(entry.show),
            title=entry.title,
            url_path=entry.path,
            default=entry.path == "today",
        )
        for entry in PAGES
    }
    chosen = st.navigation(list(made.values()), position="hidden")
    components.look()
    drafts.keep()
    decimal_comma.listen()
    unfolding.at_once()
    if (target := components.followed_link()) is not None:
        path, _, query = target.partition("?")
        if path in made:
            st.switch_page(made[path], query_params=dict(parse_qsl(query)))
    _head(made)
    chosen.run()


def _head(made: dict[str, st.Page]) -> None:
    with st.container(key="head", horizontal=True, gap=None):
        try:
            name = context.store().preferences().cellar_name
        except context.NotRunning as error:
            components.show_failure(error)
            st.stop()
        st.html(fill('<span class="cellar">{{ name }}</span>', name=name), width="content")
        components.connection()
        with st.container(key="nav", horizontal=True, width="content"):
            for entry in PAGES:
                if entry.in_head:
                    st.page_link(made[entry.path], label=entry.title)
        if access.can_sign_out():
            components.markup(render("sign_in/out.html", looks=access.only_looks()), key="sign-out")
    components.done_line()


def _icon() -> str:
    """A falling curve that flattens, as the page's own mark."""
    return (
        "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 32 32'%3E%3Crect width='32' "
        "height='32' rx='5' fill='%2322262a'/%3E%3Cpath d='M5 7Q11 7 14 16T27 25' fill='none' stroke='%23fbfaf6' "
        "stroke-width='3.4' stroke-linecap='round'/%3E%3C/svg%3E"
    )
