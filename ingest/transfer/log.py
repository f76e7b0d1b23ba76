"""A log of readings into the cellar."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Final

import polars as pl

from ingest.errors import EntryError, ImportFileError
from ingest.model import BatchRecord, Device, Placement, Record
from ingest.store import QUANTITIES, Kept, Store
from ingest.transfer.log_file import mapping, read_log
from ingest.transfer.log_text import encoding_assumed
from ingest.transfer.log_times import DateOrder

Progress = Callable[[str], None]

_CHUNK: Final = 100_000


@dataclass(frozen=True, slots=True)
class ImportedLog:
    """What became of a log: `repeated` rows were there already, `conflicts` are kept as rejected messages."""

    file: str
    rows: int
    new: int
    completed: int
    repeated: int
    conflicts: int
    without_values: int
    devices: tuple[str, ...]
    first_at: str
    last_at: str
    columns: dict[str, str]
    time_zone_assumed: str | None = None
    """Times without a zone were read in this one, the cellar's own."""
    encoding_assumed: str | None = None
    """A text that is not UTF-8 was read in this encoding."""


def import_log(
    store: Store,
    path: Path,
    *,
    device_id: str | None = None,
    columns: Mapping[str, str] | None = None,
    batch_id: str | None = None,
    now: datetime | None = None,
    dates: DateOrder | None = None,
    progress: Progress = lambda _: None,
) -> ImportedLog:
    """Take in a log. The same log again changes nothing.

    Parameters
    ----------
    device_id
        Whose readings they are, where no column says so.
    columns
        Our name -> the file's name, for columns that do not bear ours; see `OURS`.
    batch_id
        Put the log's devices into this batch's vessel for the time of the log.
    now
        Aware instant after which nothing can have been read; the clock's without it.
    dates
        The order of dates such as 9/1/2026; see `read_log`.

    Raises
    ------
    ImportFileError
        If anything in the file cannot be taken in; nothing of it was kept.
    """
    found = _columns(path, columns or {}, device_id)
    progress(f"reading {path.name}")
    zone = store.preferences().time_zone
    rows, assumed = read_log(path, found, zone=zone, device_id=device_id, now=now or datetime.now(UTC), dates=dates)
    said = rows.filter(pl.any_horizontal(pl.col(QUANTITIES).is_not_null()))
    if said.is_empty():
        raise ImportFileError(path.name, "rows", "none has a value", "Look whether the columns are the right ones")
    if batch_id is not None:
        _place(store, said, batch_id, path)
    total = keep_all(
        store, said.sort("device_id", "measured_at", maintain_order=True), f"import of {path.name}", progress
    )
    instants = said["measured_at"].sort().dt.to_string("%Y-%m-%dT%H:%M:%SZ")
    return ImportedLog(
        file=path.name,
        rows=rows.height,
        new=total.new,
        completed=total.completed,
        repeated=said.height - total.new - total.completed - total.conflicts,
        conflicts=total.conflicts,
        without_values=rows.height - said.height,
        devices=tuple(said["device_id"].unique().sort()),
        first_at=instants[0],
        last_at=instants[-1],
        columns={ours: theirs for ours, theirs in found.items() if ours != theirs},
        time_zone_assumed=zone if assumed else None,
        encoding_assumed=encoding_assumed(path),
    )


def _columns(path: Path, given: Mapping[str, str], device_id: str | None) -> dict[str, str]:
    found = mapping(path, given)
    if device_id is None and "device_id" not in found:
        raise ImportFileError(
            path.name,
            "device",
            "no column says which device measured",
            "Name it: --device ID, or --column device_id=NAME",
            on_screen="Name the device that measured",
            of="device",
        )
    return found


def keep_all(store: Store, rows: pl.DataFrame, topic: str, progress: Progress) -> Kept:
    """Keep many rows (see `Store.keep_frame`) piece by piece, so that devices are not kept waiting."""
    total = Kept()
    for start in range(0, rows.height, _CHUNK):
        total += store.keep_frame(rows[start : start + _CHUNK], topic=topic)
        time.sleep(0.001)  # lets those go first who wait to write: Python's locks keep no queue
        done = min(start + _CHUNK, rows.height)
        progress(f"{done:,} of {rows.height:,} readings ({100 * done // rows.height} %)")
    store.recall_words()
    return total


def _place(store: Store, said: pl.DataFrame, batch_id: str, path: Path) -> None:
    """Put the log's devices into the batch's vessel for the log's time, as one change."""
    batch = store.get(BatchRecord, batch_id)
    if batch is None:
        raise EntryError("batch_id", f"there is no batch {batch_id!r}", "It may have been removed.")
    records: list[Record] = []
    logged = said.group_by("device_id", maintain_order=True).agg(
        pl.col("measured_at").min().alias("first"),
        pl.col("measured_at").max().alias("last"),
        pl.any_horizontal(pl.col("gravity_sg", "inclination_deg").is_not_null().any()).alias("is_float"),
    )
    for device_id, first, last, is_float in logged.iter_rows():
        if store.get(Device, device_id) is None:
            records.append(Device(device_id=device_id, kind="float" if is_float else "probe", first_seen_at=first))
        spans = store.vessels_of(batch)
        for number, span in enumerate(spans):
            # Of the time before pitching and after the end the first and the last vessel have the log.
            since = first if number == 0 else max(first, span.from_at)
            until = last + timedelta(seconds=1)
            if span is not spans[-1] and span.to_at is not None:
                until = min(until, span.to_at)
            here = store.all(Placement, device_id=device_id, vessel_id=span.vessel_id)
            if since >= until or any(p.from_at <= since and (p.to_at is None or until <= p.to_at) for p in here):
                continue
            told = sha256(f"{device_id} {batch_id} {path.name}{number or ''}".encode()).hexdigest()[:8]
            records.append(
                Placement(
                    placement_id=f"placement-{told}",
                    device_id=device_id,
                    vessel_id=span.vessel_id,
                    from_at=since,
                    to_at=until,
                )
            )
    store.save_many(records, f"Imported {path.name} into {batch.name}")
