"""How counts, times and spans are said to one person: their units and time zone, seen from now.

How a number, a chance or a quantity is printed is in `analysis.display_units`; sentences about a batch are in
`verdict` and `plan`, built from what is here.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Final, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from analysis.display_units import MONTHS, NBSP, THIN, WEEKDAYS, DisplayUnits, number

_COUNTS: Final = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)
NOT_JUDGED: Final = (
    "This batch could not be judged, for a reason that the program's log tells; nothing is said or cleared until it "
    "is. Look at what was entered for it last, and at This batch."
)

Fineness = Literal["day", "part", "hour"]
"""How finely a time is known: to the day, to the part of the day, or to the hour."""


def count(n: int) -> str:
    """Small counts as words."""
    return _COUNTS[n] if 0 <= n < len(_COUNTS) else str(n)


def plural(n: int, one: str, many: str | None = None) -> str:
    """``one thing``, ``two things``."""
    return f"{count(n)} {one if n == 1 else many or one + 's'}"


_APART: Final = re.compile(rf"(?<=\d) (?=(?:{'|'.join(MONTHS)}|°[CFP]|%|m?g/L|bar|points?|days?|hours|volumes?)(?!\w))")


@functools.lru_cache(maxsize=64)  # a page's text is asked for once by each who looks at it
def unbroken(text: str) -> str:
    """The text with no-break spaces between a number and its month or unit, so that no line ends between them."""
    return _APART.sub(NBSP, text)


def capital(sentence: str) -> str:
    """With a capital first letter, the rest left alone."""
    return sentence[:1].upper() + sentence[1:]


def natural(name: str) -> list[tuple[int, str]]:
    """A key that sorts "Vessel 2" before "Vessel 10"."""
    return [(int(part), "") if part.isdigit() else (0, part.casefold()) for part in re.split(r"(\d+)", name)]


def joined(parts: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def lasted(span: timedelta) -> str:
    """A length of time as people say it: ``40 s``, ``12 min``, ``3 h``, ``5 days``."""
    seconds = abs(span.total_seconds())
    if seconds < 59.5:
        return f"{number(seconds)}{THIN}s"
    if seconds < 90 * 60:
        return f"{number(seconds / 60)}{THIN}min"
    if seconds < 48 * 3600:
        return f"{number(seconds / 3600)}{THIN}h"
    return f"{number(seconds / 86400)} days"


def hours(value: float) -> str:
    """Whole hours."""
    return f"{number(math.floor(value + 1e-9))}{THIN}h"


def zone_of(name: str) -> ZoneInfo:
    """The time zone of that name; UTC if this machine does not know it."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def fineness(low: datetime, high: datetime) -> Fineness:
    """How finely a time is known that lies between two instants eight times out of ten."""
    width = high - low
    if width > timedelta(days=4):
        return "day"
    if width > timedelta(hours=12):
        return "part"
    return "hour"


def _part(hour: int) -> str:
    for until, name in ((11, "morning"), (14, "noon"), (18, "afternoon"), (22, "evening")):
        if hour < until:
            return name
    return "night"


