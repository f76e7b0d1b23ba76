"""Messages as they arrive, and what to make of those that neither tell the time nor count.

Such a message cannot name its readings, so a second delivery looks like a second reading. The rules:

* The same bytes on the same topic count once within a window, from the first that counted. Beyond the window, or across
  a restart of this process, they count again: at least once.
* A retained message comes at every new subscription; without a time in it, nobody knows how old it is, and it is
  passed over.
* A device that sends one quantity at a time means one reading by those that come close together: different quantities
  of one device that arrive within `TOGETHER_S` share the instant of the first, and so become one reading.
"""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from hashlib import blake2b
from typing import Final, Protocol

from ingest.decoding.decode import Decoded
from ingest.decoding.quantities import QUANTITIES
from ingest.model import NO_CLOCK, Report

log = logging.getLogger(__name__)

TOGETHER_S: Final = 2.0

_TOGETHER: Final = timedelta(seconds=TOGETHER_S)
_MOST_REMEMBERED: Final = 100_000


class Source(Protocol):
    """Where messages came from, and where their acknowledgements go."""

    def acknowledge(self, packet_ids: Sequence[int]) -> None:
        """Tell the broker that these are on disk, in this order; does nothing once the connection is gone."""

    def drop(self) -> None:
        """Give the connection up: a broker sends again what was not acknowledged only over a new one."""


@dataclass(slots=True)
class Arrival:
    """A message as it came. Without a `source` (quality of service 0) nobody waits for its acknowledgement."""

    topic: str
    payload: bytes
    received_at: datetime
    source: Source | None = None
    packet_id: int = 0
    retained: bool = False
    """Whether the broker had it in store and gave it to us because we subscribed."""
    not_after: datetime | None = None
    """Until when a device's time is plausible, where our clock was set back and that is later than `received_at`."""


class Clockless:
    """The memory that the rules for messages without time and counter need."""

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._counted: OrderedDict[tuple[str, bytes], float] = OrderedDict()
        self._latest: dict[str, tuple[datetime, frozenset[str]]] = {}

    def is_to_pass_over(self, arrival: Arrival, decoded: Decoded) -> bool:
        """Whether this message is a repeat, or of unknown age."""
        if any(report.own_instant or report.sequence is not None for report in decoded.reports):
            return False
        if arrival.retained:
            log.info("passed over a retained message without a time on %r: nobody knows how old it is", arrival.topic)
            return True
        return self._is_repeat(arrival)

    def _is_repeat(self, arrival: Arrival) -> bool:
        now = arrival.received_at.timestamp()
        while self._counted:
            key, since = next(iter(self._counted.items()))
            if now - since < self._window_s and since <= now and len(self._counted) <= _MOST_REMEMBERED:
                break
            del self._counted[key]
        key = _key(arrival)
        if key in self._counted:
            return True
        self._counted[key] = now
        return False

    def together(self, reports: Sequence[Report]) -> Sequence[Report]:
        """The reports of one message; one that completes what its device just said shares that instant."""
        if len(reports) != 1 or reports[0].time_flag != NO_CLOCK or reports[0].sequence is not None:
            return reports
        [report] = reports
        said = frozenset(q.field for q in QUANTITIES if getattr(report, q.field) is not None)
        began, before = self._latest.get(report.device_id, (report.measured_at, frozenset()))
        if timedelta(0) < report.measured_at - began <= _TOGETHER and not said & before:
            report = replace(report, measured_at=began)
            said |= before
        if len(self._latest) > _MOST_REMEMBERED:
            self._latest.clear()
        self._latest[report.device_id] = (report.measured_at, said)
        return [report]

    def forget(self, batch: Sequence[Arrival]) -> None:
        """These were not kept after all: let them count when they come again."""
        for arrival in batch:
            self._counted.pop(_key(arrival), None)


def _key(arrival: Arrival) -> tuple[str, bytes]:
    return arrival.topic, blake2b(arrival.payload, digest_size=16).digest()  # payloads may be large
