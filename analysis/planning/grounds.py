"""The grounds of a plan: the binding reason, what blocks it, and what must be heeded, as values."""

from __future__ import annotations

from datetime import date, datetime

from analysis.evidence import CannotBe, EvenFall, NothingYet, slow_swing
from analysis.model import Assessment, Batch
from analysis.planning.constraints import Constraints, Plan
from analysis.planning.reasons import (
    Blocked,
    BottlesWaitAgain,
    Caution,
    ColdKeg,
    Hold,
    HopThenPackage,
    MayFermentOn,
    Obstacle,
    PackageOn,
    PlanCaution,
    Unread,
)
from analysis.planning.release import Condition, Release, reading_age, reading_fresh
from analysis.thresholds import TOLD_VOLUMES


def cold_keg(day: date, assessment: Assessment, now: datetime) -> ColdKeg:
    """From when a keg that stays cold may be filled although bottles must wait; only on a fresh reading."""
    fresh = reading_fresh(assessment, now)
    return ColdKeg(day, None if fresh else Unread(reading_age(assessment, now)))


def forecast_chance(assessment: Assessment, chance: float) -> float | None:
    """The chance as it may be said: None where the steady rule alone decided the finish, which gives none."""
    return None if assessment.finished and assessment.p_finished is None else chance


def why_blocked(assessment: Assessment) -> Blocked | None:
    """Why no date can be given at all; None where one can."""
    if assessment.stalled:
        return Obstacle.STALLED
    if assessment.phase == "chilled" and not assessment.finished:
        return Obstacle.CHILLED
    if assessment.finish is not None or assessment.finished:
        return None
    if assessment.falls_again:
        return Obstacle.FALLS_AGAIN
    if any(isinstance(one, EvenFall | CannotBe) for one in assessment.evidence) or slow_swing(assessment.evidence):
        return Obstacle.FLOAT_DOUBTED
    if assessment.phase != "lag":
        return Obstacle.FALL_JUST_BEGUN if assessment.phase == "active" else Obstacle.END_UNKNOWN
    few = any(isinstance(one, NothingYet) for one in assessment.evidence)
    return Obstacle.TOO_FEW_READINGS if few else Obstacle.NOT_BEGUN


def hold_of(assessment: Assessment, constraints: Constraints) -> Hold:
    """The hold that was asked for, and how much of it was seen where it is enough."""
    seen = assessment.finished and assessment.held_h >= constraints.hold_h
    return Hold(constraints.hold_h, assessment.held_h if seen else None)


def package_reason(
    assessment: Assessment, constraints: Constraints, day: date, chance: float, *, waited: bool
) -> PackageOn:
    """Why packaging falls on `day`; `waited` means that an earlier day was likely enough but not the person's."""
    return PackageOn(
        day=day,
        hold=hold_of(assessment, constraints),
        rest_days=constraints.rest_days,
        crash_days=constraints.crash_days,
        chance=forecast_chance(assessment, chance),
        waited=waited,
    )


def hops_reason(
    assessment: Assessment, constraints: Constraints, days: tuple[date, date, date], chance: float, *, waited: bool
) -> HopThenPackage:
    """Why the hops go in, come out and packaging falls on these `days`."""
    hop, out, package = days
    return HopThenPackage(
        hop=hop,
        out=out,
        package=package,
        hold=hold_of(assessment, constraints),
        rest_days=constraints.rest_days,
        contact_days=constraints.contact_days,
        chance=forecast_chance(assessment, chance),
        waited=waited,
        bottles=constraints.destination == "bottle",
    )


def lacking(assessment: Assessment, asked: Release) -> tuple[Caution, ...]:
    """What the gate lacks beside finish, hold and a fresh reading, as what the person can do about it."""
    found: list[Caution] = []
    if not asked.holds(Condition.HAND_SAMPLE_AGREES):
        found.append(_hand_sample(assessment, asked))
    if not asked.holds(Condition.NO_SLOW_FALL) and not assessment.falls_again:
        found.append(Caution.SLOW_FALL)
    if not asked.holds(Condition.NO_FALL_EXPECTED) and asked.holds(Condition.FINISHED):
        found.append(Caution.FALL_EXPECTED)
    if not asked.holds(Condition.CULTURE_ENDED):
        found.append(Caution.CULTURE_HOLD)
    return tuple(found)


def _hand_sample(assessment: Assessment, asked: Release) -> Caution:
    """Which hand sample is missing."""
    if asked.by_hand:
        return Caution.SECOND_HAND_SAMPLE if asked.samples else Caution.TWO_HAND_SAMPLES
    if assessment.hand_sample_agrees is None:
        return Caution.HAND_SAMPLE_FIRST
    return Caution.HAND_SAMPLE_ANEW if assessment.hand_sample_agrees else Caution.HAND_SAMPLE_DISAGREES


def cautions_of(
    assessment: Assessment, batch: Batch, constraints: Constraints, made: Plan, asked: Release
) -> tuple[PlanCaution, ...]:
    """What must stand beside the dates."""
    found: list[PlanCaution] = []
    # A hold that bottles wait for once the hops are out is said below.
    if not asked.holds(Condition.FINISHED) or assessment.held_h < constraints.hold_h:
        found.append(Caution.FORECAST_ONLY)
    if not asked.holds(Condition.READING_FRESH):
        found.append(Unread(asked.reading_age))
    found += lacking(assessment, asked)
    if made.hop_days and constraints.destination != "keg":
        found.append(BottlesWaitAgain(constraints.contact_days, made.bottling_day))
    if batch.diastatic or batch.mixed_culture:
        found.append(Caution.CREEPING_CULTURE)
    others = [part for part in asked.ferments.parts if part.cause != "drink" and part.worst_volumes >= TOLD_VOLUMES]
    if others and asked.holds(Condition.FINISHED):
        found.append(MayFermentOn(tuple(part.cause for part in others), sum(part.worst_volumes for part in others)))
    return tuple(found)
