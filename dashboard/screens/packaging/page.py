"""How do I package it safely?"""

from __future__ import annotations

from html import escape

import streamlit as st

from analysis.model import events_of
from analysis.packaging import lesson
from analysis.planning import first_of
from dashboard import context
from dashboard.queries import Standing, queries
from dashboard.screens.packaging import follow_up, inputs
from dashboard.sheet import html, screen
from dashboard.ui import components
from dashboard.wording import WEEKDAYS, Voice, capital, held, packaging_date, unbroken
from ingest.model import BatchRecord, EventRecord
from ingest.monitoring import Outlook


def show() -> None:
    batch_id = st.query_params.get("id", "")
    record = context.store().get(BatchRecord, batch_id) if batch_id else None
    if record is None:
        choose()
        return
    say = queries.voice()
    outlook = context.service().outlooks.of(record.batch_id, wait=False)
    if outlook is None:
        st.html('<p class="quiet" role="status">Working out this batch from its readings …</p>')
        st.skeleton(height=200)
        return
    st.html(f"<p>{components.link('batch', f'← {escape(record.name)}', id=record.batch_id)}</p>")
    if context.store().all(EventRecord, batch_id=record.batch_id, kind="package"):
        follow_up.show(record, say)
        with st.expander("The sheet"):
            the_sheet(outlook, say)
        return
    the_sheet(outlook, say)
    follow_up.packaged(record, say)


def choose() -> None:
    """Which batch: those whose day is near first."""
    store, say = context.store(), queries.voice()
    found = queries.standings(say)
    st.html('<h1 class="lead">Which batch do you package?</h1>')
    if not found and not store.finished_batches():
        st.html(
            f"<p>There is none yet. {components.link('set-up', '<u>Add one under Set up</u>', part='batches')}.</p>"
        )
        return

    def day(standing: Standing) -> str:
        due = first_of(standing.outlook.to_do(), "package") if standing.outlook else None
        return due.day.isoformat() if due else "9999"

    rows = []
    for standing in sorted(found, key=day):
        record, outlook = standing.record, standing.outlook
        says = packaging_date(outlook.to_do(say.today()), outlook.batch, say) if outlook else "Being worked out …"
        ready = ", ready" if outlook and outlook.assessment.ready else ""
        vessel = standing.vessel.name if standing.vessel else ""
        body = (
            f"<b>{escape(vessel)} {escape(record.name)}</b><span class='figures'>{escape(unbroken(says))}{ready}</span>"
        )
        rows.append(f"<li>{components.link('packaging', body, id=record.batch_id)}</li>")
    st.html(f'<ul class="entries">{"".join(rows)}</ul>')
    follow_up.waiting(say)


def the_sheet(outlook: Outlook, say: Voice) -> None:
    """The verdict, what to weigh and set, and the inputs beside it."""
    store, record = context.store(), outlook.record
    head, chooser = st.container(), st.container()
    left, right = st.columns(2, gap="large")
    with right:
        st.html(
            '<section class="sheet"><h3>The numbers it rests on</h3>'
            '<span class="quiet">Filled in from the batch; change whatever you know better.</span></section>'
        )
        asked = inputs.ask(store, record.batch_id, inputs.from_batch(store, outlook), say, chooser)
        if inputs.own_changes(store, record.batch_id) and st.button(
            "Take the batch's own figures again", key="own figures", type="tertiary"
        ):
            components.attempt(
                lambda: inputs.forget_changes(store, record.batch_id),
                "The sheet has the batch's own figures again.",
            )
            st.rerun()
    word, reasons = screen.light(asked.answer, asked.wrong, say.preferences)
    with head:
        vessel = f", {outlook.vessel.name}" if outlook.vessel else ""
        st.html(f'<h1 class="lead">Packaging {escape(record.name + vessel)}</h1>{_standing(outlook, say)}')
        _, taught = lesson(follow_up.earlier(store, record))
        st.html(unbroken(screen.verdict_html(word, [*reasons, *([taught] if taught else [])])))
    with left:
        p = say.preferences
        components.markup(
            screen.sections_html(asked.answer, p) + screen.picture_html(asked.answer, p, components.edition()),
            key="sheet",
        )
        st.html(unbroken(screen.care_html(asked.answer, reasons, p)))
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


def _standing(outlook: Outlook, say: Voice) -> str:
    """The day, and finish and hold kept apart."""
    a, plan = outlook.assessment, outlook.plan
    when = packaging_date(outlook.to_do(say.today()), outlook.batch, say)
    if events_of(outlook.batch, "package"):
        day, because = f"{when}.", ""
    else:
        if not when.startswith(WEEKDAYS):
            when = when[:1].lower() + when[1:]
        day = f"Packaging day: {when}."
        because = f" {plan.blocked_by or plan.reason}" if plan.blocked_by or plan.reason else ""
    hold = f"{capital(held(a, outlook.batch.hold_h))}."
    return f'<p>{escape(unbroken(day + because))} <span class="quiet">{escape(hold)}</span></p>'
