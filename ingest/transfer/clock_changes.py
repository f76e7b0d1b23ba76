"""Times without a zone about the hours at which clocks are changed: the order of a log's rows says what they do not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo


def in_order(times: Sequence[datetime | None], devices: Sequence[object], zone: str) -> list[datetime | None]:
    """The instants of local times, read device by device in the order of the rows.

    - In the hour that comes twice in autumn, what follows a step back belongs to the second. Where there is no step, or
      more than one, the order does not decide, and it is the first.
    - An hour that is left out in spring is shown by a clock that was not put forward. Where that device has rows in the
      hour behind it too, it goes on unchanged until the zone's clocks are put back; else the hour alone goes on from
      the one before.

    Parameters
    ----------
    times
        Naive local times in the order of the file; None where there is none.
    devices
        Whose each is.
    """
    rows: dict[object, list[int]] = {}
    for at, device in enumerate(devices):
        if times[at] is not None:
            rows.setdefault(device, []).append(at)
    instants: list[datetime | None] = [None] * len(times)
    for of_one in rows.values():
        local = [each for at in of_one if (each := times[at]) is not None]
        backwards = local[-1] < local[0]
        order = of_one[::-1] if backwards else of_one
        read = _one(local[::-1] if backwards else local, ZoneInfo(zone))
        for at, instant in zip(order, read, strict=True):
            instants[at] = instant
    return instants


def _one(local: Sequence[datetime], zone: ZoneInfo) -> list[datetime]:
    """The instants of one device's times, which go forward but for the clock's changes."""
    steps = Counter(t.date() for before, t in pairwise(local) if t < before and _twice(t, zone))
    stepped: set[date] = set()
    unchanged = _unchanged(local, zone)
    instants = []
    before: datetime | None = None
    for t in local:
        day = t.date()
        if before is not None and t < before and before.date() == day and steps[day] == 1 and _twice(t, zone):
            stepped.add(day)
        offset = _offset(t, zone, fold=int(day in stepped and _twice(t, zone)))
        if _skipped(t, zone):
            offset = _offset(t, zone, fold=0)
        for begin, kept in unchanged:
            if t >= begin and t - begin < timedelta(days=366) and _offset(t, zone, fold=0) != kept:
                offset = kept
        instants.append((t - offset).replace(tzinfo=UTC))
        before = t
    return instants


def _unchanged(local: Sequence[datetime], zone: ZoneInfo) -> list[tuple[datetime, timedelta]]:
    """From when on a clock that was not put forward counts with which offset from UTC."""
    found: dict[date, tuple[datetime, timedelta]] = {}
    for t in local:
        if t.date() in found or not _skipped(t, zone):
            continue
        before = _offset(t, zone, fold=0)
        gap = _offset(t, zone, fold=1)  # of a time that is left out, fold=1 has the offset after the change
        length = abs(before - gap)
        behind = [u for u in local if timedelta(0) <= u - t < 2 * length and not _skipped(u, zone)]
        if behind:
            found[t.date()] = (t, before)
    return list(found.values())


def _offset(t: datetime, zone: ZoneInfo, *, fold: int) -> timedelta:
    return t.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)


def _skipped(t: datetime, zone: ZoneInfo) -> bool:
    """Whether the zone's clocks never show this time (PEP 495)."""
    return _offset(t, zone, fold=0) < _offset(t, zone, fold=1)


def _twice(t: datetime, zone: ZoneInfo) -> bool:
    """Whether the zone's clocks show this time twice (PEP 495)."""
    return _offset(t, zone, fold=0) > _offset(t, zone, fold=1)
