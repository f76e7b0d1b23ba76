"""One move for several batches: where each went, when, and whether its float went along."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from analysis.wording import plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import entries
from dashboard.screens.sensors import placement
from dashboard.screens.several import choice
from dashboard.ui import forms, plain
from ingest.errors import EntryError
from ingest.model import BatchRecord, Vessel
from ingest.store import move_many


def show() -> None:
    store, say = context.store(), queries.voice()
    lot = st.query_params.get("lot")
    found = [b for b in choice.by_vessel(store) if lot is None or b.lot == lot]
    vessels = placement.vessels(store)
    if not found or len(vessels) < 2:
        st.html("<p>A move needs a batch under way and a second vessel.</p>")
        return
    st.html(
        '<p class="quiet">Choose where each went; those without a choice stay. Two may change places. Each keeps its '
        "course, and all of it is one entry.</p>"
    )
    with forms.entry("many moves", say, save="Move them", shows=[(b.batch_id, b.vessel_id) for b in found]) as form:
        at = form.moment("at", "When, if not now", None)
        along = form.tick("devices_too", "Float and probe of each went along", value=True)
        asked: list[tuple[BatchRecord, str | None]] = []
        for record, place in zip(found, choice.in_pairs(len(found)), strict=True):
            names = {v.vessel_id: plain(_label(v)) for v in vessels if v.vessel_id != record.vessel_id}
            with place:
                went = form.choice(
                    f"to/{record.batch_id}",
                    plain(choice.label(store, record)),
                    list(names),
                    None,
                    names.__getitem__,
                    placeholder="stays there",
                )
            asked.append((record, went))
    if not form.sent:
        return
    moves = [(record, vessel_id) for record, vessel_id in asked if vessel_id is not None]
    form.keep(lambda: enter(moves, at or datetime.now(UTC), along), f"Moved: {plural(len(moves), 'batch', 'batches')}.")


def enter(moves: list[tuple[BatchRecord, str]], at: datetime, along: bool) -> None:
    """Make the move.

    Raises
    ------
    EntryError
        If none is chosen, or one of them cannot have moved.
    """
    if not moves:
        raise EntryError(forms.WHOLE_FORM, "no batch has a new vessel", "Choose where at least one of them went.")
    for record, _ in moves:
        try:
            entries.time_of(at, record, queries.voice())
        except EntryError as error:
            raise EntryError("at", f"{record.name}: {error.problem}", error.usual) from None
    move_many(context.store(), moves, at, devices_too=along)


def _label(vessel: Vessel) -> str:
    return placement.vessel_label(context.store(), vessel)
