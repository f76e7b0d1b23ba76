"""Does anything need me?"""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from analysis.wording import Voice, capital, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import first_steps
from dashboard.screens.today import arrangement, vessel_list
from dashboard.templates import Markup, fill, join
from dashboard.ui import components, lots
from dashboard.web import redirects
from ingest.backup import state_of
from ingest.model import BatchRecord
from ingest.monitoring import lot_warnings

MANY = 15
"""More vessels than this are shown smaller."""


@components.live
def show() -> None:
    if asked := st.query_params.get(redirects.ASKED_FOR):
        st.html(redirects.line_html(asked))
    if context.store().active_batches():
        cellar()
    else:
        welcome()


def cellar() -> None:
    """What wants the person, then all vessels by need; worked out once for however many look at it."""
    say = queries.voice()
    first = st.container()
    look = arrangement.ask(context.store().active_batches())
    lead, text, pictures = queries.kept(("cellar", look), lambda: cellar_html(say, look), queries.of_all(say))
    first.html(components.unbroken(lead))
    components.markup(text, key="cellar")
    components.pictures(pictures, key="pictures")


def cellar_html(say: Voice, look: arrangement.Arrangement) -> tuple[Markup, Markup, dict[str, Markup]]:
    """What the page leads with and the list as HTML, and the small curves that belong into it."""
    found = queries.standings(say)
    seen = arrangement.arranged(found, look)
    needy, calm = [s for s in seen if s.pressing], [s for s in seen if not s.pressing]
    dense = len(found) > MANY
    in_doubt = lot_lines(say)
    pressing = any(s.pressing for s in found)
    lead = "A packaged lot wants you today." if in_doubt and not pressing else vessel_list.lead(found, say)
    first = join([components.lead(lead), in_doubt, newcomers_line(), backup_line(say)])
    parts: list[Markup] = []
    if look.order != arrangement.USUAL.order:
        # An order that was asked for holds for all: lots would tear it apart.
        parts.append(vessel_list.rows(seen, say, "Your vessels", dense))
        needy = calm = []
    if needy:
        parts.append(vessel_list.needy_html(needy, say, dense))
    for lot, those in vessel_list.by_lot(calm, found):
        if lot is not None:
            size = sum(s.record.split_of == lot for s in seen)
            parts.append(vessel_list.lot_html(lot, those, say, dense, size))
            continue
        if calm != those:
            parts.append(fill('<h3 class="lot">By themselves</h3>'))
        parts.append(vessel_list.rows(those, say, "The other vessels" if needy else "Your vessels", dense))
    if not seen:
        parts.append(fill('<p class="quiet">No vessel is like that now; choose All.</p>'))
    parts.append(several_line())
    return first, join(parts), queries.pictures(seen, say)


def several_line() -> Markup:
    """The way to enter something once for many."""
    ways = (
        ("wort", "One wort into several vessels"),
        ("event", "One event for several"),
        ("move", "One move"),
        ("samples", "Hand samples"),
    )
    return fill(
        '<p class="lots">{% for way in ways %}{{ way }} {% endfor %}</p>',
        ways=[components.underlined("several", text, part=part) for part, text in ways],
    )


def lot_lines(say: Voice) -> Markup:
    """Packaged lots that gushed or burst, until somebody has looked after them."""
    return lots.first_screen_html(lot_warnings(context.store().all(BatchRecord)), say)


def newcomers_line() -> Markup:
    """Devices that speak and wait for a vessel."""
    waiting = queries.newcomers()
    if not waiting:
        return Markup()
    do = "speaks and waits" if len(waiting) == 1 else "speak and wait"
    text = f"{capital(plural(len(waiting), 'new device'))} {do}"
    return fill("<p>{{ link }}</p>", link=components.underlined("sensors", f"{text} to be put to work"))


def backup_line(say: Voice) -> Markup:
    """That a nightly backup was missed, and why."""
    nightly = context.service().nightly
    if nightly is None or not nightly.is_late(say.now):
        return Markup()
    state = state_of(context.store())
    last = (
        f"the last is from {say.day(datetime.fromisoformat(state.made_at))}" if state.made_at else "there is none yet"
    )
    return fill(
        '<p class="needs">The nightly backup was missed, {{ last }}. {{ problem }} {{ link }}</p>',
        last=last,
        problem=capital(state.problem) if state.problem else "",
        link=components.underlined("set-up", "Set up: Health and undo", part="health"),
    )


def welcome() -> None:
    """An empty cellar: the two ways to begin."""
    if in_doubt := lot_lines(queries.voice()):
        st.html(in_doubt)
    finished = len(context.store().finished_batches())
    known = plural(finished, "finished batch", "finished batches")
    lead = f"Nothing ferments now; {known} on record." if finished else "This cellar is empty."
    st.html(components.lead(f"{lead} There are two ways to {'go on' if finished else 'begin'}."))
    left, right = st.columns(2, gap="large")
    with left:
        st.html(fill("<h2>Connect a float or a probe</h2>") + first_steps.connect_html(context.service().settings))
    with right:
        st.html(
            fill(
                "<h2>Import a log</h2><p>A table of times and gravities from an earlier batch: CSV, Parquet or JSON "
                "lines. The cellar learns from it how your yeasts usually finish.</p>"
                "<p>{{ log }}</p><p>Then add {{ vessels }} and {{ batches }}.</p>",
                log=components.underlined("set-up", "Set up: import a log", part="import"),
                vessels=components.underlined("set-up", "your vessels", part="vessels"),
                batches=components.underlined("set-up", "the batches in them", part="batches"),
            )
        )
    for line in (newcomers_line(), backup_line(queries.voice())):
        if line:
            st.html(line)
