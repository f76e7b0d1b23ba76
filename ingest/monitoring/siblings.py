"""Batches of one wort: which of them tell something of one that has no float of its own."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from analysis.following import Following, Sibling, alike_warm, follow, sample_due, too_far_apart
from analysis.model import HandReading
from ingest.calibration import sampled_gravity
from ingest.model import BatchRecord, HandSample, Vessel
from ingest.monitoring.outlook import Outlooks
from ingest.monitoring.wished import wished_c
from ingest.store import Store

TOGETHER_H: Final = 12.0
"""Hours; batches of one wort that were pitched within this are siblings. Source: a brew day; none published."""


def siblings_of(store: Store, record: BatchRecord) -> list[BatchRecord]:
    """Other batches of the same wort, drink and yeast, pitched together; none where wort or yeast is not said."""
    if record.split_of is None or record.yeast is None:
        return []
    divided = {batch.divided_from for batch in store.all(BatchRecord)}
    return [
        other
        for other in store.all(BatchRecord, split_of=record.split_of, yeast=record.yeast, drink=record.drink)
        if other.batch_id != record.batch_id
        and abs(other.pitched_at - record.pitched_at) <= timedelta(hours=TOGETHER_H)
        and other.merged_into is None
        and other.batch_id not in divided
    ]


def following_of(store: Store, outlooks: Outlooks, record: BatchRecord, now: datetime) -> Following | None:
    """What its siblings let one expect of a batch that has no float; None where it has one, or has no such sibling."""
    if record.ended_at is not None or store.floats_in(record.batch_id):
        return None
    warm = _warmth(store, outlooks, record, now)
    told = []
    for other in siblings_of(store, record):
        outlook = outlooks.latest(other.batch_id, now=now)
        if outlook is None or not store.floats_in(other.batch_id, since=other.here_from):
            continue
        theirs = _warmth(store, outlooks, other, now)
        if too_far_apart(warm, theirs):
            continue
        vessel = store.get(Vessel, other.vessel_id)
        name = vessel.name if vessel is not None else other.name
        told.append(Sibling(name, other.pitched_at, outlook.assessment, alike_warm(warm, theirs)))
    return follow(told, record.pitched_at, _samples(store, record), now)


def asks_for_sample(store: Store, record: BatchRecord, following: Following | None, now: datetime) -> bool:
    """Whether a batch without a float wants to be sampled by hand now."""
    if record.ended_at is not None or store.floats_in(record.batch_id):
        return False
    return sample_due(following, store.own_reading_at(record.batch_id), record.here_from, now)


def _warmth(store: Store, outlooks: Outlooks, record: BatchRecord, now: datetime) -> float | None:
    """How warm a batch stands: as measured, else the middle of what was wished for its vessel."""
    outlook = outlooks.latest(record.batch_id)
    if outlook is not None and outlook.assessment.temperature_c is not None:
        return outlook.assessment.temperature_c
    low, high = wished_c(record, store.get(Vessel, record.vessel_id), now)
    return None if low is None or high is None else (low + high) / 2.0


def _samples(store: Store, record: BatchRecord) -> list[HandReading]:
    """The batch's own degassed samples, in time order."""
    found = []
    for sample in store.all(HandSample, batch_id=record.batch_id):
        gravity = sampled_gravity(sample, record.drink, record.original_gravity_sg).gravity_sg
        if sample.degassed and gravity is not None:
            found.append(HandReading(sample.at, gravity))
    return sorted(found, key=lambda reading: reading.at)
