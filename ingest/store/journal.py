"""What people entered, in the file and in memory: one transaction and one line in the journal for every change."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, cast

from ingest.errors import EntryError
from ingest.model import BatchStay, Note, Preferences, Record, Rejection
from ingest.store.duckdb_file import Cursor, StoreFile
from ingest.store.entries import Book, Step, moved_back, out_of_trials
from ingest.store.meanwhile import Based
from ingest.store.row_mapping import BY_NAME, ENTRIES, TABLES, cleaned, from_row, key_of, storable, to_json, to_row
from ingest.store.undoing import back, check_back, resting_on

Sentence = str | Callable[[str | None], str]


@dataclass(frozen=True, slots=True)
class Change:
    """One line of the journal."""

    change_id: int
    at: datetime
    sentence: str
    undone: bool


class Entries:
    """All entries of the cellar. Whoever reads takes `book`, which never changes; a write puts a new one there."""

    def __init__(self, file: StoreFile) -> None:
        self._file = file
        self.revision = 0
        self.book = self._read()

    def _read(self) -> Book:
        records: dict[type, dict[str, Any]] = {}
        for cls in ENTRIES:
            table = TABLES[cls]
            rows = self._file.read(f"SELECT {table.names} FROM {table.name}")
            names = [column.name for column in table.columns]
            found: list[Any] = [from_row(cls, dict(zip(names, row, strict=True))) for row in rows]
            records[cls] = {key_of(record): record for record in found}
        return Book(records)

    def recall(self) -> None:
        """Read the entries again."""
        self.book = self._read()
        self.revision += 1

    def changes(self, limit: int) -> list[Change]:
        """The newest lines of the journal, newest first."""
        rows = self._file.read(
            'SELECT change_id, "at", sentence, undone_at IS NOT NULL FROM change ORDER BY change_id DESC LIMIT ?',
            [limit],
        )
        return [Change(number, when.replace(tzinfo=UTC), said, undone) for number, when, said, undone in rows]

    def save(self, record: Record, based: Based | None = None) -> None:
        """Insert or replace a record by its id; with `based` only what was edited since (see `meanwhile`).

        Raises
        ------
        EntryError
            If it contradicts the other entries, or was changed meanwhile.
        """
        with self._file.alone:
            before = self.book.get(type(record), key_of(record))
            self._change(self.book.entered(before, record), [record], based)

    def save_many(self, records: Sequence[Record], sentence: str, based: Based | None = None) -> int:
        """Insert or replace records as one change, each checked in sight of those before it.

        Returns
        -------
        int
            How many differed from what was there.
        """
        with self._file.alone:
            return self._change(sentence, records, based)

    def _change(self, sentence: str, records: Sequence[Record], based: Based | None = None) -> int:
        given = list(map(cleaned, records))
        if based is not None:
            given = [self._merged(record, based) for record in given]
        # Where a batch was decides what may stand in a vessel, so its stays lie there before anything is checked.
        stays = [Step(self.book.get(BatchStay, stay.stay_id), stay) for stay in given if isinstance(stay, BatchStay)]
        book, steps = self.book.after(stays), []
        for record in given:
            before = (self.book if isinstance(record, BatchStay) else book).get(type(record), key_of(record))
            if before != record:
                book.check(record)
                steps.append(Step(before, record))
                book = book.after(steps[-1:])
        told = len(steps)
        for saved in [step.record for step in steps]:
            for follows in book.consequences(cast("Record", saved)):
                steps.append(Step(book.get(type(follows), key_of(follows)), follows))
                book = book.after(steps[-1:])
                book.check(follows)
        self._write(sentence, steps)
        return told

    def _merged(self, record: Record, based: Based) -> Record:
        if self.book.get(type(record), key_of(record)) is None and isinstance(record, Preferences):
            return record  # the cellar's choices are the usual ones until the first is made
        if type(record) is not type(based.shown) or key_of(record) != key_of(based.shown):
            return record
        return based.laid_over(self.book.get(type(record), key_of(record)), record, self.book.named)

    def remove(self, record: Record) -> None:
        """Remove a record and its parts, as one change."""
        with self._file.alone:
            here = self.book.get(type(record), key_of(record))
            if here is not None:
                steps = [Step(each, None) for each in [*self.book.parts(here), here]]
                steps += moved_back(self.book, steps)
                steps += out_of_trials(self.book, steps)
                self._write(f"Removed {self.book.describe(here)}", steps)

    def change_note(self, key: str, value: str | None, sentence: Sentence, gather: timedelta | None = None) -> None:
        """Keep a small text that a person entered, or remove it, as one change.

        With `gather`, one that follows the newest change within this time, and is of the same text, becomes one with
        it: a line of the journal tells of both, and undo takes both back. `sentence` may be made of what the text was
        before.
        """
        with self._file.alone:
            rows = self._file.read("SELECT value FROM note WHERE key = ?", [storable(key)])
            before = Note(key=key, value=str(rows[0][0])) if rows else None
            after = None if value is None else Note(key=key, value=value)
            if before == after:
                return
            newest = None if gather is None else self._same_sitting(key, gather)
            if newest is None:
                self._write(_said(sentence, before), [Step(before, after)])
                return
            number, first = newest
            self._rewrite(number, _said(sentence, first), Step(first, after), Step(before, after))

    def _same_sitting(self, key: str, gather: timedelta) -> tuple[int, Note | None] | None:
        """The newest change and what this text was before it, where that change was of this text alone and of late."""
        rows = self._file.read('SELECT change_id, "at", undone_at, steps FROM change ORDER BY change_id DESC LIMIT 1')
        if not rows:
            return None
        [(number, when, undone, text)] = rows
        steps = _read_steps(text)
        alone = len(steps) == 1 and isinstance(steps[0].record, Note) and steps[0].record.key == key
        if undone is not None or not alone or _now() - when > gather:
            return None
        return number, cast("Note | None", steps[0].before)

    def _rewrite(self, number: int, sentence: str, whole: Step, last: Step) -> None:
        """Let the newest change tell of one more step; where nothing is left of it, it counts as taken back."""
        undone = _now() if whole.before == whole.after else None
        with self._file.writing() as cursor:
            _carry_out(cursor, [last])
            cursor.execute(
                'UPDATE change SET "at" = ?, sentence = ?, steps = ?, undone_at = ? WHERE change_id = ?',
                [_now(), storable(sentence), _write_steps([whole]), undone, number],
            )

    def dismiss(self, rejections: Sequence[Rejection], sentence: str) -> None:
        """Mark rejections as dealt with by a person, as one change. The journal does not repeat their bytes."""
        now = datetime.now(UTC)
        bare = [replace(rejection, payload=b"", faults=()) for rejection in rejections]
        with self._file.alone:
            self._write(sentence, [Step(each, replace(each, resolved_at=now)) for each in bare])

    def undo(self, only: int | None = None) -> str | None:
        """Take back the newest change that still stands; say which, or None where there is none or it is not `only`."""
        with self._file.alone:
            found = self._file.read(
                "SELECT change_id, sentence, steps FROM change WHERE undone_at IS NULL ORDER BY change_id DESC LIMIT 1"
            )
            if not found:
                return None
            [(number, sentence, text)] = found
            if only is not None and number != only:
                return None
            steps = [step.reversed() for step in reversed(_read_steps(text))]
            with self._file.writing() as cursor:
                _carry_out(cursor, steps)
                cursor.execute("UPDATE change SET undone_at = ? WHERE change_id = ?", [_now(), number])
            self._remember(steps)
        return f"Taken back: {sentence}"

    def resting_on(self, number: int) -> list[Change]:
        """The later changes that would be taken back with one, newest first."""
        with self._file.alone:
            found = self._standing(number)
            if not found or found[0][0].change_id != number:
                return []
            also = resting_on(found[0][1], [(change.change_id, steps) for change, steps in found[1:]])
            return [change for change, _ in reversed(found) if change.change_id in also]

    def take_back(self, number: int, along: Sequence[int] = ()) -> str | None:
        """Take back any change with those that rest on it, which must be those that were told (`along`).

        Raises
        ------
        EntryError
            If others rest on it by now, or what is left would contradict itself; nothing is taken back then.
        """
        with self._file.alone:
            found = self._standing(number)
            if not found or found[0][0].change_id != number:
                return None
            (change, first), *later = found
            also = resting_on(first, [(other.change_id, steps) for other, steps in later])
            if set(also) != set(along):
                raise EntryError("", "something else was entered since", "Look at what goes with it, and decide again.")
            book, done = self.book, []
            for other, steps in reversed(found):
                if other.change_id in (number, *also):
                    made, book = back(book, steps)
                    done += made
            if len(found) > len(also) + 1:  # else all is as it was when it was entered
                check_back(book, done)
            with self._file.writing() as cursor:
                _carry_out(cursor, done)
                for each in (number, *also):
                    cursor.execute("UPDATE change SET undone_at = ? WHERE change_id = ?", [_now(), each])
            self._remember(done)
        more = f", and {len(also)} that rested on it" if also else ""
        return f"Taken back: {change.sentence}{more}"

    def _standing(self, number: int) -> list[tuple[Change, list[Step]]]:
        """A change and those after it that still stand, oldest first."""
        rows = self._file.read(
            'SELECT change_id, "at", sentence, steps FROM change WHERE undone_at IS NULL AND change_id >= ? '
            "ORDER BY change_id",
            [number],
        )
        return [
            (Change(n, when.replace(tzinfo=UTC), said, undone=False), _read_steps(text)) for n, when, said, text in rows
        ]

    def _write(self, sentence: str, steps: Sequence[Step]) -> None:
        if not steps:
            return
        with self._file.writing() as cursor:
            _carry_out(cursor, steps)
            cursor.execute(
                "INSERT INTO change SELECT coalesce(max(change_id), 0) + 1, ?, ?, ?, NULL FROM change",
                [_now(), storable(sentence), _write_steps(steps)],
            )
        self._remember(steps)

    def _remember(self, steps: Sequence[Step]) -> None:
        if any(step.of_the_book for step in steps):
            self.book = self.book.after(steps)
            self.revision += 1


def _carry_out(cursor: Cursor, steps: Sequence[Step]) -> None:
    for step in steps:
        table = TABLES[type(step.record)]
        if isinstance(step.after, Rejection):
            row = to_row(step.after)
            cursor.execute(
                "UPDATE rejection SET resolved_at = ? WHERE rejection_id = ?", [row["resolved_at"], row["rejection_id"]]
            )
            continue
        cursor.execute(f"DELETE FROM {table.name} WHERE {table.key} = ?", [key_of(step.record)])
        if step.after is not None:
            row = to_row(step.after)
            cursor.execute(
                f"INSERT INTO {table.name} ({table.names}) VALUES ({', '.join('?' * len(row))})",
                list(row.values()),
            )


def _write_steps(steps: Sequence[Step]) -> str:
    text = json.dumps(
        [
            {
                "table": TABLES[type(step.record)].name,
                "before": None if step.before is None else to_json(step.before),
                "after": None if step.after is None else to_json(step.after),
            }
            for step in steps
        ],
        ensure_ascii=False,
    )
    return storable(text)


def _read_steps(text: str) -> list[Step]:
    def record(cls: type, row: dict[str, Any] | None) -> Record | Note | Rejection | None:
        return None if row is None else cast("Record | Note | Rejection", from_row(cls, row))

    return [
        Step(record(BY_NAME[step["table"]], step["before"]), record(BY_NAME[step["table"]], step["after"]))
        for step in json.loads(text)
    ]


def _said(sentence: Sentence, before: Note | None) -> str:
    return sentence if isinstance(sentence, str) else sentence(None if before is None else before.value)


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)
