"""Reports on their way into the file: one row for each device and instant, however often and in whatever parts.

The rules of identity:

* A report that carries its own time is identified by device and instant.
* A report whose time is that of receipt (`time_flag` is set) but that has a `sequence` is identified by device,
  sequence and what it says, within `SEQUENCE_WINDOW` (a counter starts again when a device does).
* Quantities of the same device and instant that arrive apart complete one row; a second, different value for a
  quantity that is there already is a `Conflict`, and the first stays.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import polars as pl

from ingest.model import Report

QUANTITIES: Final = (
    "inclination_deg",
    "gravity_sg",
    "temperature_c",
    "battery_v",
    "battery_pct",
    "signal_dbm",
)
"""What a device can measure; each is a column of a report."""

MERGED: Final = (*QUANTITIES, "sequence", "time_flag", "extra")

SEQUENCE_WINDOW: Final = timedelta(days=14)
"""How far apart in time two reports with one sequence number can be the same report, delivered twice."""

STORED: Final = pl.Schema(
    {
        "device_key": pl.UInt16(),
        "measured_s": pl.UInt32(),
        "measured_us": pl.UInt32(),
        "delay_ms": pl.Int64(),
        **{name: pl.Float64() for name in QUANTITIES},
        "sequence": pl.Int64(),
        "time_flag": pl.String(),
        "extra": pl.String(),
    }
)
"""The columns of the table `report`."""

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)
_MILLISECOND: Final = timedelta(milliseconds=1)


@dataclass(frozen=True, slots=True)
class Conflict:
    """A quantity that came a second time for the same device and instant, with another value."""

    report: Report
    name: str
    kept: Any
    came: Any


def microseconds(when: datetime) -> int:
    """Microseconds since 1970, exactly."""
    return (when - _EPOCH) // _MICROSECOND


def identity(report: Report) -> tuple[Any, ...]:
    """What makes two reports of one batch the same reading."""
    if report.time_flag is not None and report.sequence is not None:
        return (report.device_id, "sequence", report.sequence, *(getattr(report, name) for name in QUANTITIES))
    return (report.device_id, microseconds(report.measured_at))


def merge(first: Report, second: Report) -> tuple[Report, list[Conflict]]:
    """Complete `first` by what only `second` says."""
    changes: dict[str, Any] = {}
    conflicts: list[Conflict] = []
    for name in (*QUANTITIES, "sequence"):
        kept, came = getattr(first, name), getattr(second, name)
        if kept is None:
            if came is not None:
                changes[name] = came
        elif came is not None and came != kept:
            conflicts.append(Conflict(second, name, kept, came))
    if second.extra and not second.extra.items() <= first.extra.items():
        changes["extra"] = {**second.extra, **first.extra}
    return (replace(first, **changes) if changes else first), conflicts


def fold(reports: Sequence[Report]) -> tuple[list[Report], list[Conflict]]:
    """One report for each identity, in order of first arrival."""
    by_identity: dict[tuple[Any, ...], Report] = {}
    conflicts: list[Conflict] = []
    for report in reports:
        key = identity(report)
        first = by_identity.setdefault(key, report)
        if first is not report:
            by_identity[key], found = merge(first, report)
            conflicts += found
    return list(by_identity.values()), conflicts


def to_frame(reports: Sequence[Report], keys: dict[str, int]) -> pl.DataFrame:
    """The reports as rows of the table."""
    instants = [microseconds(r.measured_at) for r in reports]
    columns: dict[str, Any] = {
        "device_key": [keys[r.device_id] for r in reports],
        "measured_s": [us // 1_000_000 for us in instants],
        "measured_us": [us % 1_000_000 for us in instants],
        "delay_ms": [(r.received_at - r.measured_at) // _MILLISECOND for r in reports],
        **{name: [getattr(r, name) for r in reports] for name in QUANTITIES},
        "sequence": [r.sequence for r in reports],
        "time_flag": [r.time_flag for r in reports],
        "extra": [json.dumps(r.extra, ensure_ascii=False, sort_keys=True) if r.extra else None for r in reports],
    }
    return pl.DataFrame(columns, schema=STORED)


def from_row(device_id: str, row: dict[str, Any]) -> Report:
    """A report from a row of the table."""
    measured_at = _EPOCH + timedelta(seconds=row["measured_s"], microseconds=row["measured_us"])
    return Report(
        device_id=device_id,
        measured_at=measured_at,
        received_at=measured_at + row["delay_ms"] * _MILLISECOND,
        sequence=row["sequence"],
        time_flag=row["time_flag"],
        extra=json.loads(row["extra"]) if row["extra"] else {},
        **{name: row[name] for name in QUANTITIES},
    )
