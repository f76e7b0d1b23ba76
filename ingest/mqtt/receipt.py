"""When a message came in, by a clock that somebody may set while we run."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Final, NamedTuple

from ingest.decoding import AHEAD_S

log = logging.getLogger(__name__)

_NOTICED: Final = timedelta(seconds=AHEAD_S)
"""A change of the clock by more than this is told, and counts: less is what a device's clock may run ahead anyway."""

_BELIEVED_FOR: Final = timedelta(days=1)
"""For how long after the clock was set back its earlier course is still a possible time: then it has been put right, or
was. No source: long enough to notice, short enough that a wrong clock of a device is found out again."""


class Receipt(NamedTuple):
    """When a message came in; `not_after` where by the clock's earlier course it is later than that."""

    at: datetime
    not_after: datetime | None


def _utc() -> datetime:
    return datetime.now(UTC)


class ReceiptClock:
    """Tells the time of receipt; called by one thread at a time.

    A device whose clock is right must not be taken for one that runs ahead, only because ours was set back. Which of
    the two is wrong cannot be known here; so the device's time is kept as it said, and counts once that time has come.
    """

    def __init__(self, now: Callable[[], datetime] = _utc, steady_s: Callable[[], float] = time.monotonic) -> None:
        self._now, self._steady_s = now, steady_s
        self._last = datetime.min.replace(tzinfo=UTC)
        self._began, self._began_s = now(), steady_s()
        self._back_s: float | None = None

    def read(self) -> Receipt:
        """Now, and later than ever before: two messages never share an instant, even if the clock is set back."""
        now, steady_s = self._now(), self._steady_s()
        if now <= self._last and self._last - now < timedelta(seconds=1):
            now = self._last + timedelta(microseconds=1)
        self._last = now
        return Receipt(now, self._earlier_course(now, steady_s))

    def _earlier_course(self, now: datetime, steady_s: float) -> datetime | None:
        course = self._began + timedelta(seconds=steady_s - self._began_s)
        if now > course + _NOTICED:
            log.warning("This machine's clock went forward by %s; readings are dated by it from now on.", now - course)
        elif now >= course - _NOTICED:
            self._back_s = None
            return None  # as it was, or drifting
        else:
            if self._back_s is None:
                self._back_s = steady_s
                log.warning(
                    "This machine's clock was set back by %s. Readings of devices that go by the earlier time are kept "
                    "with the time they said. Look whether the clock is right.", course - now,
                )  # fmt: skip
            if steady_s - self._back_s < _BELIEVED_FOR.total_seconds():
                return course
        self._began, self._began_s, self._back_s = now, steady_s, None
        return None
