"""Readings that a device made in a batch's time, before it is said to have come into the vessel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from ingest.model import BatchRecord, Device, Placement
from ingest.store import Span, Store


@dataclass(frozen=True, slots=True)
class LateReadings:
    """So many readings of a device from `first_at` on lie before its stay; `stay` begins where they would count."""

    device: Device
    stay: Placement
    count: int
    first_at: datetime
    until: datetime


def before_their_place(store: Store, record: BatchRecord) -> list[LateReadings]:
    """Readings since pitching that count for no batch, since their device is said to have come in later.

    A float that sends what it kept sends it after it was put to work. What it read in another vessel is left there.
    """
    found: list[LateReadings] = []
    for here in store.vessels_of(record):
        found += _before(store, here)
    return found


def _before(store: Store, here: Span) -> list[LateReadings]:
    """In one of the vessels in which the batch was."""
    found = []
    for stay in store.all(Placement, vessel_id=here.vessel_id):
        device = store.get(Device, stay.device_id)
        if device is None or stay.from_at <= here.from_at:
            continue
        if here.to_at is not None and stay.from_at >= here.to_at:
            continue
        earlier = [p for p in store.all(Placement, device_id=stay.device_id) if p.from_at < stay.from_at]
        free_from = max([here.from_at, *(p.to_at or stay.from_at for p in earlier)])
        if free_from >= stay.from_at:
            continue
        rows = store.readings_as_sent(stay.device_id, since=free_from, until=stay.from_at)
        times = rows["measured_at"].filter(rows["measured_at"] < stay.from_at)
        first = times.min()
        if isinstance(first, datetime) and store.get_note(_note(stay)) is None:
            found.append(LateReadings(device, replace(stay, from_at=first), times.len(), first, stay.from_at))
    return found


def leave_out(store: Store, late: LateReadings) -> None:
    """Offer these no more, nor others that come before the same place."""
    name = late.device.name or late.device.device_id
    store.change_note(_note(late.stay), "left out", f"Left out what {name} read before its place")


def _note(stay: Placement) -> str:
    return f"left out before {stay.placement_id}"
