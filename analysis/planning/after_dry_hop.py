"""The plan once hops are in: it follows what was done, and a renewed fall moves the packaging day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from analysis.model import Assessment, Batch, events_of
from analysis.planning.constraints import Constraints, Plan, day_words, days_from, whole_days
from analysis.planning.readiness import (
    LONGEST_CONTACT_DAYS,
    days_ahead,
    even_and_late,
    first_fitting,
    lengths,
    never_words,
    readiness,
    steps,
    work_at,
)
from analysis.planning.wording import chance_words, cold_keg_words, days_words, hold_words, why_blocked


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
    for _ in range(max(0, constraints.doses(batch.drink) - len(doses))):
        day = first_fitting(days_ahead(constraints, now, days_from(last, interval)), constraints.can_hop)
        if day is None:
            break
        to_come.append(day)
        last = day
    last_at = constraints.instant(to_come[-1]) if to_come else doses[-1]
    return Hopped(doses, tuple(to_come), last_at + timedelta(days=span), are_out=False, contact_days=span)


def contact_words(hops: Hopped, constraints: Constraints, now: datetime) -> str:
    """When the contact ends or ended, and where the hops are out, how much of it they had; no full stop."""
    day, asked = day_words(constraints.local_day(hops.out_at)), days_words(hops.contact_days)
    if not hops.are_out:
        verb = "ended" if hops.out_at <= now else "ends" if hops.contact_days == 1 else "end"
        return f"{asked.capitalize()} of contact {verb} on {day}"
    if not hops.in_is_known:
        return f"The hops came out on {day}; when they went in was not logged"
    had = hops.out_at - hops.in_at[-1]
    short = f", less than the {asked} asked for" if had < timedelta(days=hops.contact_days) else ""
    return f"The hops came out on {day} after {_lasted(had)} of contact{short}"


def _lasted(span: timedelta) -> str:
    """A span as said, rounded down so that no contact is said to be longer than it was."""
    minutes = int(span.total_seconds() // 60)
    for size, name, least in ((1440, "day", 2), (60, "hour", 1), (1, "minute", 0)):
        if minutes >= least * size:
            count = minutes // size
            return f"{count} {name}{'' if count == 1 else 's'}"
    return "0 minutes"


def creeping(assessment: Assessment) -> bool:
    """Whether a renewed fall has been seen."""
    return assessment.creep is not None or assessment.phase == "creeping"


def after_hops(assessment: Assessment, batch: Batch, constraints: Constraints, now: datetime) -> Plan:
    """Packaging day from the end of the contact, the renewed hold and, where one is seen, the renewed fall."""
    hops = hopped_so_far(batch, constraints, now)
    out_day = constraints.local_day(hops.out_at)
    crash_days = 0.0 if constraints.crash_counts_as_contact else constraints.crash_days
    falls = creeping(assessment)
    cold_keg = first_fitting(
        days_ahead(constraints, now, days_from(out_day, whole_days(crash_days))), constraints.can_package
    )
    base = Plan(
        made_at=now,
        hop_day=hops.to_come[0] if hops.to_come else constraints.local_day(hops.in_at[-1]),
        hop_days=tuple(constraints.local_day(a) for a in hops.in_at) + hops.to_come,
        hop_chance=1.0,
        hops_out_day=out_day,
        cold_keg_day=cold_keg,
        earliest_packaging=out_day,
        cautions=_contact_cautions(hops, constraints, now),
    )
    blocked = why_blocked(assessment, constraints)
    if constraints.destination == "keg" and falls and cold_keg is not None:
        reason = (
            f"{contact_words(hops, constraints, now)}. The gravity is falling again{_size(assessment)}. "
            f"{cold_keg_words(cold_keg, assessment, now)}"
        )
        return _finish_up(
            replace(base, packaging_day=cold_keg, packaging_chance=1.0, reason=reason),
            assessment,
            constraints,
            now,
            hops,
        )
    if blocked:
        return replace(base, blocked_by=blocked, reason=blocked)
    bottling = _bottling(assessment, constraints, hops, now)
    if constraints.destination == "bottle" or falls:
        made = replace(base, packaging_day=bottling[0], packaging_chance=bottling[1], bottling_day=bottling[0])
        if bottling[0] is None:
            ready = readiness(assessment, constraints, now=now, rest_days=0)
            said = never_words(constraints, ready, now)
            return replace(made, blocked_by=said, reason=said)
        why = f"The gravity is falling again{_size(assessment)}; bottles" if falls else "Bottles"
        reason = (
            f"{why} wait until it has held again for {hold_words(constraints.hold_h)} with the hops out: "
            f"{day_words(bottling[0])}{chance_words(assessment, bottling[1] or 0.0)}."
        )
        if falls and cold_keg is not None:
            reason += f" {cold_keg_words(cold_keg, assessment, now)}"
        return _finish_up(replace(made, reason=reason), assessment, constraints, now, hops)
    return _when_contact_ends(replace(base, bottling_day=bottling[0]), assessment, constraints, now, hops)


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
        said = never_words(constraints, ready, now)
        return replace(base, blocked_by=said, reason=said)
    contact = contact_words(hops, constraints, now)
    if day == base.hops_out_day:
        said = chance_words(assessment, chance(day))
        reason = f"{contact}, and the gravity will have held{said}."
    else:
        reason = (
            f"{contact}; {day_words(day)} is the first of your days on which the gravity will also have "
            f"held{chance_words(assessment, chance(day))}."
        )
    return _finish_up(
        replace(base, packaging_day=day, packaging_chance=chance(day), reason=reason),
        assessment,
        constraints,
        now,
        hops,
    )


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


def _contact_cautions(hops: Hopped, constraints: Constraints, now: datetime) -> tuple[str, ...]:
    if hops.are_out or now <= hops.out_at:
        return ()
    have = (now - hops.in_at[-1]).total_seconds() / 86_400
    late = " Longer than a week is said to taste of grass." if have > LONGEST_CONTACT_DAYS else ""
    return (
        f"The hops have been in for {have:.1f} days, longer than the {constraints.contact_days:g} you asked for: take "
        f"them out.{late}",
    )


def _size(assessment: Assessment) -> str:
    if assessment.creep is None:
        return ""
    fall = assessment.creep.fall_sg
    return f" (by {1000 * fall.p50:.1f} points so far, likely {1000 * fall.p10:.1f} to {1000 * fall.p90:.1f})"


def _finish_up(made: Plan, assessment: Assessment, constraints: Constraints, now: datetime, hops: Hopped) -> Plan:
    ready = readiness(assessment, constraints, now=now, rest_days=0)
    _, high = even_and_late(constraints, now, lambda d: ready.chance(work_at(constraints, d, now)))
    latest = days_from(made.hops_out_day, 2) if made.hops_out_day and not hops.are_out else high
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
