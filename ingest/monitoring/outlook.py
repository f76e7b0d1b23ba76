"""What we think of each batch now: one assessment and one plan, shared by the watcher and every screen.

Nothing is computed again without a new reading or a changed entry, and the more batches run the longer each assessment
stands, so pages stay quick however fast readings come. As pages and alerts read the same `Outlook`, they cannot
disagree.
"""

from __future__ import annotations

import hashlib
import json
import logging
import threading
import time
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

import polars as pl

from analysis import Assessment, Batch, Priors, assess, learn
from analysis.model import events_of
from analysis.planning import Constraints, Ended, Plan, ToDo, outstanding, reading_fresh, steady_plan
from ingest.decoding import AHEAD_S
from ingest.errors import StoreError
from ingest.model import BatchRecord, Preferences, Vessel
from ingest.store import Store

log = logging.getLogger(__name__)

_LEAST_REST_S: Final = 3.0
_SHARE_OF_A_CORE: Final = 0.2
"""An assessment stands for a while although newer readings have come: for so long that looking at all running batches
takes no more than this share of one core."""

_PRIORS_NOTE: Final = "priors"


@dataclass(frozen=True, slots=True)
class Outlook:
    """One batch as we see it: its facts, its readings, the verdict and the plan."""

    record: BatchRecord
    vessel: Vessel | None
    batch: Batch
    readings: pl.DataFrame
    assessment: Assessment
    plan: Plan
    computed_at: datetime
    doubts: tuple[str, ...] = ()
    """Sentences about what is doubtful in the readings: outside a calibration, a sample far from the float."""

    def to_do(self, today: date | None = None) -> tuple[ToDo, ...]:
        """What is still to be done; a day that passed unused counts as `today`. Nothing of a batch that has ended."""
        ended = self.record.ended_at
        if ended is not None and ended <= self.plan.made_at:
            return ()
        return outstanding(self.plan, self.batch, today=today)


@dataclass(slots=True)
class _Kept:
    outlook: Outlook
    constraints: Constraints
    newest: datetime | None
    revision: int
    """Of the entries that the assessment rests on."""
    at: float
    hour: datetime
    entries: int
    """Revision of the entries that were laid over it since."""
    unjudged: bool = False
    """Whether what was laid over it changes what the readings mean, and no assessment has seen it yet."""


def constraints_of(record: BatchRecord, preferences: Preferences) -> Constraints:
    """The cellar's wishes with this batch's own laid over them."""
    known = {f.name for f in fields(Constraints)}
    values: dict[str, Any] = {k: v for k, v in asdict(preferences).items() if k in known}
    values |= {k: v for k, v in record.plan.items() if k in known}
    for name in ("hold_h", "contact_days"):
        if (own := getattr(record, name)) is not None:
            values[name] = own
    for name, value in values.items():
        if isinstance(value, list):
            values[name] = tuple(value)
    return Constraints(**values)


