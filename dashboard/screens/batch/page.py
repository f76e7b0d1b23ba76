"""How is this one, and why do you say so?"""

from __future__ import annotations

from dataclasses import asdict
from typing import Final, get_args

import streamlit as st

from analysis.evidence import NothingYet, Silent
from analysis.wording import (
    Voice,
    advice_sentences,
    attenuation,
    capital,
    caution,
    classical_sentences,
    curve_in_words,
    dates,
    ended_notions,
    ended_verdict,
    gravity_rule,
    likely_gravity,
    phase_word,
    phases_in_words,
    plural,
    seen_attenuation,
    sentences,
    three_notions,
    verdict,
)
from dashboard import context
from dashboard.charts import base, phase_glyph
from dashboard.queries import Siblings, before_their_place, leave_out, needs_of, queries
from dashboard.queries import milestones as found_milestones
from dashboard.report import report_html
from dashboard.screens.batch import entries, history, lot, photos, schedule, values
from dashboard.templates import Markup, fill, join, render
from dashboard.ui import components, forms, lots, milestones, zoom
from dashboard.wording import finish_by_siblings, follows
from ingest.model import BatchRecord, HandSample, Vessel
from ingest.monitoring import Outlook, batch_page, lot_warnings, warnings_for

_CLASSICAL: Final = "classical"
_TOLD: Final = "outlook that the batch's page tells of"
PARTS = ("Why we say so", "What we said before", "What was entered", "Notes and photos", "This batch")


def _mark(svg: str, word: str) -> Markup:
    return fill(
        '<span><svg viewBox="0 0 16 12" width="16" height="12" aria-hidden="true">{{ svg }}</svg> {{ word }}</span>',
        svg=Markup(svg),
        word=word,
    )


_MARKS: Final = {
    "measured": _mark('<circle class="ink" cx="8" cy="6" r="2"/>', "measured"),
    "as sent": _mark('<path class="dash" d="M3 6H13"/>', "as the float sent it"),
    "set aside": _mark('<circle class="hollow" cx="8" cy="6" r="3.5"/>', "set aside, with the reason on it"),
    "hand sample": _mark('<path class="ink" d="M8 0L14 6L8 12L2 6Z"/>', "hand sample"),
    "hand sample, set aside": _mark('<path class="hollow" d="M8 0L14 6L8 12L2 6Z"/>', "hand sample, set aside"),
    "inferred course": _mark('<path class="line" d="M0 6H16"/>', "inferred course, with its likely range"),
    "classical curve": _mark('<path class="dash" d="M0 6H6M10 6H16"/>', "classical curve"),
    "likely finish": _mark(
        '<path class="finish" d="M0 6H16"/>', "likely finish, eight times in ten; dark, half of them"
    ),
}


def _legend(drawn: frozenset[str]) -> Markup:
    """What the marks of a figure mean, of those that are drawn."""
    marks = join(mark for name, mark in _MARKS.items() if name in drawn)
    return fill('<p class="legend">{{ marks }}</p>', marks=marks)


def show() -> None:
    batch_id = st.query_params.get("id", "")
    record = context.store().get(BatchRecord, batch_id) if batch_id else None
    if record is None:
        choose()
        return
    verdict_part(record.batch_id)
    # What is there or not has a place of its own: else what follows would be another to the browser, and close.
    with st.container():
        _late(record)
    entries.quick(record.batch_id, lot.float_here)
    with st.container():
        lot.show(record)
    curve_part(record.batch_id)
    with st.container():
        if context.store().newest_reading_at(record.batch_id) is not None:
            st.toggle("Show the classical curve", key=_CLASSICAL)
    part = st.segmented_control(
        "More about this batch", PARTS, default=PARTS[0], required=True, key="part", label_visibility="collapsed"
    )
    if part == PARTS[0]:
        why(record.batch_id)
    elif part == PARTS[1]:
        history.show(record)
    elif part == PARTS[2]:
        entries.everything(record)
    elif part == PARTS[3]:
        photos.show(record)
    else:
        from dashboard.screens.batch import edit

        edit.edit_batch(record)


