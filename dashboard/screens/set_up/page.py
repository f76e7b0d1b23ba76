"""Vessels, batches, yeasts, units, messages, imports, health: what is missing stands first."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

import streamlit as st

from analysis.wording import capital, plural
from dashboard import access, context
from dashboard.queries import Lack, queries, setup_checklist
from dashboard.screens.batch import edit
from dashboard.screens.set_up import cellar, health, import_log, notifications
from dashboard.screens.set_up import vessels as entry_vessel
from dashboard.templates import Markup, fill
from dashboard.ui import components, plain
from ingest.model import BatchRecord, Vessel, Yeast


def show() -> None:
    store = context.store()
    part = st.query_params.get("part", "")
    if part not in _PARTS:
        part = "batches" if store.all(Vessel) else "vessels"
    found = setup_checklist.lacks(store, store.device_statuses(), st.context.timezone)
    if notice := access.notice():
        found.insert(0, Lack(notice, "how-it-works", {"part": "keep-it-safe"}, urgent=True))
    st.html(components.lead(_lead(found)) + _list(found) + _nav(part))
    _PARTS[part][1]()


def _lead(found: list[Lack]) -> str:
    if any(lack.urgent for lack in found):
        return f"{capital(plural(len(found), 'thing'))} {'is' if len(found) == 1 else 'are'} missing."
    if found:
        better = plural(len(found), "thing")
        return f"Everything needed is set up; {better} could be better."
    return "Everything is set up."


def _list(found: list[Lack]) -> Markup:
    if not found:
        return Markup()
    return fill(
        '<ul class="missing">{% for lack, link in lacks %}<li class="{% if lack.urgent %}urgent{% endif %}">'
        "{{ link }}</li>{% endfor %}</ul>",
        lacks=[
            (lack, components.underlined(lack.page, lack.sentence, **lack.query))
            for lack in sorted(found, key=lambda lack: not lack.urgent)
        ],
    )


def _nav(part: str) -> Markup:
    return fill(
        '<nav aria-label="Parts of set up"><ul class="parts">{% for name, label, to in parts %}'
        '<li><a href="{{ to }}" data-go="{{ to }}"{% if name == here %} aria-current="page"{% endif %}>'
        "{{ label }}</a></li>{% endfor %}</ul></nav>",
        parts=[(name, label, components.address("set-up", part=name)) for name, (label, _) in _PARTS.items()],
        here=part,
    )


def _entries(part: str, chosen: str, rows: Iterable[tuple[str, str, str]]) -> None:
    """A list of entries to choose from: (id, name, what is said of it)."""
    listed = [
        components.Row(components.address("set-up", part=part, id=key), name, says, current=key == chosen)
        for key, name, says in rows
    ]
    if listed:
        st.html(components.entries(listed))


def batches() -> None:
    """Those under way, one to be changed, a new one, and those that have ended."""
    store, say = context.store(), queries.voice()
    chosen = st.query_params.get("id", "")
    vessels = {v.vessel_id: v.name for v in store.all(Vessel)}
    active, ended = store.active_batches(), store.finished_batches()

    def says(b: BatchRecord) -> str:
        parts = [
            vessels.get(b.vessel_id, ""),
            b.drink,
            b.yeast or "",
            f"pitched {say.dated(say.local(b.pitched_at).date())}",
        ]
        return ", ".join(p for p in parts if p)

    _entries("batches", chosen, [(b.batch_id, b.name, says(b)) for b in active])
    record = store.get(BatchRecord, chosen) if chosen else None
    if record is not None:
        st.subheader(plain(record.name), anchor="chosen")
        edit.edit_batch(record)
    if not vessels:
        st.html(fill("<p>{{ link }}</p>", link=components.underlined("set-up", "Add a vessel first", part="vessels")))
        return
    with st.expander("Add a batch", expanded=record is None and not active):
        edit.new_batch()
    if ended:
        with st.expander(capital(plural(len(ended), "batch has ended", "batches have ended"))):
            _entries("batches", chosen, [(b.batch_id, b.name, says(b)) for b in ended])


def vessels() -> None:
    """All vessels, one to be changed, a new one."""
    store, say = context.store(), queries.voice()
    chosen = st.query_params.get("id", "")
    known = sorted(store.all(Vessel), key=lambda v: v.name.casefold())
    _entries("vessels", chosen, [(v.vessel_id, *entry_vessel.vessel_words(v, say)) for v in known])
    vessel = store.get(Vessel, chosen) if chosen else None
    if vessel is not None:
        st.subheader(plain(vessel.name), anchor="chosen")
        entry_vessel.edit_vessel(vessel)
    with st.expander("Add a vessel", expanded=not known):
        entry_vessel.edit_vessel(None)


def yeasts() -> None:
    """All yeasts, one to be changed, a new one."""
    store = context.store()
    chosen = st.query_params.get("id", "")
    known = sorted(store.all(Yeast), key=lambda y: y.name.casefold())
    _entries("yeasts", chosen, [(y.yeast_id, y.name, _expected(y)) for y in known])
    yeast = store.get(Yeast, chosen) if chosen else None
    if yeast is not None:
        st.subheader(plain(yeast.name), anchor="chosen")
        entry_vessel.edit_yeast(yeast)
    with st.expander("Add a yeast", expanded=not known):
        entry_vessel.edit_yeast(None)


def _expected(yeast: Yeast) -> str:
    ends = [f"{100 * v:.0f}" for v in (yeast.attenuation_low, yeast.attenuation_high) if v is not None]
    expected = f"{' to '.join(ends)} % attenuation expected" if ends else "no attenuation given"
    return f"{expected}, diastatic" if yeast.diastatic else expected


_PARTS: Final[dict[str, tuple[str, Callable[[], None]]]] = {
    "batches": ("Batches", batches),
    "vessels": ("Vessels", vessels),
    "yeasts": ("Yeasts", yeasts),
    "cellar": ("Units and days", cellar.edit),
    "word": ("Messages and calendar", notifications.show),
    "import": ("Import", import_log.show),
    "health": ("Health and undo", health.show),
}
