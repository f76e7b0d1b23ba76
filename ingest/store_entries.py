"""What people entered: kept in memory as well as in the file, checked against one another, journalled, undoable."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, TypeVar, cast

from ingest.errors import EntryError
from ingest.model import (
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Placement,
    Preferences,
    Record,
    Vessel,
    Yeast,
)
from ingest.records import BY_NAME, ENTRIES, TABLES, from_row, key_of, to_json, to_row
from ingest.store_file import Cursor, StoreFile

R = TypeVar("R")

_FAR: Final = datetime.max.replace(tzinfo=UTC)

_PARTS: Final[dict[type, tuple[tuple[type, str], ...]]] = {
    BatchRecord: ((EventRecord, "batch_id"), (HandSample, "batch_id")),
    Device: ((CalibrationRecord, "device_id"), (Placement, "device_id")),
    Vessel: ((Placement, "vessel_id"),),
}
"""What goes away with a record, and comes back with it."""


@dataclass(frozen=True, slots=True)
class Change:
    """One line of the journal."""

    change_id: int
    at: datetime
    sentence: str
    undone: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One record before and after a change; None where there was none."""

    before: Record | None
    after: Record | None

    def reversed(self) -> Step:
        """The step that takes this one back."""
        return Step(self.after, self.before)


class Entries:
    """All entries of the cellar. Every write is one transaction with its line in the journal."""

    def __init__(self, file: StoreFile) -> None:
        self._file = file
        self.revision = 0
        self._records: dict[type, dict[str, Any]] = {}
        self.load()

    def load(self) -> None:
        """Read everything from the file."""
        records: dict[type, dict[str, Any]] = {}
        for cls in ENTRIES:
            names = [c.name for c in TABLES[cls].columns]
            rows = self._file.read(f"SELECT {TABLES[cls].names} FROM {TABLES[cls].name}")  # noqa: S608 - our own names
            found = [from_row(cls, dict(zip(names, row, strict=True))) for row in rows]
            records[cls] = {key_of(record): record for record in found}
        self._records = records

    # -- reading

    def all(self, cls: type[R], **equals: object) -> list[R]:
        """The records of a class whose fields have these values, in the order they were first saved."""
        return [
            record
            for record in list(self._records[cls].values())
            if all(getattr(record, name) == value for name, value in equals.items())
        ]

    def get(self, cls: type[R], key: str) -> R | None:
        """The record with this id."""
        return cast("R | None", self._records[cls].get(key))

    def changes(self, limit: int) -> list[Change]:
        """The newest lines of the journal."""
        rows = self._file.read(
            'SELECT change_id, "at", sentence, undone_at IS NOT NULL FROM change ORDER BY change_id DESC LIMIT ?',
            [limit],
        )
        return [Change(number, at.replace(tzinfo=UTC), sentence, undone) for number, at, sentence, undone in rows]

    # -- writing

    def save(self, record: Record) -> None:
        """Insert or replace a record by its id."""
        with self._file.writing() as cursor:
            self.check(record)
            before = self.get(type(record), key_of(record))
            if before == record:
                return
            steps = [Step(before, record)]
            self._carry_out(cursor, steps)
            self._journal(cursor, f"{'Changed' if before else 'Added'} {self.describe(record)}", steps)
        self._remember(steps)

    def save_many(self, records: Sequence[Record], sentence: str) -> int:
        """Insert or replace many records as one change; how many differed from what was there."""
        with self._file.writing() as cursor:
            steps = [
                Step(before, record)
                for record in records
                if (before := self.get(type(record), key_of(record))) != record
            ]
            if steps:
                self._carry_out(cursor, steps)
                self._journal(cursor, sentence, steps)
        self._remember(steps)
        return len(steps)

    def remove(self, record: Record) -> None:
        """Remove a record and its parts, as one change."""
        with self._file.writing() as cursor:
            here = self.get(type(record), key_of(record))
            if here is None:
                return
            if isinstance(record, Vessel) and (held := self.all(BatchRecord, vessel_id=record.vessel_id)):
                raise EntryError(
                    "vessel_id",
                    f"{record.name} holds {held[-1].name} and {len(held) - 1} more"
                    if held[1:]
                    else f"{record.name} holds {held[-1].name}",
                    "Move or remove its batches first.",
                )
            steps = [
                Step(part, None)
                for cls, name in _PARTS.get(type(record), ())
                for part in self.all(cls, **{name: key_of(record)})
            ]
            steps.append(Step(here, None))
            self._carry_out(cursor, steps)
            self._journal(cursor, f"Removed {self.describe(here)}", steps)
        self._remember(steps)

    def undo(self) -> str | None:
        """Take back the newest change that still stands; say which, or None where there is none."""
        with self._file.writing() as cursor:
            found = cursor.execute(
                "SELECT change_id, sentence, steps FROM change WHERE undone_at IS NULL ORDER BY change_id DESC LIMIT 1"
            ).fetchall()
            if not found:
                return None
            [(number, sentence, text)] = found
            steps = [step.reversed() for step in reversed(_read_steps(text))]
            self._carry_out(cursor, steps)
            cursor.execute("UPDATE change SET undone_at = ? WHERE change_id = ?", [_now(), number])
        self._remember(steps)
        return f"Taken back: {sentence}"

    def _carry_out(self, cursor: Cursor, steps: Sequence[Step]) -> None:
        for step in steps:
            record = step.after or step.before
            assert record is not None  # noqa: S101 - a step has at least one side
            table = TABLES[type(record)]
            cursor.execute(f"DELETE FROM {table.name} WHERE {table.key} = ?", [key_of(record)])  # noqa: S608 - our names
            if step.after is not None:
                row = to_row(step.after)
                marks = ", ".join("?" * len(row))
                cursor.execute(
                    f"INSERT INTO {table.name} ({table.names}) VALUES ({marks})",  # noqa: S608 - our own names
                    list(row.values()),
                )

    def _journal(self, cursor: Cursor, sentence: str, steps: Sequence[Step]) -> None:
        cursor.execute(
            "INSERT INTO change SELECT coalesce(max(change_id), 0) + 1, ?, ?, ?, NULL FROM change",
            [_now(), sentence, _write_steps(steps)],
        )

    def _remember(self, steps: Sequence[Step]) -> None:
        """Take committed steps over into memory; dicts are replaced whole, so that readers need no lock."""
        if not steps:
            return
        changed = dict(self._records)
        for step in steps:
            record = step.after or step.before
            kept = dict(changed[type(record)])
            if step.after is None:
                kept.pop(key_of(record), None)
            else:
                kept[key_of(step.after)] = step.after
            changed[type(record)] = kept
        self._records = changed
        self.revision += 1

    # -- sense

    def describe(self, record: Record) -> str:
        """A record in a few words, for the journal."""
        match record:
            case Device():
                return f"device {record.name or record.device_id}"
            case Vessel():
                return f"vessel {record.name}"
            case Yeast():
                return f"yeast {record.name}"
            case BatchRecord():
                return f"batch {record.name}"
            case Placement():
                return f"device {self._device(record.device_id)} in {self._vessel(record.vessel_id)}"
            case EventRecord():
                return f"event {record.kind} of {self._batch(record.batch_id)}"
            case HandSample():
                return f"hand sample {record.value:g} {record.unit} of {self._batch(record.batch_id)}"
            case CalibrationRecord():
                return f"calibration ({record.kind}) of {self._device(record.device_id)}"
            case Preferences():
                return "preferences"

    def _device(self, key: str) -> str:
        found = self.get(Device, key)
        return found.name or key if found else key

    def _vessel(self, key: str) -> str:
        found = self.get(Vessel, key)
        return found.name if found else key

    def _batch(self, key: str) -> str:
        found = self.get(BatchRecord, key)
        return found.name if found else key

    def check(self, record: Record) -> None:
        """Refuse what contradicts the other entries.

        Raises
        ------
        EntryError
            With the field that it belongs beside.
        """
        match record:
            case Vessel() | Yeast():
                for other in self.all(type(record)):
                    if key_of(other) != key_of(record) and other.name.casefold() == record.name.casefold():
                        raise EntryError("name", f"there is another {TABLES[type(record)].name} named {other.name}")
            case BatchRecord():
                self._need(Vessel, record.vessel_id, "vessel_id", "Add the vessel first.")
                for other in self.all(BatchRecord, vessel_id=record.vessel_id):
                    if other.batch_id != record.batch_id and _overlap(
                        record.pitched_at, record.ended_at, other.pitched_at, other.ended_at
                    ):
                        raise EntryError(
                            "vessel_id",
                            f"{self._vessel(record.vessel_id)} is taken by {other.name} at that time",
                            "End that batch first, or choose another vessel.",
                        )
            case Placement():
                self._need(Device, record.device_id, "device_id", "Add the device first.")
                self._need(Vessel, record.vessel_id, "vessel_id", "Add the vessel first.")
                if record.to_at is not None and record.to_at <= record.from_at:
                    raise EntryError("to_at", "the device leaves before it came", "Check the two times.")
                for other in self.all(Placement, device_id=record.device_id):
                    if other.placement_id != record.placement_id and _overlap(
                        record.from_at, record.to_at, other.from_at, other.to_at
                    ):
                        raise EntryError(
                            "device_id",
                            f"{self._device(record.device_id)} sits in {self._vessel(other.vessel_id)} at that time",
                            "Take it out there first.",
                        )
            case EventRecord() | HandSample():
                self._need(BatchRecord, record.batch_id, "batch_id", "Add the batch first.")
            case CalibrationRecord():
                self._need(Device, record.device_id, "device_id", "Add the device first.")
            case _:
                pass

    def _need(self, cls: type, key: str, field: str, remedy: str) -> None:
        if self.get(cls, key) is None:
            raise EntryError(field, f"there is no {TABLES[cls].name} {key!r}", remedy)


def _overlap(from_1: datetime, to_1: datetime | None, from_2: datetime, to_2: datetime | None) -> bool:
    return from_1 < (to_2 or _FAR) and from_2 < (to_1 or _FAR)


def _write_steps(steps: Sequence[Step]) -> str:
    return json.dumps(
        [
            {
                "table": TABLES[type(step.after or step.before)].name,
                "before": None if step.before is None else to_json(step.before),
                "after": None if step.after is None else to_json(step.after),
            }
            for step in steps
        ],
        ensure_ascii=False,
    )


def _read_steps(text: str) -> list[Step]:
    def record(cls: type, row: dict[str, Any] | None) -> Record | None:
        return None if row is None else cast(Record, from_row(cls, row))

    return [
        Step(record(BY_NAME[step["table"]], step["before"]), record(BY_NAME[step["table"]], step["after"]))
        for step in json.loads(text)
    ]


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)
