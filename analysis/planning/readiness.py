"""Days to choose from, the chance of each, and the steps between: what every branch of planning shares."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from analysis.model import Assessment, Forecast
from analysis.planning.constraints import Constraints, Destination, Step, days_from, whole_days
from analysis.planning.reasons import Blocked, Obstacle, UnlikelyInTime
from analysis.thresholds import (
    EVEN_CHANCE,
    EXACT_WITHIN_DAYS,
    HORIZON_DAYS,
    LATE_AFTER,
    NEARLY_SURE,
    SLACK_DAYS,
    SUREST,
)


@dataclass(frozen=True, slots=True)
class Readiness:
    """The chance that the gravity has finished and been watched to hold (and rested) by an instant.

    Two cases are weighed. If it had finished when it was last looked at (`p_by_now`), the hold that was being watched
    is the one that counts and is over at `not_before`; if it finishes later, hold and rest (`wait`) follow the finish.
    """

    finish: Forecast | None
    looked_at: datetime
    p_by_now: float
    wait: timedelta
    not_before: datetime

    def chance(self, at: datetime) -> float:
        """From 0 to `SUREST`; 0 before the hold can have been seen."""
        if at < self.not_before:
            return 0.0
        if self.finish is None:
            return min(SUREST, self.p_by_now)
        later = self.finish.probability_by(at - self.wait) - self.finish.probability_by(self.looked_at)
        return min(SUREST, self.p_by_now + max(0.0, later))


def readiness(
    assessment: Assessment, constraints: Constraints, *, now: datetime, rest_days: float, since: datetime | None = None
) -> Readiness:
    """When hold and rest will be over; `since` is an instant before which no watching counts (hops, hops out).

    Only what was watched counts: a hold goes on from the last reading, and a silent sensor adds nothing to it.
    """
    hold, rest = timedelta(hours=constraints.hold_h), timedelta(days=rest_days)
    if since is not None and since > now:
        not_before = since + hold
    else:
        watched = held_since(assessment, since)
        not_before = now + max(timedelta(0), hold - (assessment.now - watched if watched else timedelta(0)))
        if watched and rest:
            not_before = max(not_before, watched + hold + rest)
        elif rest:
            not_before += rest
    p_by_now = assessment.finish.probability_by(assessment.now) if assessment.finish is not None else 0.0
    if assessment.finished:
        p_by_now = 1.0 if assessment.p_finished is None else max(p_by_now, assessment.p_finished)
    return Readiness(assessment.finish, assessment.now, p_by_now, hold + rest, not_before)


def held_since(assessment: Assessment, since: datetime | None = None) -> datetime | None:
    """Since when the gravity has been watched to hold, counted from `since` at the earliest; None if it has not."""
    start = assessment.held_since
    if start is None and assessment.held_h > 0:
        start = assessment.now - timedelta(hours=assessment.held_h)
    if start is None:
        return None
    start = start if since is None else max(start, since)
    return start if start < assessment.now else None


def days_ahead(constraints: Constraints, now: datetime, start: date | None = None) -> Iterator[date]:
    """The days from today (tomorrow late in the evening) or from `start`, whichever is later, up to the horizon."""
    today = constraints.local_day(now)
    if now > constraints.instant(today) + LATE_AFTER:
        today = days_from(today, 1)  # too late this evening to begin
    first = today if start is None else max(today, start)
    return (days_from(first, n) for n in range(HORIZON_DAYS))


def work_at(constraints: Constraints, day: date, now: datetime) -> datetime:
    """The instant of the day's work, never in the past."""
    return max(now, constraints.instant(day))


def first_fitting(candidates: Iterator[date], fits: Callable[[date], bool]) -> date | None:
    """The first candidate that fits, or None."""
    return next((d for d in candidates if fits(d)), None)


def even_and_late(
    constraints: Constraints, now: datetime, chance: Callable[[date], float]
) -> tuple[date | None, date | None]:
    """The first day with an even chance and the first with 95 %; None where there is none."""
    return (
        first_fitting(days_ahead(constraints, now), lambda d: chance(d) >= EVEN_CHANCE),
        first_fitting(days_ahead(constraints, now), lambda d: chance(d) >= NEARLY_SURE),
    )


