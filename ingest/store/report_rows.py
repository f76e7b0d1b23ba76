"""Reports as rows: which two are the same reading, how parts of one complete each other, and how a row is laid out.

The rules of identity:

* A report that names its own instant is identified by device and instant.
* A report whose instant hangs on its receipt, but that has a `sequence`, is identified by device, sequence and what it
  says, within `SEQUENCE_WINDOW` (a counter starts again when a device does, and then says something else).
* A report with neither is a reading of its own.
* Quantities of the same device and instant that arrive apart complete one row. A second, different value for a
  quantity that is there already is a conflict: the first stays, the second's message is kept as rejected.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import polars as pl

from ingest.model import TIMES_OF_RECEIPT, Report
from ingest.store.row_mapping import storable

QUANTITIES: Final = (
    "inclination_deg",
    "gravity_sg",
    "temperature_c",
    "battery_v",
    "battery_pct",
    "signal_dbm",
)
"""What a device can measure; each is a column of a report."""

SAID: Final = (*QUANTITIES, "sequence")
"""The columns that a later report of the same instant can complete or contradict."""

SEQUENCE_WINDOW: Final = timedelta(days=30)
"""How far apart in time two reports with one sequence number can be the same report, delivered twice."""

STORED: Final = pl.Schema(
    {
        "device_key": pl.UInt16(),
        "measured_s": pl.UInt32(),
        "measured_us": pl.UInt32(),
        "delay_s": pl.Int32(),
        **{name: pl.Float64() for name in QUANTITIES},
        "sequence": pl.Int64(),
        "time_flag": pl.String(),
        "extra": pl.String(),
    }
)
"""The columns of the tables of reports."""

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_LAST: Final = datetime(2106, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)
_SECOND: Final = timedelta(seconds=1)


def microseconds(when: datetime) -> int:
    """Microseconds since 1970, exactly."""
    return (when - _EPOCH) // _MICROSECOND


def unfit(report: Report) -> str | None:
    """Why the tables cannot hold this report, as a fault; None if they can."""
    if not (_EPOCH <= report.measured_at < _LAST and _EPOCH <= report.received_at < _LAST):
        return f"$.measured_at: {report.measured_at:%Y-%m-%d} is not a time this tool can keep. Set the device's clock"
    for name in QUANTITIES:
        value = getattr(report, name)
        if value is not None and not (isinstance(value, int | float) and math.isfinite(value)):
            return f"$.{name}: {value!r} is not a number. Send a number, or leave it out"
    if report.sequence is not None and not (isinstance(report.sequence, int) and -(2**63) <= report.sequence < 2**63):
        return "$.sequence: it is not a whole number that can be counted. Count from zero"
    return None


def merge(first: Report, second: Report) -> Report | None:
    """`first`, completed by what only `second` says; None where the two contradict one another."""
    changes: dict[str, Any] = {}
    for name in SAID:
        kept, came = getattr(first, name), getattr(second, name)
        if kept is None:
            if came is not None:
                changes[name] = came
        elif came is not None and came != kept:
            return None
    if second.extra and not second.extra.items() <= first.extra.items():
        changes["extra"] = {**second.extra, **first.extra}
    return replace(first, **changes) if changes else first


def without(report: Report, names: Iterable[str]) -> Report:
    """The report, silent about some of `SAID`."""
    nothing: dict[str, Any] = dict.fromkeys(names)
    return replace(report, **nothing)


def contradiction(name: str, kept: float) -> str:
    """The fault of a message that says otherwise than what is kept."""
    return (
        f"$.{name}: conflicts with {kept:.10g} already kept for this device and instant. "
        "The first value stays; look whether two devices share one id, or a rule reads the wrong field"
    )


@dataclass(slots=True)
class Folded:
    """One report for each reading, in order of first arrival, and the messages that it was put together from.

    `later` are the reports that contradict one of these, and those of the same reading after them: what came first is
    kept first.
    """

    reports: list[Report] = field(default_factory=list)
    sources: list[list[Report]] = field(default_factory=list)
    later: list[Report] = field(default_factory=list)


def fold(reports: Sequence[Report]) -> Folded:
    """Put together the reports that belong to one reading."""
    folded = Folded()
    place: dict[tuple[Any, ...], int] = {}
    put_off: set[tuple[Any, ...]] = set()
    taken: set[tuple[str, datetime]] = set()
    for report in reports:
        counted = report.sequence is not None and not report.own_instant
        key: tuple[Any, ...] = (report.device_id, report.measured_at)
        if counted:
            key = (report.device_id, report.sequence, *(getattr(report, name) for name in QUANTITIES))
        if key in place:
            n = place[key]
            both = None if key in put_off else merge(folded.reports[n], report)
            if both is None:
                put_off.add(key)
                folded.later.append(report)
            else:
                folded.reports[n] = both
                folded.sources[n].append(report)
            continue
        moved = report
        while counted and (moved.device_id, moved.measured_at) in taken:  # a pack read at one instant of receipt
            moved = replace(moved, measured_at=moved.measured_at + _MICROSECOND)
        taken.add((moved.device_id, moved.measured_at))
        place[key] = len(folded.reports)
        folded.reports.append(moved)
        folded.sources.append([report])
    return folded


def told_apart(
    sources: Sequence[Sequence[Report]], conflicts: Iterable[tuple[int, Mapping[str, str]]]
) -> list[tuple[Report, list[str]]]:
    """Of each contradiction the messages that brought it, with the faults."""
    return [
        (source, [fault])
        for n, faults in conflicts
        for name, fault in faults.items()
        for source in sources[n]
        if getattr(source, name) is not None
    ]


def to_frame(reports: Sequence[Report], keys: Mapping[str, int]) -> pl.DataFrame:
    """The reports as rows of the tables, numbered: `n` and schema `STORED`."""
    instants = [microseconds(r.measured_at) for r in reports]
    columns: dict[str, Any] = {
        "device_key": [keys[r.device_id] for r in reports],
        "measured_s": [us // 1_000_000 for us in instants],
        "measured_us": [us % 1_000_000 for us in instants],
        "delay_s": [(r.received_at - r.measured_at) // _SECOND for r in reports],
        **{name: [getattr(r, name) for r in reports] for name in QUANTITIES},
        "sequence": [r.sequence for r in reports],
        "time_flag": [r.time_flag and storable(r.time_flag) for r in reports],
        "extra": [to_text(r.extra) for r in reports],
    }
    return pl.DataFrame(columns, schema=STORED).with_row_index("n")


def from_frame(rows: pl.DataFrame, keys: Mapping[str, int]) -> pl.DataFrame:
    """Rows with `device_id`, `measured_at` and any other fields of a report, as numbered rows of the tables."""
    missing = [pl.lit(None, dtype).alias(name) for name, dtype in STORED.items() if name not in rows.columns]
    microsecond = pl.col("measured_at").dt.epoch("us")
    received = pl.col("received_at" if "received_at" in rows.columns else "measured_at").dt.epoch("us")
    stored = rows.with_columns(missing).select(
        pl.col("device_id").replace_strict(dict(keys), return_dtype=pl.UInt16()).alias("device_key"),
        (microsecond // 1_000_000).cast(pl.UInt32()).alias("measured_s"),
        (microsecond % 1_000_000).cast(pl.UInt32()).alias("measured_us"),
        ((received - microsecond) // 1_000_000).cast(pl.Int32()).alias("delay_s"),
        *(pl.col(name).cast(dtype) for name, dtype in STORED.items() if name in (*SAID, "time_flag", "extra")),
    )
    return stored.with_row_index("n")


def to_text(extra: Mapping[str, Any]) -> str | None:
    """The keys that nobody asked for, as they are stored."""
    return storable(json.dumps(extra, ensure_ascii=False, sort_keys=True, default=str)) if extra else None


def from_row(device_id: str, row: Mapping[str, Any]) -> Report:
    """A report from a row of the tables."""
    measured_at = _EPOCH + timedelta(seconds=row["measured_s"], microseconds=row["measured_us"])
    return Report(
        device_id=device_id,
        measured_at=measured_at,
        received_at=measured_at + row["delay_s"] * _SECOND,
        sequence=row["sequence"],
        time_flag=row["time_flag"],
        extra=json.loads(row["extra"]) if row["extra"] else {},
        **{name: row[name] for name in QUANTITIES},
    )


HANGS_ON_RECEIPT: Final = pl.col("time_flag").is_in(sorted(TIMES_OF_RECEIPT)).fill_null(value=False)
"""Rows of `STORED` whose instant is not the device's own."""