class Outlooks:
    """Keeps the newest `Outlook` of each batch; safe to call from any thread."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._kept: dict[str, _Kept] = {}
        self._locks: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()
        self._learning = threading.Lock()
        self._priors: Priors | None = None
        self._learned: dict[str, str] = {}
        self._takes_s = 0.05

    def of(
        self, batch_id: str, *, now: datetime | None = None, wait: bool = True, fresh: bool = False
    ) -> Outlook | None:
        """The outlook of a batch; None if there is no such batch, or with `wait=False` while it is first computed.

        With `fresh` every reading counts, however short the last assessment has stood. With `wait=False`, as pages
        ask, what is kept stands until something is entered: newer readings are the watcher's to judge. What was
        entered shows at once in any case, also while another thread is still judging it.
        """
        now = now or datetime.now(UTC)
        kept = self._kept.get(batch_id)
        if not wait and kept is not None and kept.revision == self._store.revision:
            return self._replanned(kept, now).outlook
        if (outlook := self._fresh(batch_id, now, fresh=fresh)) is not None:
            return outlook
        with self._guard:
            lock = self._locks.setdefault(batch_id, threading.Lock())
        if not lock.acquire(blocking=wait):
            old = self._kept.get(batch_id)
            return self._with_entries(old, now) if old else None
        try:
            return self._fresh(batch_id, now, fresh=fresh) or self._compute(batch_id, now)
        finally:
            lock.release()

    def latest(self, batch_id: str, *, now: datetime | None = None) -> Outlook | None:
        """What is kept of a batch, with every entry and the plan brought up to now; never an assessment, so quick."""
        kept = self._kept.get(batch_id)
        return self._with_entries(kept, now or datetime.now(UTC)) if kept else None

    def forget(self) -> None:
        """Compute everything anew at the next call of `of`; `latest` goes on with what is kept."""
        for kept in self._kept.copy().values():
            kept.revision = -1

    def _fresh(self, batch_id: str, now: datetime, *, fresh: bool = False) -> Outlook | None:
        kept = self._kept.get(batch_id)
        if kept is None or kept.revision != self._store.revision:
            return None
        rested = time.monotonic() - kept.at >= max(_LEAST_REST_S, len(self._kept) * self._takes_s / _SHARE_OF_A_CORE)
        if (fresh or rested) and kept.newest != self._store.newest_reading_at(batch_id):
            return None
        return self._replanned(kept, now).outlook

    def _replanned(self, kept: _Kept, now: datetime) -> _Kept:
        hour = now.replace(minute=0, second=0, microsecond=0)
        outlook = kept.outlook
        made_at = outlook.plan.made_at
        # No release outlives the reading that it rests on, not even until the hour is full.
        went_stale = reading_fresh(outlook.assessment, made_at) and not reading_fresh(
            outlook.assessment, max(now, made_at)
        )
        if kept.hour != hour or went_stale:
            # The calendar moved on: the plan is looked at again, the inference stands.
            constraints = constraints_of(outlook.record, self._store.preferences())
            said = self._said(outlook.record.batch_id, constraints)
            replanned = _plan(outlook.record, outlook.assessment, outlook.batch, constraints, now, said)
            kept.outlook = replace(outlook, plan=_unconfirmed(replanned) if kept.unjudged else replanned)
            kept.hour = hour
        return kept

    def _with_entries(self, kept: _Kept, now: datetime) -> Outlook:
        """What is kept, with what was entered since laid over it: the plan follows at once, the inference later.

        Looked at once a batch and entry, however many readings come.
        """
        revision, batch_id = self._store.revision, kept.outlook.record.batch_id
        record = self._store.get(BatchRecord, batch_id) if kept.entries != revision else None
        if record is not None:
            old, batch, constraints = (
                kept.outlook,
                self._store.batch(batch_id),
                constraints_of(record, self._store.preferences()),
            )
            vessel = self._store.get(Vessel, record.vessel_id)
            if (record, batch, vessel, constraints) != (old.record, old.batch, old.vessel, kept.constraints):
                kept.unjudged = kept.unjudged or batch != old.batch
                plan = _plan(record, old.assessment, batch, constraints, now, self._said(batch_id, constraints))
                plan = _unconfirmed(plan) if kept.unjudged else plan
                # A new time, by which pictures of it are kept, for they show its events.
                kept.outlook = replace(old, record=record, vessel=vessel, batch=batch, plan=plan, computed_at=now)
                kept.constraints, kept.hour = constraints, now.replace(minute=0, second=0, microsecond=0)
            kept.entries = revision
        return self._replanned(kept, now).outlook

    def _compute(self, batch_id: str, now: datetime) -> Outlook | None:
        record = self._store.get(BatchRecord, batch_id)
        if record is None:
            return None
        began = time.monotonic()
        revision = self._store.revision
        newest = self._store.newest_reading_at(batch_id)
        batch = self._store.batch(batch_id)
        calibrated = self._store.calibrated(batch_id)
        before = self._kept.get(batch_id)
        assessment = assess(
            calibrated.readings,
            batch,
            now=newest or max(record.pitched_at, min(now, record.ended_at or now)),
            priors=self._priors,
            previous=before.outlook.assessment if before else None,
        )
        constraints = constraints_of(record, self._store.preferences())
        outlook = Outlook(
            record=record,
            vessel=self._store.get(Vessel, record.vessel_id),
            batch=batch,
            readings=calibrated.readings,
            assessment=assessment,
            plan=_plan(record, assessment, batch, constraints, now, self._said(batch_id, constraints)),
            computed_at=now,
            doubts=calibrated.notes,
        )
        hour = now.replace(minute=0, second=0, microsecond=0)
        ended = time.monotonic()
        self._takes_s += 0.1 * (ended - began - self._takes_s)
        self._kept[batch_id] = _Kept(outlook, constraints, newest, revision, ended, hour, entries=revision)
        return outlook

    def _said(self, batch_id: str, constraints: Constraints) -> tuple[date | None, date | None] | None:
        """The days that were said before, from memory or, after a restart, from the history of what we said."""
        kept = self._kept.get(batch_id)
        if kept is not None:
            plan = kept.outlook.plan
            return (plan.hop_day, plan.packaging_day) if kept.constraints == constraints else None
        history = self._store.assessments(batch_id)
        if not history:
            return None
        days = (history[-1].hop_day, history[-1].packaging_day)
        hop_day, packaging_day = (date.fromisoformat(d) if d else None for d in days)
        return hop_day, packaging_day

    def learn(self) -> Priors | None:
        """Take up what earlier batches taught; cheap when no batch ended or changed since the last call."""
        with self._learning:
            records = {r.batch_id: r for r in self._store.finished_batches()}
            wanted = {batch_id: _print_of(self._store, r) for batch_id, r in records.items()}
            if self._priors is None:
                self._recall()
            if wanted == self._learned:
                return self._priors
            changed = any(wanted.get(batch_id) != seen for batch_id, seen in self._learned.items())
            start = None if changed else self._priors
            new = [b for b in wanted if start is None or b not in self._learned]
            log.info("learning from %d finished batches", len(new))
            self._priors = learn((self._store.finished(b) for b in new), start=start) if wanted else None
            self._learned = wanted
            kept = json.dumps({"learned": wanted, "priors": self._priors.to_json() if self._priors else None})
            try:
                self._store.set_note(_PRIORS_NOTE, kept)
            except StoreError as error:
                log.warning("what was learned could not be kept, it will be learned again: %s", error)
                self.forget()
            return self._priors

    def _recall(self) -> None:
        kept = self._store.get_note(_PRIORS_NOTE)
        if kept is None:
            return
        try:
            note = json.loads(kept)
            self._priors = Priors.from_json(note["priors"]) if note["priors"] else None
            self._learned = dict(note["learned"])
        except (ValueError, KeyError, TypeError) as error:
            log.info("what was learned by another version is learned again: %s", error)


def _plan(
    record: BatchRecord,
    assessment: Assessment,
    batch: Batch,
    constraints: Constraints,
    now: datetime,
    said: tuple[date | None, date | None] | None,
) -> Plan:
    """The plan; a batch that has ended, with no packaging logged, has none.

    A look at the whole cellar takes a while: what was logged meanwhile has happened, though `now` is the look's start.
    A device's clock may run ahead by as much as is taken for drift: its reading is not from the future then.
    """
    clock = datetime.now(UTC)
    now = max([now, *(e.at for e in batch.events if e.at <= clock)])
    newest = assessment.newest_reading_at
    if newest is not None and now < newest <= now + timedelta(seconds=AHEAD_S):
        now = newest
    if record.ended_at is not None and record.ended_at <= now and not events_of(batch, "package", until=now):
        over = Ended(constraints.local_day(record.ended_at))
        return Plan(made_at=now, reason=over, blocked_by=over)
    return steady_plan(assessment, batch, constraints, now=now, said=said)


def _unconfirmed(plan: Plan) -> Plan:
    """The plan of readings that have not yet been judged in the light of what was entered: it clears nothing."""
    return replace(plan, release=None)


def _print_of(store: Store, record: BatchRecord) -> str:
    """Changes when the batch, its events or its readings do."""
    events = [(e.kind, e.at.isoformat(), e.gravity_sg) for e in store.batch(record.batch_id).events]
    facts = repr((asdict(record), events, store.newest_reading_at(record.batch_id)))
    return hashlib.sha256(facts.encode()).hexdigest()[:16]
