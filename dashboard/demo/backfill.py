"""What was said of the demo's batches on earlier days, so that a new demo has a track record of its own.

Nothing is invented: each entry is made by the same calls as a live one, at an earlier moment, from the readings and
events up to that moment and from the batches that had ended by then.
"""

from __future__ import annotations

import heapq
import logging
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Final

from analysis import Assessment, Priors, assess, learn
from analysis.planning import steady_plan
from ingest.model import AssessmentRecord, BatchRecord, Placement, Vessel
from ingest.monitoring import Outlook, assessment_record, constraints_of
from ingest.service import Service
from ingest.store import Store

log = logging.getLogger(__name__)

_DONE_NOTE: Final = "demo looked back"
_FIRST: Final = timedelta(hours=36)
_EVERY: Final = timedelta(days=1)
_PAUSE_S: Final = 0.01
"""Between two looks: the first pages that are opened must not wait for the past."""
_SETTLE_S: Final = 0.7
_PATIENCE_S: Final = 30.0
"""However long the history takes, the watch begins after this."""


class History:
    """A thread that looks back once and ends."""

    def __init__(self) -> None:
        self._stop = threading.Event()
        self._arrived = threading.Event()
        self._began = time.monotonic()
        self._thread: threading.Thread | None = None

    def holds(self, store: Store) -> bool:
        """Whether nothing is to be said of any batch yet, as its history is still on the way."""
        if self._arrived.is_set() or time.monotonic() - self._began >= _PATIENCE_S:
            return False
        return store.get_note(_DONE_NOTE) is None

    def start(self, service: Service, until: datetime) -> None:
        """Begin, as soon as the history has arrived."""
        self._thread = threading.Thread(target=self._run, args=(service, until), name="demo-history", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Give up what is not done yet; it is made at the next start."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(15)

    def _run(self, service: Service, until: datetime) -> None:
        try:
            look_back(service, until, self._stop, self._arrived)
        except Exception:  # a daemon thread has nobody else to tell, and the demo goes on without
            log.exception("the demo's batches could not be looked back at")


def look_back(service: Service, until: datetime, stop: threading.Event, arrived: threading.Event) -> None:
    """Once per cellar, when its history has arrived: keep what would have been said of each batch, day by day."""
    store = service.store
    if store.get_note(_DONE_NOTE) is not None or not _arrived(service, stop):
        return
    arrived.set()
    made = list(_said(store, until, stop))
    if stop.is_set():
        return
    kept, _ = store.keep_history(made, [])
    store.set_note(_DONE_NOTE, until.isoformat())
    log.info("looked back at %d earlier days of the batches", kept)


def _arrived(service: Service, stop: threading.Event) -> bool:
    """Wait until no more of the history comes in; False if the demo ends before."""
    before = -1
    while not stop.wait(_SETTLE_S):
        now = service.store.counts()["readings"]
        if now == before and now > 0:
            return True
        before = now
    return False


def _said(store: Store, until: datetime, stop: threading.Event) -> Iterator[AssessmentRecord]:
    """Every look in order of time; what an earlier batch taught counts from the look after its end."""
    ended = sorted(store.finished_batches(), key=lambda r: r.ended_at or until)
    # What had no float, such as a trial's jugs, was seldom looked at.
    watched = [r for r in (*ended, *store.active_batches()) if store.all(Placement, vessel_id=r.vessel_id)]
    looks = heapq.merge(*(_looks(record, until) for record in watched), key=lambda x: x[0])
    priors: Priors | None = None
    course: dict[str, _Course] = {}
    for now, record in looks:
        if stop.wait(_PAUSE_S):
            return
        over = [r for r in ended if r.ended_at is not None and r.ended_at <= now]
        if over:
            priors = learn((store.finished(r.batch_id) for r in over), start=priors)
            ended = ended[len(over) :]
        of = course.setdefault(record.batch_id, _Course(store, record))
        if (said := of.look(now, priors)) is not None:
            yield said


def _looks(record: BatchRecord, until: datetime) -> Iterator[tuple[datetime, BatchRecord]]:
    """The moments at which a batch is looked at, with it."""
    now, end = record.pitched_at + _FIRST, record.ended_at or until
    while now < end:
        yield now, record
        now += _EVERY


class _Course:
    """One batch, looked at again and again as its time goes on."""

    def __init__(self, store: Store, record: BatchRecord) -> None:
        self._store, self._record = store, record
        self._batch = store.batch(record.batch_id)
        self._vessel = store.get(Vessel, record.vessel_id)
        self._wishes, self._units = constraints_of(record, store.preferences()), store.preferences().units
        self._before: Assessment | None = None
        self._events = 0
        self._said: tuple[date | None, date | None] | None = None

    def look(self, now: datetime, priors: Priors | None) -> AssessmentRecord | None:
        """What is said at `now`; None where the batch was ready at the last look and nothing was done to it since."""
        batch = replace(self._batch, events=tuple(e for e in self._batch.events if e.at <= now))
        if self._before is not None and self._before.ready and len(batch.events) == self._events:
            return None
        self._events = len(batch.events)
        readings = self._store.calibrated(self._record.batch_id, until=now).readings
        a = assess(readings, batch, now=now, priors=priors, previous=self._before)
        plan = steady_plan(a, batch, self._wishes, now=now, said=self._said)
        self._before, self._said = a, (plan.hop_day, plan.packaging_day)
        outlook = Outlook(
            record=self._record,
            vessel=self._vessel,
            batch=batch,
            readings=readings,
            assessment=a,
            plan=plan,
            computed_at=now,
        )
        return assessment_record(outlook, now, self._units)
