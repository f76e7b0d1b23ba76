"""What the person wishes for a batch, and the plan that answers: the nouns of planning."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Final, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from analysis.model import CONTACT_DAYS, HOLD_H
from analysis.planning.reasons import Blocked, PlanCaution, PlanReason

if TYPE_CHECKING:
    from analysis.planning.release import Release  # it weighs gas by numpy, which the nouns do without

Destination = Literal["undecided", "keg", "bottle"]
EVERY_DAY: Final = (0, 1, 2, 3, 4, 5, 6)


def _date(day: date | str) -> date:
    try:
        return day if isinstance(day, date) else date.fromisoformat(day)
    except ValueError:
        raise ValueError(f"busy_dates holds {day!r}, which is no date; write it as 2026-12-24") from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Constraints:
    """How and when the person would like to hop and package.

    Weekdays count from Monday, 0. `dry_hops` is the number of doses, `hop_interval_days` apart; there are none unless
    they were asked for, whatever the drink. All hops come out `contact_days` after the last dose.
    `early_dry_hop` puts them in during the last of the fermentation. `rest_days` follows the hold.
    A crash that counts as contact happens while the hops are still in. `day_hour` is the local hour at which
    hopping and packaging are done.
    """

    hold_h: float = HOLD_H
    contact_days: float = CONTACT_DAYS
    confidence: float = 0.8
    hop_weekdays: tuple[int, ...] = EVERY_DAY
    package_weekdays: tuple[int, ...] = EVERY_DAY
    busy_dates: tuple[date, ...] = ()
    rest_days: float = 0.0
    dry_hops: int = 0
    early_dry_hop: bool = False
    hop_interval_days: float = 2.0
    crash_days: float = 0.0
    crash_counts_as_contact: bool = True
    destination: Destination = "undecided"
    time_zone: str = "UTC"
    day_hour: int = 18

    def __post_init__(self) -> None:
        self._within("hold_h", 0, 24 * 60, "24 to 96 hours")
        self._within("contact_days", 0, 60, "2 to 5 days")
        self._within("confidence", 0.5, 0.99, "0.7 to 0.95")
        self._within("rest_days", 0, 730, "0 to 30 days")
        self._within("crash_days", 0, 60, "0 to 5 days")
        self._within("hop_interval_days", 0, 60, "1 to 4 days")
        self._within("dry_hops", 0, 10, "0 to 3 doses")
        self._within("day_hour", 0, 23, "an hour of the day, 0 to 23")
        for name in ("hop_weekdays", "package_weekdays"):
            days = tuple(sorted(set(getattr(self, name))))
            if not days or not set(days) <= set(EVERY_DAY):
                raise ValueError(f"{name} is {days}; give at least one weekday, Monday is 0 and Sunday is 6")
            object.__setattr__(self, name, days)
        object.__setattr__(self, "busy_dates", tuple(sorted({_date(d) for d in self.busy_dates})))
        if self.destination not in ("undecided", "keg", "bottle"):
            raise ValueError(f"destination is {self.destination!r}; it is undecided, keg or bottle")
        try:
            ZoneInfo(self.time_zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(
                f"time_zone {self.time_zone!r} is unknown; write one such as Europe/Paris or UTC"
            ) from None

    def _within(self, name: str, low: float, high: float, usual: str) -> None:
        value = getattr(self, name)
        if not (low <= value <= high):
            raise ValueError(f"{name} is {value}; usual is {usual}")

    @property
    def zone(self) -> ZoneInfo:
        """The person's time zone."""
        return ZoneInfo(self.time_zone)

    def local_day(self, when: datetime) -> date:
        """The date of an instant where the person lives."""
        return when.astimezone(self.zone).date()

    def instant(self, day: date) -> datetime:
        """When on `day` the work is done, in UTC."""
        return datetime.combine(day, time(self.day_hour), self.zone).astimezone(UTC)

    def can_hop(self, day: date) -> bool:
        """Whether the person can hop on this day."""
        return day.weekday() in self.hop_weekdays and day not in self.busy_dates

    def can_package(self, day: date) -> bool:
        """Whether the person can package on this day."""
        return day.weekday() in self.package_weekdays and day not in self.busy_dates


@dataclass(frozen=True, slots=True)
class Step:
    """One stretch of the plan, both ends in UTC; an act has the same instant at both ends."""

    name: str
    from_at: datetime
    to_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The two dates and why, in the person's zone; where one cannot be given it is None and `blocked_by` says why.

    The chances say how likely each day still fits when it comes; a renewed fall after hops is judged only once they
    are in. `earliest_…` is the first day with an even chance, `latest_…` the first with 95 %; once hops are in they
    bound the contact. `cold_keg_day` is the day the contact ends, on which a keg that stays cold may be filled even
    while bottles must wait; `bottling_day` is the first of the person's days on which bottles fit. `may_package` is
    true only on the evidence of that moment, which `release` keeps, never on a forecast. Reason, cautions and what
    blocks are values; `analysis.wording.plan` has their sentences.
    """

    made_at: datetime
    hop_day: date | None = None
    hop_days: tuple[date, ...] = ()
    packaging_day: date | None = None
    hop_chance: float | None = None
    packaging_chance: float | None = None
    earliest_hop: date | None = None
    latest_hop: date | None = None
    earliest_packaging: date | None = None
    latest_packaging: date | None = None
    hops_out_day: date | None = None
    cold_keg_day: date | None = None
    bottling_day: date | None = None
    release: Release | None = None
    reason: PlanReason | None = None
    cautions: tuple[PlanCaution, ...] = ()
    blocked_by: Blocked | None = None
    steps: tuple[Step, ...] = ()

    @property
    def may_package(self) -> bool:
        """Whether packaging is right at the moment the plan was made; a plan that names no release has none."""
        return self.release is not None and self.release.may_package


def whole_days(days: float) -> int:
    """Days rounded up, so that a contact or a hold is never cut short by working in dates."""
    return math.ceil(days - 1e-9)


def days_from(day: date, count: int) -> date:
    """`day` moved by `count` days."""
    return day + timedelta(days=count)


@dataclass(frozen=True, slots=True)
class DateMoved:
    """A day that was said before, and the one that is said now."""

    before: date
    after: date


def moved(before: date | None, after: date | None) -> DateMoved | None:
    """How a date moved, where it did by more than a day, else None."""
    if before is None or after is None or abs((after - before).days) <= 1:
        return None
    return DateMoved(before, after)
