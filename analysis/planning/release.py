"""The release to package: one gate that plan, messages and packaging sheet all ask, with its evidence.

Nothing is released on a forecast, on a float alone or on silence: a gravity that nobody has read since yesterday may
have moved since.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from analysis.model import Assessment, as_utc
from analysis.thresholds import FRESH_WITHIN


class Condition(StrEnum):
    """What must hold before packaging is right at this moment."""

    FINISHED = "finished"
    HOLD_SEEN = "hold seen"
    READING_FRESH = "reading fresh"
    NO_RENEWED_FALL = "no renewed fall"
    HAND_SAMPLE_AGREES = "hand sample agrees"
    HOPS_DONE = "hops done"
    DAY_DUE = "day due"


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """Each condition with whether it holds at `at`, and what it was judged by.

    `reading_age` is the age of the newest reading in use, negative where it is dated after `at`, None where there is
    none. `hold_h` is the hold that was asked for, hours, `held_h` the one that counts.
    """

    at: datetime
    held_h: float
    hold_h: float
    reading_age: timedelta | None
    conditions: tuple[tuple[Condition, bool], ...]

    @property
    def unmet(self) -> tuple[Condition, ...]:
        """The conditions that do not hold; empty means released."""
        return tuple(condition for condition, holds in self.conditions if not holds)

    @property
    def may_package(self) -> bool:
        """Whether packaging is right at `at`: every condition holds."""
        return not self.unmet

    def holds(self, condition: Condition) -> bool:
        """Whether this one holds."""
        return condition not in self.unmet


def release(
    assessment: Assessment,
    *,
    now: datetime,
    hold_h: float,
    hops_done: bool,
    packaging_day: date | None,
    today: date,
    hold_from: datetime | None = None,
) -> Release:
    """Whether packaging is right now, each condition on its own.

    Parameters
    ----------
    now
        Aware instant of the question.
    hold_h
        The hold that the person asked for, hours.
    hops_done
        Whether no hops are to come and the contact of those that went in is over.
    packaging_day, today
        In the person's zone; without a packaging day nothing is due.
    hold_from
        No hold before this counts, as for bottles that wait for a new one once the hops are out.

    Raises
    ------
    ValueError
        If `now` has no time zone.
    """
    now = as_utc(now, "now")
    held_h = assessment.held_h
    if hold_from is not None:
        since = assessment.held_since or assessment.now - timedelta(hours=held_h)
        held_h -= max(0.0, (hold_from - since).total_seconds() / 3600)
    renewed = assessment.creep is not None or assessment.phase == "creeping"
    return Release(
        at=now,
        held_h=held_h,
        hold_h=hold_h,
        reading_age=reading_age(assessment, now),
        conditions=(
            (Condition.FINISHED, assessment.finished and not assessment.stalled),
            (Condition.HOLD_SEEN, held_h >= hold_h),
            (Condition.READING_FRESH, reading_fresh(assessment, now)),
            (Condition.NO_RENEWED_FALL, not renewed),
            (Condition.HAND_SAMPLE_AGREES, assessment.hand_sample_agrees is True),
            (Condition.HOPS_DONE, hops_done),
            (Condition.DAY_DUE, packaging_day is not None and packaging_day <= today),
        ),
    )


def reading_age(assessment: Assessment, now: datetime) -> timedelta | None:
    """How old the newest reading in use is; negative where it is dated after `now`, None where there is none."""
    newest = assessment.newest_reading_at
    return None if newest is None else now - newest


def reading_fresh(assessment: Assessment, now: datetime) -> bool:
    """Whether the gravity was read within the last day; one dated after `now` says nothing about it."""
    age = reading_age(assessment, now)
    return age is not None and timedelta(0) <= age <= FRESH_WITHIN
