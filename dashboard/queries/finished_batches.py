"""How finished batches went, each judged once: what the yeasts' page and the track record are made of."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from analysis.attenuation import attenuation_course
from analysis.model import Assessment, Floats
from analysis.planning import Constraints
from analysis.track_record import Ended, Said, TrackRecord, track_record
from analysis.yeast_comparison import Comparison, Outcome, compare
from dashboard import context
from dashboard.charts import thinned
from dashboard.queries import queries
from ingest.model import BatchRecord
from ingest.monitoring import constraints_of

_NAMELESS = "no yeast named"


@dataclass(frozen=True, slots=True)
class Finished:
    """One finished batch: its outcome, its course, and what had been said of it."""

    outcome: Outcome
    days: Floats
    attenuation: Floats
    ended: Ended | None


def finished(progress: Callable[[int, int, str], None] | None = None) -> list[Finished]:
    """All finished batches, the newest first; `progress` is told how many of how many are read, and the next one."""
    store = context.store()
    measured = filter(store.speaks_for_itself, store.finished_batches())
    records = sorted(measured, key=lambda r: r.pitched_at, reverse=True)
    found, said = [], store.times_assessed()
    for n, record in enumerate(records):
        if progress is not None:
            progress(n, len(records), record.name)
        version = (
            repr(record),
            store.newest_reading_at(record.batch_id),
            repr(store.batch(record.batch_id)),
            said.get(record.batch_id, 0),
        )
        answer: Finished | None = queries.kept(("finished", record.batch_id), functools.partial(_read, record), version)
        if answer is not None:
            found.append(answer)
    return found


def _read(record: BatchRecord) -> Finished | None:
    outlook = context.service().outlooks.of(record.batch_id)
    if outlook is None or outlook.assessment.newest_reading_at is None:
        return None
    a = outlook.assessment
    done_at = a.finish.p50 if a.finish is not None and a.finished else None
    days = None if done_at is None else (done_at - record.pitched_at).total_seconds() / 86_400
    outcome = Outcome(
        batch_id=record.batch_id,
        name=record.name,
        yeast=record.yeast or _NAMELESS,
        drink=record.drink,
        finish_days=days if days is not None and days > 0 else None,
        attenuation=a.apparent_attenuation if a.finished else None,
        temperature_c=_mean_temperature(a, done_at),
        # The assessment's counts what was added on the way.
        original_gravity_sg=a.original_gravity_sg.p50 if a.original_gravity_sg else record.original_gravity_sg,
        split_of=record.split_of,
    )
    at, attenuation = _course(a, record, outcome.original_gravity_sg)
    return Finished(outcome, at, attenuation, _ended(record, done_at))


def _mean_temperature(a: Assessment, until: datetime | None) -> float | None:
    warm = a.marked.filter(pl.col("measured_at") <= until) if until is not None else a.marked
    mean = warm["temperature_c"].mean()
    return float(mean) if isinstance(mean, int | float) else None


def _course(a: Assessment, record: BatchRecord, original_sg: float | None) -> tuple[Floats, Floats]:
    end = a.newest_reading_at or a.now
    course = a.course.drop_nulls().filter(pl.col("at").is_between(record.pitched_at, end))
    course = thinned(course, "at", "gravity_p50_sg", 20)
    days = (course["at"] - record.pitched_at).dt.total_seconds().to_numpy() / 86_400
    if original_sg is None or course.is_empty():
        return days[:0], days[:0]
    return days, attenuation_course(original_sg, course["gravity_p50_sg"].to_numpy())


def _ended(record: BatchRecord, done_at: datetime | None) -> Ended | None:
    if done_at is None:
        return None
    constraints = constraints_of(record, context.store().preferences())
    said = [
        Said(
            made_at=r.made_at,
            finish_p10=r.finish_p10,
            finish_p50=r.finish_p50,
            finish_p90=r.finish_p90,
            packaging_at=_begin(r.packaging_day, constraints),
        )
        for r in context.store().assessments(record.batch_id)
        if r.finish_p10 and r.finish_p50
    ]
    return Ended(finished_at=done_at, hold_h=constraints.hold_h, said=said)


def _begin(day: str | None, constraints: Constraints) -> datetime | None:
    return None if day is None else constraints.instant(date.fromisoformat(day))


def comparisons(batches: list[Finished]) -> tuple[Comparison, ...]:
    """The yeasts of each drink side by side."""
    return compare([b.outcome for b in batches])


def record_of(batches: list[Finished]) -> TrackRecord:
    """The cellar's own track record."""
    return track_record([b.ended for b in batches if b.ended is not None])
