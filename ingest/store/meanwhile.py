"""Two windows, one entry: what was edited in one is laid over what the store holds, and nothing is overwritten unseen.

A form shows an entry as it was when it was opened. Only what was edited in it is saved. Where the same field was
changed elsewhere meanwhile, to something else, nothing is saved and the person is told both values.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, time
from typing import Any, Final, cast

from analysis.display_units import DisplayUnits, Quantity
from ingest.errors import EntryError
from ingest.model import Record
from ingest.store.row_mapping import TABLES

_QUANTITIES: Final[tuple[tuple[str, Quantity], ...]] = (
    ("gravity_sg", "gravity"),
    ("_c", "temperature"),
    ("volume_l", "volume"),
    ("expected_low", "share"),
    ("expected_high", "share"),
)


@dataclass(frozen=True, slots=True)
class Based:
    """What an entry was edited from: as the form shows it, and as the person last saw it told."""

    shown: Record
    seen: Record | None = None

    def laid_over(self, now: Record | None, edited: Record, named: Callable[[str, Any], Any]) -> Record:
        """The entry as it stands now with what was edited; `named` gives the name behind an id.

        Raises
        ------
        ChangedMeanwhileError
            If it was removed, or a field that was edited has changed to something else since it was last seen.
        """
        if now is None:
            thing = TABLES[type(edited)].name.replace("_", " ")
            problem = f"this {thing} was removed meanwhile; nothing of yours is saved"
            raise ChangedMeanwhileError(
                "", problem, "Take its removal back under Set up, Health and undo, and save again."
            )
        seen = self.seen or self.shown
        merged: dict[str, Any] = {}
        for name in (f.name for f in fields(edited)):
            yours, was, says, told = (getattr(each, name) for each in (edited, self.shown, now, seen))
            if yours == was:
                continue
            if says not in (told, yours):
                if isinstance(yours, dict) and isinstance(says, dict):
                    merged[name] = _of_both((cast("dict[str, Any]", was), says, yours, told), now)
                    continue
                raise _conflict(name, named(name, says), named(name, yours), now)
            merged[name] = yours
        return replace(now, **merged)


class ChangedMeanwhileError(EntryError):
    """An entry that was edited in one window has changed in another; `now` is what it says."""

    now: Record | None = None


def _of_both(values: tuple[dict[str, Any], dict[str, Any], dict[str, Any], Any], now: Record) -> dict[str, Any]:
    was, says, yours, told = values
    found = dict(says)
    for key in {*was, *yours}:
        mine = yours.get(key)
        if mine == was.get(key):
            continue
        if says.get(key) not in (told.get(key), mine):
            raise _conflict(key, says.get(key), mine, now)
        found[key] = mine
    return found


def _conflict(name: str, says: Any, yours: Any, now: Record | None) -> ChangedMeanwhileError:
    def words(units: DisplayUnits) -> tuple[str, str]:
        now_says, your_value = _value(name, says, units), _value(name, yours, units)
        problem = f"changed meanwhile in another window: it now says {now_says}; your value was {your_value}"
        return problem, "Nothing is saved yet. Save again to keep yours, or type the other value first."

    error = ChangedMeanwhileError(name, *words(DisplayUnits()), words)
    error.now = now
    return error


def _value(name: str, value: Any, units: DisplayUnits) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}{' UTC' if value.tzinfo is UTC else ''}"
    if isinstance(value, tuple | list):
        nested = any(isinstance(each, tuple | list) for each in value)
        return "another list" if nested else ", ".join(map(str, value)) or "nothing"
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, float):
        quantity = next((q for ending, q in _QUANTITIES if name.endswith(ending)), None)
        return units.typed(value, quantity) if quantity else f"{value:g}"
    return f"“{value}”"
