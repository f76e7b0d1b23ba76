"""What comes when?"""

from __future__ import annotations

from datetime import date
from itertools import groupby
from typing import Final
from urllib.parse import urljoin

import streamlit as st

from analysis.wording import Voice, capital
from dashboard import access, context
from dashboard.charts import PLAIN, calendar_figure
from dashboard.queries import queries
from dashboard.templates import Markup, fill, join
from dashboard.ui import components
from dashboard.web import calendar_routes
from dashboard.wording import Item, agenda, opening
from ingest.monitoring import Outlook


def _sign(svg: str, word: str) -> Markup:
    return fill(
        '<span><svg viewBox="0 0 16 12" width="16" height="12" aria-hidden="true">{{ svg }}</svg> {{ word }}</span>',
        svg=Markup(svg),
        word=word,
    )


LEGEND: Final = fill(
    '<p class="legend">{{ signs }}</p><p class="figures">Days are forecasts: package only when the gravity has been '
    "seen to hold.</p>",
    signs=_sign('<path class="finish" d="M0 6H16"/>', "likely finish, the stronger the likelier")
    + _sign('<path class="even" d="M0.5 2.5H15.5V9.5H0.5Z"/>', "the same as its siblings let one expect")
    + _sign('<path class="ink" d="M2 1H14L8 11Z"/>', "hops in")
    + _sign('<path class="hollow" d="M2 11H14L8 2Z"/>', "hops out")
    + _sign('<path class="ink" d="M3 1H13V11H3Z"/>', "package")
    + _sign('<path class="shade" d="M0 0H16V12H0Z"/>', "you can neither hop nor package"),
)


def show() -> None:
    timeline()
    take_along()


@components.live
def timeline() -> None:
    """The days ahead in words, then as a picture."""
    say, revision = queries.voice(), context.store().revision  # read before what it names, never newer than that
    standings = queries.standings(say)
    outlooks = sorted((s.outlook for s in standings if s.outlook), key=_soonest)
    following = {s.record.batch_id: s.beside.following for s in standings}
    expected = {batch: told.finish for batch, told in following.items() if told is not None and told.finish is not None}
    items = agenda(outlooks, say)
    if not context.store().active_batches():
        st.html('<h1 class="lead">Nothing ferments, so nothing is planned.</h1>')
        return
    st.html(components.lead(opening(items, say)) + agenda_html(items, say))
    if outlooks:
        picture = queries.kept(
            ("calendar", components.edition()),
            lambda: calendar_figure(outlooks, say, context.store().preferences(), components.edition(), expected),
            (tuple(o.computed_at for o in outlooks), say.today(), say.now.hour, revision),
        )
        text = " ".join(f"{i.what} {say.day(i.day)}." for i in items)
        st.plotly_chart(picture, key="calendar", theme=None, config=PLAIN, alt=text or "No planned days yet.")
        components.markup(LEGEND, key="calendar-legend")


def _soonest(outlook: Outlook) -> tuple[date, str]:
    return min((each.day for each in outlook.to_do()), default=date.max), outlook.record.name


def agenda_html(items: list[Item], say: Voice) -> Markup:
    """The days as a list, each with what is planned."""
    days = [
        fill(
            '<div><dt><time datetime="{{ day.isoformat() }}">{{ title }}</time></dt>'
            "<dd><ul>{{ things }}</ul></dd></div>",
            day=day,
            title=capital(say.day(day)),
            things=join(_thing(item, say) for item in group),
        )
        for day, group in groupby(items, key=lambda item: item.day)
    ]
    return fill('<dl class="agenda">{{ days }}</dl>', days=join(days)) if days else Markup()


def _thing(item: Item, say: Voice) -> Markup:
    return fill(
        "<li>{{ what }}{% if sure %}, {{ sure }}{% endif %}</li>",
        what=components.link("batch", item.what, id=item.batch_id),
        sure=item.sure if item.day > say.today() else "",
    )


def take_along() -> None:
    """The same days in the person's own calendar program."""
    with st.expander("In your own calendar program"):
        store = context.store()
        if access.only_looks() and not store.preferences().calendar_token:
            st.html("<p>It has no address yet. Whoever keeps this cellar makes one under Set up.</p>")
            return
        address = urljoin(st.context.url or "", f".{calendar_routes.feed_path(calendar_routes.token_of(store))}")
        st.html(
            "<p>Subscribe to this address, and a day that moves will move there too. Whoever has the address can read "
            "the days, and nothing else. Many calendar programs look at it only every few hours and drop its alarms, "
            "so let it never be your only reminder.</p>"
        )
        st.code(address, language=None, wrap_lines=True)
        st.download_button(
            "Download the days as they stand now",
            data=lambda: calendar_routes.calendar_text() or b"",
            file_name="cellar.ics",
            mime="text/calendar",
            on_click="ignore",
        )
