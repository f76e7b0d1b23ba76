"""Putting devices to work: take up a new one, put one into a vessel, move it, take it out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final, Literal

import streamlit as st

from analysis.wording import Voice, joined
from dashboard import context
from dashboard.templates import fill
from dashboard.ui import forms
from dashboard.wording import device as words_device
from ingest.errors import EntryError
from ingest.model import DEVICE_KINDS, SITUATIONS, Device, Placement, Vessel
from ingest.store import DeviceStatus, Store

Since = Literal["its first word", "now", "another time"]
_SINCE: Final[dict[Since, str]] = {
    "its first word": "since its first word",
    "now": "from now on",
    "another time": "since the time below",
}


def vessels(store: Store) -> list[Vessel]:
    """All vessels by name."""
    return sorted(store.all(Vessel), key=lambda v: v.name.casefold())


def vessel_label(store: Store, vessel: Vessel) -> str:
    """A vessel with what is in it."""
    batch = store.batch_in(vessel.vessel_id)
    return f"{vessel.name}: {batch.name}" if batch is not None else f"{vessel.name}, empty"


def _label(store: Store, choice: Vessel | str) -> str:
    return choice if isinstance(choice, str) else vessel_label(store, choice)


def named(store: Store, chosen: Vessel | str | None) -> Vessel | None:
    """The vessel that was chosen, or the one of the name that was typed: a new one where there is none of that name."""
    if chosen is None or isinstance(chosen, Vessel):
        return chosen
    name = chosen.strip()
    there = next((v for v in store.all(Vessel) if v.name.casefold() == name.casefold()), None)
    return there or (Vessel(name=name) if name else None)


def first_word(store: Store, device_id: str) -> datetime | None:
    """When a device first measured."""
    first = store.readings_as_sent(device_id)["measured_at"].min()
    return first if isinstance(first, datetime) else None


def now_in(store: Store, device_id: str) -> Placement | None:
    """Where a device sits now."""
    return _last(store.all(Placement, device_id=device_id)).get(device_id)


def all_now(store: Store) -> dict[str, Placement]:
    """Where each device sits now, of those that sit anywhere."""
    return _last(store.all(Placement))


def _last(placements: Iterable[Placement]) -> dict[str, Placement]:
    now, found = datetime.now(UTC), dict[str, Placement]()
    for each in placements:
        there = found.get(each.device_id)
        if (each.to_at is None or each.to_at > now) and (there is None or each.from_at > there.from_at):
            found[each.device_id] = each
    return found


def begin(store: Store, device_id: str, since: Since, other: datetime | None) -> datetime:
    """The instant from which a device sits in a vessel.

    Raises
    ------
    EntryError
        If another time was meant and none was given.
    """
    if since == "another time":
        if other is None:
            raise EntryError("from_at", "the time is missing", "Give the time at which it went in.")
        return other
    first = first_word(store, device_id) if since == "its first word" else None
    return first or datetime.now(UTC)


def put(store: Store, device: Device, vessel: Vessel | None, from_at: datetime) -> None:
    """Put a device into a vessel from an instant on, out of the one it sat in; None: into no vessel.

    A vessel that is new comes into the cellar with it.

    Raises
    ------
    EntryError
        If it sits elsewhere at that time and left no gap.
    """
    records: list[Device | Placement | Vessel] = [] if store.get(Device, device.device_id) == device else [device]
    here = now_in(store, device.device_id)
    if here is not None:
        if here.from_at >= from_at:
            raise EntryError(
                "from_at",
                f"it sits in {_name(store, here.vessel_id)} since a later time than this",
                "Give a later time, or remove that stay first.",
            )
        records.append(replace(here, to_at=from_at))
    name = device.name or device.device_id
    if vessel is not None:
        if store.get(Vessel, vessel.vessel_id) is None:
            records.append(vessel)
        records.append(Placement(device_id=device.device_id, vessel_id=vessel.vessel_id, from_at=from_at))
    where = f"Put {name} into {vessel.name}" if vessel is not None else f"Took {name} out"
    if records:
        store.save_many(records, where)


def _name(store: Store, vessel_id: str) -> str:
    vessel = store.get(Vessel, vessel_id)
    return vessel.name if vessel is not None else "another vessel"


def taken_up_elsewhere(store: Store, say: Voice) -> None:
    """Say of a device that was put to work in another window while its form was sent from here."""
    for device in store.all(Device):
        if forms.was_sent(f"take up {device.device_id}"):
            here = now_in(store, device.device_id)
            where = f" in {_name(store, here.vessel_id)} since {say.exact(here.from_at)}" if here is not None else ""
            called = device.name or device.device_id
            told = f"{called} was put to work meanwhile in another window{where}; nothing of yours is saved."
            st.html(fill('<p class="wrong" role="alert">{{ told }}</p>', told=told))


def take_up(word: DeviceStatus, say: Voice) -> None:
    """The form for a device that nobody has taken up yet."""
    store = context.store()
    choices: list[Vessel | str] = [*vessels(store)]
    heard = joined(words_device.measured(word, say)) or "nothing that we know"
    with forms.entry(f"take up {word.device_id}", say, save="Put it to work") as form:
        st.html(fill('<b>{{ id }}</b> <span class="quiet">says {{ heard }}</span>', id=word.device_id, heard=heard))
        left, middle, right = st.columns(3)
        with left:
            kind = form.choice("kind", "It is a", DEVICE_KINDS, word.kind, lambda k: words_device.KIND_WORDS[k])
            situation = form.choice(
                "situation", "It sits", SITUATIONS, "in the liquid", lambda s: words_device.SITUATION_WORDS[s]
            )
        with middle:
            chosen = form.choice(
                "vessel_id",
                "Vessel",
                choices,
                None,
                lambda v: _label(store, v),
                accept_new_options=True,
                placeholder="Choose, or type a new name" if choices else "Type the name of one",
            )
            name = form.text("name", "What you call it", "", placeholder=word.device_id)
        with right:
            since = form.choice("since", "In it", list(_SINCE), "its first word", lambda s: _SINCE[s])
            other = form.moment("from_at", "Another time", None)
    if form.sent:
        device = Device(
            device_id=word.device_id,
            kind=kind or word.kind,
            name=name,
            situation=situation or "in the liquid",
            first_seen_at=word.received_at,
        )
        vessel = named(store, chosen)
        if vessel is None and device.kind == "float":
            form.missing("vessel_id", "no vessel is chosen", "Choose one, or type the name of a new one.")
            return
        called = name or word.device_id
        said = f"{called} is put to work in {vessel.name}." if vessel else f"{called} is known, and in no vessel."
        form.keep(
            lambda: put(store, device, vessel, begin(store, word.device_id, since or "its first word", other)), said
        )


def move(device: Device, say: Voice) -> None:
    """The form that puts a known device into another vessel, or takes it out."""
    store = context.store()
    form_name = f"move {device.device_id}"
    here = forms.opened(form_name, now_in(store, device.device_id))
    choices: list[Vessel | str] = [v for v in vessels(store) if here is None or v.vessel_id != here.vessel_id]
    name = device.name or device.device_id
    with forms.entry(form_name, say, save="Put it there", shows=here) as form:
        left, middle, right = st.columns(3)
        with left:
            chosen = form.choice(
                "vessel_id",
                "Into",
                choices,
                None,
                lambda v: _label(store, v),
                accept_new_options=True,
                placeholder="Out, into no vessel" if here is not None else "Choose, or type a new name",
            )
        with middle:
            default: Since = "now" if store.all(Placement, device_id=device.device_id) else "its first word"
            since = form.choice("since", "When", list(_SINCE), default, lambda s: _SINCE[s])
        with right:
            other = form.moment("from_at", "Another time", None)
    if form.sent:
        vessel = named(store, chosen)
        if vessel is None and here is None:
            form.missing("vessel_id", "no vessel is chosen", "Choose one.")
            return
        said = f"{name} is in {vessel.name}." if vessel else f"{name} is out."

        def enter() -> None:
            sits = now_in(store, device.device_id)
            if sits is None and here is not None:
                raise EntryError("vessel_id", "changed meanwhile in another window: it was taken out", "Load the page.")
            where = (
                "" if sits is None else f"it now sits in {_name(store, sits.vessel_id)} since {say.exact(sits.from_at)}"
            )
            forms.unless_changed(form_name, sits, f"changed meanwhile in another window: {where}")
            put(store, device, vessel, begin(store, device.device_id, since or "now", other))

        form.keep(enter, said)


def stays(device: Device, say: Voice) -> None:
    """Where a device sat from when to when, each removable."""
    store = context.store()
    found = sorted(store.all(Placement, device_id=device.device_id), key=lambda p: p.from_at, reverse=True)
    for stay in found:
        with st.container(horizontal=True, vertical_alignment="center"):
            until = say.exact(stay.to_at) if stay.to_at else "now"
            name = _name(store, stay.vessel_id)
            line = '<b>{{ name }}</b> <span class="quiet">{{ since }} to {{ until }}</span>'
            st.html(fill(line, name=name, since=say.exact(stay.from_at), until=until))
            forms.remove_button(
                "Remove",
                f"remove {stay.placement_id}",
                lambda stay=stay: store.remove(stay),  # type: ignore[misc]
                f"The stay in {name} is removed.",
            )
