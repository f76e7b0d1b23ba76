"""The cellar's store: the one door to what is kept.

Reports come in by `Store.keep`, entries by `save`, `remove` and `undo`; everything else asks. A `Store` may be called
from any thread. Entries and each device's last word are kept in memory too, so that a screen costs no query.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import asdict, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, TypeVar

import polars as pl

from ingest.errors import StoreFull
from ingest.model import AssessmentRecord, Photo, Picture, Record, Rejection, Report
from ingest.store import device_status, report_rows, upsert
from ingest.store.device_status import DeviceStatus
from ingest.store.duckdb_file import Cursor, StoreFile
from ingest.store.journal import Change, Sentence
from ingest.store.meanwhile import Based
from ingest.store.queries import AS_SENT, Questions
from ingest.store.row_mapping import TABLES, cleaned, from_row, storable, to_row
from ingest.store.upsert import Kept

__all__ = ["AS_SENT", "Change", "DeviceStatus", "Kept", "Store"]

log = logging.getLogger(__name__)
R = TypeVar("R", bound=Record)

MOST_DEVICES: Final = 60_000
"""Ids that can ever report: their keys have two bytes, and a cellar has a few dozen."""


_UNDONE_WITHIN: Final = 200
"""Changes; the picture of a photo that was removed longer ago is forgotten."""

_FORGET_PICTURES: Final = f"""
DELETE FROM picture WHERE photo_id NOT IN (SELECT photo_id FROM photo) AND NOT EXISTS (
    FROM (SELECT steps FROM change ORDER BY change_id DESC LIMIT {_UNDONE_WITHIN}) AS lately
    WHERE contains(lately.steps, '"' || picture.photo_id || '"')
)
"""


class Store(Questions):
    """Everything that tunroom keeps, behind one object."""

    def __init__(self, file: StoreFile) -> None:
        super().__init__(file)
        self._count = self._new = self._unresolved = 0
        self._settle_at = upsert.SETTLE_AT
        self._remember_reports()
        file.recall = self._recall

    @classmethod
    def open(cls, path: Path) -> Store:
        """Open the cellar at `path`, made with its folder where it does not exist.

        Where `path` does not end in ``.duckdb``, it is the data directory, and the file in it is ``tunroom.duckdb``.

        Raises
        ------
        StoreInUse
            If another process owns the file.
        StoreTooNew
            If a later version wrote it.
        """
        return cls(StoreFile(path if path.suffix == ".duckdb" else path / "tunroom.duckdb"))

    @classmethod
    def in_memory(cls) -> Store:
        """A cellar that is gone when it is closed."""
        return cls(StoreFile(None))

    def close(self) -> None:
        """Close the file; a second call does nothing."""
        self._file.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def path(self) -> Path | None:
        """The file, or None in memory."""
        return self._file.path

    @property
    def broken(self) -> str | None:
        """A sentence while the disk refuses writes, else None."""
        return self._file.broken

    def ask_before_writing(self, may_write: Callable[[], None]) -> None:
        """Call this in the thread that is about to write, before every write; it raises `NotAllowed` to refuse it."""
        self._file.may_write = may_write

    @property
    def revision(self) -> int:
        """Grows with every entry that is saved, removed or undone; not with reports."""
        return self._entries.revision

    # -- from the wire

    def keep(self, reports: Sequence[Report], rejections: Sequence[Rejection] = ()) -> int:
        """Keep reports and rejections in one transaction.

        Returns
        -------
        int
            How many reports were new readings; a repeat changes nothing, a missing quantity completes its reading.

        Raises
        ------
        StoreFull
            If the disk is full: nothing was kept, try again.
        """
        fit, unfit = self._sorted_out(reports)
        new: list[Report] = []
        completed: list[Report] = []
        contradicting: list[tuple[Report, list[str]]] = []
        with self._file.alone:
            with self._file.writing() as cursor:
                keys = self._keys | self._new_keys(cursor, {r.device_id for r in fit})
                while fit:
                    folded = report_rows.fold(fit)
                    taken = upsert.take(cursor, report_rows.to_frame(folded.reports, keys))
                    new += [folded.reports[n] for n in taken.new]
                    refused = dict(taken.conflicts)
                    completed += [report_rows.without(folded.reports[n], refused.get(n, {})) for n in taken.completed]
                    contradicting += report_rows.told_apart(folded.sources, taken.conflicts)
                    fit = folded.later
                    if fit:
                        gaining, conflicts = upsert.compare(cursor, report_rows.to_frame(fit, keys))
                        contradicting += report_rows.told_apart([[report] for report in fit], conflicts)
                        fit = [fit[n] for n in gaining]
                bad = [*rejections, *_rejected(contradicting), *_rejected(unfit)]
                upsert.keep_rejections(cursor, bad)
            self._keys = keys
            self._words.hear(completed)
            self._kept(new, len(new))
        return len(new)

    def _sorted_out(self, reports: Sequence[Report]) -> tuple[list[Report], list[tuple[Report, list[str]]]]:
        """The reports that the tables can hold, and the others with their faults."""
        fit: list[Report] = []
        unfit: list[tuple[Report, list[str]]] = []
        newcomers: set[str] = set()
        for report in reports:
            device_id = storable(report.device_id)
            if device_id not in self._keys:
                newcomers.add(device_id)
            fault = report_rows.unfit(report)
            if fault is None and device_id in newcomers and len(self._keys) + len(newcomers) > MOST_DEVICES:
                fault = (
                    f"$: {device_id!r} would be device {MOST_DEVICES + 1}. Look whether ids are made up anew each time"
                )
            if fault is not None:
                unfit.append((report, [fault]))
            else:
                fit.append(report if device_id == report.device_id else replace(report, device_id=device_id))
        return fit, unfit

    def keep_frame(self, rows: pl.DataFrame, *, topic: str) -> Kept:
        """Keep many readings at once, as `keep` does.

        Parameters
        ----------
        rows
            `device_id` and `measured_at` (UTC); any of `received_at`, the quantities, `sequence`, `time_flag`, `extra`.
        topic
            Under which contradicting rows are kept as rejected.

        `recall_words` afterwards brings the last words in step.
        """
        with self._file.alone:
            with self._file.writing() as cursor:
                keys = self._keys | self._new_keys(cursor, set(rows["device_id"].unique()))
                taken = upsert.take_all(cursor, report_rows.from_frame(rows, keys))
                bad = []
                for n, faults in taken.conflicts:
                    payload = json.dumps(rows.row(n, named=True), default=str).encode()
                    bad.append(upsert.conflicting(topic, payload, datetime.now(UTC), list(faults.values())))
                upsert.keep_rejections(cursor, bad)
            self._keys = keys
            self._kept([], len(taken.new))
        return Kept(len(taken.new), len(taken.completed), len(taken.conflicts))

    def recall_words(self) -> None:
        """Read each device's last word from the file again."""
        with self._file.alone:
            self._remember_reports()

    def _kept(self, reports: Iterable[Report], count: int) -> None:
        """Remember what was just committed, and sort it away once it is much."""
        self._words.hear(reports)
        self._count += count
        self._new += count
        if self._new >= self._settle_at:
            try:
                with self._file.writing() as cursor:
                    upsert.settle(cursor)
            except StoreFull as error:  # what was kept stays kept: sorting can wait for space
                log.warning("Readings could not be sorted: %s", error)
                self._settle_at = self._new + upsert.SETTLE_AT // 8
            else:
                self._new, self._settle_at = 0, upsert.SETTLE_AT

    def _new_keys(self, cursor: Cursor, device_ids: set[str]) -> dict[str, int]:
        missing = sorted(device_ids - self._keys.keys())
        keys = {device_id: len(self._keys) + 1 + n for n, device_id in enumerate(missing)}
        for device_id, key in keys.items():
            cursor.execute("INSERT INTO device_key VALUES (?, ?)", [key, device_id])
        return keys

    def copy_to(self, target: Path) -> dict[str, int]:
        """Write the whole cellar into a new file, as it is at one moment; see `StoreFile.copy_to`."""
        return self._file.copy_to(target)

    # -- entries

    def save(self, record: R, based: Based | None = None) -> R:
        """Insert or replace an entry by its id; it can be undone. With `based` only what was edited since is saved.

        Raises
        ------
        EntryError
            If it contradicts the other entries, or was changed meanwhile (`ChangedMeanwhileError`).
        """
        self._entries.save(record, based)
        return record

    def check(self, record: Record) -> None:
        """Raise the `EntryError` with which `save` would refuse the entry; nothing is saved."""
        self._entries.book.check(cleaned(record))

    def save_many(self, records: Sequence[Record], sentence: str, based: Based | None = None) -> int:
        """Insert or replace entries as one change, which `undo` takes back as one; how many differed.

        Each is checked in sight of those before it; where one is refused (`EntryError`), none is saved.
        """
        return self._entries.save_many(records, sentence, based)

    def remove(self, record: Record) -> None:
        """Remove an entry with its parts (a batch with its events and samples); it can be undone."""
        self._entries.remove(record)

    def keep_photo(self, photo: Photo, picture: bytes) -> None:
        """Keep a photo with its picture; it can be undone.

        The picture of a photo that was removed is forgotten once that is so old a change that nobody takes it back.

        Raises
        ------
        EntryError
            If its batch is gone.
        """
        self.check(photo)
        self.keep_pictures([Picture(photo_id=photo.photo_id, data=picture)])
        self._entries.save(photo)
        with self._file.writing() as cursor:
            cursor.execute(_FORGET_PICTURES)

    def keep_pictures(self, pictures: Sequence[Picture]) -> None:
        """Keep the bytes of photos, those that are not here yet."""
        with self._file.writing() as cursor:
            for picture in pictures:
                have = cursor.execute("SELECT 1 FROM picture WHERE photo_id = ?", [picture.photo_id]).fetchall()
                if not have:
                    _insert(cursor, picture)

    def picture_of(self, photo_id: str) -> bytes | None:
        """The bytes of a photo, JPEG."""
        rows = self._file.read("SELECT data FROM picture WHERE photo_id = ?", [photo_id])
        return bytes(rows[0][0]) if rows else None

    def pictures(self) -> list[Picture]:
        """The bytes of every photo that there is."""
        return self._select(Picture, "WHERE photo_id IN (SELECT photo_id FROM photo)", [])

    def change_note(self, key: str, value: str | None, sentence: Sentence, *, gather: timedelta | None = None) -> None:
        """Keep a small text that a person entered (None removes it); it can be undone.

        With `gather`, changes of one text that follow one another within this time are one.
        """
        self._entries.change_note(key, value, sentence, gather)

    def dismiss(self, ids: Sequence[str], sentence: str) -> None:
        """Mark rejections as dealt with by a person; it can be undone."""
        where = "WHERE resolved_at IS NULL AND list_contains(?::VARCHAR[], rejection_id)"
        self._entries.dismiss(self._select(Rejection, where, [list(ids)]), sentence)

    def undo(self, only: int | None = None) -> str | None:
        """Take back the newest change that still stands; a sentence, or None where there is none.

        With `only`, a change's id, nothing is taken back if another change has come since.
        """
        return self._entries.undo(only)

    def resting_on(self, change_id: int) -> list[Change]:
        """The later changes that `take_back` takes back with one, newest first."""
        return self._entries.resting_on(change_id)

    def take_back(self, change_id: int, along: Sequence[int] = ()) -> str | None:
        """Take back any change, with those that rest on it (`along`, as `resting_on` told them); a sentence.

        Raises
        ------
        EntryError
            If others rest on it by now, or what is left would contradict itself.
        """
        return self._entries.take_back(change_id, along)

    def changes(self, limit: int = 50) -> list[Change]:
        """The newest lines of the journal, newest first."""
        return self._entries.changes(limit)

    def _recall(self) -> None:
        """Bring memory back in step with the file."""
        self._entries.recall()
        self._remember_reports()

    def _remember_reports(self) -> None:
        self._keys = {device: key for key, device in self._file.read("SELECT device_key, device_id FROM device_key")}
        [(self._count, self._new)] = self._file.read(
            "SELECT (SELECT count(*) FROM report), (SELECT count(*) FROM report_new)"
        )
        names = {key: device for device, key in self._keys.items()}
        columns = report_rows.STORED.names()
        newest: dict[int, int] = dict(self._file.read(device_status.NEWEST_OF_LATE))
        if silent := sorted(names.keys() - newest.keys()):
            newest |= dict(self._file.read(device_status.NEWEST_OF, [silent]))
        told = device_status.since(newest)
        for row in self._file.read(device_status.LATELY, told):
            said = dict(zip(columns, row, strict=True))
            self._words.hear([report_rows.from_row(names[said["device_key"]], said)])
        for key, day, total, number in self._file.read(device_status.CHARGE, told):
            self._words.recall_charge(names[key], day, total, number)

    # -- the rest

    def counts(self) -> dict[str, Any]:
        """`readings`, `last_reading_at` (None where there are none) and `rejected` (not yet resolved)."""
        with suppress(StoreFull):  # health is asked for above all when the disk is full: the last known number will do
            [(self._unresolved,)] = self._file.read("SELECT count(*) FROM rejection WHERE resolved_at IS NULL")
        words = self.device_statuses()
        return {
            "readings": self._count,
            "last_reading_at": device_status.last_reading_at(words),
            "rejected": self._unresolved,
        }

    def rejections(self, resolved: bool = False, limit: int = 200) -> list[Rejection]:
        """Messages that could not be taken in, the newest first; those already resolved where asked."""
        where = "IS NOT NULL" if resolved else "IS NULL"
        return self._select(Rejection, f"WHERE resolved_at {where} ORDER BY received_at DESC LIMIT ?", [limit])

    def resolve_rejections(self, ids: Sequence[str]) -> None:
        """Mark rejections as taken in."""
        with self._file.writing() as cursor:
            cursor.execute(
                "UPDATE rejection SET resolved_at = now()::TIMESTAMP "
                "WHERE resolved_at IS NULL AND list_contains(?::VARCHAR[], rejection_id)",
                [list(ids)],
            )

    def add_assessment(self, record: AssessmentRecord) -> None:
        """Keep what was said about a batch."""
        with self._file.writing() as cursor:
            _insert(cursor, record)

    def rows(self) -> dict[str, int]:
        """The rows of each table."""
        return self._file.rows()

    def assessments(self, batch_id: str) -> list[AssessmentRecord]:
        """What was said about a batch, the oldest first."""
        return self._select(AssessmentRecord, "WHERE batch_id = ? ORDER BY made_at", [batch_id])

    def times_assessed(self) -> dict[str, int]:
        """How many things have been said about each batch of which any was."""
        return dict(self._file.read("SELECT batch_id, count(*) FROM assessment GROUP BY batch_id"))

    def keep_history(self, assessments: Sequence[AssessmentRecord], rejections: Sequence[Rejection]) -> tuple[int, int]:
        """Keep assessments and rejections of an export, those that are here already left out; how many were new."""
        with self._file.writing() as cursor:
            have = set(cursor.execute("SELECT batch_id, made_at FROM assessment").fetchall())
            new = [a for a in assessments if (a.batch_id, a.made_at.replace(tzinfo=None)) not in have]
            for assessment in new:
                _insert(cursor, assessment)
            return len(new), upsert.keep_rejections(cursor, rejections)

    def journal(self) -> pl.DataFrame:
        """The whole journal, oldest first: `change_id`, `at`, `sentence`, `steps` (JSON) and `undone_at`."""
        return self._file.frame("FROM change ORDER BY change_id")

    def replace_journal(self, journal: pl.DataFrame) -> None:
        """Take over the journal of an export in place of one's own."""
        with self._file.writing() as cursor:
            cursor.register("incoming", journal)
            cursor.execute("DELETE FROM change")
            cursor.execute("INSERT INTO change BY NAME FROM incoming")

    def notes(self) -> dict[str, str]:
        """All small texts by their keys."""
        return dict(self._file.read("SELECT key, value FROM note ORDER BY key"))

    def get_note(self, key: str) -> str | None:
        """A small text kept by `set_note`."""
        rows = self._file.read("SELECT value FROM note WHERE key = ?", [storable(key)])
        return str(rows[0][0]) if rows else None

    def set_note(self, key: str, value: str) -> None:
        """Keep a small text under a key."""
        with self._file.writing() as cursor:
            cursor.execute("DELETE FROM note WHERE key = ?", [storable(key)])
            cursor.execute("INSERT INTO note VALUES (?, ?)", [storable(key), storable(value)])

    def _select(self, cls: type[Any], rest: str, parameters: Sequence[Any]) -> list[Any]:
        names = [c.name for c in TABLES[cls].columns]
        sql = f"SELECT {TABLES[cls].names} FROM {TABLES[cls].name} {rest}"
        return [from_row(cls, dict(zip(names, row, strict=True))) for row in self._file.read(sql, parameters)]


def _insert(cursor: Cursor, record: object) -> None:
    row = to_row(record)
    marks = ", ".join("?" * len(row))
    sql = f"INSERT INTO {TABLES[type(record)].name} ({TABLES[type(record)].names}) VALUES ({marks})"
    cursor.execute(sql, list(row.values()))


def _rejected(found: Iterable[tuple[Report, list[str]]]) -> list[Rejection]:
    """One rejection for each message, with all its faults."""
    messages: dict[tuple[str, bytes], tuple[datetime, list[str]]] = {}
    for report, faults in found:
        payload = report.payload or json.dumps(asdict(report), default=str).encode()
        messages.setdefault((report.topic, payload), (report.received_at, []))[1].extend(faults)
    return [
        upsert.conflicting(topic, payload, received_at, faults)
        for (topic, payload), (received_at, faults) in messages.items()
    ]