def _late(record: BatchRecord) -> None:
    """Offer readings that count for no batch, since their device is said to have come in after them."""
    store, say = context.store(), queries.voice()
    for late in before_their_place(store, record):
        name = late.device.name or late.device.device_id
        one = late.count == 1
        lie = (
            f"{plural(late.count, 'reading')} of {name} {'lies' if one else 'lie'} before its place here, from "
            f"{say.exact(late.first_at)} to {say.exact(late.until)}, and {'does' if one else 'do'} not count. "
            "Was it in by then?"
        )
        with st.container(key=f"late {late.stay.placement_id}"):
            st.html(fill("<p>{{ lie }}</p>", lie=lie))
            forms.action(
                "Take them in",
                f"take in {late.stay.placement_id}",
                lambda stay=late.stay: store.save(stay),  # type: ignore[misc]
                f"{capital(plural(late.count, 'reading'))} of {name} {'counts' if one else 'count'} now.",
            )
            forms.action(
                "Leave them out, and ask no more",
                f"leave out {late.stay.placement_id}",
                lambda late=late: leave_out(store, late),  # type: ignore[misc]
                f"What {name} read before its place stays left out.",
                quiet=True,
            )


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
        target = components.address("batch", id=record.batch_id)
        items.append(components.Row(target, record.name, ", ".join(filter(None, about))))
    st.html(fill("<p>This address names no batch of this cellar. There are:</p>") + components.entries(items))


def _told(batch_id: str) -> Outlook | None:
    """The outlook of which the verdict tells: no other part of the page tells of a newer one before it does."""
    outlook = st.session_state.get(_TOLD)
    return outlook if isinstance(outlook, Outlook) and outlook.record.batch_id == batch_id else None


@components.live
def verdict_part(batch_id: str) -> None:
    """The verdict as a sentence, what to do, the figures and the dates; it is this part that looks for what is new."""
    outlook = st.session_state[_TOLD] = queries.outlook_of(batch_id)
    if outlook is None:
        st.html('<p class="quiet" role="status">Working out the course of this batch from its readings …</p>')
        st.skeleton(height=200)
        return
    say = queries.voice()
    components.markup(verdict_html(outlook, say), key="verdict")


def verdict_html(outlook: Outlook, say: Voice) -> Markup:
    """The head of the page as HTML."""
    a, record = outlook.assessment, outlook.record
    devices = [] if record.ended_at else context.store().device_statuses(record.vessel_id)
    beside = Siblings() if record.ended_at else queries.siblings(record, say)
    lead = (ended_verdict if record.ended_at else verdict)(a, outlook.batch.hold_h, say)
    if beside.following is not None and a.gravity_sg is None:
        lead = follows(beside.following, say)
    about = [record.name, record.drink, record.yeast, f"pitched {say.day(record.pitched_at)}"]
    if record.ended_at is not None:
        packaged = any(e.kind == "package" for e in outlook.batch.events)
        lead = f"{'Packaged' if packaged else 'Ended'} {say.day(record.ended_at)}. {lead}"
    has_days = not record.ended_at or any(e.kind == "package" for e in outlook.batch.events)
    in_doubt = join(
        lots.about_html(warning, record, say)
        for warning in warnings_for(record, lot_warnings(context.store().all(BatchRecord)))
    )
    return (
        in_doubt
        + lots.early_html(outlook, say)
        + render(
            "batch/verdict.html",
            vessel=outlook.vessel.name if outlook.vessel else "",
            about=", ".join(x for x in about if x),
            lead=lead,
            needs=[] if record.ended_at else needs_of(outlook, devices, say, beside),
            said_by_lead=("stalled", "renewed fall", "not begun", "float in doubt", "sample due"),
            advice="" if record.ended_at else " ".join(advice_sentences(a.advice, say.units)),
            figures=figures_html(outlook, say),
            days=dates(outlook.plan, outlook.batch, say) if has_days else None,
        )
    )


def figures_html(outlook: Outlook, say: Voice) -> Markup:
    """The figures, quietly, with the age of the last reading beside them."""
    a = outlook.assessment
    store, batch_id = context.store(), outlook.record.batch_id
    by_device = store.newest_reading_at(batch_id, by_hand=False)
    by_hand = max((s.at for s in store.all(HandSample, batch_id=batch_id)), default=None)
    facts: list[tuple[str, str]] = []
    followed = by_device is None and any(isinstance(one, NothingYet) for one in a.evidence)
    if a.newest_reading_at is not None and not followed:  # one sample tells no phase, and its siblings tell of a finish
        facts.append(("Phase", phase_glyph(a.phase) + f" {phase_word(a)}"))
    if (gravity := likely_gravity(a, say)) is not None:
        silent = any(isinstance(one, Silent) for one in a.evidence)
        facts.append(("Likely gravity when last read" if silent else "Likely gravity", gravity))
    if a.terminal_gravity_sg is not None and not a.finished and not outlook.record.ended_at:
        end = a.terminal_gravity_sg
        facts.append(("Likely end", f"{say.gravity(end.p10)} to {say.gravity(end.p90)}"))
    if (share := seen_attenuation(a)) is not None:
        facts.append(("Apparent attenuation", attenuation(share)))
    if a.temperature_c is not None:
        facts.append(("Temperature", say.temperature(a.temperature_c)))
    if wished := schedule.now_and_next(outlook.record, outlook.vessel, say):
        facts.append(("Wished", wished))
    for what, newest in (("Last reading", by_device), ("Last hand sample", by_hand)):
        if newest is not None:
            facts.append((what, components.aged(newest, say)))
    return fill(
        '<dl class="facts">{% for name, value in facts %}<div><dt>{{ name }}</dt><dd>{{ value }}</dd></div>'
        '{% endfor %}</dl>{% if rule %}<p class="figures">{{ rule }}</p>{% endif %}',
        facts=facts,
        rule=gravity_rule(a, say),
    )


