"""A reading while it is being decoded: its values, checked one by one, and what is wrong with them.

Two kinds of fault are told apart. A malformed value (a number in quotes, two values for one quantity) makes the whole
message suspect. An impossible value (a loose wire that says −127 °C) is set aside alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from ingest.decoding.quantities import BY_FIELD, converted, out_of_range
from ingest.decoding.timestamps import Said
from ingest.errors import Fault

LARGEST_SEQUENCE: Final = 2**63 - 1

_SAME_WITHIN: Final = {"gravity_sg": 0.002, "temperature_c": 0.2}
"""A quantity sent in two units is the same if it differs by no more than rounding."""


@dataclass(slots=True)
class Faults:
    """What is wrong with a message, of both kinds."""

    malformed: list[Fault] = field(default_factory=list)
    impossible: list[Fault] = field(default_factory=list)

    def all(self) -> tuple[Fault, ...]:
        """Every fault."""
        return (*self.malformed, *self.impossible)


@dataclass(slots=True)
class Draft:
    """A report before its instant is settled."""

    device_id: str
    said: Said | None = None
    sequence: int | None = None
    values: dict[str, float] = field(default_factory=dict)
    extra: dict[str, Any] = field(default_factory=dict)

    def put(self, name: str, value: float, unit: str, given_as: str, path: str, faults: Faults) -> None:
        """Take a quantity that came in this unit, under this name."""
        try:
            result = converted(name, value, unit)
        except (ArithmeticError, ValueError):
            result = math.inf
        if (fault := out_of_range(name, result, path)) is not None:
            faults.impossible.append(fault)
            return
        earlier = self.values.get(name)
        if earlier is not None and not abs(earlier - result) <= _SAME_WITHIN.get(name, 0.0):
            other = f"{earlier:g} {BY_FIELD[name].shown_unit}"
            faults.malformed.append(
                Fault(path, f"it contradicts {other} in the same message", "Send each quantity once")
            )
            return
        if earlier is None or given_as == name:
            self.values[name] = result
        if given_as != name:
            self.extra[given_as] = value  # as it was sent

    def put_time(self, said: Said | Fault, faults: Faults) -> None:
        """Take the time that the device said."""
        if isinstance(said, Fault):
            faults.malformed.append(said)
        elif self.said is not None and abs(self.said.seconds - said.seconds) >= 1:
            faults.malformed.append(
                Fault("$", "the message has two times that differ", "Send measured_at or measured_at_ms")
            )
        else:
            self.said = said

    def put_sequence(self, value: object, path: str, faults: Faults) -> None:
        """Take the device's counter."""
        if value is None:
            return
        if type(value) is float and value.is_integer():
            value = int(value)
        if type(value) is not int or not 0 <= value <= LARGEST_SEQUENCE:
            problem = f"expected a whole number from 0, got {shown(value)}"
            faults.malformed.append(Fault(path, problem, 'Such as {"sequence": 17}'))
        else:
            self.sequence = value


def number(value: object, path: str, example: Callable[[], str]) -> float | Fault:
    """A JSON value as a finite number. A number in quotes is an error, not a kindness."""
    if type(value) is float or type(value) is int:
        try:
            result = float(value)
        except OverflowError:
            result = math.inf
        if math.isfinite(result):
            return result
    return Fault(path, f"expected a number, got {shown(value)}", f"Send it unquoted, e.g. {example()}")


def shown(value: object) -> str:
    """A value from outside, short enough for a sentence."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # an integer of thousands of digits
        return "something that cannot be shown"
    return text if len(text) <= 60 else text[:57] + "…"
