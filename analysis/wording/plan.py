"""A plan in words: why, what blocks it, what must be heeded, and its dates.

What `reason` and `caution` say stands also where it is kept or sent, so days are named by their date and never as
"today"; what a page alone shows speaks of days as seen from now, with a `Voice`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, Final

from analysis.display_units import DisplayUnits, chance, chance_percent, day, number
from analysis.model import Assessment, Batch, EventKind, Range, events_of
from analysis.planning import (
    Act,
    Blocked,
    BottlesWait,
    BottlesWaitAgain,
    Caution,
    ColdKeg,
    Contact,
    ContactTooLong,
    DateMoved,
    Ended,
    FillColdKeg,
    Hold,
    HopEarly,
    HopThenPackage,
    MayFermentOn,
    Obstacle,
    Packaged,
    PackageOn,
    Plan,
    PlanCaution,
    PlanReason,
    TakeHopsOut,
    ToDo,
    UnlikelyInTime,
    Unread,
    WhenContactEnds,
    done_so_far,
    first_of,
    outstanding,
)
from analysis.wording.formatting import NOT_JUDGED, Voice, capital, joined

_OBSTACLES: Final[dict[Obstacle, str]] = {
    Obstacle.NOT_JUDGED: NOT_JUDGED,
    Obstacle.STALLED: "It has stopped short of where it should end, so there is no date until it falls again. Take a "
    "hand sample first; if it agrees, warm the vessel a little and look again after a day.",
    Obstacle.CHILLED: "It was chilled before it was seen to finish, and cold gravity that holds proves nothing. Warm "
    "it and watch.",
    Obstacle.TOO_FEW_READINGS: "Too early to give a date: there are too few readings.",
    Obstacle.NOT_BEGUN: "Too early to give a date: no fall has been seen yet.",
    Obstacle.FLOAT_DOUBTED: "No date: the float is in doubt. Take a hand sample, degassed; the dates follow it.",
    Obstacle.FALL_JUST_BEGUN: "Too early to give a date: the fall has not yet shown its course.",
    Obstacle.END_UNKNOWN: "No date yet: the readings do not say where it will end.",
    Obstacle.ALL_BUSY: "Every day that would fit is among the dates on which you cannot. Free one of them.",
    Obstacle.FALLS_AGAIN: "It seemed to have ended, but the gravity goes on falling slowly, so there is no date until "
    "it has held anew. Take degassed hand samples some days apart: they show whether it is the float that drifts.",
    Obstacle.NO_DAY_FITS: "None of your days fits. Open another weekday for hopping or packaging.",
    Obstacle.NO_HOPPING_DAY: "None of your days fits for hopping. Open another weekday.",
    Obstacle.NO_PACKAGING_DAY_AFTER: "None of your packaging days follows one of your hopping days. Open another "
    "weekday.",
}

_CAUTIONS: Final[dict[Caution, str]] = {
    Caution.FORECAST_ONLY: "A date is a forecast. Package only if the gravity has been seen to hold on that day; never "
    "on a forecast alone.",
    Caution.HAND_SAMPLE_FIRST: "Take a hand sample before you package: a float that is stuck or fouled looks just like "
    "a finish.",
    Caution.HAND_SAMPLE_DISAGREES: "The hand sample and the float disagree. Take another sample, degassed, before you "
    "trust either.",
    Caution.HAND_SAMPLE_ANEW: "Take a new hand sample, degassed: since the last one something was done that can shift "
    "the float, so it vouches for it no longer.",
    Caution.TWO_HAND_SAMPLES: "No float shows that the gravity holds: take a degassed hand sample, and another one "
    "48 hours later. Package only if they agree, within a day of the second.",
    Caution.SECOND_HAND_SAMPLE: "No float shows that the gravity holds: take another degassed hand sample, at least "
    "48 hours after the first. Package only if they agree, within a day of the newest.",
    Caution.SLOW_FALL: "The readings still come down slowly since it seemed to have ended, by more than matters in a "
    "closed package. Wait until they stand, or let a forced test show where it ends.",
    Caution.FALL_EXPECTED: "The readings as a whole still let a fall be expected that matters in a closed package. "
    "Wait and watch, or let a forced test show where it ends.",
    Caution.CULTURE_HOLD: "This culture must be seen to hold for three weeks before it is closed in, or a forced test "
    "must agree with where it stands.",
    Caution.CREEPING_CULTURE: "This culture may go on eating for weeks. Watch the gravity longer than usual before any "
    "bottle.",
}

FORECAST_ONLY: Final = _CAUTIONS[Caution.FORECAST_ONLY]


def reason(of: PlanReason | None, units: DisplayUnits) -> str:
    """Why the dates are as they are, or what blocks them; empty where nothing is given."""
    match of:
        case None:
            return ""
        case Obstacle() | UnlikelyInTime() | Ended():
            return _blocked(of)
        case PackageOn():
            return _package_on(of)
        case HopThenPackage():
            return _hop_then_package(of)
        case HopEarly():
            when = ", as soon as they can, since it has ended" if of.over else ", during the last of the fermentation"
            return (
                f"Hops go in on {day(of.hop)}{when}; {_contact_ends(of.contact_days, of.out)}. {_package_on(of.then)}"
            )
        case Packaged():
            return f"Packaged on {day(of.day)}."
        case FillColdKeg():
            return (
                f"{_contact(of.contact)}. The gravity is falling again{_fallen(of.fall_sg, units)}. {cold_keg(of.keg)}"
            )
        case BottlesWait():
            why = f"The gravity is falling again{_fallen(of.fall_sg, units)}; bottles" if of.falling else "Bottles"
            keg = f" {cold_keg(of.keg)}" if of.keg is not None else ""
            return (
                f"{why} wait until it has held again for {spelt_hold(of.hold_h)} with the hops out: "
                f"{day(of.day)}{_sure(of.chance)}.{keg}"
            )
        case WhenContactEnds():
            return _when_contact_ends(of)


def _when_contact_ends(of: WhenContactEnds) -> str:
    contact = _contact(of.contact)
    if of.hold.seen_h is not None:  # nothing of the hold is still to come; whether it is done, never is quite sure
        held = f"the gravity has held for {int(of.hold.seen_h)} hours"
        done = "" if of.chance is None else f"; it is done by then{_sure(of.chance)}"
        if of.same_day:
            return f"{contact}, and {held}{done}."
        return f"{contact}; {day(of.day)} is the first of your days after that. {held.capitalize()}{done}."
    if of.same_day:
        return f"{contact}, and the gravity will have held{_sure(of.chance)}."
    first = f"{day(of.day)} is the first of your days on which the gravity will also have held"
    return f"{contact}; {first}{_sure(of.chance)}."


def _blocked(by: Blocked) -> str:
    match by:
        case UnlikelyInTime():
            return (
                f"The forecast gives {chance_percent(by.best)} that it is done within {by.within_days} days, less than "
                f"the {chance_percent(by.asked)} you asked for. Watch on, or lower the confidence."
            )
        case Ended():
            return f"It ended on {day(by.day)}: nothing is left to plan."
        case _:
            return _OBSTACLES[by]


def _package_on(of: PackageOn) -> str:
    more = []
    if of.rest_days:
        more.append(f"{spelt_days(of.rest_days)} of rest")
    if of.crash_days:
        more.append(f"{spelt_days(of.crash_days)} of crash")
    extra = f", with {' and '.join(more)}" if more else ""
    which = "the first of your days" if of.waited else "the first free day"
    return f"{day(of.day)} is {which} {_hold(of.hold)}{extra}{_sure(of.chance)}."


def _hop_then_package(of: HopThenPackage) -> str:
    which = "the first of your days that fits" if of.waited else "the first free day"
    rest = f" and rested for {spelt_days(of.rest_days)}" if of.rest_days else ""
    first = f"Hops go in on {day(of.hop)}, {which} {_hold(of.hold)}{rest}{_sure(of.chance)}"
    if of.out == of.package:
        return f"{first}; {_contact_ends(of.contact_days, of.package, 'packaging day, ')}."
    ends = _contact_ends(of.contact_days, of.out)
    if of.bottles:
        return f"{first}; {ends}, and bottles wait for the gravity to hold again, until {day(of.package)}."
    return f"{first}; {ends}, and {day(of.package)} is your packaging day."


def _contact_ends(days: float, on: date, which: str = "") -> str:
    """``three days of contact end on Thursday 3 Dec``."""
    if days == 0:
        return f"without a contact asked for, they come out on {which}{day(on)}"
    return f"{spelt_days(days)} of contact {'ends' if days == 1 else 'end'} on {which}{day(on)}"


def _hold(hold: Hold) -> str:
    if hold.seen_h is not None:
        return f"now that the gravity has held for {int(hold.seen_h)} hours"
    return f"after the gravity will have held for {spelt_hold(hold.asked_h)}"


def _contact(contact: Contact) -> str:
    """When the contact ends or ended, and where the hops are out, how much of it they had; no full stop."""
    when, asked = day(contact.day), spelt_days(contact.asked_days)
    if not contact.out and contact.asked_days == 0:
        return f"No contact was asked for: the hops {'were to come' if contact.over else 'come'} out on {when}"
    if not contact.out:
        verb = "ended" if contact.over else "ends" if contact.asked_days == 1 else "end"
        return f"{asked.capitalize()} of contact {verb} on {when}"
    if contact.had is None:
        return f"The hops came out on {when}; when they went in was not logged"
    short = f", less than the {asked} asked for" if contact.had < timedelta(days=contact.asked_days) else ""
    return f"The hops came out on {when} after {_lasted(contact.had)} of contact{short}"


def _lasted(span: timedelta) -> str:
    """A span as said, rounded down so that no contact is said to be longer than it was."""
    minutes = int(span.total_seconds() // 60)
    for size, name, least in ((1440, "day", 2), (60, "hour", 1), (1, "minute", 0)):
        if minutes >= least * size:
            count = minutes // size
            return f"{count} {name}{'' if count == 1 else 's'}"
    return "0 minutes"


def _fallen(fall: Range | None, units: DisplayUnits) -> str:
    if fall is None:
        return ""
    low, high = (units.figure(x, "gravity fall") for x in (fall.p10, fall.p90))
    unit = units.unit_of("gravity fall")
    high = high if unit == "points" else units.fall(fall.p90)
    return f" (by {units.fall(fall.p50)} so far, likely {low} to {high})"


def _sure(probability: float | None) -> str:
    """``, with a chance of 86 %``; empty where no chance is given."""
    return "" if probability is None else f", with a chance of {chance_percent(probability)}"


def caution(of: PlanCaution) -> str:
    """What must stand beside the dates."""
    match of:
        case Caution():
            return _CAUTIONS[of]
        case Unread():
            return f"{unread(of)} See the gravity before you package."
        case BottlesWaitAgain():
            until = f", about {day(of.until)}" if of.until else ""
            asked = (
                f"{spelt_days(of.contact_days)} of contact {'does' if of.contact_days == 1 else 'do'} not rule it out"
            )
            asked = asked if of.contact_days else "it may come once they are out"
            return (
                f"Dry hops can start a renewed fall, and {asked}: "
                "a keg that stays cold may be filled when the hops come out, bottles wait until the gravity has held "
                f"again{until}."
            )
        case MayFermentOn():
            causes = joined([str(each) for each in of.causes])
            return (
                f"In a closed package {causes} may still make up to {of.volumes:.1f} volumes of gas: the packaging "
                "sheet weighs that against your bottles or keg."
            )
        case TakeHopsOut():
            return (
                f"Take the hops out on {day(of.day)}{_when_ended(of.contact_days)}; your next packaging day is "
                f"{day(of.package)}."
            )
        case ContactTooLong():
            late = " Longer than a week is said to taste of grass." if of.grassy else ""
            return (
                f"The hops have been in for {number(of.have_days, 1)} days, longer than the {of.asked_days:g} you "
                f"asked for: take them out.{late}"
            )


def _when_ended(days: float) -> str:
    if days == 0:
        return ""
    return f", when {spelt_days(days)} of contact {'ends' if days == 1 else 'end'}"


def unread(of: Unread) -> str:
    """Why the newest reading does not count as fresh, in a sentence."""
    if of.age is None:
        return "No reading of the gravity is in use: nothing is known of it."
    if of.age < timedelta(0):
        ahead = spelt_span(-of.age)
        return f"The newest reading is dated {ahead} in the future: set the clocks right before you trust it."
    return f"The newest reading is {spelt_span(of.age)} old: silence is not stability."


def cold_keg(of: ColdKeg) -> str:
    """From when a keg that stays cold may be filled although bottles must wait; only on a fresh reading."""
    if of.unread is None:
        return f"A keg that stays cold may be filled from {day(of.day)}."
    return f"{unread(of.unread)} See the gravity before you fill even a keg that stays cold."


def moved(of: DateMoved, what: str) -> str:
    """How a date moved; `what` is its name, such as ``Packaging day``."""
    days = (of.after - of.before).days
    way = "later" if days > 0 else "earlier"
    return f"{what} moved {abs(days)} days {way}, from {day(of.before)} to {day(of.after)}."


def spelt_span(span: timedelta) -> str:
    """A length of time as said, in the unit that suits it, for example ``30 hours`` or ``5 days``."""
    seconds = span.total_seconds()
    for least, unit, name in ((172_800, 86_400, "day"), (7_200, 3600, "hour"), (0, 60, "minute")):
        if seconds >= least:
            count = max(1, int(seconds // unit))
            return f"{count} {name}" if count == 1 else f"{count} {name}s"
    raise ValueError(f"span is {span}; a length of time is not negative")


def spelt_days(days: float) -> str:
    """A number of days as said, for example ``three days``."""
    names = ("no days", "one day", "two days", "three days", "four days", "five days", "six days", "seven days")
    if days == int(days) and days < len(names):
        return names[int(days)]
    return f"{days:g} days"


def spelt_hold(hours: float) -> str:
    """A hold as said, for example ``two days`` or ``36 hours``."""
    return spelt_days(hours / 24) if hours % 24 == 0 else f"{hours:g} hours"


def plan_facts(plan: Plan, units: DisplayUnits) -> dict[str, Any]:
    """The plan as JSON can carry it: dates as ``YYYY-MM-DD``, instants as RFC 3339, sentences in these units."""

    def iso(when: date | None) -> str | None:
        return None if when is None else when.isoformat()

    def short(value: float | None) -> float | None:
        return None if value is None else round(value, 4)

    return {
        "hop_day": iso(plan.hop_day),
        "hop_days": [iso(d) for d in plan.hop_days],
        "packaging_day": iso(plan.packaging_day),
        "hop_chance": short(plan.hop_chance),
        "packaging_chance": short(plan.packaging_chance),
        "earliest_hop": iso(plan.earliest_hop),
        "latest_hop": iso(plan.latest_hop),
        "earliest_packaging": iso(plan.earliest_packaging),
        "latest_packaging": iso(plan.latest_packaging),
        "hops_out_day": iso(plan.hops_out_day),
        "cold_keg_day": iso(plan.cold_keg_day),
        "bottling_day": iso(plan.bottling_day),
        "may_package": plan.may_package,
        "reason": reason(plan.reason, units),
        "cautions": [caution(c) for c in plan.cautions],
        "blocked_by": reason(plan.blocked_by, units) or None,
        "steps": [{"name": s.name, "from": s.from_at.isoformat(), "to": s.to_at.isoformat()} for s in plan.steps],
    }


def packaging_date(to_do: Sequence[ToDo], batch: Batch, voice: Voice) -> str:
    """The packaging day in words, that there is none, or when it was packaged."""
    if packaged := events_of(batch, "package"):
        return f"Packaged {voice.day(packaged[-1].at)}"
    return _date(first_of(to_do, "package"), voice)


def _date(each: ToDo | None, voice: Voice) -> str:
    if each is None:
        return "No day yet"
    sure = f", {chance(each.chance)}" if each.chance is not None and each.day > voice.today() else ""
    return f"{capital(voice.day(each.day))}{sure}{not_cleared(each)}"


def not_cleared(each: ToDo) -> str:
    """``, not yet cleared`` of a packaging whose day has come before everything holds; else nothing."""
    return "" if each.cleared else ", not yet cleared"


def dose_words(each: ToDo) -> str:
    """`` (dose 2 of 3)``; nothing where there is but one."""
    return f" (dose {each.dose} of {each.doses})" if each.act == "hops in" and each.doses > 1 else ""


def dates(plan: Plan, batch: Batch, voice: Voice) -> list[tuple[str, str, str]]:
    """The dates of a batch: (what, when with its chance, why or what it hangs on)."""
    done = {e.kind: e.at for e in batch.events}

    def was(what: str, kind: EventKind) -> tuple[str, str, str]:
        return what, capital(voice.day(done[kind])), f"At {voice.clock(done[kind])}."

    if "package" in done:
        return [was("Packaged", "package")]
    to_do = outstanding(plan, batch, today=voice.today())
    hops, out = first_of(to_do, "hops in"), plan.hops_out_day
    found = [was("Hops went in", "dry hop")] if "dry hop" in done else []
    if hops is not None:
        small = "" if found else _window(plan.earliest_hop, plan.latest_hop, voice)
        found.append((f"Dry hop{dose_words(hops)}", _date(hops, voice), small))
    if done_so_far(batch).hops_out:
        found.append(was("Hops came out", "hops out"))
    elif "dry hop" in done and out is not None:  # also where that is the packaging day, and no work of its own
        found.append(("Hops come out", capital(voice.day(max(out, voice.today()))), f"On {voice.dated(out)}."))
    window = _window(plan.earliest_packaging, plan.latest_packaging, voice)
    small = " ".join(x for x in (reason(plan.blocked_by or plan.reason, voice.units), bottles_wait(plan), window) if x)
    found.append(("Package", packaging_date(to_do, batch, voice), small))
    return found


def bottles_wait(plan: Plan) -> str:
    """That bottles are for a later day than the packaging day; empty where they are not, or where the reason says it.

    Without it the date above would contradict the caution that stands below it.
    """
    wait = next((each for each in plan.cautions if isinstance(each, BottlesWaitAgain)), None)
    if wait is None or plan.packaging_day is None:
        return ""
    if wait.until is None:
        return "Bottles wait until the gravity has held again after the hops."
    if wait.until <= plan.packaging_day:
        return ""
    return f"That is for a keg that stays cold; bottles about {day(wait.until)}, once the gravity has held again."


def _window(earliest: date | None, latest: date | None, voice: Voice) -> str:
    if earliest is None or latest is None or earliest == latest:
        return ""
    return f"Sensible from {voice.days(earliest, latest)}."


_SHORT: Final[dict[Act, str]] = {"hops in": "Hops", "hops out": "Hops out", "package": "Package"}


def next_day(assessment: Assessment, to_do: Sequence[ToDo], voice: Voice) -> str:
    """The batch's next date as short as a list needs it: ``Hops Thu``, ``Package Sun 6 Dec``."""
    if assessment.stalled and assessment.phases:
        return f"Still since {voice.short_day(voice.local(assessment.phases[-1].began_at).date())}"
    if to_do and not to_do[0].cleared:
        return "Package once cleared"
    if to_do:
        return f"{_SHORT[to_do[0].act]} {voice.short_day(to_do[0].day)}"
    finish = assessment.finish
    if finish is not None and not assessment.finished and finish.chances[-1] >= 0.9 and finish.p50 > voice.now:
        return f"Done about {voice.short_day(voice.local(finish.p50).date())}"
    return ""
