"""Log an event or a hand sample in two taps; see and edit everything that was entered."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

import streamlit as st

from analysis.additions import SUBSTANCES
from analysis.display_units import specific_gravity_typed
from analysis.model import EVENT_KINDS, EventKind
from analysis.wording import EVENT_WORDS, Voice
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import addition_form, hop_form, moving
from dashboard.ui import components, forms, plain, unfolding
from ingest.errors import EntryError, out_of_range
from ingest.model import INSTRUMENTS, BatchRecord, EventRecord, HandSample, Instrument

QUICK: Final[tuple[EventKind, ...]] = tuple(k for k in EVENT_KINDS if k not in ("pitch", "sample", "forced test"))
REFERENCES: Final = ("20/20 °C", "60/60 °F", "15/15 °C", "20/4 °C")


class _Scale:
    """How a hand instrument's scale is read: step, format, possible range, usual range."""

    def __init__(self, step: float, form: str, low: float, high: float, usual: str) -> None:
        self.step, self.format, self.low, self.high, self.usual = step, form, low, high, usual


SCALES: Final[dict[str, _Scale]] = {
    "SG": _Scale(0.001, "%.3f", 0.98, 1.2, "0.990 to 1.160"),
    "°P": _Scale(0.1, "%.1f", -5.0, 45.0, "−2 to 38"),
    "kg/m³": _Scale(1.0, "%.0f", 975.0, 1200.0, "990 to 1160"),
    "°Bx": _Scale(0.1, "%.1f", -5.0, 45.0, "−2 to 38"),
}
_REFRACTOMETER: Final = _Scale(0.1, "%.1f", 0.0, 45.0, "2 to 35")
UNITS: Final[dict[Instrument, tuple[str, ...]]] = {
    "hydrometer": ("SG", "°P", "°Bx", "kg/m³"),
    "refractometer": ("°Bx",),
}


@components.part
def quick(batch_id: str, beside: Callable[[BatchRecord], None]) -> None:
    """What is entered beside the vessel, each open in one tap and done in the next; then what `beside` draws there."""
    record = context.store().get(BatchRecord, batch_id)  # as it is now: this part is drawn without the page around it
    if record is None:
        return
    with st.container(horizontal=True, key="quick", vertical_alignment="center"):
        # Its key changes with each event, so that it closes once one is logged.
        turn = st.session_state.setdefault("event turn", 0)
        unfolding.popover("Log an event", f"log event {turn} {batch_id}", lambda: _quick_event(record))
        sample = functools.partial(sample_form, None, record, "quick sample")
        unfolding.popover("Log a hand sample", f"log sample {batch_id}", sample)
        beside(record)
        if record.ended_at is None:
            st.html(components.link("packaging", "Packaging sheet", id=record.batch_id), width="content")


def _quick_event(record: BatchRecord) -> None:
    """One tap logs it as of now; amount, gravity and time can be added under "What was entered"."""
    turn = st.session_state.setdefault("event turn", 0)
    with forms.one_tap(f"event {turn}", "stretch"):
        kind = st.pills(
            "What has just happened? One tap logs it as of now.",
            QUICK,
            format_func=EVENT_WORDS.__getitem__,
            key=f"event/{turn}",
        )
    st.html('<p class="figures">Amount, time and a note can be added below, under What was entered.</p>')
    if kind is None:
        return
    if kind == "dry hop":
        hop_form.quick(record, lambda: st.session_state.update({"event turn": turn + 1}))
        return
    if kind == "transfer":
        moving.quick(record, f"transfer {record.batch_id}", turn)
        return
    if kind == "package":
        st.html("<p>It ends what is planned and said of this batch. Is all of it packaged?</p>")
        with forms.one_tap(f"packaged {turn}"):
            sure = st.button("Yes, it is packaged", key=f"packaged/{turn}", type="primary")
        if not sure:
            return
    st.session_state["event turn"] = turn + 1
    event = EventRecord(batch_id=record.batch_id, kind=kind, at=datetime.now(UTC))
    error = components.attempt(lambda: context.store().save(event), f"Logged: {EVENT_WORDS[kind].lower()}, just now.")
    if error is None:
        st.rerun()
    components.beside(error, error.field)


