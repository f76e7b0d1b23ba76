"""The release to package: one gate that plans, messages, screens and packaging sheet all ask, with its evidence.

Nothing is released on a forecast, on a float alone or on silence: a gravity that nobody has read since yesterday may
have moved since, and a float that has been moved, or stands in another liquid, must be seen to agree anew.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final

from analysis.model import (
    EVENT_KINDS,
    Assessment,
    Batch,
    EventKind,
    HandReading,
    as_utc,
    events_of,
)
from analysis.packaging import MayFerment, forced_test_agrees, inputs_of, may_ferment, volumes_of_fall
from analysis.thresholds import CULTURE_HOLD_H, DRIEST_SG, FAR_SG, FRESH_WITHIN, SAMPLES_APART, STEADY_SG

_LEAVE_THE_FLOAT_ALONE: Final[tuple[EventKind, ...]] = (
    "pitch", "crash", "warm", "nutrient", "sample", "forced test", "package", "note",
)  # fmt: skip
SHIFTS_THE_FLOAT: Final[tuple[EventKind, ...]] = tuple(k for k in EVENT_KINDS if k not in _LEAVE_THE_FLOAT_ALONE)
"""Whatever is not known to leave float and liquid alone: a hand sample taken before it says nothing of after it."""

_ROUNDING_SG: Final = 1e-9
_POINT_VOLUMES: Final = volumes_of_fall(DRIEST_SG, STEADY_SG)
_FAR_VOLUMES: Final = volumes_of_fall(DRIEST_SG, FAR_SG)
"""Gas of the falls that matter, in volumes, as `may_ferment` counts them."""


class Condition(StrEnum):
    """What must hold before packaging is right at this moment."""

    FINISHED = "finished"
    HOLD_SEEN = "hold seen"
    READING_FRESH = "reading fresh"
    NO_RENEWED_FALL = "no renewed fall"
    NO_SLOW_FALL = "no slow fall"
    NO_FALL_EXPECTED = "no fall expected"
    HAND_SAMPLE_AGREES = "hand sample agrees"
    CULTURE_ENDED = "culture ended"
    HOPS_DONE = "hops done"
    DAY_DUE = "day due"


_ENDED: Final = frozenset(
    {
        Condition.FINISHED,
        Condition.NO_RENEWED_FALL,
        Condition.NO_SLOW_FALL,
        Condition.NO_FALL_EXPECTED,
        Condition.CULTURE_ENDED,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the plan says of the moment that is asked about.

    `hold_h` is the hold that the person asked for, hours. `hops_done` is whether no hops are to come and the contact of
    those that went in is over. `packaging_day` and `today` are in the person's zone; without a packaging day nothing is
    due. No hold before `hold_from` counts, as for bottles that wait for a new one once the hops are out.
    """

    hold_h: float
    hops_done: bool
    packaging_day: date | None
    today: date
    hold_from: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """Each condition with whether it holds at `at`, and what it was judged by.

    `reading_age` is the age of the newest reading in use, negative where it is dated after `at`, None where there is
    none. `hold_h` is the hold that was asked for, hours, `held_h` the one that counts. `by_hand` is whether the hold
    rests on hand samples alone; `samples` are those that count, the newest last. `ferments` is what may still ferment
    in a closed package, as the packaging sheet has it: of the drink's own sugar no fall that matters may be left; what
    hops, acid and culture may start is weighed against the package, by the sheet.
    """

    at: datetime
    held_h: float
    hold_h: float
    reading_age: timedelta | None
    conditions: tuple[tuple[Condition, bool], ...]
    by_hand: bool = False
    samples: tuple[HandReading, ...] = ()
    ferments: MayFerment = field(default_factory=lambda: MayFerment(()))

    @property
    def unmet(self) -> tuple[Condition, ...]:
        """The conditions that do not hold; empty means released."""
        return tuple(condition for condition, holds in self.conditions if not holds)

    @property
    def may_package(self) -> bool:
        """Whether packaging is right at `at`: every condition holds."""
        return not self.unmet

    @property
    def ended(self) -> bool:
        """Whether nothing ferments on, by all that was asked; the hold and the hand sample are asked beside it."""
        return not _ENDED.intersection(self.unmet)

    @property
    def ready(self) -> bool:
        """Whether only the day is not due yet."""
        return all(condition is Condition.DAY_DUE for condition in self.unmet)

    def holds(self, condition: Condition) -> bool:
        """Whether this one holds."""
        return condition not in self.unmet