def why_never(constraints: Constraints, ready: Readiness, now: datetime) -> Blocked:
    """Why no day fits."""
    best = max(ready.chance(constraints.instant(d)) for d in days_ahead(constraints, now))
    if best < constraints.confidence:
        return UnlikelyInTime(best, constraints.confidence, HORIZON_DAYS)
    return Obstacle.NO_DAY_FITS


def lengths(constraints: Constraints, destination: Destination) -> tuple[int, int, int]:
    """Whole days between doses, of contact after the last dose, and from hops out to packaging.

    Bottles wait for the renewed hold, warm, before any crash: cold beer shows no fermentation.
    """
    contact = whole_days(constraints.contact_days)
    if destination == "bottle":
        after = whole_days(constraints.hold_h / 24 + constraints.crash_days)
    elif constraints.crash_counts_as_contact:
        contact, after = max(contact, whole_days(constraints.crash_days)), 0
    else:
        after = whole_days(constraints.crash_days)
    return whole_days(constraints.hop_interval_days), contact, after


def crash_after(constraints: Constraints) -> bool:
    """Whether the crash comes once the hops are out."""
    return constraints.crash_days > 0 and not constraints.crash_counts_as_contact


def pair_of(
    constraints: Constraints, now: datetime, start: date, lag: int, fits: Callable[[date], bool], *, far: bool = False
) -> tuple[date, date] | None:
    """The earliest hop day and packaging day at least `lag` days apart.

    Exactly `lag` apart where such a pair is near; else the packaging day may follow by up to a week. For bottles
    the earliest packaging day wins, since the hops are out by then. With `far`, as for a long holiday, hops wait for
    such a pair however long, and where there is none at all, packaging may follow them later still.
    """
    hopping = [d for d in days_ahead(constraints, now, start) if fits(d)]
    most = HORIZON_DAYS if far else SLACK_DAYS
    if constraints.destination == "bottle":
        return _earliest_packaging(constraints, hopping, lag, most)
    near = hopping if far else [d for d in hopping if (d - start).days <= EXACT_WITHIN_DAYS]
    for slack in range(SLACK_DAYS + 1):
        hop = next((d for d in near if constraints.can_package(days_from(d, lag + slack))), None)
        if hop is not None:
            return hop, days_from(hop, lag + slack)
    return _earliest_packaging(constraints, hopping, lag, most) if far else None


def _earliest_packaging(
    constraints: Constraints, hopping: Sequence[date], lag: int, most: int
) -> tuple[date, date] | None:
    """Of all pairs the one that packages first, its hops as late and so as fresh as may be; up to `most` days late."""
    found = []
    for hop in hopping:
        days = (days_from(hop, lag + slack) for slack in range(most + 1))
        package = first_fitting(days, constraints.can_package)
        if package is not None:
            found.append((package, -hop.toordinal(), hop))
    return (min(found)[2], min(found)[0]) if found else None


def steps(
    assessment: Assessment,
    constraints: Constraints,
    now: datetime,
    hop_days: tuple[date, ...],
    out: date | None,
    package: date,
) -> tuple[Step, ...]:
    """The stretches of the plan in order, for a time line."""
    found: list[Step] = []
    finish = assessment.finish
    done_at = now
    if finish is not None and not assessment.finished:
        found.append(Step("finish", finish.p10, finish.p90 or finish.last))
        done_at = max(now, finish.p50)
    held_from = assessment.held_since or done_at
    hold_end = held_from + timedelta(hours=constraints.hold_h)
    if not assessment.finished or hold_end > now:
        found.append(Step("hold", held_from, hold_end))
    if constraints.rest_days:
        found.append(Step("rest", hold_end, hold_end + timedelta(days=constraints.rest_days)))
    for day in hop_days:
        found.append(Step("dry hop", constraints.instant(day), constraints.instant(day)))
    package_at = constraints.instant(package)
    crash_from = package_at - timedelta(days=constraints.crash_days)
    if out is not None:
        out_at = constraints.instant(out)
        if hop_days:
            found.append(Step("contact", constraints.instant(hop_days[-1]), out_at))
        found.append(Step("hops out", out_at, out_at))
        if crash_from > out_at:
            found.append(Step("hold again", out_at, crash_from))
    if constraints.crash_days:
        found.append(Step("crash", crash_from, package_at))
    found.append(Step("package", package_at, package_at))
    return tuple(found)
