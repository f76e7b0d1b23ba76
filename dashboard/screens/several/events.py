"""One event for chosen vessels: what happened once, when, and in which of them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

import streamlit as st

from analysis.model import EventKind
from analysis.wording import EVENT_WORDS, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import entries, hop_form
from dashboard.screens.several import choice
from dashboard.templates import fill
from dashboard.ui import components, forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord

KINDS: Final[tuple[EventKind, ...]] = (
    "dry hop",
    "hops out",
    "crash",
    "warm",
    "nutrient",
    "float moved",
    "note",
)
"""What is done to many at once; additions differ by vessel, and packaging is confirmed one by one."""


def show() -> None:
    store, say = context.store(), queries.voice()
    if not store.active_batches():
        st.html("<p>No batch is under way.</p>")
        return
    _lot_line()
    kind: EventKind | None = st.segmented_control(
        "What happened", KINDS, format_func=EVENT_WORDS.__getitem__, key="many kind"
    )
    if kind is None:  # one that stands chosen before anyone has said so is logged by mistake
        st.html('<p class="quiet">Choose what happened; then when, and in which vessels.</p>')
        return
    with forms.entry("many events", say, save="Log it for all", shows=(kind, st.query_params.get("lot"))) as form:
        chosen = choice.several(form)
        at = form.moment("at", "When, if not now", None)
        hops = _hops(form) if kind == "dry hop" else None
        note = form.text("note", "Note", "")
    if not form.sent:
        return

    logged = f"Logged: {EVENT_WORDS[kind].lower()}, for {plural(len(chosen), 'batch', 'batches')}"
    form.keep(lambda: store.save_many(made(kind, chosen, at, note, hops), logged), f"{logged}.")


def made(
    kind: EventKind,
    chosen: list[BatchRecord],
    at: datetime | None,
    note: str,
    hops: tuple[float | None, hop_form.Hops] | None,
) -> list[EventRecord]:
    """The event of each batch.

    Raises
    ------
    EntryError
        If none is chosen, or the time does not fit one of them.
    """
    if not chosen:
        raise EntryError("batches", "no vessel is chosen", "Tap those in which it happened.")
    say, when = queries.voice(), at or datetime.now(UTC)
    found = []
    for record in chosen:
        try:
            entries.time_of(when, record, say)
        except EntryError as error:
            raise EntryError("at", f"{record.name}: {error.problem}", error.usual) from None
        event = EventRecord(batch_id=record.batch_id, kind=kind, at=when, note=note)
        if hops is not None:
            amount, what = hops
            event = what.into(hop_form.with_grams(event, amount))
        found.append(event)
    return found


def _hops(form: forms.Form) -> tuple[float | None, hop_form.Hops]:
    return hop_form.grams(form, {}), hop_form.Hops.ask(form, None)


def _lot_line() -> None:
    """A tap chooses all vessels of a wort."""
    links = [
        components.underlined("several", text, part=st.query_params.get("part", "event"), lot=lot)
        for lot, text in choice.lot_links()
    ]
    if links:
        st.html(fill('<p class="lots">All of: {% for l in links %}{{ l }} {% endfor %}</p>', links=links))
