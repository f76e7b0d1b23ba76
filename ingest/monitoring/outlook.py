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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final

import polars as pl

import analysis  # and not its names: what infers loads for a second, and readings are to come in before
from analysis.evidence import NotJudged
from analysis.following import undecided
from analysis.model import Assessment, Batch
from analysis.planning import Constraints, Obstacle, Plan, ToDo, outstanding, reading_fresh
from analysis.schemas import READINGS
from analysis.wording import NOT_JUDGED
from ingest.decoding import AHEAD_S
from ingest.errors import StoreError
from ingest.model import BatchRecord, Vessel, usable_hold_h
from ingest.monitoring.planned import constraints_of, plan_of, unconfirmed
from ingest.store import Store

if TYPE_CHECKING:
    from analysis import Priors
    from analysis.inference import Lesson

log = logging.getLogger(__name__)

_LEAST_REST_S: Final = 3.0
_SHARE_OF_A_CORE: Final = 0.2
"""An assessment stands for a while although newer readings have come: for so long that looking at all running batches
takes no more than this share of one core."""

_AGAIN_S: Final = 5.0
_AGAIN_AT_LAST_S: Final = 3600.0
"""A batch that could not be judged is judged again after so long, then after twice as long, and at last hourly: what
has passed must not stand, and what stays must not fill the log. Common practice, no source."""

