"""How numbers, chances and times are said, everywhere: one vocabulary, the person's units and time zone.

Sentences about a batch are in `words_verdict`; they are built from what is here.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from analysis import units
from ingest.model import Preferences

if TYPE_CHECKING:
    pass

THIN: Final = "\u202f"
"""The narrow no-break space between a number and its unit."""

NBSP: Final = "\u00a0"
"""A space at which no line breaks."""

MINUS: Final = "\u2212"
UNKNOWN: Final = "—"

# The words and their borders are those of the IPCC's calibrated language (Mastrandrea et al., Guidance Note for Lead
# Authors of the IPCC Fifth Assessment Report on Consistent Treatment of Uncertainties, 2010, table 1).
_CHANCES: Final[tuple[tuple[float, str], ...]] = (
    (0.99, "almost certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.01, "very unlikely"),
    (0.00, "almost ruled out"),
)

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
WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

Fineness = Literal["day", "part", "hour"]
"""How finely a time is known: to the day, to the part of the day, or to the hour."""


def number(value: float, decimals: int = 0) -> str:
    """A number with fixed decimals and a true minus sign; a dash where there is none."""
    if not math.isfinite(value):
        return UNKNOWN
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def percent(share: float | None) -> str:
    """A share as whole percent; never 0 % or 100 % for what is merely close to it."""
    if share is None or not math.isfinite(share):
        return UNKNOWN
    if 0 < share < 0.005:
        return f"less than{NBSP}1{THIN}%"
    if 0.995 <= share < 1:
        return f"more than{NBSP}99{THIN}%"
    return f"{number(100 * share)}{THIN}%"


def chance_word(probability: float) -> str:
    """The word for a chance: the same in every sentence, and the one for the whole percent that stands beside it."""
    shown = round(100 * probability)
    for border, word in _CHANCES:
        if shown >= 100 * border:
            return word
    return _CHANCES[-1][1]


def chances_table() -> list[tuple[str, str]]:
    """Each word for a chance with the chances it stands for, the surest first."""
    rows = []
    upper = 1.0
    for border, word in _CHANCES:
        span = f"{number(100 * border)} to {number(100 * upper)}{THIN}%"
        rows.append((word, span if border else f"less than {number(100 * upper)}{THIN}%"))
        upper = border
    return rows


def chance(probability: float) -> str:
    """A chance in words and numbers: ``very likely (93 %)``; never a plain 0 or 100 %, since we infer it."""
    return f"{chance_word(probability)} ({percent(min(max(probability, 0.001), 0.999))})"


def count(n: int) -> str:
    """Small counts as words."""
    return _COUNTS[n] if 0 <= n < len(_COUNTS) else str(n)


def plural(n: int, one: str, many: str | None = None) -> str:
    """``one thing``, ``two things``."""
    return f"{count(n)} {one if n == 1 else many or one + 's'}"


_APART: Final = re.compile(
    rf"(?<=\d) (?=(?:{'|'.join(_MONTHS)}|°[CFP]|%|m?g/L|bar|points?|days?|hours|volumes?)(?!\w))"
)


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


def points(fall_sg: float) -> str:
    """A fall of gravity in points (thousandths) in words: ``about 4 points``, ``half a point``."""
    value = fall_sg * 1000
    if value < 0.3:
        return "next to nothing"
    if value < 0.75:
        return "about half a point"
    rounded = round(value)
    return f"about {rounded} point{'s' if rounded != 1 else ''}"


def points_between(low_sg: float, high_sg: float) -> str:
    """``2 to 5 points``."""
    low, high = round(max(low_sg, 0) * 1000), round(max(high_sg, 0) * 1000)
    if low == high:
        return f"{number(low)} point{'s' if low != 1 else ''}"
    return f"{number(low)} to {number(high)} points"


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

    preferences: Preferences = field(default_factory=Preferences)
    now: datetime = field(default_factory=lambda: datetime.now(UTC))

    # Quantities

    def gravity(self, sg: float | None) -> str:
        """A gravity in the person's unit: ``1.012`` or ``3.1 °P``."""
        if sg is None or not math.isfinite(sg):
            return UNKNOWN
        if self.preferences.gravity_unit == "°P":
            return f"{number(float(units.sg_to_plato(sg)), 1)}{THIN}°P"
        return number(sg, 3)

    def temperature(self, celsius: float | None) -> str:
        """A temperature with one decimal."""
        if celsius is None or not math.isfinite(celsius):
            return UNKNOWN
        if self.preferences.temperature_unit == "°F":
            return f"{number(float(units.c_to_f(celsius)), 1)}{THIN}°F"
        return f"{number(celsius, 1)}{THIN}°C"

    def volume(self, litres: float | None) -> str:
        """A volume with one decimal, none from a hundred on."""
        if litres is None:
            return UNKNOWN
        value, unit = litres, "L"
        if self.preferences.volume_unit == "US gal":
            value, unit = float(units.litres_to_us_gal(litres)), "US gal"
        return f"{number(value, 1 if value < 100 else 0)}{THIN}{unit}"

    # Times

    def local(self, when: datetime) -> datetime:
        """`when` on the person's clock."""
        return when.astimezone(zone_of(self.preferences.time_zone))

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
        return f"{that.day} {_MONTHS[that.month - 1]}{year}"

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
        day = f"{local.day} {_MONTHS[local.month - 1]} {local.year}" if lasting else self.dated(local.date())
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
