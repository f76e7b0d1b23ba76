"""Rows of reports on their way into the file: what is there already stays one row, what is missing is completed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Any, Final

import polars as pl

from ingest.model import TIMES_OF_RECEIPT, Rejection, new_id
from ingest.store.duckdb_file import Cursor
from ingest.store.report_rows import HANGS_ON_RECEIPT, QUANTITIES, SAID, SEQUENCE_WINDOW, STORED, contradiction, to_text
from ingest.store.row_mapping import storable, to_row

SETTLE_AT: Final = 491_520
"""Rows of `report_new` at which they are sorted into `report_old`: four of DuckDB's row groups.

The more rows are sorted at once, the more neighbours are alike, and the longer writers wait: 6.1 bytes a reading at
four row groups, 5.2 at eight (200 devices, 10 million rows), and 0.15 s against 0.22 s in the median of a sorting.
"""

_COLUMNS: Final = ", ".join(STORED.names())
_RECEIPT: Final = ", ".join(f"'{flag}'" for flag in sorted(TIMES_OF_RECEIPT))

_KEPT: Final = " UNION ALL ".join(
    f"SELECT n, '{table}' AS kept_in, {table}.rowid AS kept_row, "
    + ", ".join(f"{table}.{name} AS kept_{name}" for name in (*SAID, "extra"))
    + f" FROM {table} JOIN incoming USING (device_key, measured_s, measured_us) "
    f"WHERE {table}.measured_s BETWEEN $low AND $high"
    for table in ("report_new", "report_old")
)

_COUNTED: Final = (
    "SELECT DISTINCT n FROM counted JOIN report USING (device_key, sequence) "
    f"WHERE report.time_flag IN ({_RECEIPT}) AND report.measured_s BETWEEN $low AND $high AND "
    + " AND ".join(f"report.{name} IS NOT DISTINCT FROM counted.{name}" for name in QUANTITIES)
)


@dataclass(frozen=True, slots=True)
class Kept:
    """How many readings were new, how many were completed, how many contradict what is kept."""

    new: int = 0
    completed: int = 0
    conflicts: int = 0

    def __add__(self, other: Kept) -> Kept:
        return Kept(self.new + other.new, self.completed + other.completed, self.conflicts + other.conflicts)


@dataclass(slots=True)
class Taken:
    """What became of rows: the indices of the new ones, of those that completed a row, and of those that contradict.

    A contradiction has a fault for each column in which the row differs from what is kept.
    """

    new: list[int] = field(default_factory=list)
    completed: list[int] = field(default_factory=list)
    conflicts: list[tuple[int, dict[str, str]]] = field(default_factory=list)


def take(cursor: Cursor, rows: pl.DataFrame) -> Taken:
    """Keep rows in the cursor's transaction.

    Parameters
    ----------
    rows
        Schema `STORED` and `n`, the index under which `Taken` speaks of a row; one for each device and instant.
    """
    taken = Taken()
    counted_before = _counted_before(cursor, rows)
    if counted_before:
        rows = rows.filter(~pl.col("n").is_in(counted_before))
    kept = _kept(cursor, rows)
    fresh = rows.join(kept, on="n", how="anti", maintain_order="left") if kept.height else rows
    if fresh.height:
        cursor.register("fresh", fresh)
        cursor.execute(f"INSERT INTO report_new SELECT {_COLUMNS} FROM fresh")
        cursor.unregister("fresh")
        taken.new = fresh["n"].to_list()
    if kept.height:
        both = rows.join(kept, on="n", maintain_order="left")
        taken.conflicts = _conflicts(both)
        taken.completed = _complete(cursor, both.filter(_GAINS))
    return taken


def compare(cursor: Cursor, rows: pl.DataFrame) -> tuple[list[int], list[tuple[int, dict[str, str]]]]:
    """Of rows whose readings are kept already: those that would complete one, and the contradictions of the others.

    Any number of rows may be of one reading (a clock that stands still, a log with dates alone).
    """
    both = rows.join(_kept(cursor, rows), on="n", how="left", maintain_order="left")
    return both.filter(_GAINS)["n"].to_list(), _conflicts(both.filter(~_GAINS))


def take_all(cursor: Cursor, rows: pl.DataFrame) -> Taken:
    """As `take`, with any number of rows for each device and instant."""
    taken = Taken()
    while rows.height:
        first = rows.unique(["device_key", "measured_s", "measured_us"], keep="first", maintain_order=True)
        now = take(cursor, first)
        taken.new += now.new
        taken.completed += now.completed
        taken.conflicts += now.conflicts
        if first.height == rows.height:
            break
        rest = rows.join(first, on="n", how="anti", maintain_order="left")
        gaining, conflicts = compare(cursor, rest)
        taken.conflicts += conflicts
        rows = rest.filter(pl.col("n").is_in(gaining))
    return taken


def _span(rows: pl.DataFrame, slack_s: int = 0) -> dict[str, int]:
    low, high = rows["measured_s"].min(), rows["measured_s"].max()
    assert isinstance(low, int)  # noqa: S101 - never null: the schema has no null instants
    assert isinstance(high, int)  # noqa: S101
    return {"low": max(low - slack_s, 0), "high": min(high + slack_s, 2**32 - 1)}


def _counted_before(cursor: Cursor, incoming: pl.DataFrame) -> list[int]:
    """The rows that a sequence number proves to be a second delivery."""
    counted = incoming.filter(HANGS_ON_RECEIPT & pl.col("sequence").is_not_null())
    if counted.is_empty():
        return []
    cursor.register("counted", counted)
    found = cursor.execute(_COUNTED, _span(counted, int(SEQUENCE_WINDOW.total_seconds()))).fetchall()
    cursor.unregister("counted")
    return [n for (n,) in found]


def _kept(cursor: Cursor, incoming: pl.DataFrame) -> pl.DataFrame:
    """The rows already kept for the same devices and instants."""
    if incoming.is_empty():
        return pl.DataFrame(schema={"n": pl.UInt32()})
    cursor.register("incoming", incoming.select("n", "device_key", "measured_s", "measured_us"))
    kept: pl.DataFrame = cursor.sql(_KEPT, params=_span(incoming)).pl().unique("n", keep="first")
    cursor.unregister("incoming")
    return kept


_GAINS: Final = pl.any_horizontal(
    *(pl.col(f"kept_{name}").is_null() & pl.col(name).is_not_null() for name in SAID),
    pl.col("extra").is_not_null() & pl.col("extra").ne_missing(pl.col("kept_extra")),
)
_CLASHES: Final = pl.any_horizontal((pl.col(name) != pl.col(f"kept_{name}")).fill_null(value=False) for name in SAID)


def _conflicts(both: pl.DataFrame) -> list[tuple[int, dict[str, str]]]:
    return [
        (
            row["n"],
            {
                name: contradiction(name, row[f"kept_{name}"])
                for name in SAID
                if None not in (row[name], row[f"kept_{name}"]) and row[name] != row[f"kept_{name}"]
            },
        )
        for row in both.filter(_CLASHES).iter_rows(named=True)
    ]


def _complete(cursor: Cursor, better: pl.DataFrame) -> list[int]:
    """Fill what kept rows lack; which rows did so."""
    if better.is_empty():
        return []
    better = better.with_columns(
        *(pl.coalesce(f"kept_{name}", name).alias(name) for name in SAID),
        pl.Series("extra", [_join(a, b) for a, b in better.select("kept_extra", "extra").iter_rows()], pl.String()),
    )
    for table in ("report_new", "report_old"):
        part = better.filter(pl.col("kept_in") == table)
        if part.height:
            cursor.register("better", part)
            cursor.execute(
                f"UPDATE {table} SET {', '.join(f'{name} = better.{name}' for name in (*SAID, 'extra'))} FROM better "
                f"WHERE {table}.rowid = better.kept_row AND {table}.measured_s BETWEEN $low AND $high",
                _span(part),
            )
            cursor.unregister("better")
    return better["n"].to_list()


def _join(kept: str | None, came: str | None) -> str | None:
    if kept is None or came is None:
        return kept or came
    return to_text({**json.loads(came), **json.loads(kept)})


def settle(cursor: Cursor) -> None:
    """Move `report_new` into `report_old`, sorted by device and time, in the cursor's transaction."""
    cursor.execute("INSERT INTO report_old SELECT * FROM report_new ORDER BY device_key, measured_s, measured_us")
    cursor.execute("DELETE FROM report_new")


