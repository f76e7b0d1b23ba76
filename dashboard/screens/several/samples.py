"""Hand samples of many vessels, a field each: those that ask for one first."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from analysis.wording import plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.batch import entries
from dashboard.screens.several import choice
from dashboard.ui import forms, plain
from ingest.errors import EntryError
from ingest.model import BatchRecord, HandSample
from ingest.monitoring import asks_for_sample, following_of


def show() -> None:
    store, say = context.store(), queries.voice()
    found = wanted(say.now)
    if not found:
        st.html("<p>No batch is under way.</p>")
        return
    unit = say.units.gravity_unit if say.units.gravity_unit in entries.SCALES else "SG"
    how = entries.SCALES[unit]
    st.html(
        '<p class="quiet">By hydrometer, degassed, at its scale\'s temperature. Leave empty what you did not read.</p>'
    )
    with forms.entry("many samples", say, save="Save the samples", shows=[b.batch_id for b in found]) as form:
        at = form.moment("at", "When, if not now", None)
        read: list[tuple[BatchRecord, float | None]] = []
        for record, place in zip(found, choice.in_pairs(len(found)), strict=True):
            with place:
                value = form.number(
                    f"value/{record.batch_id}",
                    plain(choice.label(store, record)),
                    None,
                    forms.Scale(unit, how.step, how.format, typed=forms.gravity_typed_in(unit)),
                    placeholder="not read",
                )
            read.append((record, value))
    if form.sent:
        typed = [(record, value) for record, value in read if value is not None]

        def enter() -> None:
            store.save_many(made(typed, unit, at), f"Added hand samples of {plural(len(typed), 'batch', 'batches')}")

        form.keep(enter, f"Saved: {plural(len(typed), 'hand sample')}.")


def wanted(now: datetime) -> list[BatchRecord]:
    """The batches under way, those without a float that want a sample first."""
    store, outlooks = context.store(), context.service().outlooks

    def waits(record: BatchRecord) -> bool:
        return not asks_for_sample(store, record, following_of(store, outlooks, record, now), now)

    return sorted(choice.by_vessel(store), key=waits)


def made(read: list[tuple[BatchRecord, float]], unit: str, at: datetime | None) -> list[HandSample]:
    """The samples.

    Raises
    ------
    EntryError
        Beside the field that is wrong.
    """
    if not read:
        raise EntryError("at", "no reading is typed", "Type at least one below.")
    say, when, found = queries.voice(), at or datetime.now(UTC), []
    for record, value in read:
        try:
            entries.time_of(when, record, say)
            entries.usable(value, "hydrometer", unit, None)
        except EntryError as error:
            where = "at" if error.field == "at" else f"value/{record.batch_id}"
            raise EntryError(where, f"{record.name}: {error.problem}", error.usual, error.words) from None
        found.append(HandSample(batch_id=record.batch_id, at=when, value=value, unit=unit))
    return found