def everything(record: BatchRecord) -> None:
    """All events and samples of a batch, newest first, each with its form."""
    store, say = context.store(), queries.voice()
    events, samples = store.all(EventRecord, batch_id=record.batch_id), store.all(HandSample, batch_id=record.batch_id)
    entries: list[EventRecord | HandSample] = sorted([*events, *samples], key=lambda e: e.at, reverse=True)
    if not entries:
        st.html('<p class="quiet">Nothing was entered yet besides the batch itself.</p>')
    for entry in entries:
        with st.expander(plain(_title(entry, say)), key=f"entry {_id(entry)}"):
            if isinstance(entry, EventRecord):
                event_form(entry, record, f"event {_id(entry)}")
            else:
                sample_form(entry, record, f"sample {_id(entry)}")
            take_away = functools.partial(store.remove, entry)
            forms.remove_button("Remove", f"remove {_id(entry)}", take_away, f"Removed: {_title(entry, say)}.")
    with st.expander("Add an event of an earlier time", key="earlier"):
        event_form(None, record, "earlier event")


def _id(entry: EventRecord | HandSample) -> str:
    return entry.event_id if isinstance(entry, EventRecord) else entry.sample_id


def _title(entry: EventRecord | HandSample, say: Voice) -> str:
    when = say.exact(entry.at)
    if isinstance(entry, EventRecord):
        what = f", {SUBSTANCES[entry.added].words}" if entry.added is not None else ""
        said = addition_form.amount_words(entry, say.units)
        if entry.kind == "dry hop":
            hops = hop_form.words(entry, _volume_of(entry), say)
            what, said = f", {hops}" if hops else "", "" if entry.amount_g is not None else said
        amount = f", {said}" if said else ""
        gravity = f", {say.gravity(entry.gravity_sg)}" if entry.gravity_sg is not None else ""
        return f"{EVENT_WORDS[entry.kind]}{what}{amount}{gravity} · {when}"
    how = SCALES.get(entry.unit)
    return f"Hand sample {how.format % entry.value if how else entry.value} {entry.unit} · {when}"


def _volume_of(event: EventRecord) -> float | None:
    record = context.store().get(BatchRecord, event.batch_id)
    return record.volume_l if record is not None else None


def _time_of(when: datetime | None, record: BatchRecord, say: Voice) -> datetime:
    """The time of an entry, checked against the batch's.

    Raises
    ------
    EntryError
        If it is missing, before pitching or ahead of now.
    """
    if when is None:
        raise EntryError("at", "the time is empty", "Say when it happened.")
    if when < record.pitched_at.replace(second=0, microsecond=0):
        raise EntryError(
            "at",
            f"the time lies before pitching, {say.exact(record.pitched_at)}",
            "An entry belongs to a batch from its pitching on: correct this time, or the batch's.",
        )
    if when > datetime.now(UTC):
        raise EntryError("at", "the time lies ahead", "Log what has happened; what is planned stands in the calendar.")
    return when


def event_form(event: EventRecord | None, record: BatchRecord, name: str) -> None:
    """Change an event, or add one."""
    say = queries.voice()
    event = None if event is None else forms.opened(name, event)
    with forms.entry(name, say, save="Save", shows=event, border=False) as form:
        left, right = st.columns(2)
        with left:
            kind = form.choice(
                "kind", "What happened", EVENT_KINDS, event.kind if event else "nutrient", EVENT_WORDS.__getitem__
            )
            amount = addition_form.Amount.ask(form, event, say.units)
        with right:
            at = form.moment("at", "When", event.at if event else None)
            gravity = form.number(
                "gravity_sg", "Gravity that belongs to it, if any", event.gravity_sg if event else None, "gravity"
            )
        with st.expander("What was added, of a feed or a dilution"):
            added = addition_form.Substances.ask(form, event)
        with st.expander("Which hops, of a dry hop", expanded=event is not None and event.kind == "dry hop"):
            hops = hop_form.Hops.ask(form, event)
        target = moving.Target.ask(form, record) if event is None else None
        note = form.text("note", "Note", event.note if event else "")
    if not form.sent:
        return

    def enter() -> None:
        when = _time_of(at, record, say)
        if gravity is not None and not 0.98 <= gravity <= 1.2:
            raise out_of_range("gravity_sg", gravity, "gravity", (0.99, 1.16))
        base = event or EventRecord(batch_id=record.batch_id, kind="note", at=when)
        chosen: EventKind = added.kind_for(kind or "note")
        if event is not None and "transfer" in (event.kind, chosen) and event.kind != chosen:
            raise EntryError(
                "kind",
                "a transfer moves the batch, so no other entry can be made a transfer, nor the reverse",
                "Remove this entry, and log what happened anew: a transfer asks for the vessel into which it went.",
            )
        made = replace(base, kind=chosen, at=when, gravity_sg=gravity, note=note)
        complete = hops.into(added.into(amount.into(made)))
        if complete.kind == "transfer" and target is not None:
            target.keep(record, complete)
        else:
            context.store().save(complete, forms.based(name) if event is not None else None)

    said = EVENT_WORDS[kind or "note"].lower()
    form.keep(enter, f"Saved: {said}.{added.still_to_say(kind or 'note', amount, gravity, record)}")