def release(assessment: Assessment, batch: Batch, asked: Asked, *, now: datetime) -> Release:
    """Whether packaging is right now, each condition on its own.

    Parameters
    ----------
    now
        Aware instant of the question.

    Raises
    ------
    ValueError
        If `now` has no time zone.
    """
    now = as_utc(now, "now")
    held_h = _held(assessment, asked)
    samples = _samples(assessment, batch, asked, now)
    by_hand = assessment.followed_by_hand
    agrees = _agree(samples, now) if by_hand else bool(samples) and assessment.hand_sample_agrees is True
    original = assessment.original_gravity_sg.p50 if assessment.original_gravity_sg else batch.original_gravity_sg
    tested = forced_test_agrees(batch, original, _level(assessment), now)
    fresh = reading_fresh(assessment, now)
    ferments = may_ferment(inputs_of(assessment, batch, fresh=fresh))
    renewed = assessment.creep is not None or assessment.phase == "creeping" or assessment.falls_again
    slow = assessment.trend is not None and assessment.trend.seems_to_fall
    lingers = batch.diastatic or batch.mixed_culture
    return Release(
        at=now,
        held_h=held_h,
        hold_h=asked.hold_h,
        reading_age=reading_age(assessment, now),
        by_hand=by_hand,
        samples=samples,
        ferments=ferments,
        conditions=(
            (Condition.FINISHED, assessment.finished and not assessment.stalled),
            (Condition.HOLD_SEEN, held_h >= asked.hold_h),
            (Condition.READING_FRESH, fresh),
            (Condition.NO_RENEWED_FALL, not renewed),
            (Condition.NO_SLOW_FALL, not slow or tested),
            (Condition.NO_FALL_EXPECTED, _expects_none(assessment, ferments)),
            (Condition.HAND_SAMPLE_AGREES, agrees),
            (Condition.CULTURE_ENDED, not lingers or tested or held_h >= CULTURE_HOLD_H),
            (Condition.HOPS_DONE, asked.hops_done),
            (Condition.DAY_DUE, asked.packaging_day is not None and asked.packaging_day <= asked.today),
        ),
    )


def release_of_the_gravity(assessment: Assessment, batch: Batch, *, now: datetime) -> Release:
    """The gate without hops and days: what the gravity alone says, as the packaging sheet takes it over."""
    today = as_utc(now, "now").date()
    return release(
        assessment, batch, Asked(hold_h=batch.hold_h, hops_done=True, packaging_day=today, today=today), now=now
    )


def _held(assessment: Assessment, asked: Asked) -> float:
    """The hold that counts, hours."""
    if asked.hold_from is None:
        return assessment.held_h
    since = assessment.held_since or assessment.now - timedelta(hours=assessment.held_h)
    return assessment.held_h - max(0.0, (asked.hold_from - since).total_seconds() / 3600)


def _samples(assessment: Assessment, batch: Batch, asked: Asked, now: datetime) -> tuple[HandReading, ...]:
    """Hand samples up to now, since the last thing that can shift a float and since the hold that counts began."""
    changed = [e.at for e in events_of(batch, *SHIFTS_THE_FLOAT, until=now)]
    changed += [at for at in batch.float_changed_at if at <= now]
    changed += [at for at in (asked.hold_from, assessment.held_since) if at is not None]
    since = max(changed, default=batch.pitched_at)
    return tuple(one for one in assessment.hand_samples if since <= one.at <= now)


def _agree(samples: tuple[HandReading, ...], now: datetime) -> bool:
    """Whether the newest sample is fresh and agrees with one taken long enough before it, and with all between."""
    if not samples or now - samples[-1].at > FRESH_WITHIN:
        return False
    newest = samples[-1]
    alike: list[HandReading] = []
    for one in reversed(samples):
        if abs(one.gravity_sg - newest.gravity_sg) > STEADY_SG + _ROUNDING_SG:
            break
        alike.append(one)
    return newest.at - alike[-1].at >= SAMPLES_APART


def _level(assessment: Assessment) -> float | None:
    if assessment.held_sg is not None:
        return assessment.held_sg
    return assessment.gravity_sg.p50 if assessment.gravity_sg is not None else None


def _expects_none(assessment: Assessment, ferments: MayFerment) -> bool:
    """Whether no fall that matters is expected of the drink's own sugar any more; the assessment must have said so."""
    left, drink = assessment.remaining_fall_sg, ferments.of("drink")
    return (
        left is not None
        and left.p50 < STEADY_SG
        and drink.p50_volumes < _POINT_VOLUMES
        and drink.p90_volumes < _FAR_VOLUMES
    )


def reading_age(assessment: Assessment, now: datetime) -> timedelta | None:
    """How old the newest reading in use is; negative where it is dated after `now`, None where there is none."""
    newest = assessment.newest_reading_at
    return None if newest is None else now - newest


def reading_fresh(assessment: Assessment, now: datetime) -> bool:
    """Whether the gravity was read within the last day; one dated after `now` says nothing about it."""
    age = reading_age(assessment, now)
    return age is not None and timedelta(0) <= age <= FRESH_WITHIN
