"""Which day to hop and which day to package, from the distribution of the finish and never from a point.

The order is: finish, hold, rest, dry hop, hops out, hold again, crash, package. The figures of hold and contact are
common practice, no source; that three days of contact do not rule out a renewed fall is published: 1 °P of real
extract in 5 days and 2 °P in 40, at 10 g/L and 20 °C with yeast present (Kirkpatrick and Shellhammer, 2018,
J. Agric. Food Chem.).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta

from analysis.model import Assessment, Batch, as_utc, events_of
from analysis.planning.after_dry_hop import after_hops, hopped_so_far
from analysis.planning.constraints import (
    Constraints,
    Destination,
    Plan,
    Step,
    days_from,
    moved,
    whole_days,
)
from analysis.planning.grounds import cautions_of, hops_reason, package_reason, why_blocked
from analysis.planning.readiness import (
    Readiness,
    crash_after,
    days_ahead,
    even_and_late,
    first_fitting,
    lengths,
    pair_of,
    readiness,
    steps,
    why_never,
    work_at,
)
from analysis.planning.reasons import Caution, HopEarly, Obstacle, Packaged, PackageOn, TakeHopsOut
from analysis.planning.release import Asked, Release, release
from analysis.thresholds import EARLIER_BY, HOLD_KEPT, LATER_BY, SOONER_DAYS

__all__ = ["Constraints", "Destination", "Plan", "Step", "moved", "plan", "steady_plan"]


def plan(assessment: Assessment, batch: Batch, constraints: Constraints, *, now: datetime) -> Plan:
    """Hop day and packaging day that fit the person's days, with the chance of each and the binding reason.

    Parameters
    ----------
    assessment
        The newest one of this batch; its `finish` is read as a distribution.
    batch
        With everything that happened to it: after a `dry hop`, or `hops out`, the plan follows what was done.
    wishes
        Days, confidence, hold, contact, rest and crash.
    now
        Aware instant; no date before it is offered.

    Returns
    -------
    Plan
        Dates in the person's zone. Where none can be given, `blocked_by` says why and what to do.
    """
    now = as_utc(now, "now")
    constraints = _crash_left(batch, constraints, now)
    packaged = events_of(batch, "package", until=now)
    hopped = events_of(batch, "dry hop", "hops out", until=now)
    if packaged:
        return _already_packaged(batch, constraints, packaged[-1].at, now)
    if hopped:
        made = after_hops(assessment, batch, constraints, now)
        return made if made.blocked_by else _with_cautions(made, assessment, batch, constraints, now)
    blocked = why_blocked(assessment)
    if blocked:
        return Plan(made_at=now, blocked_by=blocked, reason=blocked, cautions=(Caution.FORECAST_ONLY,))
    made = _before_hops(assessment, constraints, now)
    if made.blocked_by in _NO_DAY and not _before_hops(assessment, replace(constraints, busy_dates=()), now).blocked_by:
        made = replace(made, blocked_by=Obstacle.ALL_BUSY, reason=Obstacle.ALL_BUSY)
    return _with_cautions(made, assessment, batch, constraints, now)


_NO_DAY = (Obstacle.NO_DAY_FITS, Obstacle.NO_HOPPING_DAY, Obstacle.NO_PACKAGING_DAY_AFTER)


def _before_hops(assessment: Assessment, constraints: Constraints, now: datetime) -> Plan:
    ready = readiness(assessment, constraints, now=now, rest_days=constraints.rest_days)
    doses = constraints.dry_hops
    if doses == 0:
        return _without_hops(assessment, constraints, ready, now)
    if constraints.early_dry_hop:
        return _hops_early(assessment, constraints, ready, doses, now)
    return _hops_then_package(assessment, constraints, ready, doses, now)


LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 0.99
"""Chance; the bounds of what may be asked for, as in `Constraints`, between which a said day is kept. By definition."""


def steady_plan(
    assessment: Assessment,
    batch: Batch,
    constraints: Constraints,
    *,
    now: datetime,
    said: tuple[date | None, date | None] | None,
) -> Plan:
    """The plan, keeping the hop day and packaging day that were `said` before unless the change is clear.

    A chance near the wished one goes a little up and down with every reading; a date that people act on must not. A
    said day stays while its chance is at most 0.12 below the wished one, and an earlier day takes its place only when
    it has 0.08 more than wished. On the said hop day itself 0.85 of the hold is enough: hops that are being weighed
    are not called off by one noisy reading. The chances of the answer are the true ones.
    """
    made = plan(assessment, batch, constraints, now=now)
    if said is None or (made.hop_day, made.packaging_day) == said:
        return made
    later = (made.packaging_day or date.max) >= (said[1] or date.max)
    confidence = max(LEAST_CONFIDENCE, constraints.confidence - LATER_BY)
    if not later:
        confidence = min(MOST_CONFIDENCE, constraints.confidence + EARLIER_BY)
    kept = plan(assessment, batch, replace(constraints, confidence=confidence), now=now)
    if (kept.hop_day, kept.packaging_day) == said:
        return kept
    if said[0] != constraints.local_day(now) or not later or events_of(batch, "dry hop", "hops out", until=now):
        return made
    # Never so short that the whole days of a hold become fewer.
    hold_h = max(math.floor(HOLD_KEPT * constraints.hold_h), 24 * (whole_days(constraints.hold_h / 24) - 1) + 1)
    short = replace(constraints, confidence=confidence, hold_h=min(constraints.hold_h, hold_h))
    kept = plan(assessment, batch, short, now=now)
    if (kept.hop_day, kept.packaging_day) != said:
        return made
    cautions = kept.cautions if Caution.FORECAST_ONLY in kept.cautions else (Caution.FORECAST_ONLY, *kept.cautions)
    return replace(kept, release=_release(kept, assessment, batch, constraints, now), cautions=cautions)


def _crash_left(batch: Batch, constraints: Constraints, now: datetime) -> Constraints:
    """The wishes with a crash that has already begun shortened by what is behind us."""
    thermal = events_of(batch, "crash", "warm", until=now)
    if not thermal or thermal[-1].kind == "warm":
        return constraints
    behind = (now - thermal[-1].at).total_seconds() / 86_400
    return replace(constraints, crash_days=max(0.0, constraints.crash_days - behind))


def _without_hops(assessment: Assessment, constraints: Constraints, ready: Readiness, now: datetime) -> Plan:
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
    low, high = even_and_late(constraints, now, chance)
    if day is None:
        blocked = why_never(constraints, ready, now)
        return Plan(made_at=now, blocked_by=blocked, reason=blocked, earliest_packaging=low, latest_packaging=high)
    free = first_fitting(days_ahead(constraints, now), lambda d: chance(d) >= constraints.confidence)
    return Plan(
        made_at=now,
        packaging_day=day,
        packaging_chance=chance(day),
        earliest_packaging=low,
        latest_packaging=None if high is None else max(high, day),
        cold_keg_day=day,
        bottling_day=day,
        reason=package_reason(assessment, constraints, day, chance(day), waited=free != day),
        steps=steps(assessment, constraints, now, (), None, day),
    )


def _hops_then_package(
    assessment: Assessment, constraints: Constraints, ready: Readiness, doses: int, now: datetime
) -> Plan:
    interval, contact, after_hops = lengths(constraints, constraints.destination)
    span = interval * (doses - 1)

    def chance(day: date) -> float:
        return ready.chance(work_at(constraints, day, now))

    def hops_fit(day: date) -> bool:
        return all(constraints.can_hop(days_from(day, interval * k)) for k in range(doses))

    low, high = even_and_late(constraints, now, chance)
    earliest = first_fitting(
        days_ahead(constraints, now), lambda d: hops_fit(d) and chance(d) >= constraints.confidence
    )
    if earliest is None:
        blocked = why_never(constraints, ready, now)
        return Plan(made_at=now, blocked_by=blocked, reason=blocked, earliest_hop=low, latest_hop=high)
    lag = span + contact + after_hops
    likely = first_fitting(days_ahead(constraints, now), lambda d: chance(d) >= constraints.confidence)

    pair = _pair_with_hops_out(
        constraints, now, (earliest, lag, span + contact), lambda d: hops_fit(d) and chance(d) >= constraints.confidence
    )
    if pair is None:
        blocked = Obstacle.NO_PACKAGING_DAY_AFTER
        return Plan(made_at=now, blocked_by=blocked, reason=blocked, earliest_hop=low, latest_hop=high)
    hop, package = pair
    days = tuple(days_from(hop, interval * k) for k in range(doses))
    out = days_from(days[-1], contact)
    _, _, bottles_after = lengths(constraints, "bottle")
    bottling = first_fitting(days_ahead(constraints, now, days_from(out, bottles_after)), constraints.can_package)
    shift = days_from(low, lag) if low else None
    late = days_from(high, lag) if high else None
    made = Plan(
        made_at=now,
        hop_day=hop,
        hop_days=days,
        packaging_day=package,
        hop_chance=chance(hop),
        packaging_chance=chance(hop),
        earliest_hop=low,
        latest_hop=None if high is None else max(high, hop),
        earliest_packaging=shift,
        latest_packaging=None if late is None else max(late, package),
        hops_out_day=out,
        cold_keg_day=package if constraints.destination != "bottle" else out,
        bottling_day=bottling,
        reason=hops_reason(assessment, constraints, (hop, out, package), chance(hop), waited=hop != likely),
        steps=steps(assessment, constraints, now, days, out, package),
    )
    if out < package and constraints.destination != "bottle" and not crash_after(constraints):
        made = replace(
            made,
            cautions=(TakeHopsOut(out, constraints.contact_days, package),),
        )
    return made


def _pair_with_hops_out(
    constraints: Constraints, now: datetime, wanted: tuple[date, int, int], fits: Callable[[date], bool]
) -> tuple[date, date] | None:
    """Hop day and packaging day, if possible such that the hops come out on one of the person's days.

    `wanted` is the first day, and the days from hopping to packaging and to hops out.
    """
    start, lag, contact_ends = wanted

    def hops_out_fits(day: date) -> bool:
        out = days_from(day, contact_ends)
        return fits(day) and (constraints.can_hop(out) or constraints.can_package(out))

    for far in (False, True):
        for fit in (hops_out_fits, fits):
            if (pair := pair_of(constraints, now, start, lag, fit, far=far)) is not None:
                return pair
    return None


def _hops_early(assessment: Assessment, constraints: Constraints, ready: Readiness, doses: int, now: datetime) -> Plan:
    """Hops in while it still ferments: counted back from the first day on which packaging is likely to fit."""
    base = _without_hops(assessment, constraints, ready, now)
    if base.packaging_day is None or not isinstance(base.reason, PackageOn):
        return base
    interval, contact, after_hops = lengths(constraints, constraints.destination)
    back = interval * (doses - 1) + contact + after_hops
    today = next(days_ahead(constraints, now))
    wanted = max(today, days_from(base.packaging_day, -back))

    def hops_fit(day: date) -> bool:
        return all(constraints.can_hop(days_from(day, interval * k)) for k in range(doses))

    near = [day for n in range(SOONER_DAYS + 1) if (day := days_from(wanted, -n)) >= today]
    hop = first_fitting(iter(near), hops_fit) or first_fitting(days_ahead(constraints, now, wanted), hops_fit)
    if hop is None:
        blocked = Obstacle.NO_HOPPING_DAY
        return replace(base, packaging_day=None, packaging_chance=None, blocked_by=blocked, reason=blocked)
    days = tuple(days_from(hop, interval * k) for k in range(doses))
    out = days_from(days[-1], contact)
    package = base.packaging_day
    if days_from(out, after_hops) > package:
        package = (
            first_fitting(days_ahead(constraints, now, days_from(out, after_hops)), constraints.can_package) or package
        )
    chance = ready.chance(work_at(constraints, package, now) - timedelta(days=constraints.crash_days))
    return replace(
        base,
        hop_day=hop,
        hop_days=days,
        hop_chance=chance,
        packaging_day=package,
        packaging_chance=chance,
        latest_packaging=None if base.latest_packaging is None else max(base.latest_packaging, package),
        hops_out_day=out,
        cold_keg_day=max(out, package) if constraints.destination != "bottle" else out,
        bottling_day=first_fitting(
            days_ahead(constraints, now, days_from(max(out, package), whole_days(constraints.hold_h / 24))),
            constraints.can_package,
        ),
        reason=HopEarly(
            hop=hop, out=out, contact_days=constraints.contact_days, then=base.reason, over=assessment.finished
        ),
        steps=steps(assessment, constraints, now, days, out, package),
    )


def _already_packaged(batch: Batch, constraints: Constraints, packaged_at: datetime, now: datetime) -> Plan:
    hops = tuple(constraints.local_day(e.at) for e in events_of(batch, "dry hop", until=packaged_at))
    day = constraints.local_day(packaged_at)
    return Plan(
        made_at=now,
        hop_day=hops[-1] if hops else None,
        hop_days=hops,
        hop_chance=1.0 if hops else None,
        packaging_day=day,
        packaging_chance=1.0,
        reason=Packaged(day),
        steps=(Step("package", packaged_at, packaged_at),),
    )


def _with_cautions(made: Plan, assessment: Assessment, batch: Batch, constraints: Constraints, now: datetime) -> Plan:
    """The plan with what must be said beside it, and whether packaging is right at this very moment."""
    asked = _release(made, assessment, batch, constraints, now)
    said = cautions_of(assessment, batch, constraints, made, asked)
    return replace(made, release=asked, cautions=made.cautions + said)


def _release(made: Plan, assessment: Assessment, batch: Batch, constraints: Constraints, now: datetime) -> Release:
    """The gate, asked for this plan; unless it is a keg, the hold must have been seen since the hops came out."""
    today = constraints.local_day(now)
    hops_done, hold_from = not made.hop_days, None
    if events_of(batch, "dry hop", until=now):
        hops = hopped_so_far(batch, constraints, now)
        hops_done = hops.are_out or (not hops.to_come and constraints.local_day(hops.out_at) <= today)
        if constraints.destination != "keg":
            hold_from = hops.out_at if hops.are_out else now
    asked = Asked(
        hold_h=constraints.hold_h,
        hops_done=hops_done,
        packaging_day=made.packaging_day,
        today=today,
        hold_from=hold_from,
    )
    return release(assessment, batch, asked, now=now)