_ENDED_KEPT: Final = 32
_ENDED_KEPT_S: Final = 3600.0
"""Of batches that have ended, outlooks are kept for an hour after they were asked for, of the last so many; whoever
asks later has them judged anew. Each holds its readings, half a megabyte, and a cellar ends batches for years."""

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
    here_since: datetime | None = None
    """When it came into `vessel` from another; None where it was pitched there."""

    @property
    def temperature_here_c(self) -> float | None:
        """The newest temperature, where it was read in the vessel that the batch is in; what was read before is not."""
        a = self.assessment
        if self.here_since is None or a.temperature_c is None:
            return a.temperature_c
        newest = a.marked.filter(pl.col("temperature_c").is_not_null())["measured_at"].max()
        return a.temperature_c if isinstance(newest, datetime) and newest >= self.here_since else None

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
    """Of the readings that were judged; None where a later one lay in the future then, and is to come."""
    revision: int
    """Of the entries that the assessment rests on."""
    lessons: int
    """How often something had been learned from other batches when the assessment began."""
    at: float
    hour: datetime
    entries: int
    """Revision of the entries that were laid over it since."""
    unjudged: bool = False
    """Whether what was laid over it changes what the readings mean, and no assessment has seen it yet."""
    failed: int = 0
    """How often in turn the batch could not be judged; then nothing is planned either."""
    asked: float = 0.0
    """When it was asked for last."""
    lock: threading.RLock = field(default_factory=threading.RLock)
    """Held while what is kept is changed: a plan for the new hour must not undo an entry laid over it meanwhile."""

    @property
    def judged(self) -> bool:
        """Whether the batch could be judged."""
        return not self.failed

    @property
    def to_try_again(self) -> bool:
        """Whether it could not be judged, and has rested since."""
        rest_s = min(_AGAIN_S * 2.0 ** min(self.failed - 1, 20), _AGAIN_AT_LAST_S)
        return self.failed > 0 and time.monotonic() - self.at >= rest_s


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
        self._recalling, self._recalled = threading.Lock(), False
        self._lessons = 0
        self._takes_s = 0.05
        self._count = threading.Lock()
        """Held while the priors, the count of lessons or the time that an assessment takes are read or changed."""

    def of(
        self, batch_id: str, *, now: datetime | None = None, wait: bool = True, fresh: bool = False
    ) -> Outlook | None:
        """The outlook of a batch; None if there is no such batch, or with `wait=False` while it is first computed.

        With `fresh` every reading counts, however short the last assessment has stood. With `wait=False`, as pages
        ask, what is kept stands until something is entered: newer readings are the watcher's to judge. What was
        entered shows at once in any case, also while another thread is still judging it.
        """
        now = now or datetime.now(UTC)
        kept = self._asked_for(batch_id)
        if not wait and kept is not None and self._stands(kept):
            return self._replanned(kept, now)
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
        kept = self._asked_for(batch_id)
        return self._with_entries(kept, now or datetime.now(UTC)) if kept else None

    def _asked_for(self, batch_id: str) -> _Kept | None:
        kept = self._kept.get(batch_id)
        if kept is not None:
            kept.asked = time.monotonic()
        return kept

    def _let_go(self) -> None:
        """Of the batches that have ended, or are there no longer, forget all but those asked for lately."""
        running = {record.batch_id for record in self._store.active_batches()}
        over = sorted((kept.asked, batch_id) for batch_id, kept in self._kept.copy().items() if batch_id not in running)
        since = time.monotonic() - _ENDED_KEPT_S
        for n, (asked, batch_id) in enumerate(reversed(over)):
            if n >= _ENDED_KEPT or asked < since:
                self._kept.pop(batch_id, None)
                self._locks.pop(batch_id, None)

    def forget(self) -> None:
        """Compute everything anew at the next call of `of`; `latest` goes on with what is kept.

        An assessment that is under way began before this, and is made anew as well.
        """
        with self._count:
            self._lessons += 1

    def _take_up(self, priors: Priors | None) -> None:
        """Judge by these from the next call of `of` on."""
        with self._count:
            self._priors = priors
            self._lessons += 1

    def _stands(self, kept: _Kept) -> bool:
        """Whether nothing was entered and nothing learned since the assessment began."""
        return kept.revision == self._store.revision and kept.lessons == self._lessons

    def _fresh(self, batch_id: str, now: datetime, *, fresh: bool = False) -> Outlook | None:
        kept = self._kept.get(batch_id)
        if kept is None or not self._stands(kept) or kept.to_try_again:
            return None
        rested = time.monotonic() - kept.at >= max(_LEAST_REST_S, len(self._kept) * self._takes_s / _SHARE_OF_A_CORE)
        newest = self._store.newest_reading_at(batch_id)
        # Beside a reading dated in the future, one that comes in now is not the newest.
        if (fresh or rested) and (kept.newest != newest or _to_come(newest, now)):
            return None
        return self._replanned(kept, now)

    def _replanned(self, kept: _Kept, now: datetime) -> Outlook:
        with kept.lock:
            return self._replan(kept, now)

    def _replan(self, kept: _Kept, now: datetime) -> Outlook:
        hour = now.replace(minute=0, second=0, microsecond=0)
        outlook = kept.outlook
        made_at = outlook.plan.made_at
        # No release outlives the reading that it rests on, not even until the hour is full.
        went_stale = reading_fresh(outlook.assessment, made_at) and not reading_fresh(
            outlook.assessment, max(now, made_at)
        )
        if kept.judged and (kept.hour != hour or went_stale):
            # The calendar moved on: the plan is looked at again, the inference stands.
            constraints = constraints_of(outlook.record, self._store.preferences())
            said = self._said(outlook.record.batch_id, constraints)
            replanned = plan_of(outlook.record, outlook.assessment, outlook.batch, constraints, now, said)
            kept.outlook = replace(outlook, plan=unconfirmed(replanned) if kept.unjudged else replanned)
            kept.hour = hour
        return kept.outlook

    def _with_entries(self, kept: _Kept, now: datetime) -> Outlook:
        """What is kept, with what was entered since laid over it: the plan follows at once, the inference later.

        Looked at once a batch and entry, however many readings come.
        """
        with kept.lock:
            self._lay_over(kept, now)
            return self._replan(kept, now)

    def _lay_over(self, kept: _Kept, now: datetime) -> None:
        revision, batch_id = self._store.revision, kept.outlook.record.batch_id
        record = self._store.get(BatchRecord, batch_id) if kept.entries != revision else None
        if record is not None and kept.judged:
            old, batch, constraints = (
                kept.outlook,
                self._store.batch(batch_id),
                constraints_of(record, self._store.preferences()),
            )
            vessel, here_since = self._where(record, now)
            if (record, batch, vessel, constraints) != (old.record, old.batch, old.vessel, kept.constraints):
                kept.unjudged = kept.unjudged or batch != old.batch
                plan = plan_of(record, old.assessment, batch, constraints, now, self._said(batch_id, constraints))
                plan = unconfirmed(plan) if kept.unjudged else plan
                # A new time, by which pictures of it are kept, for they show its events.
                kept.outlook = replace(
                    old, record=record, vessel=vessel, here_since=here_since, batch=batch, plan=plan, computed_at=now
                )
                kept.constraints, kept.hour = constraints, now.replace(minute=0, second=0, microsecond=0)
            kept.entries = revision

    def _compute(self, batch_id: str, now: datetime) -> Outlook | None:
        record = self._store.get(BatchRecord, batch_id)
        if record is None:
            return None
        began = time.monotonic()
        revision = self._store.revision
        newest = self._store.newest_reading_at(batch_id)
        with self._count:
            priors, lessons = self._priors, self._lessons
        constraints, failed = Constraints(), 0
        try:
            constraints = constraints_of(record, self._store.preferences())
            outlook = self._judge(record, constraints, newest, priors, now)
        except StoreError:
            raise
        except Exception:  # whatever it is, the other batches are judged, and of this one the reason is told
            log.exception("the batch %s cannot be judged", record.name)
            before = self._kept.get(batch_id)
            outlook, failed = self._not_judged(record, now), (before.failed if before else 0) + 1
        hour = now.replace(minute=0, second=0, microsecond=0)
        ended = time.monotonic()
        if _to_come(newest, now):
            newest = None  # it was left out, and is to be judged when its time has come, also if none comes after it
        with self._count:
            self._takes_s += 0.1 * (ended - began - self._takes_s)
        self._kept[batch_id] = _Kept(
            outlook, constraints, newest, revision, lessons, ended, hour, entries=revision, failed=failed, asked=ended
        )
        self._let_go()
        return outlook

    def _judge(
        self,
        record: BatchRecord,
        constraints: Constraints,
        newest: datetime | None,
        priors: Priors | None,
        now: datetime,
    ) -> Outlook:
        batch_id = record.batch_id
        batch, calibrated = self._store.batch_and_calibrated(batch_id)
        before = self._kept.get(batch_id)
        if _to_come(newest, now):
            newest = _newest_that_has_come(calibrated.readings, now)
        assessment = analysis.assess(
            calibrated.readings,
            batch,
            now=newest or max(record.pitched_at, min(now, record.ended_at or now)),
            # One that has ended is not judged by what it taught itself: record and comparison would flatter us.
            priors=priors and priors.without(batch_id),
            previous=before.outlook.assessment if before else None,
        )
        if record.divided_at is not None and self._store.own_reading_at(batch_id) is None:
            assessment = undecided(assessment)
        _, doubt = usable_hold_h(record, self._store.preferences())
        vessel, here_since = self._where(record, now)
        return Outlook(
            record=record,
            vessel=vessel,
            here_since=here_since,
            batch=batch,
            readings=calibrated.readings,
            assessment=assessment,
            plan=plan_of(record, assessment, batch, constraints, now, self._said(batch_id, constraints)),
            computed_at=now,
            doubts=(*calibrated.notes, doubt) if doubt else calibrated.notes,
        )

    def _where(self, record: BatchRecord, now: datetime) -> tuple[Vessel | None, datetime | None]:
        """The vessel in which a batch is (or was last), and since when, if it came there from another."""
        spans = self._store.vessels_of(record)
        here = next((span for span in spans if span.has(now)), spans[-1])
        return self._store.get(Vessel, here.vessel_id), None if here is spans[0] else here.from_at

    def _not_judged(self, record: BatchRecord, now: datetime) -> Outlook:
        """An outlook that releases nothing and says that the batch could not be judged."""
        batch = Batch(pitched_at=record.pitched_at, yeast=record.yeast, drink=record.drink)
        nothing = pl.DataFrame(schema=READINGS)
        assessment = analysis.assess(nothing, batch, now=max(record.pitched_at, min(now, record.ended_at or now)))
        return Outlook(
            record=record,
            vessel=self._store.get(Vessel, record.vessel_id),
            batch=batch,
            readings=nothing,
            assessment=replace(assessment, evidence=(NotJudged(),), advice=()),
            plan=Plan(made_at=now, reason=Obstacle.NOT_JUDGED, blocked_by=Obstacle.NOT_JUDGED),
            computed_at=now,
            doubts=(NOT_JUDGED,),
        )

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

    def learn(self, *, pause: Callable[[], None] = lambda: None) -> Priors | None:
        """Take up what earlier batches taught; cheap when no batch ended or changed since the last call.

        They are learnt all at once, each in the light of all the others: one after the other they would teach less.
        While that takes its time, what was learnt before holds. `pause` is called between batches.
        """
        with self._learning:
            wanted: dict[str, str] = {}
            own = [one for one in self._store.finished_batches() if self._store.speaks_for_itself(one)]
            for record in _newest_of_each_drink(own):
                try:
                    wanted[record.batch_id] = _print_of(self._store, record)
                except ValueError as error:
                    log.warning("nothing is learned from the batch %s: %s", record.name, error)
            self.recall()
            if wanted == self._learned:
                return self._priors
            log.info("learning from %d finished batches", len(wanted))
            # What is not there any more teaches no longer, even while the others are learnt anew.
            for batch_id in set(self._learned) - set(wanted):
                if self._priors is not None:
                    self._take_up(self._priors.without(batch_id))
            taught = analysis.learn((self._store.finished(b) for b in wanted), pause=pause) if wanted else None
            self._learned = wanted
            self._take_up(taught)
            kept = json.dumps({"learned": wanted, "priors": taught.to_json() if taught else None})
            try:
                self._store.set_note(_PRIORS_NOTE, kept)
            except StoreError as error:
                log.warning("what was learned could not be kept, it will be learned again: %s", error)
            return taught

    @property
    def priors(self) -> Priors | None:
        """What all finished batches taught by now; None where nothing was learnt."""
        with self._count:
            return self._priors

    def priors_of(self, batch_id: str) -> Priors | None:
        """What other batches taught by now, for whoever weighs this one again; None where nothing was learnt."""
        with self._count:
            return self._priors and self._priors.without(batch_id)

    def lessons(self) -> Mapping[str, Lesson]:
        """What each finished batch that was looked at taught, by its id."""
        with self._count:
            priors = self._priors
        return {} if priors is None else priors.lessons()

    def recall(self) -> None:
        """Take up what was learnt before a restart; cheap where it was."""
        with self._recalling:
            if not self._recalled:
                self._recalled = True
                self._recall()

    def _recall(self) -> None:
        kept = self._store.get_note(_PRIORS_NOTE)
        if kept is None:
            return
        try:
            note = json.loads(kept)
            priors = analysis.Priors.from_json(note["priors"]) if note["priors"] else None
            self._learned = dict(note["learned"])
            if priors is not None:
                self._take_up(priors)
        except (ValueError, KeyError, TypeError) as error:
            log.info("what was learned by another version is learned again: %s", error)