def _scale(instrument: Instrument, unit: str) -> _Scale:
    return _REFRACTOMETER if instrument == "refractometer" else SCALES[unit]


def _usable(value: float | None, instrument: Instrument, unit: str, temperature_c: float | None) -> float:
    """The reading, if it can be one.

    Raises
    ------
    EntryError
        If it is empty or out of range, or its temperature is.
    """
    how = _scale(instrument, unit)
    if value is None:
        raise EntryError("value", "the reading is empty", f"The usual range is {how.usual}.")
    if not how.low <= value <= how.high:
        said = f"{how.format % value} {unit} is out of range"
        raise EntryError("value", said, f"The usual range is {how.usual}.")
    if temperature_c is not None and not 0 <= temperature_c <= 60:
        raise out_of_range("temperature_c", temperature_c, "temperature", (5, 40), "Usual is {}.")
    return value


def _instrument_and_unit(sample: HandSample | None, say: Voice, name: str) -> tuple[Instrument, str]:
    instrument: Instrument = st.segmented_control(
        "Read with",
        INSTRUMENTS,
        default=sample.instrument if sample else "hydrometer",
        required=True,
        key=f"{name}/instrument",
    )
    offered = UNITS[instrument]
    wanted = sample.unit if sample else say.units.gravity_unit
    unit = offered[0]
    if len(offered) > 1:
        default = wanted if wanted in offered else offered[0]
        unit = st.segmented_control("In", offered, default=default, required=True, key=f"{name}/unit")
    return instrument, unit


def sample_form(sample: HandSample | None, record: BatchRecord, name: str) -> None:
    """A gravity read by hand: one number and Save; the rest only where it differs from the usual."""
    say = queries.voice()
    instrument, unit = _instrument_and_unit(sample, say, name)
    how = _scale(instrument, unit)
    name = f"{name} {unit}"
    sample = None if sample is None else forms.opened(name, sample)
    with forms.entry(name, say, save="Save", shows=sample, border=False) as form:
        value = form.number(
            "value",
            "Reading",
            sample.value if sample and sample.unit == unit else None,
            forms.Scale(unit, how.step, how.format, typed=forms.gravity_typed_in(unit)),
            called=f"{unit} by a hydrometer" if (instrument, unit) == ("hydrometer", "°Bx") else unit,
        )
        with st.expander("Temperature, time and the like"):
            temperature = form.number(
                "temperature_c",
                f"Temperature of the sample, if not {say.units.about(20.0, 'temperature')}",
                sample.temperature_c if sample else None,
                "temperature",
            )
            at = form.moment("at", "When, if not now", sample.at if sample else None)
            given = sample.reference if sample else REFERENCES[0]
            reference = form.choice("reference", "Scale of the hydrometer", REFERENCES, given)
            degassed = form.tick("degassed", "Degassed before reading", sample.degassed if sample else True)
            anchors = form.tick(
                "anchors_float",
                "Set the float by this sample",
                sample.anchors_float if sample else True,
                help="Float and sample then tell one gravity: what the float read since its last change (or since it "
                "went in) is moved with what it reads from now on, since it was off as well. Its fall stays as it is.",
            )
            note = form.text("note", "Note", sample.note if sample else "")
    if not form.sent:
        return
    if value is not None and unit == "SG":
        value = specific_gravity_typed(value)

    def enter() -> None:
        read = _usable(value, instrument, unit, temperature)
        when = _time_of(at or datetime.now(UTC), record, say)
        base = sample or HandSample(batch_id=record.batch_id, at=when, value=read)
        context.store().save(
            replace(
                base,
                at=when,
                instrument=instrument,
                value=read,
                unit=unit,
                temperature_c=temperature,
                reference=reference or REFERENCES[0],
                degassed=degassed,
                anchors_float=anchors,
                note=note,
            ),
            forms.based(name) if sample is not None else None,
        )

    form.keep(enter, f"Saved: hand sample {how.format % value if value is not None else ''} {unit}.")


time_of, usable = _time_of, _usable
"""For forms that enter several at once."""
