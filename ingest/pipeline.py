"""From messages to the store: decode, commit, acknowledge, in order of arrival, in one thread.

A message is acknowledged only after its rows are on disk. The queue is bounded; when it is full the network thread
waits, and with it the broker.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import groupby
from queue import Empty, SimpleQueue
from typing import Final

from ingest.decoding import Arrival, Clockless, Rule, decode
from ingest.errors import Fault, StoreError
from ingest.model import Rejection, Report
from ingest.store import Store

log = logging.getLogger(__name__)

BATCH: Final = 2000
_ENOUGH: Final = 200
_GAP_S: Final = 0.025
_GATHER_S: Final = 0.1
"""A commit costs nearly the same for one message as for 200. So fewer than `_ENOUGH` wait for others that follow within
`_GAP_S`, none longer than `_GATHER_S`; not longer, as a broker that hands over only a few unacknowledged messages at a
time would wait for us while we wait for it."""
_LARGEST_QUEUE_BYTES: Final = 64 * 1024 * 1024
_HANGS_S: Final = 600.0
"""Longer than whatever else may hold the store: a copy of a large cellar, the sorting of what came in."""
_RETRY_S: Final = (0.5, 1.0, 2.0, 5.0)


@dataclass(slots=True)
class Counted:
    """What came in since the start; the pipeline's thread alone counts it up."""

    taken: int = 0
    """Readings that were new."""
    repeated: int = 0
    """Readings that were there already, and those that only added a quantity to one."""
    refused: int = 0
    """Messages that could not be read, or not wholly."""