def _newest_of_each_drink(ended: Sequence[BatchRecord]) -> list[BatchRecord]:
    """The batches that are learnt from, of those that have ended, the latest first; the earliest first."""
    from analysis.inference import KEPT_PER_DRINK

    kept: dict[str, list[BatchRecord]] = {}
    for record in ended:
        its = kept.setdefault(record.drink, [])
        if len(its) < KEPT_PER_DRINK:
            its.append(record)
    return sorted((one for those in kept.values() for one in those), key=lambda one: (one.ended_at, one.batch_id))


def _to_come(when: datetime | None, now: datetime) -> bool:
    """Whether an instant lies in the future, by more than a device's clock may run ahead."""
    return when is not None and when > now + timedelta(seconds=AHEAD_S)


def _newest_that_has_come(readings: pl.DataFrame, now: datetime) -> datetime | None:
    """When the newest reading was made that does not lie in the future; a device's clock may run a little ahead."""
    come = readings.filter(pl.col("measured_at") <= now + timedelta(seconds=AHEAD_S))
    newest = come["measured_at"].max()
    return newest if isinstance(newest, datetime) else None


def _print_of(store: Store, record: BatchRecord) -> str:
    """Changes when the batch, its events or its readings do."""
    events = [(e.kind, e.at.isoformat(), e.gravity_sg) for e in store.batch(record.batch_id).events]
    facts = repr((asdict(record), events, store.newest_reading_at(record.batch_id)))
    return hashlib.sha256(facts.encode()).hexdigest()[:16]
