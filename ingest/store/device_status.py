"""Each device's last word, in memory: what it last said, how often it usually speaks, how its battery goes."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import pairwise
from statistics import median
from typing import Any, Final

import numpy as np

from ingest.model import Device, DeviceKind, Report

SILENT_AFTER: Final = 3.0
"""A device is silent after this many of its usual intervals (common practice, no source)."""

EMPTY_V: Final = 3.3
"""A lithium-ion cell that has fallen to this soon stops a radio (common practice, no source)."""

EMPTY_PCT: Final = 10.0
"""The same on a scale of percent (common practice, no source)."""

_INTERVALS: Final = 64
_FEW: Final = 3
_BATTERY_DAYS: Final = 60
_TREND_DAYS: Final = 5
_EPOCH_ORDINAL: Final = date(1970, 1, 1).toordinal()
_SAID: Final = ("inclination_deg", "gravity_sg", "temperature_c", "battery_v", "battery_pct", "signal_dbm")

NEWEST_OF_LATE: Final = f"""
SELECT device_key, max(measured_s) FROM report
WHERE measured_s >= (SELECT max(measured_s) FROM report) - {_BATTERY_DAYS * 86_400} GROUP BY device_key
"""
"""When each device measured last, of those that did lately. Of ten million readings it looks at the last part alone."""

NEWEST_OF: Final = """
SELECT device_key, max(measured_s) FROM report WHERE list_contains(?::USMALLINT[], device_key) GROUP BY device_key
"""
"""The same of those named: of all that they ever said."""

_NEWEST: Final = "newest AS (SELECT unnest($keys::USMALLINT[]) AS device_key, unnest($newest::BIGINT[]) AS newest_s)"

LATELY: Final = f"""
WITH {_NEWEST}
SELECT report.* FROM report JOIN newest USING (device_key)
WHERE measured_s >= $since AND measured_s >= newest_s - {7 * 86_400}
QUALIFY row_number() OVER (PARTITION BY device_key ORDER BY measured_s DESC, measured_us DESC) <= {_INTERVALS}
ORDER BY measured_s, measured_us
"""
"""What each device said last, within a week of its last word; for `LastWords.hear` when a cellar is opened."""

CHARGE: Final = f"""
WITH {_NEWEST}
SELECT device_key, measured_s // 86400 + {_EPOCH_ORDINAL} AS day, sum(coalesce(battery_v, battery_pct)), count(*)
FROM report JOIN newest USING (device_key)
WHERE measured_s >= $since AND measured_s >= newest_s - {_BATTERY_DAYS * 86_400}
  AND coalesce(battery_v, battery_pct) IS NOT NULL
GROUP BY ALL
"""
"""Each device's battery by day, for `LastWords.recall_charge`."""


def since(newest: Mapping[int, int]) -> dict[str, Any]:
    """The parameters of `LATELY` and `CHARGE`, from when each device measured last (seconds since 1970, by key)."""
    oldest = min(newest.values(), default=0) - _BATTERY_DAYS * 86_400
    return {"keys": list(newest), "newest": list(newest.values()), "since": max(0, oldest)}


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceStatus:
    """What is known of a device now: the newest value of each quantity, and whether it has gone silent."""

    device_id: str
    kind: DeviceKind
    known: bool
    vessel_id: str | None = None
    measured_at: datetime
    received_at: datetime
    inclination_deg: float | None = None
    gravity_sg: float | None = None
    temperature_c: float | None = None
    battery_v: float | None = None
    battery_pct: float | None = None
    battery_days_left: float | None = None
    signal_dbm: float | None = None
    usual_interval_s: float | None = None
    silent: bool = False
    time_flag: str | None = None


def last_reading_at(words: Iterable[DeviceStatus]) -> datetime | None:
    """When the newest reading of some devices was made: what every age of a reading on screen goes by."""
    return max((word.measured_at for word in words), default=None)


@dataclass(slots=True)
class _Memory:
    """What one device said lately."""

    measured_at: datetime
    received_at: datetime
    time_flag: str | None = None
    values: dict[str, float] = field(default_factory=dict)
    instants: deque[datetime] = field(default_factory=lambda: deque(maxlen=_INTERVALS))
    charge: dict[int, list[float]] = field(default_factory=dict)
    """Of each day the sum and the number of its battery readings."""
    told: tuple[float | None, float | None] | None = None
    """The usual interval and the battery's days, until the device speaks again."""


