"""Floats that go from vessel to vessel: which there are, where each sits, and putting one in or taking it out."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from dashboard.screens.sensors import placement
from dashboard.wording import device as words_device
from ingest.errors import EntryError
from ingest.model import Device, Placement, Record, Vessel
from ingest.store import Store


def every(store: Store) -> list[Device]:
    """All floats, those that sit in no batch first."""
    sits = placement.all_now(store)

    def taken(device: Device) -> bool:
        here = sits.get(device.device_id)
        return here is not None and store.batch_in(here.vessel_id) is not None

    return sorted(store.all(Device, kind="float"), key=lambda d: (taken(d), (d.name or d.device_id).casefold()))


def label(store: Store, device: Device) -> str:
    """A float with where it sits."""
    name = words_device.name_of(device.device_id, device)
    here = placement.now_in(store, device.device_id)
    vessel = store.get(Vessel, here.vessel_id) if here is not None else None
    return f"{name}, now in {vessel.name}" if vessel is not None else name


def placed(store: Store, device: Device, vessel_id: str, at: datetime) -> list[Record]:
    """A float put into a vessel at an instant, out of the one where it sat.

    Raises
    ------
    EntryError
        If it was put where it sits only after that.
    """
    here = placement.now_in(store, device.device_id)
    records: list[Record] = []
    if here is not None:
        if here.vessel_id == vessel_id:
            return []
        if here.from_at >= at:
            raise EntryError("device_id", "it sits elsewhere since a later time than this", "Give a later time.")
        records.append(replace(here, to_at=at))
    records.append(Placement(device_id=device.device_id, vessel_id=vessel_id, from_at=at))
    return records


def taken_out(store: Store, device_id: str, at: datetime) -> list[Record]:
    """A float taken out of the vessel where it sits."""
    here = placement.now_in(store, device_id)
    return [replace(here, to_at=at)] if here is not None and here.from_at < at else []
