"""How warm a batch is wished to stand: by its own schedule from day to day, else by its vessel.

It is shown and held against what was measured; nothing is ever commanded.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from ingest.model import BatchRecord, Vessel

SCHEDULE: Final = "temperatures"
"""Under this key of a batch's plan stands its schedule: lists of day since pitching, low and high in °C."""


@dataclass(frozen=True, slots=True)
class Step:
    """From a day after pitching on, the wished range, °C; None where one end is open."""

    day: float
    low_c: float | None
    high_c: float | None


def schedule_of(record: BatchRecord) -> tuple[Step, ...]:
    """The batch's own schedule by day; what cannot be read of it is left out."""
    found = []
    kept = record.plan.get(SCHEDULE)
    for each in kept if isinstance(kept, list | tuple) else ():
        if isinstance(each, list | tuple) and len(each) == 3 and isinstance(each[0], int | float):
            found.append(Step(float(each[0]), *(float(v) if isinstance(v, int | float) else None for v in each[1:])))
    return tuple(sorted(found, key=lambda step: step.day))


def wished_c(record: BatchRecord, vessel: Vessel | None, at: datetime) -> tuple[float | None, float | None]:
    """The range that is wished at an instant: the schedule's step, before its first and without one the vessel's."""
    days = (at - record.pitched_at) / timedelta(days=1)
    begun = [step for step in schedule_of(record) if step.day <= days]
    if begun:
        return begun[-1].low_c, begun[-1].high_c
    return (vessel.temperature_low_c, vessel.temperature_high_c) if vessel is not None else (None, None)


def next_step(record: BatchRecord, at: datetime) -> Step | None:
    """The step that comes next; None where none does."""
    days = (at - record.pitched_at) / timedelta(days=1)
    return next((step for step in schedule_of(record) if step.day > days), None)