class LastWords:
    """The last words of all devices. Written by the one writer, read by anyone."""

    def __init__(self) -> None:
        self._by_device: dict[str, _Memory] = {}

    def hear(self, reports: Iterable[Report]) -> None:
        """Take in reports, in any order."""
        for report in reports:
            memory = self._by_device.get(report.device_id)
            if memory is None:
                memory = _Memory(report.measured_at, report.received_at)
                self._by_device[report.device_id] = memory
            newer = report.measured_at >= memory.measured_at
            if newer:
                memory.measured_at, memory.time_flag = report.measured_at, report.time_flag
                if not memory.instants or report.measured_at > memory.instants[-1]:
                    memory.instants.append(report.measured_at)
            memory.received_at = max(memory.received_at, report.received_at)
            for name in _SAID:
                value = getattr(report, name)
                if value is not None and (newer or name not in memory.values):
                    memory.values[name] = value
            self._charge(memory, report)
            memory.told = None

    def recall_charge(self, device_id: str, day: int, total: float, number: int) -> None:
        """Take over the sum of a day's battery readings (`day` as `date.toordinal` counts)."""
        memory = self._by_device[device_id]
        memory.charge[day] = [total, float(number)]
        memory.told = None

    def _charge(self, memory: _Memory, report: Report) -> None:
        charge = report.battery_v if report.battery_v is not None else report.battery_pct
        if charge is None:
            return
        day = memory.charge.setdefault(report.measured_at.toordinal(), [0.0, 0.0])
        day[0] += charge
        day[1] += 1
        if len(memory.charge) > _BATTERY_DAYS:
            del memory.charge[min(memory.charge)]

    def say(
        self, devices: dict[str, Device], vessels: dict[str, str], now: datetime, asked: Collection[str] | None = None
    ) -> list[DeviceStatus]:
        """One word a device, by id; of those `asked` for, else of all. `vessels` says which vessel each sits in."""
        return [
            self._of(device_id, memory, devices.get(device_id), vessels.get(device_id), now)
            for device_id, memory in sorted(self._by_device.copy().items())
            if asked is None or device_id in asked
        ]

    def newest(self, device_id: str) -> datetime | None:
        """When this device last measured."""
        memory = self._by_device.get(device_id)
        return None if memory is None else memory.measured_at

    def _of(
        self, device_id: str, memory: _Memory, device: Device | None, vessel_id: str | None, now: datetime
    ) -> DeviceStatus:
        usual, days_left = memory.told = memory.told or (_usual_interval_s(memory), _days_left(memory))
        guessed: DeviceKind = "float" if {"inclination_deg", "gravity_sg"} & memory.values.keys() else "probe"
        return DeviceStatus(
            device_id=device_id,
            kind=device.kind if device else guessed,
            known=device is not None,
            vessel_id=vessel_id,
            measured_at=memory.measured_at,
            received_at=memory.received_at,
            time_flag=memory.time_flag,
            usual_interval_s=usual,
            silent=usual is not None and (now - memory.received_at).total_seconds() > SILENT_AFTER * usual,
            battery_days_left=days_left,
            **memory.values,
        )


def _usual_interval_s(memory: _Memory) -> float | None:
    steps = [(b - a).total_seconds() for a, b in pairwise(list(memory.instants))]
    return median(steps) if len(steps) >= _FEW else None


def _days_left(memory: _Memory) -> float | None:
    """Days until the battery reaches the charge at which small devices stop, along the line through its daily means.

    Days before a rise (a new or recharged battery) do not count. None without a clear fall: with fewer than
    `_TREND_DAYS` days, or where the fall a day does not exceed three times its standard error.
    """
    empty, rise = (EMPTY_V, 0.1) if "battery_v" in memory.values else (EMPTY_PCT, 8.0)
    days = [(day, total / count) for day, (total, count) in sorted(memory.charge.copy().items())]
    fresh = max((i for i in range(1, len(days)) if days[i][1] > days[i - 1][1] + rise), default=0)
    days = days[fresh:]
    if len(days) < _TREND_DAYS:
        return None
    when, charge = np.array(days, dtype=np.float64).T
    when -= when.mean()
    slope = float(when @ charge / (when @ when))
    left = charge - charge.mean() - slope * when
    error = float(np.sqrt(left @ left / (when.size - 2) / (when @ when)))
    if slope >= -1e-9 or -slope < 3 * error:
        return None
    now = float(charge.mean() + slope * when[-1])
    return max(0.0, (now - empty) / -slope)
