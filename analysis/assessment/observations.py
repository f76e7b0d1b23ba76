"""What the readings show by themselves, before anything is inferred: hold, chill, and a fall after a stand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from analysis.assessment.float_doubts import FloatDoubt, doubts_of
from analysis.assessment.hysteresis import fingerprint_of
from analysis.assessment.refutation import Stood, stands_anew, stood_above
from analysis.evidence import CannotBe
from analysis.model import Batch, events_of
from analysis.readings import Hold, Series, chilled_from, hold, hours_of, mark


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A batch with its readings at one moment. `marked` has the `MARKED` schema."""

    batch: Batch
    now: datetime
    marked: pl.DataFrame
    fingerprint: str
    newest_at: datetime | None
    temperature_c: float | None

    @classmethod
    def of(cls, readings: pl.DataFrame, batch: Batch, now: datetime) -> Snapshot:
        """Clean the readings up to `now`."""
        marked = mark(readings, batch, now=now)
        newest = marked.filter(pl.col("set_aside").is_null())["measured_at"].max() if len(marked) else None
        known = marked["temperature_c"].drop_nulls()
        return cls(
            batch,
            now,
            marked,
            fingerprint_of(marked, batch, now),
            newest if isinstance(newest, datetime) else None,
            float(known[-1]) if len(known) else None,
        )


@dataclass(frozen=True, slots=True)
class Observations:
    """What the readings show by themselves.

    `chill_h` is when the present chill began, hours since pitching; None where it is not chilled. `stood` tells of a
    fall that has not been followed by a new hold. `began_h` is when the fall began, None where none has been seen: then
    nothing counts as held, nor of a float that shows what cannot be. `doubts` are what is odd about the float.
    """

    series: Series
    held: Hold
    chill_h: float | None = None
    stood: Stood | None = None
    began_h: float | None = 0.0
    doubts: tuple[FloatDoubt, ...] = ()

    @classmethod
    def of(cls, series: Series, snapshot: Snapshot, began_h: float | None) -> Observations:
        """Look for a chill, a hold since it began, a fall after a stand, and what is odd about the float."""
        batch, now, chill_h = snapshot.batch, snapshot.now, chilled_from(series)
        other = events_of(batch, "feed", "dilute", "transfer", "float moved", until=now)
        same_from = max((hours_of(e.at, batch) for e in other), default=0.0)
        hopped = events_of(batch, "dry hop", until=now)
        steady_from = max(same_from, hours_of(hopped[-1].at, batch)) if hopped else same_from
        until_h = chill_h if chill_h is not None else series.now_h
        stood = stood_above(series, until_h=until_h, from_h=same_from)
        if stood is not None:
            steady_from = max(steady_from, stood.last_h)
        doubts = doubts_of(series, snapshot.marked, batch, until_h=until_h)
        if began_h is None or any(isinstance(one, CannotBe) for one in doubts):
            held = Hold(None, until_h, 0.0, 0.0, 0.0)
        else:
            held = hold(series, until_h=until_h, from_h=max(steady_from, began_h))
        if stood is not None and stands_anew(series, stood, held_h=held.held_h, until_h=until_h):
            stood = None
        return cls(series, held, chill_h, stood, began_h, doubts)
