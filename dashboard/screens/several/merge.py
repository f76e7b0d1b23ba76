"""Several batches into one: one goes on, and has the others as additions of their gravity and strength."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from analysis.attenuation import alcohol_abv_pct
from analysis.wording import joined, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import entries
from dashboard.screens.several import choice
from dashboard.ui import forms, plain
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, Record


def show() -> None:
    store, say = context.store(), queries.voice()
    found = choice.under_way(store)
    if len(found) < 2:
        st.html("<p>Fewer than two batches are under way.</p>")
        return
    st.html(
        '<p class="quiet">The others end; the one that you choose goes on in its vessel, and keeps its course. The '
        "gravity and the strength that tunroom knows of each are entered with it; correct them under What was "
        "entered.</p>"
    )
    asked_for = [n for n, b in enumerate(found) if b.batch_id == st.query_params.get("id")]
    into = st.selectbox(
        "Into which batch",
        found,
        index=asked_for[0] if asked_for else None,
        format_func=lambda b: choice.label(store, b),
        placeholder="Choose the one that goes on",
    )
    if into is None:
        return
    with forms.entry("merge", say, save="Merge them", shows=into) as form:
        at = form.moment("at", "When, if not now", None)
        others = {b.batch_id: b for b in found if b.batch_id != into.batch_id}
        got = form.several(
            "batches", "What goes into it", list(others), [], lambda k: plain(choice.label(store, others[k]))
        )
    if form.sent:
        chosen = [others[key] for key in got]
        names = joined([b.name for b in chosen])
        form.keep(
            lambda: store.save_many(records(into, chosen, at or datetime.now(UTC)), f"Merged {names} into {into.name}"),
            f"{into.name} has {plural(len(chosen), 'batch', 'batches')} more in it; their vessels are free.",
        )


def records(into: BatchRecord, chosen: Sequence[BatchRecord], at: datetime) -> list[Record]:
    """The batches that end, and what each adds to the one that goes on.

    Raises
    ------
    EntryError
        If none is chosen, or the time does not fit.
    """
    if not chosen:
        raise EntryError("batches", "no batch is chosen", "Tap those that went into it.")
    say, made = queries.voice(), list[Record]()
    for record in (into, *chosen):
        try:
            entries.time_of(at, record, say)
        except EntryError as error:
            raise EntryError("at", f"{record.name}: {error.problem}", error.usual) from None
    for record in chosen:
        gravity, strength = _now(record)
        made.append(replace(record, ended_at=at, merged_into=into.batch_id))
        made.append(
            EventRecord(
                batch_id=into.batch_id,
                kind="feed",
                at=at,
                note=f"{record.name} went in",
                added="another batch",
                amount_l=record.volume_l,
                amount_unit="L" if record.volume_l is not None else None,
                added_gravity_sg=gravity,
                added_abv_pct=strength,
            )
        )
    return made


def _now(record: BatchRecord) -> tuple[float | None, float | None]:
    """Gravity and strength of a batch, as far as they are known."""
    outlook = context.service().outlooks.latest(record.batch_id)
    a = outlook.assessment if outlook is not None else None
    if a is None or a.gravity_sg is None:
        return None, None
    original = a.original_gravity_sg.p50 if a.original_gravity_sg is not None else None
    gravity = round(a.gravity_sg.p50, 4)
    if original is None or gravity >= original:
        return gravity, None
    return gravity, round(alcohol_abv_pct(original, gravity), 1)
