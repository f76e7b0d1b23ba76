"""What a batch has to do with others: whom it follows, what it is a part of, and the float that comes and goes."""

from __future__ import annotations

import functools
from datetime import UTC, datetime
from typing import Any, Final

import streamlit as st

from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import entries
from dashboard.screens.sensors import floats
from dashboard.templates import Markup, fill, join
from dashboard.ui import components, forms, plain, unfolding
from dashboard.wording import device as words_device
from dashboard.wording import follows_fully
from ingest.model import BatchRecord, Device, Vessel
from ingest.monitoring import trial_of

_AT_HAND: Final = 6
"""Floats that have a button of their own, those in no batch first; of 200 the buttons alone took half of the page's
time to be drawn. No source for six: about what fits under a thumb."""


def show(record: BatchRecord) -> None:
    """Of a batch under way."""
    say = queries.voice()
    if family := family_html(record):
        st.html(family)
    if record.ended_at is not None or context.store().floats_in(record.batch_id):
        return
    beside = queries.siblings(record, say)
    if beside.following is not None:
        told = [fill("<li>{{ line }}</li>", line=line) for line in follows_fully(beside.following, say)[1:]]
        st.html(fill('<ul class="follows">{{ lines }}</ul>', lines=join(told)))
    if beside.sample_due:
        st.html("<h2>A hand sample is due</h2>")
        entries.sample_form(None, record, "due sample")


def family_html(record: BatchRecord) -> Markup:
    """Links to what it was divided from, into or merged with, and to its lot."""
    store = context.store()

    def named(other: BatchRecord) -> Markup:
        vessel = store.get(Vessel, other.vessel_id)
        where = f"{vessel.name}: {other.name}" if vessel is not None else other.name
        return components.underlined("batch", where, id=other.batch_id)

    lines = []
    if record.divided_from is not None and (parent := store.get(BatchRecord, record.divided_from)) is not None:
        lines.append(("A part of", [named(parent)]))
    if (trial := trial_of(store, record)) is not None:
        lines.append(("Made after the trial", [components.underlined("trials", trial.name, id=trial.trial_id)]))
    if parts := store.parts_of(record.batch_id):
        lines.append(("Divided into", [named(part) for part in parts]))
    if record.merged_into is not None and (into := store.get(BatchRecord, record.merged_into)) is not None:
        lines.append(("Went into", [named(into)]))
    lot = [b for b in store.all(BatchRecord, split_of=record.split_of) if b != record] if record.split_of else []
    if lot and record.split_of is not None:
        lines.append(
            (
                "Its wort",
                [
                    components.underlined(
                        "compare", f"{record.split_of}, all laid over one another", lot=record.split_of
                    )
                ],
            )
        )
    return fill(
        '{% if lines %}<p class="lots">{% for word, links in lines %}{{ word }} '
        "{% for link in links %}{{ link }} {% endfor %}{% endfor %}</p>{% endif %}",
        lines=lines,
    )


def float_here(record: BatchRecord) -> None:
    """Two taps put a float into this vessel or take it out: among many jugs it visits each for half an hour."""
    if record.ended_at is not None or not any(d.kind == "float" for d in context.store().all(Device)):
        return
    turn = st.session_state.setdefault("float turn", 0)
    unfolding.popover("Move a float", f"move float {turn} {record.batch_id}", lambda: _move(record))


def _move(record: BatchRecord) -> None:
    """A button for each float that may be put in or taken out."""
    store = context.store()
    here = store.floats_in(record.batch_id)
    others = [d for d in floats.every(store) if d.device_id not in here]
    st.html(
        '<p class="quiet">One tap, as of now. A visit of up to three hours counts as one sample: leave it for half '
        "an hour.</p>"
    )
    for device in others[:_AT_HAND]:
        name = words_device.name_of(device.device_id, device)
        _tap(f"Put {name} in", f"in {device.device_id}", functools.partial(_put, device, record), f"{name} is in.")
    if others[_AT_HAND:]:
        _another(record, others[_AT_HAND:])
    for device_id in here:
        name = words_device.name_of(device_id, store.get(Device, device_id))
        _tap(f"Take {name} out", f"out {device_id}", functools.partial(_take, device_id), f"{name} is out.")


def _another(record: BatchRecord, floats_: list[Device]) -> None:
    """A float that has no button here: chosen by its name, and put in by the next tap."""
    key = f"another float {st.session_state['float turn']}"

    def name(device: Device) -> str:
        return words_device.name_of(device.device_id, device)

    chosen = st.selectbox("Another float", floats_, None, name, key=key, placeholder="Choose one")
    if chosen is not None:
        _tap(f"Put {name(chosen)} in", "another in", functools.partial(_put, chosen, record), f"{name(chosen)} is in.")


def _tap(label: str, key: str, enter: Any, done: str) -> None:
    with forms.one_tap(f"float {key}", "stretch"):
        pressed = st.button(plain(label), key=f"float {key}", width="stretch")
    if pressed:
        error = components.attempt(enter, done)
        if error is None:
            st.session_state["float turn"] += 1
            st.rerun()
        components.beside(error, error.field)


def _put(device: Device, record: BatchRecord) -> None:
    store, now = context.store(), datetime.now(UTC)
    vessel = store.get(Vessel, record.vessel_id)
    where = vessel.name if vessel is not None else record.name
    store.save_many(floats.placed(store, device, record.vessel_id, now), f"Put {device.device_id} into {where}")


def _take(device_id: str) -> None:
    store, now = context.store(), datetime.now(UTC)
    store.save_many(floats.taken_out(store, device_id, now), f"Took {device_id} out")
