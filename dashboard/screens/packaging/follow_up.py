"""After packaging: log that it is done, open a test bottle after a week, and say what to do with the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Final

import streamlit as st

from analysis.packaging import DANGEROUS, HOW_TO_TEST, RESULTS, FollowUp, Result, advice, bottle_day, possible_causes
from analysis.wording import Voice, unbroken
from dashboard import context
from dashboard.templates import fill
from dashboard.ui import components, forms, lots
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, Vessel
from ingest.monitoring import (
    follow_up_of,
    follow_ups,
    looked_after,
    lot_warnings,
    related_to,
    set_aside,
    warnings_for,
    with_follow_up,
)
from ingest.store import Store

_REMIND_FOR: Final = timedelta(days=60)
_RESULT_WORDS: Final = {
    "flat": "flat",
    "right": "right",
    "gushing": "gushing, or far too lively",
    "burst": "burst by itself",
}


def packaged_at(store: Store, batch_id: str) -> datetime | None:
    """When a batch was packaged; None while it was not."""
    return max((e.at for e in store.all(EventRecord, batch_id=batch_id, kind="package")), default=None)


def earlier(store: Store, record: BatchRecord) -> list[FollowUp]:
    """The test bottles of other lots with the same wort or yeast."""
    return [found for other in related_to(record, store.all(BatchRecord)) for found in follow_ups(other.record)]


def packaged(record: BatchRecord, say: Voice) -> None:
    """Log that the batch is packaged, and end it."""
    store = context.store()
    with st.expander("It is done: log the packaging"):
        with forms.entry(f"packaged {record.batch_id}", say, save="Log it and end the batch", border=False) as form:
            at = form.moment("at", "Packaged", datetime.now(UTC))
        if form.sent:
            when = at or datetime.now(UTC)

            def enter() -> None:
                if when < record.pitched_at:
                    raise EntryError("at", "this is before the yeast was pitched", "Check the date.")
                records: list[BatchRecord | EventRecord] = [
                    EventRecord(batch_id=record.batch_id, kind="package", at=when)
                ]
                if record.ended_at is None:
                    records.append(replace(record, ended_at=when))
                store.save_many(records, f"Packaged {record.name}")

            form.keep(enter, f"{record.name} is packaged; its vessel is free.")


def show(record: BatchRecord, say: Voice) -> None:
    """The test bottle of a packaged batch."""
    store = context.store()
    when = packaged_at(store, record.batch_id)
    if when is None:
        return
    due = bottle_day(say.local(when).date())
    found = follow_up_of(record)
    if found is None:
        _still_to_test(record, due, say)
        return
    said = "a bottle burst" if found.result == "burst" else f"the test bottle was {_RESULT_WORDS[found.result]}"
    st.html(components.lead(f"{record.name}: {said}."))
    _advise(found.result)
    if causes := possible_causes(found.result):
        st.html(lots.causes_html(causes))
    note = f" {found.note}" if found.note else ""
    did = "Found" if found.result == "burst" else "Opened"
    st.html(fill('<p class="quiet">{{ did }} {{ day }}.{{ note }}</p>', did=did, day=say.dated(found.at), note=note))
    forms.remove_button(
        "Test another bottle",
        f"again {record.batch_id}",
        lambda: store.save(replace(record, plan=set_aside(record))),
        "The next test bottle is waited for; what this one showed is kept.",
    )


def _advise(result: Result) -> None:
    items = components.sentences(advice(result))
    if result in DANGEROUS:
        st.html(fill('<div class="banner" role="alert"><ul class="evidence">{{ items }}</ul></div>', items=items))
    else:
        st.html(fill('<ul class="evidence">{{ items }}</ul>', items=items))


def in_doubt(record: BatchRecord, say: Voice) -> None:
    """The lots in doubt since this one, or one that shares its wort or yeast, has gushed or burst."""
    store = context.store()
    for warning in warnings_for(record, lot_warnings(store.all(BatchRecord))):
        if warning.record.batch_id != record.batch_id:
            st.html(lots.about_html(warning, record, say))
            continue
        newest = follow_up_of(record)
        if newest is None or newest.result not in DANGEROUS:  # a later bottle does not take it back
            st.html(lots.about_html(warning, record, say))
            _advise(warning.found.result)
        st.html(lots.in_doubt_html(warning, say))
        if not warning.looked_after:
            forms.remove_button(
                "All of them are found and looked after",
                f"looked after {record.batch_id}",
                lambda: store.save(replace(record, plan=looked_after(record))),
                "The first screen no longer asks for it; the pages of these batches keep the warning.",
            )


def _still_to_test(record: BatchRecord, due: date, say: Voice) -> None:
    store = context.store()
    day = say.day(due)
    open_it = f"A test bottle was due {day}." if due < say.today() else f"Open a test bottle {day}."
    st.html(components.lead(f"{record.name} is packaged. {open_it}"))
    st.html(fill('<ol class="evidence">{{ steps }}</ol>', steps=components.sentences(HOW_TO_TEST)))
    with forms.entry(f"test bottle {record.batch_id}", say, save="Save what it showed", shows=record.plan) as form:
        result = form.choice(
            "result", "It was", RESULTS, None, lambda r: _RESULT_WORDS[r], placeholder="not opened yet"
        )
        note = form.text("note", "Note", "")
    if form.sent:
        if result is None:
            form.missing("result", "say what it was", "Flat, right, gushing or burst.")
            return
        found = FollowUp(result, say.today(), note)
        form.keep(
            lambda: store.save(replace(record, plan=with_follow_up(record, found))),
            f"The test bottle of {record.name} was {result}."
            if result != "burst"
            else f"A bottle of {record.name} burst.",
        )


def waiting(say: Voice) -> None:
    """Packaged batches whose test bottle is still to be opened."""
    store = context.store()
    rows = []
    for record in store.finished_batches():
        when = packaged_at(store, record.batch_id)
        if when is None or say.now - when > _REMIND_FOR or follow_up_of(record) is not None:
            continue
        due = bottle_day(say.local(when).date())
        vessel = store.get(Vessel, record.vessel_id)
        where = f", from {vessel.name}" if vessel else ""
        owed = "was due" if due < say.today() else "due" if due == say.today() else "on"
        says = f"Test bottle {owed} {say.day(due)}; packaged {say.day(when)}{where}"
        rows.append(components.Row(components.address("packaging", id=record.batch_id), record.name, unbroken(says)))
    if rows:
        st.subheader("Packaged, to be tested")
        st.html(components.entries(rows))
