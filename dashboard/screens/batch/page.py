"""How is this one, and why do you say so?"""

from __future__ import annotations

from html import escape
from typing import Final, get_args

import streamlit as st

from analysis.display_units import percent
from analysis.wording import PHASE_WORDS, Voice, caution, curve_in_words, dates, three_notions, unbroken, verdict
from dashboard import context
from dashboard.charts import base, phase_glyph
from dashboard.queries import needs_of, queries
from dashboard.screens.batch import entries, history
from dashboard.ui import components, zoom
from ingest.model import BatchRecord, Vessel
from ingest.monitoring import Outlook

PARTS = ("Why we say so", "What we said before", "What was entered", "This batch")


def _mark(svg: str, word: str) -> str:
    return f'<span><svg viewBox="0 0 16 12" width="16" height="12" aria-hidden="true">{svg}</svg> {word}</span>'


LEGEND: Final = (
    '<p class="legend">'
    + _mark('<circle class="ink" cx="8" cy="6" r="2"/>', "measured")
    + _mark('<circle class="hollow" cx="8" cy="6" r="3.5"/>', "set aside, with the reason on it")
    + _mark('<path class="ink" d="M8 0L14 6L8 12L2 6Z"/>', "hand sample")
    + _mark('<path class="line" d="M0 6H16"/>', "inferred course, with its likely range")
    + _mark('<path class="finish" d="M0 6H16"/>', "likely finish, eight times in ten")
    + "</p>"
)


def show() -> None:
    batch_id = st.query_params.get("id", "")
    record = context.store().get(BatchRecord, batch_id) if batch_id else None
    if record is None:
        choose()
        return
    verdict_part(record.batch_id)
    entries.quick(record)
    curve_part(record.batch_id)
    part = st.segmented_control(
        "More about this batch", PARTS, default=PARTS[0], required=True, key="part", label_visibility="collapsed"
    )
    if part == PARTS[0]:
        why(record.batch_id)
    elif part == PARTS[1]:
        history.show(record)
    elif part == PARTS[2]:
        entries.everything(record)
    else:
        from dashboard.screens.batch import edit

        edit.edit_batch(record)


def choose() -> None:
    """No batch, or one that is gone: offer those that there are."""
    st.html('<h1 class="lead">Which batch?</h1>')
    store = context.store()
    known = [*store.active_batches(), *store.finished_batches()]
    if not known:
        st.html("<p>There is none yet. Add one under Set up.</p>")
        return
    say, items = queries.voice(), []
    for record in known:
        vessel = store.get(Vessel, record.vessel_id)
        about = [vessel.name if vessel else "", f"pitched {say.dated(say.local(record.pitched_at).date())}"]
        words = f"<b>{escape(record.name)}</b><span class='figures'>{escape(', '.join(filter(None, about)))}</span>"
        items.append(f"<li>{components.link('batch', words, id=record.batch_id)}</li>")
    st.html(f'<p>This address names no batch of this cellar. There are:</p><ul class="entries">{"".join(items)}</ul>')


def outlook_of(batch_id: str) -> Outlook | None:
    """The outlook, without waiting for another's computation; says so while the first is being made."""
    outlook = queries.outlook_of(batch_id)
    if outlook is None:
        st.html('<p class="quiet" role="status">Working out the course of this batch from its readings …</p>')
        st.skeleton(height=200)
    return outlook


@components.live
def verdict_part(batch_id: str) -> None:
    """The verdict as a sentence, what to do, the figures and the dates."""
    outlook = outlook_of(batch_id)
    if outlook is None:
        return
    say = queries.voice()
    components.markup(verdict_html(outlook, say), key="verdict")


def verdict_html(outlook: Outlook, say: Voice) -> str:
    """The head of the page as HTML."""
    a, record = outlook.assessment, outlook.record
    devices = [] if record.ended_at else context.store().device_statuses(record.vessel_id)
    about = [record.name, record.drink, record.yeast, f"pitched {say.day(record.pitched_at)}"]
    vessel = f"<b>{escape(outlook.vessel.name)}</b> " if outlook.vessel else ""
    parts = [f'<p class="about">{vessel}{escape(", ".join(x for x in about if x))}</p>']
    parts.append(f'<h1 class="lead">{escape(verdict(a, outlook.batch.hold_h, say))}</h1>')
    needs = [] if record.ended_at else needs_of(outlook, devices, say)
    items = "".join(
        f"<li><b>{escape(n.sentence)}</b> {escape(n.todo)}</li>"
        if n.kind not in ("stalled", "renewed fall")
        else f"<li>{escape(n.todo)}</li>"
        for n in needs
    )
    if items:
        parts.append(f'<ul class="wants">{items}</ul>')
    elif a.advice:
        parts.append(f"<p>{escape(' '.join(a.advice))}</p>")
    parts.append(figures_html(outlook, say))
    if not record.ended_at or any(e.kind == "package" for e in outlook.batch.events):
        cells = "".join(
            f"<div><dt>{escape(name)}</dt><dd><b>{escape(value)}</b><small>{escape(note)}</small></dd></div>"
            for name, value, note in dates(outlook.plan, outlook.batch, say)
        )
        parts.append(f'<dl class="days">{cells}</dl>')
    return "".join(parts)


