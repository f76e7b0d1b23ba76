"""Which standardised parameter of a hypothesis stands in which column."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

from analysis.fermentation import OF_THE_COURSE, PARAMETERS

COURSE: Final = slice(0, len(OF_THE_COURSE))
"""The parameters of the curve at one temperature."""

THETA: Final = slice(0, len(PARAMETERS))
"""The same with those of the temperature law."""

WANDER: Final = len(PARAMETERS)
"""The size of the float's wandering."""


class CreepColumns(NamedTuple):
    """Size and time constant of the fall after hops."""

    size: int
    time: int


class FeedColumns(NamedTuple):
    """Apparent fall by a point of added sugar, and how fast it goes."""

    fall: int
    pace: int


class OverColumns(NamedTuple):
    """Begin and end of a halt that is over, and the pace at which it went on."""

    begin: int
    end: int
    pace: int


class LastingColumns(NamedTuple):
    """Begin of a halt that lasts, and how fast it goes on during it."""

    begin: int
    leak: int


@dataclass(frozen=True, slots=True)
class Layout:
    """Columns of `z`, shape (n, `size`): course, law and wandering always, the others where the hypothesis has them."""

    size: int
    creep: CreepColumns | None
    feed: FeedColumns | None
    over: OverColumns | None
    lasting: LastingColumns | None

    @classmethod
    def of(cls, *, creeps: bool, fed: bool, over: bool, lasting: bool) -> Layout:
        """The optional blocks one after the other, in the order of the arguments."""
        at = WANDER + 1
        creep = CreepColumns(at, at + 1) if creeps else None
        at += 2 * creeps
        feed = FeedColumns(at, at + 1) if fed else None
        at += 2 * fed
        halt = OverColumns(at, at + 1, at + 2) if over else None
        at += 3 * over
        last = LastingColumns(at, at + 1) if lasting else None
        return cls(at + 2 * lasting, creep, feed, halt, last)
