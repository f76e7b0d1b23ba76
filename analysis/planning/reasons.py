"""What a plan says beside its dates, as values: why, what blocks it, and what must be heeded.

Days are in the person's zone, chances from 0 to 1, spans in days or hours as their names say. The sentences are in
`analysis.wording.plan`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from analysis.model import Range

if TYPE_CHECKING:
    from analysis.packaging import GasCause


class Obstacle(StrEnum):
    """Why no date can be given at all."""

    NOT_JUDGED = "the batch could not be judged"
    STALLED = "stalled"
    CHILLED = "chilled before it was seen to finish"
    TOO_FEW_READINGS = "there are too few readings"
    NOT_BEGUN = "no fall has been seen"
    FLOAT_DOUBTED = "the float shows what no fermentation shows"
    FALL_JUST_BEGUN = "the fall has only just begun"
    END_UNKNOWN = "the readings do not say where it will end"
    ALL_BUSY = "every day that would fit is taken"
    FALLS_AGAIN = "it falls although it seemed to have ended"
    NO_DAY_FITS = "none of the days fits"
    NO_HOPPING_DAY = "none of the days fits for hopping"
    NO_PACKAGING_DAY_AFTER = "no packaging day follows a hopping day"


@dataclass(frozen=True, slots=True)
class UnlikelyInTime:
    """No day within the horizon is as likely as was asked for; `best` is the highest chance of any."""

    best: float
    asked: float
    within_days: int


@dataclass(frozen=True, slots=True)
class Ended:
    """The batch has ended, and no packaging was logged."""

    day: date


Blocked = Obstacle | UnlikelyInTime | Ended


@dataclass(frozen=True, slots=True)
class Hold:
    """The hold that was asked for, and for how long it has been seen where that is enough."""

    asked_h: float
    seen_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageOn:
    """Packaging without hops; `waited` means that an earlier day was likely enough but not the person's.

    `chance` is None where the steady rule alone decided the finish, here and below.
    """

    day: date
    hold: Hold
    rest_days: float
    crash_days: float
    chance: float | None
    waited: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HopThenPackage:
    """Hops after the hold, packaging once their contact is over; for bottles, once it has held again."""

    hop: date
    out: date
    package: date
    hold: Hold
    rest_days: float
    contact_days: float
    chance: float | None
    waited: bool
    bottles: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HopEarly:
    """Hops during the last of the fermentation, counted back from the packaging day of `then`.

    `over` says that it has ended already, so that they go in as soon as they can.
    """

    hop: date
    out: date
    contact_days: float
    then: PackageOn
    over: bool = False


@dataclass(frozen=True, slots=True)
class Packaged:
    """It is packaged."""

    day: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """The hops' contact: when it ends or ended, and how long it was where the hops are out."""

    day: date
    asked_days: float
    over: bool
    out: bool
    had: timedelta | None = None
    """None where the hops are in, or where it was not logged when they went in."""


@dataclass(frozen=True, slots=True)
class Unread:
    """The newest reading does not count: it is too old, dated in the future (negative), or there is none (None)."""

    age: timedelta | None


@dataclass(frozen=True, slots=True)
class ColdKeg:
    """From when a keg that stays cold may be filled; not so where the gravity is unread."""

    day: date
    unread: Unread | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FillColdKeg:
    """The gravity falls again, and a keg is filled all the same. `fall_sg` is None where its size is not known."""

    contact: Contact
    fall_sg: Range | None
    keg: ColdKeg


@dataclass(frozen=True, slots=True, kw_only=True)
class BottlesWait:
    """Bottles wait for a new hold with the hops out; `falling` says that the gravity falls again."""

    day: date
    hold_h: float
    chance: float | None
    falling: bool = False
    fall_sg: Range | None = None
    keg: ColdKeg | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WhenContactEnds:
    """Packaging on the day the contact ends, or on the first of the person's days after it."""

    contact: Contact
    day: date
    same_day: bool
    hold: Hold
    chance: float | None


PlanReason = (
    Obstacle
    | UnlikelyInTime
    | Ended
    | PackageOn
    | HopThenPackage
    | HopEarly
    | Packaged
    | FillColdKeg
    | BottlesWait
    | WhenContactEnds
)
"""The binding reason of a plan's dates, or what blocks it."""


class Caution(StrEnum):
    """What must stand beside the dates and needs no number."""

    FORECAST_ONLY = "a date is a forecast"
    HAND_SAMPLE_FIRST = "take a hand sample"
    HAND_SAMPLE_DISAGREES = "the hand sample disagrees"
    HAND_SAMPLE_ANEW = "take a hand sample since the float was changed"
    TWO_HAND_SAMPLES = "take two hand samples, days apart"
    SECOND_HAND_SAMPLE = "take a second hand sample"
    SLOW_FALL = "it seems to fall slowly"
    FALL_EXPECTED = "a fall is still expected"
    CREEPING_CULTURE = "the culture may go on eating"
    CULTURE_HOLD = "the culture has not been watched for long enough"


@dataclass(frozen=True, slots=True)
class BottlesWaitAgain:
    """Hops can start a renewed fall, so bottles wait for a new hold, until about `until` where that can be said."""

    contact_days: float
    until: date | None


@dataclass(frozen=True, slots=True)
class TakeHopsOut:
    """The contact ends on a day before the packaging day."""

    day: date
    contact_days: float
    package: date


@dataclass(frozen=True, slots=True)
class ContactTooLong:
    """The hops have been in for longer than was asked; `grassy` where it may be tasted."""

    have_days: float
    asked_days: float
    grassy: bool


@dataclass(frozen=True, slots=True)
class MayFermentOn:
    """What beside the drink's own sugar may make gas in a closed package, in volumes at worst."""

    causes: tuple[GasCause, ...]
    volumes: float


PlanCaution = Caution | MayFermentOn | Unread | BottlesWaitAgain | TakeHopsOut | ContactTooLong
