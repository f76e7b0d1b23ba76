"""Each device's last word, in memory: what it last said, how often it usually speaks, how its battery goes."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from statistics import median
from typing import Final

import numpy as np

from ingest.model import Device, DeviceKind, Report

SILENT_AFTER: Final = 3.0
"""A device is silent after this many of its usual intervals (common practice, no source)."""

_INTERVALS: Final = 64
_BATTERY_DAYS: Final = 60
_LAST_WORD: Final = ("inclination_deg", "gravity_sg", "temperature_c", "battery_v", "battery_pct", "signal_dbm")


@dataclass(frozen=True, slots=True, kw_only=True)
class LastWord:
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


@dataclass(slots=True)
class _Memory:
    """What one device said lately."""

    word: LastWord
    instants: deque[float] = field(default_factory=lambda: deque(maxlen=_INTERVALS))
    battery: dict[int, tuple[float, int]] = field(default_factory=dict)


class LastWords:
    """The last words of all devices. Written by the one writer, read by anyone."""

    def __init__(self) -> None:
        self._by_device: dict[str, _Memory] = {}

    def hear(self, reports: Iterable[Report]) -> None:
        """Take in reports, in any order."""
        for report in reports:
            memory = self._by_device.get(report.device_id)
            if memory is None:
                word = LastWord(
                    device_id=report.device_id,
                    kind="probe",
                    known=False,
                    measured_at=report.measured_at,
                    received_at=report.received_at,
                )
                memory = self._by_device[report.device_id] = _Memory(word)
            memory.word = _newer(memory.word, report)
            seconds = report.measured_at.timestamp()
            if not memory.instants or seconds > memory.instants[-1]:
                memory.instants.append(seconds)
            charge = report.battery_v if report.battery_v is not None else report.battery_pct
            if charge is not None:
                day = int(seconds // 86_400)
                total, count = memory.battery.get(day, (0.0, 0))
                memory.battery[day] = (total + charge, count + 1)
                if len(memory.battery) > _BATTERY_DAYS:
                    del memory.battery[min(memory.battery)]

    def say(self, devices: dict[str, Device], vessels: dict[str, str], now: datetime) -> list[LastWord]:
        """One word a device, by id. `vessels` says which vessel each device sits in."""
        return [
            self._of(memory, devices.get(device_id), vessels.get(device_id), now)
            for device_id, memory in sorted(self._by_device.copy().items())
        ]

    def newest(self, device_id: str) -> datetime | None:
        """When this device last measured."""
        memory = self._by_device.get(device_id)
        return None if memory is None else memory.word.measured_at

    def _of(self, memory: _Memory, device: Device | None, vessel_id: str | None, now: datetime) -> LastWord:
        word = memory.word
        steps = np.diff(np.array(list(memory.instants)))
        usual = float(median(steps.tolist())) if len(steps) >= 3 else None
        guessed: DeviceKind = "float" if (word.inclination_deg, word.gravity_sg) != (None, None) else "probe"
        return replace(
            word,
            kind=device.kind if device else guessed,
            known=device is not None,
            vessel_id=vessel_id,
            usual_interval_s=usual,
            silent=usual is not None and now - word.received_at > timedelta(seconds=SILENT_AFTER * usual),
        )


def _newer(word: LastWord, report: Report) -> LastWord:
    """The word after a report: newer values win, and a quantity that the report lacks keeps its last value."""
    newer = report.measured_at >= word.measured_at
    changes: dict[str, object] = {"received_at": max(word.received_at, report.received_at)}
    if newer:
        changes.update(measured_at=report.measured_at, time_flag=report.time_flag)
    for name in _LAST_WORD:
        came = getattr(report, name)
        if came is not None and (newer or getattr(word, name) is None):
            changes[name] = came
    return replace(word, **changes)  # type: ignore[arg-type]
