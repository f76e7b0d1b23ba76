"""What every record asks of its fields: ids, instants in UTC, names, ranges in words of the person's units."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Final

from analysis.display_units import Quantity
from ingest.errors import EntryError, out_of_range

LEAST_HOLD_H: Final = 1.0
"""A hold is a span of time; the command line asks for no less."""
MOST_HOLD_H: Final = 24.0 * 60
"""As `Batch` allows."""


def new_id(prefix: str) -> str:
    """A fresh id such as ``batch-3f9a1c2b``."""
    return f"{prefix}-{secrets.token_hex(4)}"


_instants_of: dict[type, tuple[str, ...]] = {}


def to_utc(record: object) -> None:
    """Turn every instant of a record into UTC; refuse one without a time zone."""
    cls = type(record)
    names = _instants_of.get(cls)
    if names is None:
        names = _instants_of[cls] = tuple(f.name for f in fields(cls) if "datetime" in str(f.type))  # type: ignore[arg-type]
    for name in names:
        value = getattr(record, name)
        if not isinstance(value, datetime) or value.tzinfo is UTC:
            continue
        if value.tzinfo is None:
            raise EntryError(name, f"{name} has no time zone: {value!r}", "Attach one first.")
        object.__setattr__(record, name, value.astimezone(UTC))


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual of a quantity, and the words around it."""

    quantity: Quantity
    low: float
    high: float
    words: str = "The usual range is {}."


def need_name(name: str) -> None:
    """Refuse an empty name."""
    if not name.strip():
        raise EntryError("name", "the name is empty", "Give it one you will recognise on a phone.")


def in_range(name: str, value: float | None, low: float, high: float, usual: str | Usual) -> None:
    """Refuse a value outside of its range; None is in every range."""
    if value is None or low <= value <= high:
        return
    if isinstance(usual, str):
        raise EntryError(name, f"{value:g} is out of range", usual)
    raise out_of_range(name, value, usual.quantity, (usual.low, usual.high), usual.words)


def check_hold_h(hold_h: float | None) -> None:
    """Refuse a hold that is no span of time; what is stored already is read all the same.

    Raises
    ------
    EntryError
        If it is shorter than an hour or longer than 60 days.
    """
    in_range("hold_h", hold_h, LEAST_HOLD_H, MOST_HOLD_H, "The usual range is 24 to 96 hours; the least is 1.")