def keep_rejections(cursor: Cursor, rejections: Sequence[Rejection]) -> int:
    """Keep rejected messages; how many were new.

    One that is kept already (id and bytes) changes nothing. One that bears another's id by chance gets a new one.
    """
    if not rejections:
        return 0
    ids = [rejection.rejection_id for rejection in rejections]
    seen: dict[str, bytes] = dict(
        cursor.execute(
            "SELECT rejection_id, payload FROM rejection WHERE list_contains(?::VARCHAR[], rejection_id)", [ids]
        ).fetchall()
    )
    new: list[dict[str, Any]] = []
    for rejection in rejections:
        row = to_row(rejection)
        while row["rejection_id"] in seen and seen[row["rejection_id"]] != rejection.payload:
            row["rejection_id"] = new_id("rejected")
        if row["rejection_id"] not in seen:
            seen[row["rejection_id"]] = rejection.payload
            new.append(row)
    if new:
        cursor.register("bad", pl.DataFrame(new, schema_overrides={"resolved_at": pl.Datetime("us")}))
        cursor.execute("INSERT INTO rejection BY NAME FROM bad")
        cursor.unregister("bad")
    return len(new)


def conflicting(topic: str, payload: bytes, received_at: datetime, faults: Sequence[str]) -> Rejection:
    """A message that contradicts what is kept; the same one delivered again has the same id."""
    told = sha256(b"\0".join([storable(topic).encode(), payload, *(storable(fault).encode() for fault in faults)]))
    return Rejection(
        rejection_id=f"conflict-{told.hexdigest()[:16]}",
        topic=topic,
        payload=payload,
        received_at=received_at,
        faults=tuple(faults),
    )
