"""Looks at every batch when there is something new, keeps what was said, and passes word on.

The watcher makes the same `Outlooks.of` call as the screens, so that page and alert cannot disagree. What it has said
and what it still has to say is kept in the store: a restart neither repeats nor loses a message.
"""

from __future__ import annotations

import contextlib
import json
import logging
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from analysis.display_units import DisplayUnits
from analysis.lazy import load_all
from analysis.wording import reason, sentences
from ingest import program
from ingest.errors import StoreError
from ingest.model import AssessmentRecord
from ingest.monitoring.notifier import Notifier, verdict_message, verdict_topic
from ingest.monitoring.outlook import Outlook, Outlooks
from ingest.store import Store

log = logging.getLogger(__name__)

_LOOK_S: Final = 5.0
_TOPICS_NOTE: Final = "verdict topics"
_KEEP_EVERY: Final = timedelta(hours=1)
_MOVED: Final = timedelta(hours=1)
_GIVES_WAY_S: Final = 0.5
_GLANCE_S: Final = 0.01

Publish = Callable[[str, bytes], None]
"""Sends retained bytes to a topic below the prefix, such as ``verdict/Vessel 3``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hooks:
    """What a watcher asks and tells others; given before it starts, so that its first look knows them too."""

    holding: Callable[[Store], bool] = lambda _store: False
    """While this is true no batch is looked at, as where most of its history is still on the way."""
    gives_way: Callable[[], bool] = lambda: False
    """While this is true the next batch waits, half a second at most: whoever opens a page comes first."""
    looked_at: Callable[[Outlook], None] = lambda _outlook: None
    """Told of every batch that was looked at; must not raise."""


@dataclass(frozen=True, slots=True)
class _Published:
    """What was sent to a topic, and what it was made of."""

    outlook: Outlook
    units: DisplayUnits
    payload: bytes


class _ClosingError(Exception):
    """Ends a learning that is under way when the watcher closes."""


class Watcher:
    """One thread that refreshes outlooks, keeps assessments, and notifies; one that learns from what has ended.

    Learning from all batches at once takes some seconds: nobody waits for it, and until it is done what was learnt
    before holds.
    """

    def __init__(
        self,
        store: Store,
        outlooks: Outlooks,
        notifier: Notifier,
        publish: Publish | None = None,
        hooks: Hooks | None = None,
    ) -> None:
        self._store = store
        self._hooks = hooks or Hooks()
        self._outlooks = outlooks
        self.notifier = notifier
        self._publish = publish
        self._said: dict[str, AssessmentRecord] = {}
        self._published: dict[str, _Published] = {}
        self._topics: set[str] | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watcher", daemon=True)
        self._learner = threading.Thread(target=self._learn, name="learner", daemon=True)
        self.problem: str | None = None
        self.looks = 0
        """How many batches were looked at since the start."""

    def lifeless(self) -> str | None:
        """A sentence where the thread has ended."""
        if self._stop.is_set() or self._thread.ident is None or self._thread.is_alive():
            return None
        return "The batches are no longer watched: the thread that does it has ended."

    def start(self) -> None:
        """Begin to watch."""
        self._thread.start()
        self._learner.start()

    def close(self) -> None:
        """Stop watching; idempotent."""
        self._stop.set()
        for thread in (self._thread, self._learner):
            if thread.is_alive():
                thread.join(30)

    def _learn(self) -> None:
        while not self._stop.is_set():
            try:
                if self._hooks.holding(self._store):
                    self._stop.wait(_LOOK_S / 10)
                    continue
                load_all()
                self._outlooks.learn(pause=self._let_others_go_first)
            except _ClosingError:
                return
            except StoreError as error:
                log.warning("%s", error)
            except Exception:  # what was learnt before holds; the next batch that ends may teach
                log.exception("nothing could be learned")
            self._stop.wait(_LOOK_S)

    def _let_others_go_first(self) -> None:
        self._give_way()
        if self._stop.wait(_GLANCE_S):
            raise _ClosingError

    def _run(self) -> None:
        while not self._stop.is_set():
            if self._hooks.holding(self._store):
                self._stop.wait(_LOOK_S / 10)
                continue
            try:
                load_all()
                self.look(datetime.now(UTC))
            except StoreError as error:
                self.problem = str(error)
                log.warning("%s", error)
            except Exception:  # one failed look must not end the watch; the next one may succeed
                self.problem = "The watcher stumbled; its log says more. It goes on with the next look."
                log.exception("the watcher stumbled")
            self._stop.wait(_LOOK_S)

    def look(self, now: datetime) -> list[Outlook]:
        """Look at every running batch once."""
        self._outlooks.recall()
        outlooks: list[Outlook] = []
        failed: list[str] = []
        for record in self._store.active_batches():
            self._give_way()
            if self._stop.is_set():
                return outlooks
            try:
                outlook = self._outlooks.of(record.batch_id, now=now)
            except StoreError:
                raise
            except Exception:  # the other batches are looked at all the same
                log.exception("the look at the batch %s failed", record.name)
                failed.append(record.name)
                continue
            if outlook is not None:
                outlooks.append(outlook)
                self.looks += 1
                self._keep(outlook, now)
                self._publish_verdict(outlook)
                self._hooks.looked_at(outlook)
        self._clear_verdicts({verdict_topic(outlook) for outlook in outlooks})
        self.notifier.consider(now, outlooks, self._store.device_statuses(), self._store.preferences())
        self.notifier.send_due(now)
        self.problem = f"The watcher could not look at {', '.join(failed)}; its log says more." if failed else None
        return outlooks

    def _give_way(self) -> None:
        until = time.monotonic() + _GIVES_WAY_S
        while self._hooks.gives_way() and time.monotonic() < until:
            self._stop.wait(_GLANCE_S)

    def _keep(self, outlook: Outlook, now: datetime) -> None:
        batch_id = outlook.record.batch_id
        if outlook.assessment.newest_reading_at is None:
            return  # nothing has been said yet of what has not been heard of
        if batch_id not in self._said and (earlier := self._store.assessments(batch_id)):
            self._said[batch_id] = earlier[-1]
        new = assessment_record(outlook, now, self._store.preferences().units)
        last = self._said.get(batch_id)
        if last is None or _differs(last, new):
            self._store.add_assessment(new)
            self._said[batch_id] = new

    def _publish_verdict(self, outlook: Outlook) -> None:
        if self._publish is None:
            return
        topic, units = verdict_topic(outlook), self._store.preferences().units
        last = self._published.get(topic)
        if last is not None and last.outlook is outlook and last.units == units:
            return  # to weigh anew of every batch whether it may be released took an eighth of a core
        _, payload = verdict_message(outlook, units)
        if last is None or last.payload != payload:
            self._publish(topic, payload)
        self._published[topic] = _Published(outlook, units, payload)

    def _clear_verdicts(self, current: set[str]) -> None:
        """Take retained verdicts off the broker whose batch has ended or moved, also those of an earlier run.

        An empty retained payload deletes the one before it (MQTT 5, 3.3.1.3).
        """
        if self._publish is None:
            return
        if self._topics is None:
            kept = self._store.get_note(_TOPICS_NOTE)
            self._topics = set(json.loads(kept)) if kept else set()
        if self._topics == current:
            return
        for topic in self._topics - current:
            self._publish(topic, b"")
            self._published.pop(topic, None)
        self._topics = current
        self._store.set_note(_TOPICS_NOTE, json.dumps(sorted(current), ensure_ascii=False))


def assessment_record(outlook: Outlook, made_at: datetime, units: DisplayUnits) -> AssessmentRecord:
    """What is kept of an outlook; its sentences in these units."""
    a, plan = outlook.assessment, outlook.plan
    return AssessmentRecord(
        batch_id=outlook.record.batch_id,
        made_at=made_at,
        phase=a.phase,
        finished=a.finished,
        stalled=a.stalled,
        hold_met=a.hold_met,
        p_finished=a.p_finished,
        held_h=a.held_h,
        gravity_sg=a.gravity_sg.p50 if a.gravity_sg else None,
        finish_p10=a.finish.p10 if a.finish else None,
        finish_p50=a.finish.p50 if a.finish else None,
        finish_p90=a.finish.p90 if a.finish else None,
        hop_day=plan.hop_day.isoformat() if plan.hop_day else None,
        packaging_day=plan.packaging_day.isoformat() if plan.packaging_day else None,
        detail={
            "evidence": list(sentences(a.evidence, DisplayUnits())),
            "reason": reason(plan.reason, units),
            "fingerprint": a.fingerprint,
        },
        program_version=program.version(),
    )


def _differs(last: AssessmentRecord, new: AssessmentRecord) -> bool:
    for name in ("phase", "finished", "stalled", "hold_met", "hop_day", "packaging_day"):
        if getattr(last, name) != getattr(new, name):
            return True
    if new.detail.get("fingerprint") == last.detail.get("fingerprint"):
        return False
    if last.finish_p50 and new.finish_p50 and abs(new.finish_p50 - last.finish_p50) > _MOVED:
        return True
    return new.made_at - last.made_at >= _KEEP_EVERY


@contextlib.contextmanager
def watching(
    store: Store, outlooks: Outlooks, notifier: Notifier, publish: Publish | None = None, hooks: Hooks | None = None
) -> Iterator[Watcher]:
    """Watch for as long as the block runs."""
    watcher = Watcher(store, outlooks, notifier, publish, hooks)
    watcher.start()
    try:
        yield watcher
    finally:
        watcher.close()
