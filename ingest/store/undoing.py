"""Taking back a change of which others came after: what rests on it goes with it, what does not stays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any, Final, cast

from ingest.errors import EntryError
from ingest.model import Note, Record, Rejection
from ingest.store.entries import Book, Step
from ingest.store.row_mapping import key_of

_TEXTS: Final = frozenset({"name", "note", "notes", "caption"})
"""Fields of free text; any other may name another entry by its id, alone or in a list."""

_Key = tuple[type, str]


@dataclass(slots=True)
class _Touched:
    """What has to be as these changes left it: fields of entries (None: the whole entry), and entries they made."""

    parts: dict[_Key, set[str] | None] = field(default_factory=dict)
    made: set[_Key] = field(default_factory=set)

    def add(self, steps: Iterable[Step]) -> None:
        """Take in one more change."""
        for step in steps:
            key, changed = _key(step), _changed(step)
            before = self.parts.get(key, set())
            self.parts[key] = None if changed is None or before is None else before | changed
            if step.before is None:
                self.made.add(key)

    def meets(self, steps: Iterable[Step]) -> bool:
        """Whether another change altered the same, or names what was made."""
        return any(self._meets(step) for step in steps)

    def _meets(self, step: Step) -> bool:
        key, changed = _key(step), _changed(step)
        if key in self.parts:
            mine = self.parts[key]
            if mine is None or changed is None or mine & changed:
                return True
        made = {name for _, name in self.made - {key}}
        return any(_named(record) & made for record in (step.before, step.after) if record is not None)


def resting_on(steps: Sequence[Step], later: Sequence[tuple[int, Sequence[Step]]]) -> list[int]:
    """Which of the later changes (id and steps, oldest first) rest on one, directly or by another of them."""
    touched = _Touched()
    touched.add(steps)
    found = []
    for number, others in later:
        if touched.meets(others):
            touched.add(others)
            found.append(number)
    return found


def back(book: Book, steps: Sequence[Step]) -> tuple[list[Step], Book]:
    """The steps that take a change back from what the entries are now, and the entries after them.

    Of an entry that was changed elsewhere since, only the fields that this change altered go back.
    """
    found = []
    for step in reversed(steps):
        made = step.reversed()
        if step.of_the_book:
            now = book.get(type(step.record), key_of(step.record))
            made = Step(now, _as_before(step, now))
        found.append(made)
        book = book.after([made])
    return found, book


def check_back(book: Book, steps: Sequence[Step]) -> None:
    """Refuse steps after which entries would contradict one another.

    Raises
    ------
    EntryError
        With what stands in the way.
    """
    for step in steps:
        if step.of_the_book and step.after is not None:
            try:
                book.check(cast("Record", step.after))
            except EntryError as error:
                raise EntryError(
                    "", f"it cannot be taken back as things stand: {error.problem}", error.usual, None
                ) from error


def _as_before(step: Step, now: Any) -> Any:
    changed = _changed(step)
    if changed is None or now is None or now == step.after:
        return step.before
    return replace(now, **{name: getattr(step.before, name) for name in changed})


def _key(step: Step) -> _Key:
    return type(step.record), key_of(step.record)


def _changed(step: Step) -> set[str] | None:
    """Which fields a step altered; None where the whole entry came, went, or is one text."""
    before, after = step.before, step.after
    if before is None or after is None or isinstance(before, Note | Rejection):
        return None
    return {f.name for f in fields(before) if getattr(before, f.name) != getattr(after, f.name)}


def _named(record: Record | Note | Rejection) -> set[str]:
    """All ids by which an entry may name others."""
    return {text for f in fields(record) if f.name not in _TEXTS for text in _texts(getattr(record, f.name))}


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from _texts(each)
    elif isinstance(value, tuple | list):
        for each in value:
            yield from _texts(each)
    elif is_dataclass(value) and not isinstance(value, type):
        for f in fields(value):
            yield from _texts(getattr(value, f.name))
