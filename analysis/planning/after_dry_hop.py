"""The plan once hops are in: it follows what was done, and a renewed fall moves the packaging day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from analysis.model import Assessment, Batch, events_of
from analysis.planning.constraints import Constraints, Plan, days_from, whole_days
from analysis.planning.grounds import cold_keg, forecast_chance, hold_of, why_blocked
from analysis.planning.readiness import (
    days_ahead,
    even_and_late,
    first_fitting,
    lengths,
    readiness,
    steps,
    why_never,
    work_at,
)
from analysis.planning.reasons import (
    BottlesWait,
    Contact,
    ContactTooLong,
    FillColdKeg,
    PlanCaution,
    WhenContactEnds,
)
from analysis.thresholds import CONTACT_SLACK_DAYS, LONGEST_CONTACT_DAYS


@dataclass(frozen=True, slots=True)
class Hopped:
    """What was done with hops: the doses so far, those to come, and when contact ends or ended."""

    in_at: tuple[datetime, ...]
    """Where only their coming out was logged, that is the one instant at which they were surely in."""
    to_come: tuple[date, ...]
    out_at: datetime
    are_out: bool
    contact_days: float
    """What was asked for: the contact wished, or the crash where that counts as contact and is longer."""
    in_is_known: bool = True


def hopped_so_far(batch: Batch, constraints: Constraints, now: datetime) -> Hopped:
    """Read the doses and the hops out from the batch's events; doses still wished for get the next fitting days."""
    doses = tuple(e.at for e in events_of(batch, "dry hop", until=now))
    outs = [e.at for e in events_of(batch, "hops out", until=now) if not doses or e.at >= doses[-1]]
    interval, contact, _ = lengths(constraints, "undecided")
    span = max(constraints.contact_days, float(contact) if constraints.crash_counts_as_contact else 0.0)
    if outs:
        return Hopped(doses or (outs[0],), (), outs[0], True, span, in_is_known=bool(doses))
    to_come: list[date] = []
    last = constraints.local_day(doses[-1])
    for _ in range(max(0, constraints.dry_hops - len(doses))):
        day = first_fitting(days_ahead(constraints, now, days_from(last, interval)), constraints.can_hop)
        if day is None:
            break
        to_come.append(day)
        last = day
    last_at = constraints.instant(to_come[-1]) if to_come else doses[-1]
    return Hopped(doses, tuple(to_come), last_at + timedelta(days=span), are_out=False, contact_days=span)


def contact_of(hops: Hopped, constraints: Constraints, now: datetime) -> Contact:
    """When the contact ends or ended, and where the hops are out, how much of it they had."""
    return Contact(
        day=constraints.local_day(hops.out_at),
        asked_days=hops.contact_days,
        over=hops.out_at <= now,
        out=hops.are_out,
        had=hops.out_at - hops.in_at[-1] if hops.are_out and hops.in_is_known else None,
    )


def creeping(assessment: Assessment) -> bool:
    """Whether a renewed fall has been seen."""
    return assessment.creep is not None or assessment.phase == "creeping"


def after_hops(assessment: Assessment, batch: Batch, constraints: Constraints, now: datetime) -> Plan:
    """Packaging day from the end of the contact, the renewed hold and, where one is seen, the renewed fall."""
    hops = hopped_so_far(batch, constraints, now)
    out_day = constraints.local_day(hops.out_at)
    crash_days = 0.0 if constraints.crash_counts_as_contact else constraints.crash_days
    falls = creeping(assessment)
    cold_keg_day = first_fitting(
        days_ahead(constraints, now, days_from(out_day, whole_days(crash_days))), constraints.can_package
    )
    base = Plan(
        made_at=now,
        hop_day=hops.to_come[0] if hops.to_come else constraints.local_day(hops.in_at[-1]),
        hop_days=tuple(constraints.local_day(a) for a in hops.in_at) + hops.to_come,
        hop_chance=1.0,
        hops_out_day=out_day,
        cold_keg_day=cold_keg_day,
        earliest_packaging=out_day,
        cautions=_contact_cautions(hops, constraints, now),
    )
    blocked = why_blocked(assessment)
    if constraints.destination == "keg" and falls and cold_keg_day is not None:
        reason = FillColdKeg(
            contact=contact_of(hops, constraints, now),
            fall_sg=assessment.creep.fall_sg if assessment.creep else None,
            keg=cold_keg(cold_keg_day, assessment, now),
        )
        made = replace(base, packaging_day=cold_keg_day, packaging_chance=1.0, reason=reason)
        return _finish_up(made, assessment, constraints, now, hops)
    if blocked:
        return replace(base, blocked_by=blocked, reason=blocked)
    day, chance = _bottling(assessment, constraints, hops, now)
    base = replace(base, bottling_day=day)
    if constraints.destination == "bottle" or falls:
        return _bottles_wait(base, chance, assessment, constraints, now, hops)
    return _when_contact_ends(base, assessment, constraints, now, hops)