@components.live
def curve_part(batch_id: str) -> None:
    """The curve, with the choice of its scales."""
    outlook = _told(batch_id)
    if outlook is None or queries.up_to_date(outlook).marked.is_empty():
        return
    say = queries.voice()
    scales = st.container(horizontal=True, gap="medium", key="scales")
    with scales:
        gravity = st.segmented_control(
            "Gravity as",
            base.gravity_scales(say.units),
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
    view = base.View(gravity, time or "Date", components.edition())
    kept = f"axis end {batch_id}"
    st.session_state[kept] = queries.axis_end(outlook, say, st.session_state.get(kept))
    until = st.session_state[kept]
    axes = base.Axes(queries.curve(outlook, view, until, None), say)
    looked_at = zoom.chosen(batch_id, axes)
    figure = queries.figure(outlook, view, say, until, looked_at, _classical_wanted())
    text = curve_in_words(outlook.assessment, say, ended=outlook.record.ended_at is not None)
    text = " ".join(filter(None, (text, phases_in_words(outlook.assessment, say))))
    with st.container(key=zoom.PLACE):
        st.plotly_chart(figure, key=f"curve-{batch_id}", theme=None, config=base.CONFIG, alt=text)
        # It lies over the figure's own upper margin, so that the picture stays where it is as it comes and goes.
        if looked_at is not None:
            st.button("Whole course", key="whole", type="tertiary", on_click=zoom.whole, args=(batch_id,))
    components.markup(_legend(figure.names) + fill('<p class="figures">{{ text }}</p>', text=text), key="legend")
    values.show(outlook, looked_at, say)


def _classical_wanted() -> bool:
    return bool(st.session_state.get(_CLASSICAL, False))


@components.live
def why(batch_id: str) -> None:
    """Finish, finished and hold kept apart; then the evidence, and the data to check it by."""
    outlook = _told(batch_id)
    if outlook is None:
        return
    say, a = queries.voice(), outlook.assessment
    told = render(
        "batch/why.html",
        notions=_notions(outlook, say),
        evidence=sentences(a.evidence, say.units, ended=outlook.record.ended_at is not None),
        cautions=() if outlook.record.ended_at else [caution(each) for each in outlook.plan.cautions],
        doubts=outlook.doubts,
        classical=classical_sentences(queries.classical_of(outlook), say) if _classical_wanted() else (),
    )
    st.html(components.unbroken(told))
    # To weigh them takes as long as to judge the batch.
    if (part := st.expander("Milestones", key=f"milestones {batch_id}", on_change="rerun")).open:
        with part:
            milestones.show([(outlook.record.name, outlook)], say, queries.file_name(outlook.record.name))
    ways = st.container(horizontal=True, gap="small", key="batch files")
    ways.download_button(
        "Download the report, to print",
        data=lambda: _report(outlook),
        file_name=f"{queries.file_name(outlook.record.name)}.html",
        mime="text/html",
        on_click="ignore",
    )
    if outlook.assessment.marked.is_empty():
        return
    ways.download_button(
        "Download the readings (CSV)",
        data=lambda: queries.readings_csv(batch_id),
        file_name=f"{queries.file_name(outlook.record.name)}-readings.csv",
        mime="text/csv",
        on_click="ignore",
    )


def _notions(outlook: Outlook, say: Voice) -> list[tuple[str, str, str]]:
    """The three questions; when a batch that follows its siblings finishes is answered by them, as above the curve."""
    a, record = outlook.assessment, outlook.record
    found = (ended_notions if record.ended_at else three_notions)(a, outlook.batch.hold_h, say)
    if record.ended_at is None and a.finish is None and not a.finished:
        following = queries.siblings(record, say).following
        by_siblings = finish_by_siblings(following, say) if following is not None else None
        if by_siblings is not None:
            found[0] = (found[0][0], *by_siblings)
    return found


def _report(outlook: Outlook) -> bytes:
    """The batch as one page to print."""
    page = batch_page(context.store(), outlook, found_milestones.of(outlook), queries.voice())
    return report_html(asdict(page)).encode()