class Pipeline:
    """A bounded queue and the one thread that empties it into the store."""

    def __init__(
        self,
        store: Store,
        *,
        prefix: str = "tunroom",
        rules: Sequence[Rule] = (),
        most: int = 4000,
        repeat_window_s: float = 30.0,
        gateways: Collection[str] | None = None,
        sites: Sequence[str] = (),
    ) -> None:
        self._store = store
        self._prefix = prefix
        self._sites = tuple(sites)
        self._own_words = (f"{prefix}/status", f"{prefix}/verdict/")
        self.rules: tuple[Rule, ...] = tuple(rules)
        self._gateways = gateways
        self._most = most
        self._waiting: SimpleQueue[Arrival | None] = SimpleQueue()
        # Each is counted up by one thread only, so that neither needs a lock for every message.
        self._bytes_in = 0
        self._bytes_out = 0
        self._messages_in = 0
        self._messages_done = 0
        self._room = threading.Condition()
        self._stopping = threading.Event()
        self._clockless = Clockless(repeat_window_s)
        self._thread = threading.Thread(target=self._run, name="pipeline", daemon=True)
        self.problem: str | None = None
        self.counted = Counted()
        self._busy_since: float | None = None

    def lifeless(self) -> str | None:
        """A sentence where the thread has ended, or has hung over the same messages for long without saying why."""
        if self._stopping.is_set() or self._thread.ident is None:  # not begun yet
            return None
        if not self._thread.is_alive():
            return "Readings are no longer taken in: the thread that does it has ended."
        since = self._busy_since
        if since is not None and self.problem is None and time.monotonic() - since > _HANGS_S:
            return f"Readings have not been taken in for {_HANGS_S / 60:.0f} minutes, and nothing says why."
        return None

    @property
    def queued(self) -> int:
        """Messages that are in memory and not yet on disk."""
        return self._messages_in - self._messages_done

    def start(self) -> None:
        """Begin to work."""
        self._thread.start()

    def put(self, arrival: Arrival) -> bool:
        """Queue a message, waiting while the queue is full; False once the pipeline is stopping.

        Called by one thread at a time.
        """
        if self.full:
            with self._room:
                while self.full and not self._stopping.is_set():
                    self._room.wait(0.5)
        if self._stopping.is_set():
            return False
        self._messages_in += 1
        self._bytes_in += len(arrival.payload)
        self._waiting.put(arrival)
        return True

    @property
    def full(self) -> bool:
        """Whether `put` would have to wait."""
        waiting = self._waiting.qsize()
        return waiting >= self._most or (waiting > 0 and self._bytes_in - self._bytes_out >= _LARGEST_QUEUE_BYTES)

    def settle(self, timeout_s: float) -> bool:
        """Wait until everything queued is on disk; False if that took longer."""
        deadline = time.monotonic() + timeout_s
        with self._room:
            while self.queued:
                left = deadline - time.monotonic()
                if left <= 0:
                    return False
                self._room.wait(min(left, 0.2))
        return True

    def close(self, timeout_s: float = 10.0) -> None:
        """Take nothing more, finish what is queued if the disk lets us, and stop; idempotent."""
        if not self._stopping.is_set():
            self._stopping.set()
            self._waiting.put(None)
        with self._room:
            self._room.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _run(self) -> None:
        while batch := self._next_batch():
            self._busy_since = time.monotonic()
            try:
                self._take_in(batch)
            except Exception as error:  # the thread must outlive any one batch
                self._clockless.forget(batch)
                if not self._stopping.is_set():
                    log.exception("%d messages could not be kept; the broker is to send them again", len(batch))
                    self.problem = f"Readings could not be kept ({type(error).__name__}); see the log. Trying again."
                    for source in {id(a.source): a.source for a in batch if a.source is not None}.values():
                        source.drop()
            else:
                self.problem = None
            finally:
                self._busy_since = None
                self._messages_done += len(batch)
                with self._room:
                    self._room.notify_all()

    def _next_batch(self) -> list[Arrival]:
        """What is waiting, at least one message; empty once the pipeline stops and nothing waits."""
        batch: list[Arrival] = []
        until = 0.0
        while len(batch) < BATCH:
            try:
                arrival = self._waiting.get_nowait() if batch else self._waiting.get()
            except Empty:
                left = until - time.monotonic()
                if len(batch) >= _ENOUGH or left <= 0:
                    break
                try:
                    arrival = self._waiting.get(timeout=min(_GAP_S, left))
                except Empty:
                    break
            if not batch:
                until = time.monotonic() + _GATHER_S
            if arrival is None:  # stopping; whatever came before it is in the batch or done
                self._waiting.put(None)
                break
            batch.append(arrival)
        self._bytes_out += sum(len(arrival.payload) for arrival in batch)
        with self._room:
            self._room.notify_all()
        return batch

    def _take_in(self, batch: Sequence[Arrival]) -> None:
        reports: list[Report] = []
        rejections: list[Rejection] = []
        for arrival in batch:
            if arrival.topic.startswith(self._own_words):  # who listens to everything hears himself
                continue
            decoded = decode(
                arrival.topic,
                arrival.payload,
                received_at=arrival.received_at,
                prefix=self._prefix,
                rules=self.rules,
                gateways=self._gateways,
                sites=self._sites,
                not_after=arrival.not_after,
            )
            if decoded.reports and not decoded.faults and decoded.reports[0].time_flag is None:
                reports.extend(decoded.reports)  # nearly every message: it names its instant, so it cannot be doubled
                continue
            if self._clockless.is_to_pass_over(arrival, decoded):
                self.counted.repeated += 1
                continue
            reports.extend(self._clockless.together(decoded.reports))
            if decoded.faults:
                rejections.append(rejection_of(arrival, decoded.faults))
        if reports or rejections:
            self._keep(reports, rejections, batch)
        for source, arrivals in groupby((a for a in batch if a.source is not None), key=lambda a: a.source):
            if source is not None:
                source.acknowledge([arrival.packet_id for arrival in arrivals])

    def _keep(self, reports: Sequence[Report], rejections: Sequence[Rejection], batch: Sequence[Arrival]) -> None:
        """Commit, trying again for as long as it takes while the disk is full."""
        tries = 0
        while True:
            try:
                new = self._store.keep(reports, rejections)
            except StoreError as error:
                if self._stopping.is_set():
                    raise
                if self.problem is None:
                    log.warning("nothing is acknowledged until it can be kept: %s", error)
                self.problem = str(error)
                self._stopping.wait(_RETRY_S[min(tries, len(_RETRY_S) - 1)])
                tries += 1
            except Exception:
                log.exception("the store refused a batch; taking its messages one by one")
                self._keep_singly(reports, rejections, batch)
                return
            else:
                if self.problem is not None:
                    log.info("readings can be kept again")
                self.problem = None
                self.counted.taken += new
                self.counted.repeated += len(reports) - new
                self.counted.refused += len(rejections)
                return

    def _keep_singly(
        self, reports: Sequence[Report], rejections: Sequence[Rejection], batch: Sequence[Arrival]
    ) -> None:
        """A message that alone makes the store fail is kept as rejected, so that those behind it get through."""
        if len(batch) == 1:
            fault = Fault("$", "the store could not keep what it says", "Report this as a defect, with these bytes")
            self._store.keep([], [rejection_of(batch[0], (fault,))])
            self.counted.refused += 1
            return
        by_payload: dict[tuple[str, bytes], list[Report]] = {}
        for report in reports:
            by_payload.setdefault((report.topic, report.payload), []).append(report)
        if rejections:
            self._keep([], rejections, batch[:1])
        for arrival in batch:
            own = by_payload.pop((arrival.topic, arrival.payload), [])
            if own:
                self._keep(own, [], [arrival])


def rejection_of(arrival: Arrival, faults: Sequence[Fault]) -> Rejection:
    """The message as it is kept beside its faults."""
    return Rejection(
        topic=arrival.topic,
        payload=arrival.payload,
        received_at=arrival.received_at,
        faults=tuple(str(fault) for fault in faults),
    )


def take_again(
    store: Store,
    rules: Sequence[Rule],
    *,
    prefix: str = "tunroom",
    gateways: Collection[str] | None = None,
    sites: Sequence[str] = (),
    limit: int = 100_000,
) -> int:
    """Decode the stored rejections anew; return how many messages were taken in whole and are now resolved."""
    resolved: list[str] = []
    reports: list[Report] = []
    for rejection in sorted(store.rejections(limit=limit), key=lambda r: r.received_at):
        decoded = decode(
            rejection.topic,
            rejection.payload,
            received_at=rejection.received_at,
            prefix=prefix,
            rules=rules,
            gateways=gateways,
            sites=sites,
        )
        if decoded.reports and not decoded.faults:
            reports.extend(decoded.reports)
            resolved.append(rejection.rejection_id)
    for start in range(0, len(reports), BATCH):
        store.keep(reports[start : start + BATCH])
    if resolved:
        store.resolve_rejections(resolved)
    return len(resolved)
