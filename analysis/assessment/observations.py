"""What the readings show by themselves, before anything is inferred: hold, chill, and a fall after a stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np
import polars as pl

from analysis.assessment.float_doubts import FloatDoubt, doubts_of
from analysis.assessment.hysteresis import fingerprint_of
from analysis.assessment.refutation import Stood, stands_anew, stood_above
from analysis.assessment.trend import trend_of
from analysis.evidence import CannotBe
from analysis.inference import PosteriorDraws, Prior
from analysis.model import Batch, Floats, HandReading, Trend, events_of
from analysis.readings import (
    Hold,
    Series,
    chilled_from,
    hold,
    hours_of,
    hours_since,
    mark,
    without_silence,
)
from analysis.thresholds import HOLD_H, LEVEL_H

_SAME_H: Final = 1e-6


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

    def float_hours(self) -> Floats:
        """When the floats' readings in use were made, hours since pitching."""
        rows = self.marked.filter(pl.col("set_aside").is_null() & ~pl.col("by_hand"))
        return hours_since(rows["measured_at"], self.batch.pitched_at)

    def hand_samples(self) -> tuple[HandReading, ...]:
        """What was read by hand and is in use, in time order, but for samples that kept their gas."""
        gassy = {e.at for e in events_of(self.batch, "sample") if not e.degassed}
        rows = self.marked.filter(pl.col("set_aside").is_null() & pl.col("by_hand"))
        every = zip(rows["measured_at"], rows["gravity_sg"], strict=True)
        return tuple(HandReading(at, gravity_sg) for at, gravity_sg in every if at not in gassy)


@dataclass(frozen=True, slots=True)
class Observations:
    """What the readings show by themselves.

    `chill_h` is when the present chill began, hours since pitching; None where it is not chilled. `stood` tells of a
    fall that has not been followed by a new hold. `began_h` is when the fall began, None where none has been seen: then
    nothing counts as held, nor of a float that shows what cannot be. `doubts` are what is odd about the float. Since
    `same_from_h` the liquid and the float are the same. `trend` is a slow fall since the end, which takes that back
    where it `falls_again`.
    """

    series: Series
    held: Hold
    chill_h: float | None = None
    stood: Stood | None = None
    began_h: float | None = 0.0
    doubts: tuple[FloatDoubt, ...] = ()

    same_from_h: float = 0.0
    trend: Trend | None = None
    falls_again: bool = False
    hopped_h: float | None = None
    before_hops: Hold | None = None
    """When the last hops went in, hours since pitching, and the hold that they ended, where one had been seen."""

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
            held = without_silence(held, snapshot.float_hours())
        if stood is not None and stands_anew(series, stood, held_h=held.held_h, until_h=until_h):
            stood = None
        seen = cls(series, held, chill_h, stood, began_h, doubts, same_from)
        return seen._with_hops([hours_of(e.at, batch) for e in hopped], snapshot.float_hours())

    def _with_hops(self, hopped_h: Sequence[float], floats_h: Floats) -> Observations:
        """Look for the hold that the last hops ended; a dose before, that changed nothing, did not end it."""
        if not hopped_h or self.began_h is None or any(isinstance(one, CannotBe) for one in self.doubts):
            return self
        last_h = hopped_h[-1]
        from_h = max(self.began_h, self.same_from_h)
        if from_h >= last_h:
            return replace(self, hopped_h=last_h)
        before = without_silence(hold(self.series, until_h=last_h, from_h=from_h), floats_h[floats_h <= last_h])
        return replace(self, hopped_h=last_h, before_hops=before if before.since_h is not None else None)

    def with_trend(self, posterior: PosteriorDraws, prior: Prior, called_h: float | None) -> Observations:
        """Look for a slow fall since it ended, or was called finished; what falls has not held."""
        until_h = self.chill_h if self.chill_h is not None else self.series.now_h
        trend, falls = trend_of(
            self.series, posterior, prior, from_h=self.same_from_h, until_h=until_h, called_h=called_h
        )
        held = Hold(None, self.held.until_h, 0.0, 0.0, 0.0) if falls else self.held
        return replace(self, held=held, trend=trend, falls_again=falls)

    @property
    def followed_by_hand(self) -> bool:
        """Whether no float was read since the gravity steadied, or of late where it has not."""
        since_h = self.held.since_h if self.held.since_h is not None else self.held.until_h - HOLD_H
        return not bool((self.series.floats & (self.series.hours >= since_h)).any())

    @property
    def newest_level_sg(self) -> float:
        """The level of the last readings that count, SG: of the floats, where there are any."""
        counts = self.series.hours <= self.held.until_h + _SAME_H
        if (counts & self.series.floats).any():
            counts = counts & self.series.floats
        t, g = self.series.hours[counts], self.series.gravity_sg[counts]
        return float(np.median(g[t > t[-1] - LEVEL_H]))

    @property
    def held_sg(self) -> float | None:
        """The level of the readings over the hold, SG; None where none holds."""
        since_h, until_h = self.held.since_h, self.held.until_h
        if since_h is None:
            return None
        use = (self.series.hours >= since_h) & (self.series.hours <= until_h)
        counts = use & self.series.floats if (use & self.series.floats).any() else use
        return float(np.median(self.series.gravity_sg[counts])) if counts.any() else None
