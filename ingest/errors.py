"""What can go wrong between the wire and the store.

::

    IngestError
    ├── SettingsError     tunroom.toml or an environment variable: file, place, problem, remedy
    ├── EntryError        something typed in: field, problem, usual range
    ├── ImportFileError   a log or an export that cannot be taken in: file, row, problem, remedy
    ├── NotAllowed        whoever asked may look but not change: says how to
    └── StoreError
        ├── StoreInUse    another process owns the cellar: names it and the way out
        ├── StoreFull     the disk is full or broken; nothing was kept, try again
        ├── StoreDamaged  a file is not what was written: names both files and the way out
        └── StoreTooNew   the file was written by a later version
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from analysis.display_units import DisplayUnits, Quantity


class IngestError(Exception):
    """Base of every error that this layer raises on purpose. `str()` is a whole sentence for the user."""


@dataclass
class SettingsError(IngestError):
    """A setting that cannot be used; `more` are the others, so that all can be mended at once."""

    where: str
    problem: str
    remedy: str
    more: tuple[SettingsError, ...] = ()

    def __str__(self) -> str:
        said = f"{self.where}: {self.problem}. {self.remedy}"
        return "\n".join((said, *map(str, self.more)))


@dataclass(slots=True)
class SettingsFaults:
    """Gathers what is wrong, so that one fault does not hide the next."""

    found: list[SettingsError] = field(default_factory=list)

    @contextmanager
    def gathering(self) -> Iterator[None]:
        """Keep the faults that this block raises, and go on after it."""
        try:
            yield
        except SettingsError as error:
            self.found += [SettingsError(error.where, error.problem, error.remedy), *error.more]

    def refuse(self) -> None:
        """Raise everything that was found as one `SettingsError`, in the order of the file's lines."""
        if self.found:
            first, *others = sorted(self.found, key=_line)
            raise SettingsError(first.where, first.problem, first.remedy, tuple(others))


def _line(error: SettingsError) -> int:
    found = re.search(r", line (\d+)", error.where)
    return int(found[1]) if found else sys.maxsize


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with one message: `path` in JSON path notation (``$`` is the whole payload)."""

    path: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.path}: {self.problem}. {self.remedy}"


@dataclass
class EntryError(IngestError):
    """Something entered by a person that cannot be right. `field` names the input it belongs beside."""

    field: str
    problem: str
    usual: str = ""
    words: Callable[[DisplayUnits], tuple[str, str]] | None = None
    """Problem and usual range in a person's units, where they name quantities."""

    def __str__(self) -> str:
        return f"{self.problem}. {self.usual}".strip()

    def in_units(self, units: DisplayUnits) -> EntryError:
        """The same error in the units in which the person types."""
        return self if self.words is None else EntryError(self.field, *self.words(units))


def in_units(field: str, words: Callable[[DisplayUnits], tuple[str, str]]) -> EntryError:
    """An error that names quantities: `words` says problem and usual range in a person's units."""
    return EntryError(field, *words(DisplayUnits()), words)


def out_of_range(
    field: str,
    value: float,
    quantity: Quantity,
    usual: tuple[float, float],
    words: str = "The usual range is {}.",
) -> EntryError:
    """An error about a quantity; `words` are said around the range that is usual."""
    return in_units(
        field,
        lambda units: (f"{units.typed(value, quantity)} is out of range", words.format(units.span(*usual, quantity))),
    )


@dataclass
class ImportFileError(IngestError):
    """A file that cannot be taken in; nothing of it was kept."""

    file: str
    where: str
    problem: str
    remedy: str
    on_screen: str = ""
    """The remedy where there is a screen and no terminal, if it differs."""
    of: str = ""
    """Our name of what it is about, where a form has an input for that."""

    def __str__(self) -> str:
        return f"{self.file}, {self.where}: {self.problem}. {self.remedy}"

    def for_screen(self) -> EntryError:
        """The same beside the input that it is about, with the remedy that a screen has."""
        return EntryError(self.of, f"{self.where}: {self.problem}", (self.on_screen or self.remedy).rstrip(".") + ".")


class NotAllowed(IngestError):
    """Whoever asked may not change the cellar; nothing was changed."""


class StoreError(IngestError):
    """Base of the store's errors."""


class StoreInUse(StoreError):
    """Another process owns the cellar's file."""


class StoreFull(StoreError):
    """The disk is full or broken: nothing of this write was kept, and it may be tried again."""


class StoreDamaged(StoreError):
    """The database or its log is not what was written, or one of the two is missing; both were left as they are."""


class StoreTooNew(StoreError):
    """The file was written by a later version of tunroom."""
