"""What speaks for a verdict, as typed values: one class for each kind, with numbers that a brewer can check by hand.

How they are said, and in whose units, is `analysis.wording.evidence`'s business. Gravity is SG, temperature °C, time in
hours, chances and attenuation are shares.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from typing import Literal

Place = Literal["below", "within", "above"]


@dataclass(frozen=True, slots=True)
class NotJudged:
    """The batch could not be judged at all, for a reason that only the program's log tells."""


@dataclass(frozen=True, slots=True)
class NothingYet:
    """Too early: so many gravity readings are usable."""

    usable: int


@dataclass(frozen=True, slots=True)
class Silent:
    """Nothing was read for so many hours: what is said is how it stood at the last reading, or the last event since."""

    hours: float


@dataclass(frozen=True, slots=True)
class Moved:
    """By how much the gravity, now at `gravity_sg`, moved over the hours it has held, with its standard error."""

    hours: int
    moved_sg: float
    error_sg: float
    asked_h: float
    enough: bool
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class FellSince:
    """It has fallen to `gravity_sg` since it was called finished, or seemed to be (`called`)."""

    fell_sg: float
    ago_h: float
    called: bool
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class SlowFall:
    """It has gone on falling to `gravity_sg` since it seemed to have ended `days` ago; `sure` where it surely has.

    The fall a day with its standard error is that of a straight line through all readings since; `stored_sg` is what it
    would make in a closed package within `stored_days`.
    """

    fall_sg_day: float
    error_sg_day: float
    days: float
    fell_sg: float
    sure: bool
    stored_days: float
    stored_sg: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class Attenuated:
    """Apparent attenuation, where it lies in what is expected, and on how many batches that rests."""

    attenuation: float
    low: float
    high: float
    place: Place
    same_yeast: int
    same_drink: int
    expected_by_brewer: bool


@dataclass(frozen=True, slots=True)
class StillToFall:
    """Chance that less than `limit_sg` is left, and what is left from `gravity_sg` (10th, 50th, 90th percentile)."""

    limit_sg: float
    p_finished: float
    left_p10_sg: float
    left_p50_sg: float
    left_p90_sg: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class TooCold:
    """So much colder than where it fermented that a plateau is no evidence."""

    temperature_c: float
    colder_c: float


@dataclass(frozen=True, slots=True)
class TailTakes:
    """How many times as long the last stretch takes as the middle one, by how many earlier batches."""

    times: float
    batches: int


@dataclass(frozen=True, slots=True)
class TemperatureToCome:
    """How much warmer (below zero: colder) earlier batches were from here on."""

    by_c: float


@dataclass(frozen=True, slots=True)
class StoppedShort:
    """How far above its likely end it stopped, and the chance that it is a halt."""

    above_sg: float
    end_sg: float
    p_halted: float


@dataclass(frozen=True, slots=True)
class StandsByCurve:
    """For how long it has stood by the course as a whole, and how much of that the readings show."""

    stood_h: float
    seen_h: int


@dataclass(frozen=True, slots=True)
class Crept:
    """Fall since the dry hop beyond the fermentation itself, down to `gravity_sg`."""

    fall_sg: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class FloatOff:
    """By how much the float reads above (below zero: below) what is taken for the true gravity, `gravity_sg`."""

    off_sg: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class NotBegun:
    """No fall has been seen in so many hours since pitching, at `gravity_sg`."""

    hours: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class ColdForIt:
    """Colder than is usual for the drink, or than where it fermented (`fermented_c`, where that is known)."""

    temperature_c: float
    low_c: float
    high_c: float
    drink: str
    fermented_c: float | None = None


@dataclass(frozen=True, slots=True)
class EvenFall:
    """A slow fall of the float, SG a day, that has not slowed down over so many hours: drift looks like that."""

    per_day_sg: float
    hours: float


@dataclass(frozen=True, slots=True)
class Swings:
    """The float went up and down by so much, again and again, over so many hours.

    `slowly`: so slowly that the level of half a day swings along, and neither a hold nor an end can be told by it.
    """

    by_sg: float
    hours: float
    slowly: bool = False


@dataclass(frozen=True, slots=True)
class SameFigure:
    """The float has shown one figure to the last digit for so many hours."""

    hours: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class CannotBe:
    """The float stands above the original gravity, or below what is left when every sugar is eaten."""

    gravity_sg: float
    original_sg: float
    above: bool


@dataclass(frozen=True, slots=True)
class AllExtract:
    """What was pitched, what all extract that was ever in it would have made at once, and alcohol added as such."""

    pitched_sg: float
    original_sg: float
    spirit_abv_pct: float


@dataclass(frozen=True, slots=True)
class AdditionDiffers:
    """An addition was told to move the gravity by `stated_sg`; by the readings it moved by `seen_sg`."""

    stated_sg: float
    seen_sg: float
    ago_h: float
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class AdditionByReadings:
    """Something is not known of an addition, so the readings alone tell its size, `seen_sg`."""

    lacking: tuple[str, ...]
    seen_sg: float
    ago_h: float
    gravity_sg: float


Evidence = (
    NotJudged
    | NothingYet
    | Silent
    | Moved
    | FellSince
    | SlowFall
    | Attenuated
    | StillToFall
    | TooCold
    | TailTakes
    | TemperatureToCome
    | StoppedShort
    | StandsByCurve
    | Crept
    | FloatOff
    | NotBegun
    | ColdForIt
    | EvenFall
    | Swings
    | SameFigure
    | CannotBe
    | AllExtract
    | AdditionDiffers
    | AdditionByReadings
)


class Advice(Enum):
    """What to do next."""

    HAND_SAMPLE = "take a hand sample"
    SAMPLE_TWICE = "take degassed hand samples, days apart"
    WARM = "warm the vessel"
    ROUSE = "rouse the yeast"
    FORCED_TEST_OF_A_STALL = "find out by a forced test where it can end"
    FORCED_TEST_OF_AN_END = "find out by a forced test whether this is the end"
    HAND_SAMPLE_OF_A_DOUBT = "take a hand sample: the float itself is in doubt"
    WAIT_FOR_THE_FALL = "wait for the first fall"
    SAMPLE_BEFORE_THE_FALL = "see by a hand sample whether it has begun"
    WARM_TO_BEGIN = "warm it into the range of its yeast"
    PITCH_ANEW = "let in oxygen once, and pitch fresh yeast"


def slow_swing(evidence: Iterable[object]) -> Swings | None:
    """The swing along which a float's levels go, by which neither an end nor a date can be told; None without one."""
    return next((one for one in evidence if isinstance(one, Swings) and one.slowly), None)
