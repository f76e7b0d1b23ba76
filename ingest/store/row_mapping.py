"""Each noun of the cellar as a row, and back: which table, which key, and how each field is written down.

A row is a dict of plain values. Tuples and dicts are written as JSON; instants as naive UTC datetimes for the
database (`to_row`) or as ISO 8601 text for the journal and for exports (`to_json`).
"""

from __future__ import annotations

import json
import re
import types
import typing
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, time
from typing import Any, Final, TypeVar, cast

from ingest.model import (
    AssessmentRecord,
    BatchRecord,
    BatchStay,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Note,
    Photo,
    Picture,
    Placement,
    Preferences,
    Rejection,
    TrialRecord,
    Vessel,
    Yeast,
)
from ingest.tastings import Taster, Tasting, TastingAnswer

R = TypeVar("R")

_TABLES: Final[dict[type, tuple[str, str]]] = {
    Device: ("device", "device_id"),
    Vessel: ("vessel", "vessel_id"),
    Yeast: ("yeast", "yeast_id"),
    BatchRecord: ("batch", "batch_id"),
    BatchStay: ("batch_stay", "stay_id"),
    Placement: ("placement", "placement_id"),
    EventRecord: ("event", "event_id"),
    HandSample: ("hand_sample", "sample_id"),
    CalibrationRecord: ("calibration", "calibration_id"),
    Preferences: ("preferences", "preferences_id"),
    Photo: ("photo", "photo_id"),
    TrialRecord: ("trial", "trial_id"),
    Picture: ("picture", "photo_id"),
    Tasting: ("tasting", "tasting_id"),
    Taster: ("taster", "taster_id"),
    TastingAnswer: ("tasting_answer", "answer_id"),
    AssessmentRecord: ("assessment", "batch_id"),
    Rejection: ("rejection", "rejection_id"),
    Note: ("note", "key"),
}

ENTRIES: Final[tuple[type, ...]] = tuple(t for t in _TABLES if t not in (AssessmentRecord, Rejection, Note, Picture))
"""What a person enters; an entry's class precedes the classes that refer to it."""


@dataclass(frozen=True, slots=True)
class Column:
    """A field and the plain type behind its annotation: str, float, int, bool, bytes, datetime, time, tuple or dict."""

    name: str
    plain: type


@dataclass(frozen=True, slots=True)
class Table:
    """Where the instances of a class are kept."""

    name: str
    key: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> str:
        """The columns as SQL lists them; quoted, because one is named `at`."""
        return ", ".join(f'"{column.name}"' for column in self.columns)


def _plain(annotation: Any) -> type:
    origin = typing.get_origin(annotation)
    if origin in (typing.Union, types.UnionType):
        return _plain(next(a for a in typing.get_args(annotation) if a is not type(None)))
    if origin is typing.Literal:
        return type(typing.get_args(annotation)[0])
    return typing.cast(type, origin or annotation)


def _table(cls: type) -> Table:
    name, key = _TABLES[cls]
    hints = typing.get_type_hints(cls)
    return Table(name, key, tuple(Column(f.name, _plain(hints[f.name])) for f in fields(cls)))


TABLES: Final[dict[type, Table]] = {cls: _table(cls) for cls in _TABLES}
"""The table of each stored class."""

BY_NAME: Final[dict[str, type]] = {table.name: cls for cls, table in TABLES.items()}
"""The class of each table."""


def key_of(record: object) -> str:
    """The id of a record."""
    return str(getattr(record, TABLES[type(record)].key))


def storable(text: str) -> str:
    """The text with what UTF-8 cannot hold (half of a surrogate pair, from an escape in JSON) replaced by U+FFFD."""
    if text.isascii():
        return text
    try:
        text.encode()
    except UnicodeEncodeError:
        return text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
    return text


_NOTES: Final = frozenset({"note", "notes"})
"""What may have several lines; every other text is a name or a word, and stands in one."""

_BREAKS: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_BREAKS_OF_NOTES: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]+")
_TURNS: Final = re.compile(r"[\u202a-\u202e\u2066-\u2069]")
"""Unicode's commands that turn the direction of what follows them, also of what is not part of the name."""


def one_line(text: str, *, note: bool = False) -> str:
    """The text without control characters; a name has no line breaks either, a note keeps them."""
    if text.isascii() and text.isprintable():
        return text
    return _TURNS.sub("", (_BREAKS_OF_NOTES if note else _BREAKS).sub(" ", text))


def cleaned(record: R) -> R:
    """The record with texts that can be stored and shown (see `storable`, `one_line`); itself where they all can."""
    texts = {f.name: value for f in fields(cast(Any, record)) if isinstance(value := getattr(record, f.name), str)}
    odd = {name: better for name, value in texts.items() if (better := _clean(name, value)) != value}
    return cast(R, replace(cast(Any, record), **odd)) if odd else record


def _clean(name: str, value: str) -> str:
    return one_line(storable(value), note=name in _NOTES)


def to_row(record: object) -> dict[str, Any]:
    """The record as the database takes it."""
    row: dict[str, Any] = {}
    for column in TABLES[type(record)].columns:
        value = getattr(record, column.name)
        if isinstance(value, datetime):
            value = value.replace(tzinfo=None)
        elif isinstance(value, tuple | dict):
            value = storable(json.dumps(value, ensure_ascii=False))
        elif isinstance(value, str):
            value = storable(value)
        row[column.name] = value
    return row


def to_json(record: object) -> dict[str, Any]:
    """The record as JSON can hold it."""
    row: dict[str, Any] = {}
    for column in TABLES[type(record)].columns:
        value = getattr(record, column.name)
        if isinstance(value, datetime | time):
            value = value.isoformat()
        elif isinstance(value, bytes):
            value = value.hex()
        row[column.name] = value
    return row


def _tupled(value: Any) -> Any:
    return tuple(_tupled(each) for each in value) if isinstance(value, list | tuple) else value


def _datetime(value: Any) -> datetime:
    when = datetime.fromisoformat(value) if isinstance(value, str) else typing.cast(datetime, value)
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)


_READ: Final[dict[type, Callable[[Any], Any]]] = {
    datetime: _datetime,
    time: lambda v: time.fromisoformat(v) if isinstance(v, str) else v,
    tuple: lambda v: _tupled(json.loads(v) if isinstance(v, str) else v),
    dict: lambda v: json.loads(v) if isinstance(v, str) else dict(v),
    bytes: lambda v: bytes.fromhex(v) if isinstance(v, str) else bytes(v),
    float: float,
    int: int,
    bool: bool,
    str: str,
}


def from_row(cls: type[R], row: typing.Mapping[str, Any]) -> R:
    """A record from a row of the database or of JSON; fields that the row does not have take their defaults."""
    given: dict[str, Any] = {}
    for column in TABLES[cls].columns:
        if column.name in row:
            value = row[column.name]
            given[column.name] = None if value is None else _READ[column.plain](value)
    return cls(**given)
