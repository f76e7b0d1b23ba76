"""A batch moves from one vessel into another at a time, with its history; as one change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from ingest.errors import EntryError
from ingest.model import BatchRecord, BatchStay, EventRecord, Placement, Record, Vessel
from ingest.store.meanwhile import Based
from ingest.store.store import Store


def move(
    store: Store,
    record: BatchRecord,
    vessel_id: str,
    at: datetime,
    *,
    devices_too: bool,
    event: EventRecord | None,
    based: Based | None = None,
) -> None:
    """Move a batch into another vessel from an instant on; its readings follow where it was.

    Parameters
    ----------
    record
        The batch with whatever else was changed of it; its vessel is set here.
    devices_too
        Whether what sat in its vessel went along; otherwise it stays there.
    event
        The transfer as it was entered; None makes one.
    based
        What `record` was edited from.

    Raises
    ------
    EntryError
        If the batch was there already, or the other vessel is taken at that time.
    """
    entries = _entries(store, record, vessel_id, at, devices_too=devices_too, event=event)
    store.save_many(entries, f"Moved {record.name} into {_name(store, vessel_id)}", based)


def move_many(store: Store, moves: Sequence[tuple[BatchRecord, str]], at: datetime, *, devices_too: bool) -> None:
    """Move several batches at one time, each into its vessel, as one change; they may also change places.

    Raises
    ------
    EntryError
        If one of them cannot have moved: then none has.
    """
    entries: list[Record] = []
    taken: dict[str, str] = {}
    for record, vessel_id in moves:
        if (other := taken.setdefault(vessel_id, record.name)) != record.name:
            where = _name(store, vessel_id)
            raise EntryError(
                "vessel_id", f"{other} and {record.name} both go into {where}", "Choose one vessel for each."
            )
        try:
            entries += _entries(store, record, vessel_id, at, devices_too=devices_too, event=None)
        except EntryError as error:
            raise EntryError(error.field, f"{record.name}: {error.problem}", error.usual) from error
    store.save_many(entries, f"Moved {len(moves)} batches" if len(moves) > 1 else f"Moved {moves[0][0].name}")


def _name(store: Store, vessel_id: str) -> str:
    vessel = store.get(Vessel, vessel_id)
    return vessel.name if vessel else vessel_id


def _entries(
    store: Store, record: BatchRecord, vessel_id: str, at: datetime, *, devices_too: bool, event: EventRecord | None
) -> list[Record]:
    """What a move changes."""
    before = store.get(BatchRecord, record.batch_id) or record
    spans = store.vessels_of(before)
    here = next((span for span in reversed(spans) if span.has(at)), None)
    if here is None:
        raise EntryError("at", "the batch had not been pitched, or had ended by then", "Correct the time of the move.")
    if here.vessel_id == vessel_id:
        raise EntryError("vessel_id", "it was in that vessel already", "Choose the vessel into which it went.")
    logged = event or EventRecord(batch_id=record.batch_id, kind="transfer", at=at)
    latest = here is spans[-1]
    moved = replace(record, vessel_id=vessel_id if latest else before.vessel_id)
    first = [] if store.all(BatchStay, batch_id=record.batch_id) else [_first_stay(before, spans[0].vessel_id)]
    stay = BatchStay(stay_id=logged.event_id, batch_id=record.batch_id, vessel_id=vessel_id, from_at=at)
    entries: list[Record] = [moved, *first, stay, logged]
    if devices_too:
        entries += _taken_along(store, here.vessel_id, vessel_id, at)
    return entries


def _first_stay(record: BatchRecord, vessel_id: str) -> BatchStay:
    return BatchStay(
        stay_id=f"stay-{record.batch_id}", batch_id=record.batch_id, vessel_id=vessel_id, from_at=record.here_from
    )


def _taken_along(store: Store, left: str, entered: str, at: datetime) -> list[Placement]:
    found = []
    for sits in store.all(Placement, vessel_id=left):
        if sits.from_at < at and (sits.to_at is None or sits.to_at > at):
            found.append(replace(sits, to_at=at))
            found.append(Placement(device_id=sits.device_id, vessel_id=entered, from_at=at, to_at=sits.to_at))
    return found
