"""When was it measured? The device's own time where it is plausible, else the time of receipt and a flag that says why.

Readings that come in one message keep their order and, where the device's clock ran, their distance from each other,
even if that clock was never set.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Final, Literal, NamedTuple

from ingest.errors import Fault
from ingest.model import CLOCK_AHEAD, CLOCK_UNSET, GUESSED_UNIT, NO_CLOCK, RELATIVE

TimeUnit = Literal["s", "ms", "RFC 3339"]

_UNITS: Final[dict[str, TimeUnit]] = {"s": "s", "ms": "ms", "RFC 3339": "RFC 3339"}

EARLIEST_S: Final = datetime(2020, 1, 1, tzinfo=UTC).timestamp()
"""A clock that shows an earlier time was never set: chips start at 1970, 1980 or 2000, some at 2010 or 2016."""

AHEAD_S: Final = 300.0
"""A clock further ahead of ours than this is wrong; less is drift, and taken as it is."""

_LEAST_MS: Final = 1e11  # as seconds this is the year 5138
_STEP_S: Final = 0.001  # between readings of one message that carry no time at all
_RFC3339: Final = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,12}))?(?:([Zz])|([+-])(\d\d):(\d\d))", re.ASCII
)


class Said(NamedTuple):
    """A time as a device said it: Unix seconds, or seconds relative to now; `flag` if the unit had to be guessed."""

    seconds: float
    relative: bool = False
    flag: str | None = None


def read(value: object, path: str, unit: TimeUnit | None, *, declared: bool) -> Said | Fault:
    """The time that a JSON value stands for.

    Parameters
    ----------
    value
        A number of seconds or milliseconds, or a text as in RFC 3339.
    path
        Where it stands, for the fault.
    unit
        The unit of a number, or "RFC 3339" where nothing but a text will do.
    declared
        Whether that unit was said by whoever named the value; if not, a number is flagged as guessed.
    """
    if isinstance(value, str):
        return _from_text(value, path) if unit in (None, "RFC 3339") else _expected_number(value, path, unit)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return Fault(path, f"expected a time, got {_shown(value)}", _REMEDY)
    if unit == "RFC 3339":
        return Fault(path, f"expected a text as in RFC 3339, got {_shown(value)}", "Mend the rule's unit: s or ms")
    try:
        seconds = float(value)
    except OverflowError:
        seconds = float("inf")
    if not -1e17 < seconds < 1e17:
        return Fault(path, f"{_shown(value)} is no time", _REMEDY)
    if unit == "ms":
        return Said(seconds / 1000)
    if unit == "s":
        return Said(seconds)
    if abs(seconds) >= _LEAST_MS:
        return Said(seconds / 1000, flag=GUESSED_UNIT)
    return Said(seconds, flag=None if declared else GUESSED_UNIT)


def time_unit(text: str | None) -> TimeUnit | None:
    """The unit of time that a rule names, or None where it names none."""
    return _UNITS[text] if text is not None else None


def settle_one(
    said: Said | None, received_at: datetime, not_after: datetime | None = None
) -> tuple[datetime, str | None]:
    """When the only reading of a message was measured, and its flag; the same as `settle` says, sooner."""
    if said is None:
        return received_at, NO_CLOCK
    if not said.relative and EARLIEST_S <= said.seconds <= (not_after or received_at).timestamp() + AHEAD_S:
        return datetime.fromtimestamp(said.seconds, UTC), said.flag
    return settle([said], received_at, not_after)[0]


def settle(
    times: Sequence[Said | None], received_at: datetime, not_after: datetime | None = None
) -> list[tuple[datetime, str | None]]:
    """When the readings of one message were measured, and the flag of each.

    Parameters
    ----------
    times
        What the device said, in the order of the message; None where it said nothing.
    received_at
        When the message came in.
    not_after
        Until when a device's time is plausible, where that is later: our own clock was set back.
    """
    now = received_at.timestamp()
    seconds: list[float] = [0.0] * len(times)
    flags: list[str | None] = [None] * len(times)
    unset: list[int] = []
    for at, said in enumerate(times):
        if said is None:
            seconds[at], flags[at] = now - (len(times) - 1 - at) * _STEP_S, NO_CLOCK
        elif said.relative:
            seconds[at] = now + said.seconds
            flags[at] = NO_CLOCK if said.seconds == 0 else RELATIVE
        elif said.seconds < EARLIEST_S:
            seconds[at], flags[at] = said.seconds, CLOCK_UNSET
            unset.append(at)
        else:
            seconds[at], flags[at] = said.seconds, said.flag
    _shift_ahead(seconds, flags, unset, now, (not_after or received_at).timestamp())
    _shift_unset(seconds, flags, unset, now)
    return [
        (received_at if second == now else _instant(second, received_at), flag)
        for second, flag in zip(seconds, flags, strict=True)
    ]


def _shift_ahead(
    seconds: list[float], flags: list[str | None], unset: Sequence[int], now: float, latest: float
) -> None:
    """A clock that is ahead is ahead for all that it dated: move them together, so that the newest is now."""
    dated = [at for at in range(len(seconds)) if at not in set(unset)]
    newest = max((seconds[at] for at in dated), default=now)
    if newest <= latest + AHEAD_S:
        return
    by = newest - now
    for at in dated:
        if flags[at] != NO_CLOCK:
            # Moved by much more than the pack's own length, the sum would lose the small differences.
            seconds[at] = now if seconds[at] == newest else seconds[at] - by
            flags[at] = CLOCK_AHEAD


def _shift_unset(seconds: list[float], flags: list[str | None], unset: Sequence[int], now: float) -> None:
    """A clock that was never set still ran: keep the distances; what came after it in the message is later."""
    if not unset:
        return
    newest = max(seconds[at] for at in unset)
    behind = [seconds[at] for at in range(unset[-1] + 1, len(seconds)) if flags[at] != CLOCK_UNSET]
    end = min(now, min(behind) - 1.0) if behind else now
    for at in unset:
        seconds[at] = end if seconds[at] == newest else end - (newest - seconds[at])


def _instant(seconds: float, received_at: datetime) -> datetime:
    try:
        return max(datetime.fromtimestamp(seconds, UTC), _EPOCH)
    except (OverflowError, ValueError, OSError):  # a span longer than history
        return received_at if seconds > 0 else _EPOCH


_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_REMEDY: Final = 'Send seconds since 1970 without quotes, or a text such as "2026-03-01T10:00:00Z"'


def _from_text(text: str, path: str) -> Said | Fault:
    match = _RFC3339.fullmatch(text.strip())
    if match is None:
        problem = f"{_shown(text)} is no time as in RFC 3339"
        if re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?$", text):
            problem = f"{_shown(text)} has no time zone"
        return Fault(path, problem, 'Write it as "2026-03-01T10:00:00Z" or with an offset such as +01:00')
    year, month, day, hour, minute, second = (int(match[group]) for group in range(1, 7))
    fraction = float(f"0.{match[7]}") if match[7] else 0.0
    leap = 1 if second == 60 else 0  # a leap second is named, and counts as the second after it
    try:
        when = datetime(year, month, day, hour, minute, second - leap, tzinfo=UTC)
    except ValueError as error:
        return Fault(path, f"{_shown(text)} is no time ({error})", _REMEDY)
    if match[9]:
        if int(match[10]) > 23 or int(match[11]) > 59:
            return Fault(path, f"{_shown(text)} has an impossible offset", "An offset lies within ±23:59")
        offset = timedelta(hours=int(match[10]), minutes=int(match[11]))
        return Said(when.timestamp() + leap + fraction - (1 if match[9] == "+" else -1) * offset.total_seconds())
    return Said(when.timestamp() + leap + fraction)


def _expected_number(value: str, path: str, unit: str) -> Fault:
    return Fault(path, f"expected a number of {unit}, got {_shown(value)}", "Send it unquoted, or mend the rule's unit")


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"