@dataclass(frozen=True, slots=True)
class Voice:
    """Says things in one person's units and time zone, seen from `now`."""

    units: DisplayUnits = field(default_factory=DisplayUnits)
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    now: datetime = field(default_factory=lambda: datetime.now(UTC))

    # Quantities

    def gravity(self, sg: float | None) -> str:
        """A gravity in the person's unit: ``1.012`` or ``3.1 °P``."""
        return self.units.gravity(sg)

    def temperature(self, celsius: float | None) -> str:
        """A temperature in the person's unit: ``20.0 °C`` or ``68.0 °F``."""
        return self.units.temperature(celsius)

    def volume(self, litres: float | None) -> str:
        """A volume in the person's unit: ``19.0 L`` or ``5.02 US gal``."""
        return self.units.volume(litres)

    # Times

    def local(self, when: datetime) -> datetime:
        """`when` on the person's clock."""
        return when.astimezone(self.zone)

    def today(self) -> date:
        """The person's date now."""
        return self.local(self.now).date()

    def day(self, when: datetime | date) -> str:
        """A day as people say it: ``today``, ``Thursday``, ``Thursday 3 Dec``, with the year when it is another."""
        that = self.local(when).date() if isinstance(when, datetime) else when
        ahead = (that - self.today()).days
        if ahead in (-1, 0, 1):
            return ("yesterday", "today", "tomorrow")[ahead + 1]
        name = WEEKDAYS[that.weekday()]
        if 1 < ahead < 6:
            return name
        return f"{name} {self.dated(that)}"

    def dated(self, that: date) -> str:
        """``3 Dec``, with the year when it is not this one."""
        year = f" {that.year}" if that.year != self.today().year else ""
        return f"{that.day} {MONTHS[that.month - 1]}{year}"

    def short_day(self, that: date) -> str:
        """The shortest way to say a day: ``today``, ``Thu``, ``Thu 3 Dec``."""
        ahead = (that - self.today()).days
        if ahead in (0, 1):
            return ("today", "tomorrow")[ahead]
        name = WEEKDAYS[that.weekday()][:3]
        return name if 1 < ahead < 6 else f"{name} {self.dated(that)}"

    def exact(self, when: datetime, *, lasting: bool = False) -> str:
        """The exact time, for hovering and tables: ``Thu 3 Dec, 18:04``, with the year when it is not this one.

        `lasting` is for what will be read in other years, such as a printed sheet: always with the year.
        """
        local = self.local(when)
        day = f"{local.day} {MONTHS[local.month - 1]} {local.year}" if lasting else self.dated(local.date())
        return f"{WEEKDAYS[local.weekday()][:3]} {day}, {local:%H:%M}"

    def clock(self, when: datetime) -> str:
        """``18:04``."""
        return f"{self.local(when):%H:%M}"

    def when(self, when: datetime, fine: Fineness = "part") -> str:
        """A moment at the fineness with which it is known: ``Thursday``, ``Thursday evening``, ``today about 18:00``.

        The small hours belong to the night before, as people speak.
        """
        local = self.local(when)
        if fine == "day":
            return self.day(when)
        if fine == "hour":
            rounded = (local + timedelta(minutes=30)).replace(minute=0, second=0, microsecond=0)
            return f"{self.day(rounded.date())} about {rounded:%H:%M}"
        small_hours = local.hour < 5
        that = local.date() - timedelta(days=1) if small_hours else local.date()
        part = "night" if small_hours else _part(local.hour)
        day = self.day(that)
        spoken = {"today night": "tonight", "yesterday night": "last night"}
        if day == "today" and part != "night":
            return f"this {part}" if part != "noon" else "today noon"
        return spoken.get(f"{day} {part}", f"{day} {part}")

    def since(self, when: datetime) -> str:
        """A moment that is past: ``Monday morning`` within the last days, else with its date."""
        local = self.local(when)
        ago = (self.today() - local.date()).days
        if 1 < ago < 6 and local.hour >= 5:
            return f"{WEEKDAYS[local.weekday()]} {_part(local.hour)}"
        return self.when(when)

    def between(self, low: datetime, high: datetime, fine: Fineness) -> str:
        """A span of time at one fineness: ``Monday night to Thursday noon``."""
        first, last = self.when(low, fine), self.when(high, fine)
        if fine == "hour":
            first, last = first.replace(" about", ""), last.replace(" about", "")
            if self.local(low).date() == self.local(high).date():
                last = last.rsplit(" ", 1)[-1]
        return first if first == last else self._from_to(first, last, self.local(low).date())

    def days(self, first: date, last: date) -> str:
        """A span of days: ``Sunday to Tuesday 1 Dec``."""
        return self._from_to(self.day(first), self.day(last), first)

    def _from_to(self, first: str, last: str, that: date) -> str:
        """Both ends; the first, on the day `that`, with its date where the same weekday would stand twice."""
        if first in WEEKDAYS and last.startswith(f"{first} "):
            first = f"{first} {self.dated(that)}"
        return f"{first} to {last}"

    def ago(self, when: datetime | None) -> str:
        """How old something is: ``just now`` (within a minute), ``3 min ago``, ``5 h ago``."""
        if when is None:
            return "never"
        age = self.now - when
        if age < timedelta(seconds=60):
            return "just now"
        return f"{lasted(age)} ago"

    def ahead(self, that: date) -> str:
        """How far off a day is: ``today``, ``in 2 days``, ``3 days ago``."""
        days = (that - self.today()).days
        if days in (-1, 0, 1):
            return ("yesterday", "today", "tomorrow")[days + 1]
        return f"in {days} days" if days > 0 else f"{-days} days ago"
