"""A batch that is divided: each part keeps the course up to then, and has its own from then on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from analysis.wording import plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import entries
from dashboard.screens.sensors import floats
from dashboard.screens.several import choice, rows
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, Record, Vessel, new_id


def show() -> None:
    store, say = context.store(), queries.voice()
    found = choice.under_way(store)
    if not found:
        st.html("<p>No batch is under way.</p>")
        return
    st.html(
        '<p class="quiet">One batch goes on in several vessels. Each part keeps all readings and entries up to the '
        "division, and has its own from then on.</p>"
    )
    asked_for = [n for n, b in enumerate(found) if b.batch_id == st.query_params.get("id")]
    left, right = st.columns(2)
    with left:
        whole = st.selectbox(
            "Which batch",
            found,
            index=asked_for[0] if asked_for else None,
            format_func=lambda b: choice.label(store, b),
            placeholder="Choose one",
        )
    with right:
        number = st.number_input("Into how many vessels", 2, rows.MOST, 2, key="parts")
    if whole is None:
        return
    st.html('<p class="quiet">The first row is what stays in its vessel; empty it where nothing does.</p>')
    vessel = store.get(Vessel, whole.vessel_id)
    with forms.entry("divide", say, save="Divide it", shows=whole, border=False) as form:
        at = form.moment("divided_at", "When, if not now", None)
        parts = [rows.ask(form, n, yeasts=None, vessel=vessel if n == 0 else None) for n in range(int(number))]
    if form.sent:
        form.keep(
            lambda: store.save_many(records(whole, at or datetime.now(UTC), parts), f"Divided {whole.name}"),
            f"{whole.name} is divided into {plural(sum(bool(row.vessel) for row in parts), 'part')}.",
        )


def records(whole: BatchRecord, at: datetime, asked: Sequence[rows.Row]) -> list[Record]:
    """The whole, which ends, and its parts.

    Raises
    ------
    EntryError
        Beside the input that is wrong.
    """
    store = context.store()
    try:
        entries.time_of(at, whole, queries.voice())
    except EntryError as error:
        raise EntryError("divided_at", error.problem, error.usual) from None
    if at <= whole.here_from:
        raise EntryError("divided_at", "it was not yet in its vessel then", "Give a later time.")
    used = rows.filled(asked)
    if len(used) < 2:
        raise EntryError("vessel_id/1", "only one vessel is chosen", "A part needs a vessel of its own.")
    _check_volumes(whole, used)
    lot = whole.split_of or whole.name
    made: list[Record] = [replace(whole, ended_at=at, split_of=lot)]
    for row in used:
        with rows.beside(row):
            vessel, new = rows.vessel_of(store, row)
            rows.check_free(store, row, vessel, at, but=whole)
            made += [vessel] if new else []
            made.append(
                replace(
                    whole,
                    batch_id=new_id("batch"),
                    vessel_id=vessel.vessel_id,
                    volume_l=row.volume_l,
                    ended_at=None,
                    split_of=lot,
                    divided_from=whole.batch_id,
                    divided_at=at,
                )
            )
            made += floats.placed(store, row.device, vessel.vessel_id, at) if row.device is not None else []
    return made


def _check_volumes(whole: BatchRecord, used: Sequence[rows.Row]) -> None:
    told = [row.volume_l for row in used if row.volume_l is not None]
    if whole.volume_l is not None and sum(told) > 2 * whole.volume_l:
        raise EntryError(
            used[0].field("volume_l"), "the parts are far more than the whole", "Look whether a figure is mistyped."
        )