def _bottles_wait(
    base: Plan, chance: float | None, assessment: Assessment, constraints: Constraints, now: datetime, hops: Hopped
) -> Plan:
    """Packaging on the bottling day, once the gravity has held again with the hops out."""
    day, falls = base.bottling_day, creeping(assessment)
    if day is None:
        never = why_never(constraints, readiness(assessment, constraints, now=now, rest_days=0), now)
        return replace(base, blocked_by=never, reason=never)
    reason = BottlesWait(
        day=day,
        hold_h=constraints.hold_h,
        chance=forecast_chance(assessment, chance or 0.0),
        falling=falls,
        fall_sg=assessment.creep.fall_sg if assessment.creep else None,
        keg=cold_keg(base.cold_keg_day, assessment, now) if falls and base.cold_keg_day is not None else None,
    )
    made = replace(base, packaging_day=day, packaging_chance=chance, reason=reason)
    return _finish_up(made, assessment, constraints, now, hops)


def _when_contact_ends(
    base: Plan, assessment: Assessment, constraints: Constraints, now: datetime, hops: Hopped
) -> Plan:
    ready = readiness(assessment, constraints, now=now, rest_days=0)
    start = base.cold_keg_day or base.hops_out_day

    def chance(day: date) -> float:
        return ready.chance(work_at(constraints, day, now))

    day = first_fitting(
        days_ahead(constraints, now, start),
        lambda d: constraints.can_package(d) and chance(d) >= constraints.confidence,
    )
    if day is None:
        never = why_never(constraints, ready, now)
        return replace(base, blocked_by=never, reason=never)
    reason = WhenContactEnds(
        contact=contact_of(hops, constraints, now),
        day=day,
        same_day=day == base.hops_out_day,
        hold=hold_of(assessment, constraints),
        chance=forecast_chance(assessment, chance(day)),
    )
    made = replace(base, packaging_day=day, packaging_chance=chance(day), reason=reason)
    return _finish_up(made, assessment, constraints, now, hops)


def _bottling(
    assessment: Assessment, constraints: Constraints, hops: Hopped, now: datetime
) -> tuple[date | None, float | None]:
    """The first of the person's days on which bottles fit: hops out, held again since, and crashed if wished."""
    ready = readiness(
        assessment, constraints, now=now, rest_days=0, since=hops.out_at if hops.are_out else max(hops.out_at, now)
    )
    crash = timedelta(days=constraints.crash_days)

    def chance(day: date) -> float:
        return (
            ready.chance(work_at(constraints, day, now) - crash)
            if crash
            else ready.chance(work_at(constraints, day, now))
        )

    day = first_fitting(
        days_ahead(constraints, now), lambda d: constraints.can_package(d) and chance(d) >= constraints.confidence
    )
    return day, None if day is None else chance(day)


def _contact_cautions(hops: Hopped, constraints: Constraints, now: datetime) -> tuple[PlanCaution, ...]:
    if hops.are_out or now <= hops.out_at:
        return ()
    have = (now - hops.in_at[-1]).total_seconds() / 86_400
    return (ContactTooLong(have, constraints.contact_days, grassy=have > LONGEST_CONTACT_DAYS),)


def _finish_up(made: Plan, assessment: Assessment, constraints: Constraints, now: datetime, hops: Hopped) -> Plan:
    ready = readiness(assessment, constraints, now=now, rest_days=0)
    _, high = even_and_late(constraints, now, lambda d: ready.chance(work_at(constraints, d, now)))
    latest = days_from(made.hops_out_day, CONTACT_SLACK_DAYS) if made.hops_out_day and not hops.are_out else high
    if latest is not None and made.packaging_day is not None:
        latest = max(latest, made.packaging_day)
    earliest = made.earliest_packaging
    if creeping(assessment) and constraints.destination != "keg":
        earliest = made.packaging_day
    return replace(
        made,
        earliest_packaging=earliest,
        latest_packaging=latest,
        steps=steps(assessment, constraints, now, made.hop_days, made.hops_out_day, made.packaging_day)
        if made.packaging_day and made.hops_out_day
        else (),
    )