def figures_html(outlook: Outlook, say: Voice) -> str:
    """The figures, quietly, with the age of the last reading beside them."""
    a = outlook.assessment
    newest = context.store().newest_reading_at(outlook.record.batch_id)
    facts = [("Phase", f"{phase_glyph(a.phase)} {escape(PHASE_WORDS[a.phase])}")]
    if a.gravity_sg is not None:
        facts.append(("Gravity", escape(say.gravity(a.gravity_sg.p50))))
    if a.terminal_gravity_sg is not None and not a.finished:
        end = a.terminal_gravity_sg
        facts.append(("Likely end", escape(f"{say.gravity(end.p10)} to {say.gravity(end.p90)}")))
    if a.apparent_attenuation is not None:
        facts.append(("Apparent attenuation", escape(percent(a.apparent_attenuation))))
    if a.temperature_c is not None:
        facts.append(("Temperature", escape(say.temperature(a.temperature_c))))
    if newest is not None:
        facts.append(("Last reading", f'<span title="{escape(say.exact(newest))}">{escape(say.ago(newest))}</span>'))
    return '<dl class="facts">' + "".join(f"<div><dt>{n}</dt><dd>{v}</dd></div>" for n, v in facts) + "</dl>"


@components.live
def curve_part(batch_id: str) -> None:
    """The curve, with the choice of its scales."""
    outlook = queries.outlook_of(batch_id)
    if outlook is None:
        return
    say = queries.voice()
    scales = st.container(horizontal=True, gap="medium", key="scales")
    with scales:
        gravity = st.segmented_control(
            "Gravity as",
            get_args(base.GravityScale),
            default=say.units.gravity_unit,
            required=True,
            key="gravity-scale",
            bind="query-params",
            label_visibility="collapsed",
        )
        time = st.segmented_control(
            "Time as",
            get_args(base.TimeScale),
            default="Date",
            required=True,
            key="time-scale",
            bind="query-params",
            label_visibility="collapsed",
        )
    view = base.View(gravity or "SG", time or "Date", components.edition())
    kept = f"axis end {batch_id}"
    st.session_state[kept] = queries.axis_end(outlook, say, st.session_state.get(kept))
    until = st.session_state[kept]
    axes = base.Axes(queries.curve(outlook, view, until, None), say)
    looked_at = zoom.chosen(batch_id, axes)
    scales.button(
        "Whole course", key="whole", type="tertiary", disabled=looked_at is None, on_click=zoom.whole, args=(batch_id,)
    )
    figure = queries.figure(outlook, view, say, until, looked_at)
    text = curve_in_words(outlook.assessment, say)
    with st.container(key=zoom.PLACE):
        st.plotly_chart(figure, key=f"curve-{batch_id}", theme=None, config=base.CONFIG, alt=text)
    components.markup(LEGEND + f'<p class="figures">{escape(text)}</p>', key="legend")


@components.live
def why(batch_id: str) -> None:
    """Finish, finished and hold kept apart; then the evidence, and the data to check it by."""
    outlook = queries.outlook_of(batch_id)
    if outlook is None:
        return
    say, a = queries.voice(), outlook.assessment
    cells = "".join(
        f"<div><dt>{escape(q)}</dt><dd><b>{escape(answer)}</b><small>{escape(small)}</small></dd></div>"
        for q, answer, small in three_notions(a, outlook.batch.hold_h, say)
    )
    evidence = "".join(f"<li>{escape(sentence)}</li>" for sentence in a.evidence)
    cautions = () if outlook.record.ended_at else outlook.plan.cautions
    mind = "".join(f"<li>{escape(caution(each))}</li>" for each in cautions)
    doubts = "".join(f"<li>{escape(sentence)}</li>" for sentence in outlook.doubts)
    told = (
        f'<h2>Three questions, kept apart</h2><dl class="notions">{cells}</dl>'
        f'<h2>The evidence</h2><ul class="evidence">{evidence or "<li>No readings yet.</li>"}</ul>'
        + (f'<h2>Before you package</h2><ul class="evidence">{mind}</ul>' if mind else "")
        + (f'<h2>What is doubtful in the readings</h2><ul class="evidence">{doubts}</ul>' if doubts else "")
    )
    st.html(unbroken(told))
    st.download_button(
        "Download the readings (CSV)",
        data=lambda: queries.readings_csv(batch_id),
        file_name=f"{queries.file_name(outlook.record.name)}-readings.csv",
        mime="text/csv",
        on_click="ignore",
    )
