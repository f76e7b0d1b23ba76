"""How do I package it safely?"""

from __future__ import annotations

import streamlit as st

from analysis.display_units import WEEKDAYS
from analysis.model import events_of
from analysis.packaging import PackagingSheet, lesson
from analysis.planning import first_of
from analysis.wording import Voice, capital, caution, held, packaging_date, reason, unbroken
from dashboard import context
from dashboard.queries import Standing, queries
from dashboard.screens.packaging import follow_up, inputs
from dashboard.sheet import html, screen
from dashboard.templates import Markup, fill
from dashboard.ui import components, forms, lots
from ingest.model import BatchRecord, EventRecord
from ingest.monitoring import Outlook


def show() -> None:
    batch_id = st.query_params.get("id", "")
    record = context.store().get(BatchRecord, batch_id) if batch_id else None
    if record is None:
        choose()
        return
    say = queries.voice()
    outlook = queries.outlook_of(record.batch_id)
    if outlook is None:
        st.html('<p class="quiet" role="status">Working out this batch from its readings …</p>')
        st.skeleton(height=200)
        _follow(record.batch_id, outlook)
        return
    st.html(fill("<p>{{ back }}</p>", back=components.link("batch", f"← {record.name}", id=record.batch_id)))
    if context.store().all(EventRecord, batch_id=record.batch_id, kind="package"):
        if early := lots.early_html(outlook, say):
            st.html(early)
        follow_up.show(record, say)
        follow_up.in_doubt(record, say)
        with st.expander("The sheet"):
            the_sheet(outlook, say)
    else:
        follow_up.in_doubt(record, say)
        the_sheet(outlook, say)
        follow_up.packaged(record, say)
    _follow(record.batch_id, outlook)


@components.live
def _follow(batch_id: str, seen: Outlook | None) -> None:
    """Draw the sheet anew once the batch has been judged anew: no verdict outlives what it rests on."""
    if queries.outlook_of(batch_id) is not seen:
        st.rerun()


def choose() -> None:
    """Which batch: those whose day is near first."""
    store, say = context.store(), queries.voice()
    found = queries.standings(say)
    st.html('<h1 class="lead">Which batch do you package?</h1>')
    if not found and not store.finished_batches():
        add = components.underlined("set-up", "Add one under Set up", part="batches")
        st.html(fill("<p>There is none yet. {{ add }}.</p>", add=add))
        return

    def day(standing: Standing) -> str:
        due = first_of(standing.outlook.to_do(), "package") if standing.outlook else None
        return due.day.isoformat() if due else "9999"

    rows = []
    for standing in sorted(found, key=day):
        record, outlook = standing.record, standing.outlook
        says = packaging_date(outlook.to_do(say.today()), outlook.batch, say) if outlook else "Being worked out …"
        released = outlook.plan.release if outlook else None
        ready = ", ready by its gravity" if released is not None and released.ready else ""
        vessel = standing.vessel.name if standing.vessel else ""
        target = components.address("packaging", id=record.batch_id)
        rows.append(
            components.Row(target, f"{record.name}, {vessel}" if vessel else record.name, unbroken(says) + ready)
        )
    if rows:
        st.html(components.entries(rows))
    follow_up.waiting(say)


def the_sheet(outlook: Outlook, say: Voice) -> None:
    """The verdict, what to weigh and set, and the inputs beside it."""
    store, record = context.store(), outlook.record
    # The choice comes before what speaks for and against, which is long: on a phone it would lie below the fold.
    bar, named, chooser, head = st.container(key="answer"), st.container(), st.container(), st.container()
    with st.container(key="sheet-columns"):
        left, right = st.columns(2, gap="large")
    with right:
        st.html(
            '<section class="sheet"><h3>The numbers it rests on</h3>'
            '<span class="quiet">Filled in from the batch; change whatever you know better.</span></section>'
        )
        asked = inputs.ask(store, record.batch_id, inputs.from_batch(store, outlook), say, chooser)
        if inputs.own_changes(store, record.batch_id) and forms.tapped(
            "Take the batch's own figures again", "own figures", type="tertiary"
        ):
            components.attempt(
                lambda: inputs.forget_changes(store, record.batch_id),
                "The sheet has the batch's own figures again.",
            )
            st.rerun()
    word, reasons = screen.light(asked.answer, asked.wrong, store.preferences())
    with bar:
        components.markup(screen.answer_line_html(word, asked.answer, store.preferences()), key="answer line")
    with named:
        vessel = f", {outlook.vessel.name}" if outlook.vessel else ""
        st.html(components.lead(f"Packaging {record.name}{vessel}"))
    with head:
        _, taught = lesson(follow_up.earlier(store, record))
        told = [*([taught] if taught else []), *reasons]
        stand_open = screen.open_reasons(asked.answer) + bool(taught)
        st.html(components.unbroken(screen.verdict_html(word, told, len(told) if asked.wrong else stand_open)))
        st.html(_standing(outlook, say, stopped=word == "stop"))
    p = store.preferences()
    with left:
        care_below = _figures(asked.answer, components.unbroken(screen.care_html(asked.answer, reasons, p)))
    if care_below:
        st.html(fill('<div class="care">{{ care }}</div>', care=care_below))
    st.download_button(
        "Download the sheet, to print",
        lambda: html.sheet_html(
            asked.answer,
            title=f"Packaging sheet: {record.name}",
            made=f"Made {say.exact(say.now, lasting=True)}",
            preferences=p,
        ).encode(),
        file_name=f"packaging {record.name}.html",
        mime="text/html",
        key="sheet file",
        on_click="ignore",
        disabled=bool(asked.wrong),
    )


def _figures(answer: PackagingSheet, care: Markup) -> Markup:
    """The answer's figures; what to take care of comes back, to stand below them over the whole width.

    In their column it would leave half of a desktop's page empty. Before there are figures, it takes their place.
    """
    p = context.store().preferences()
    none_yet = answer.inputs.package is None
    components.markup(
        screen.missing_html(answer)
        + screen.sections_html(answer, p)
        + screen.picture_html(answer, p, components.edition())
        + screen.basis_html(answer, p)
        + (care if none_yet else Markup()),
        key="sheet",
    )
    return Markup() if none_yet else care


def _standing(outlook: Outlook, say: Voice, *, stopped: bool) -> Markup:
    """The day, and finish and hold kept apart; a stop comes before any day."""
    a, plan = outlook.assessment, outlook.plan
    when = packaging_date(outlook.to_do(say.today()), outlook.batch, say)
    if events_of(outlook.batch, "package"):
        day, because = f"{when}.", ""
    else:
        if not when.startswith(WEEKDAYS):
            when = when[:1].lower() + when[1:]
        planned = first_of(outlook.to_do(), "package") is not None
        day = f"Planned for {when}; the stop comes first." if stopped and planned else f"Packaging day: {when}."
        because = f" {reason(plan.blocked_by or plan.reason, say.units)}".rstrip()
    hold = f"{capital(held(a, outlook.batch.hold_h))}."
    # What stands against it, as the batch's page has it: the day alone would contradict the verdict above.
    beside = [] if outlook.record.ended_at else [unbroken(caution(each)) for each in plan.cautions]
    line = (
        '<p>{{ day }} <span class="quiet">{{ hold }}</span></p>'
        '{% if beside %}<ul class="evidence">{{ beside }}</ul>{% endif %}'
    )
    return fill(line, day=unbroken(day + because), hold=hold, beside=components.sentences(beside))
