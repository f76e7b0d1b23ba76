"""Dry hops: which, how much, in which form and for how long, asked when they are logged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import streamlit as st

from analysis.wording import Voice
from dashboard import context
from dashboard.queries import queries
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import HOP_FORMS, BatchRecord, EventRecord, HopForm
from ingest.store import Store


def varieties(store: Store) -> list[str]:
    """Every variety as it was typed before, the most used first."""
    typed = Counter(e.hop_variety for e in store.all(EventRecord) if e.hop_variety)
    return [name for name, _ in sorted(typed.items(), key=lambda each: (-each[1], each[0].casefold()))]


def planned_dose(store: Store, record: BatchRecord) -> Mapping[str, Any]:
    """The dose that comes next of those planned for the batch, as last time; empty where none is."""
    doses = record.plan.get("hops") or []
    logged = len(store.all(EventRecord, batch_id=record.batch_id, kind="dry hop"))
    dose = doses[logged] if isinstance(doses, list) and logged < len(doses) else {}
    return dose if isinstance(dose, dict) else {}


@dataclass(frozen=True, slots=True)
class Hops:
    """What went in besides the amount; anything may be unknown."""

    variety: str | None
    form: HopForm | None
    contact_days: float | None

    @classmethod
    def ask(cls, form: forms.Form, given: EventRecord | Mapping[str, Any] | None) -> Hops:
        """The three inputs, filled in from the event or from what was planned."""
        filled = _given(given)
        offered, variety = varieties(context.store()), filled.get("hop_variety")
        with st.container(key=f"pairs hops {form.name}"):
            left, right = st.columns(2)
            with left:
                named = form.choice(
                    "hop_variety",
                    "Hop variety",
                    [*offered, *([variety] if variety and variety not in offered else [])],
                    variety,
                    accept_new_options=True,
                    placeholder="as you call it",
                )
            with right:
                made = form.choice("hop_form", "Form", HOP_FORMS, filled.get("hop_form"), placeholder="not said")
        days = form.number(
            "contact_days",
            "They stay in for",
            filled.get("contact_days"),
            called="days",
            step=0.5,
            placeholder="as planned",
        )
        return cls((named or "").strip() or None, made, days)

    def into(self, event: EventRecord) -> EventRecord:
        """The event with these hops; of any other event what stands is kept."""
        if event.kind != "dry hop":
            return event
        return replace(event, hop_variety=self.variety, hop_form=self.form, contact_days=self.contact_days)


def _given(given: EventRecord | Mapping[str, Any] | None) -> Mapping[str, Any]:
    if isinstance(given, EventRecord):
        return {name: getattr(given, name) for name in ("hop_variety", "hop_form", "contact_days")}
    return given or {}


def grams(form: forms.Form, given: Mapping[str, Any]) -> float | None:
    """How much went in."""
    return form.number("amount_g", "Amount", given.get("amount_g"), "mass", placeholder="not weighed")


def quick(record: BatchRecord, logged: Callable[[], None]) -> None:
    """The dose that goes in now: what, how much, for how long; one tap more where it was planned, as last time."""
    store, say = context.store(), queries.voice()
    planned = planned_dose(store, record)
    with forms.entry("quick hops", say, save="The hops are in", shows=(record.batch_id, planned), border=False) as form:
        amount = grams(form, planned)
        hops = Hops.ask(form, planned)
    if not form.sent:
        return

    def enter() -> None:
        at = datetime.now(UTC)
        store.save(hops.into(with_grams(EventRecord(batch_id=record.batch_id, kind="dry hop", at=at), amount)))

    form.keep(enter, "Logged: dry hops added, just now.", then=logged)


def with_grams(event: EventRecord, amount_g: float | None) -> EventRecord:
    """The event with this amount.

    Raises
    ------
    EntryError
        If it is below nothing.
    """
    if amount_g is not None and amount_g < 0:
        raise EntryError("amount_g", "the amount is below nothing", "Leave it empty if it was not weighed.")
    return replace(event, amount_g=amount_g)


def words(event: EventRecord, volume_l: float | None, say: Voice) -> str:
    """The hops of an event in words: ``Osprey pellets, 40 g, 2.0 g/L, for 3 days``; empty where nothing is known."""
    parts = [" ".join(filter(None, (event.hop_variety, event.hop_form)))]
    if event.amount_g is not None:
        parts.append(say.units.mass(event.amount_g))
        if volume_l:
            parts.append(say.units.concentration(event.amount_g / volume_l))
    if event.contact_days is not None:
        days = f"{event.contact_days:g}"
        parts.append(f"for {days} {'day' if days == '1' else 'days'}")
    return ", ".join(filter(None, parts))
