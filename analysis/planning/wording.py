"""The sentences of a plan: the binding reason, what blocks it, and what must be said beside it."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Final

from analysis.model import Assessment, Batch
from analysis.planning.constraints import Constraints, Plan, day_words, percent
from analysis.planning.release import Condition, Release, reading_age, reading_fresh

FORECAST_ONLY: Final = (
    "A date is a forecast. Package only if the gravity has been seen to hold on that day; never on a forecast alone."
)
HAND_SAMPLE_FIRST: Final = (
    "Take a hand sample before you package: a float that is stuck or fouled looks just like a finish."
)
HAND_SAMPLE_DISAGREES: Final = (
    "The hand sample and the float disagree. Take another sample, degassed, before you trust either."
)
BOTTLES_WAIT: Final = (
    "Dry hops can start a renewed fall, and {contact} of contact do not rule it out: a keg that stays cold may be "
    "filled when the hops come out, bottles wait until the gravity has held again{until}."
)
CREEPING_CULTURE: Final = (
    "This culture may go on eating for weeks. Watch the gravity longer than usual before any bottle."
)


def unread_words(age: timedelta | None) -> str:
    """Why the newest reading does not count as fresh, in a sentence."""
    if age is None:
        return "No reading of the gravity is in use: nothing is known of it."
    if age < timedelta(0):
        ahead = duration_words(-age)
        return f"The newest reading is dated {ahead} in the future: set the clocks right before you trust it."
    return f"The newest reading is {duration_words(age)} old: silence is not stability."


def duration_words(span: timedelta) -> str:
    """A length of time as said, in the unit that suits it, for example ``30 hours`` or ``5 days``."""
    seconds = span.total_seconds()
    for least, unit, name in ((172_800, 86_400, "day"), (7_200, 3600, "hour"), (0, 60, "minute")):
        if seconds >= least:
            count = max(1, int(seconds // unit))
            return f"{count} {name}" if count == 1 else f"{count} {name}s"
    raise ValueError(f"span is {span}; a length of time is not negative")


def cold_keg_words(day: date, assessment: Assessment, now: datetime) -> str:
    """From when a keg that stays cold may be filled although bottles must wait; only on a fresh reading."""
    if reading_fresh(assessment, now):
        return f"A keg that stays cold may be filled from {day_words(day)}."
    return f"{unread_words(reading_age(assessment, now))} See the gravity before you fill even a keg that stays cold."


def days_words(days: float) -> str:
    """A number of days as said, for example ``three days``."""
    names = ("no days", "one day", "two days", "three days", "four days", "five days", "six days", "seven days")
    if days == int(days) and days < len(names):
        return names[int(days)]
    return f"{days:g} days"


def hold_words(hours: float) -> str:
    """A hold as said, for example ``two days`` or ``36 hours``."""
    return days_words(hours / 24) if hours % 24 == 0 else f"{hours:g} hours"


def chance_words(assessment: Assessment, chance: float) -> str:
    """``, with a chance of 86 %``; empty where the steady rule alone decided the finish, which gives no chance."""
    if assessment.finished and assessment.p_finished is None:
        return ""
    return f", with a chance of {percent(chance)}"


def why_blocked(assessment: Assessment, constraints: Constraints) -> str | None:
    """Why no date can be given at all, in a sentence with the next step; None where one can."""
    if assessment.stalled:
        return (
            "It has stopped short of where it should end, so there is no date yet. Take a hand sample; if it agrees, "
            "warm the vessel a little and look again tomorrow."
        )
    if assessment.phase == "chilled" and not assessment.finished:
        return (
            "It was chilled before it was seen to finish, and cold gravity that holds proves nothing. Warm it and "
            "watch."
        )
    if assessment.finish is None and not assessment.finished:
        if assessment.phase == "lag":
            return "Too early to give a date: the first fall has only just begun."
        return "Too early to give a date: the readings do not yet say where it will end."
    return None


def _held(assessment: Assessment, constraints: Constraints) -> str:
    if assessment.finished and assessment.held_h >= constraints.hold_h:
        return f"after the gravity has held for {int(assessment.held_h)} hours"
    return f"after the gravity will have held for {hold_words(constraints.hold_h)}"


def package_reason(assessment: Assessment, constraints: Constraints, day: date, chance: float, *, waited: bool) -> str:
    """Why packaging falls on `day`; `waited` means that an earlier day was likely enough but not the person's."""
    more = []
    if constraints.rest_days:
        more.append(f"{days_words(constraints.rest_days)} of rest")
    if constraints.crash_days:
        more.append(f"{days_words(constraints.crash_days)} of crash")
    extra = f", with {' and '.join(more)}" if more else ""
    which = "the first of your days" if waited else "the first free day"
    said = chance_words(assessment, chance)
    return f"{day_words(day)} is {which} {_held(assessment, constraints)}{extra}{said}."


def hops_reason(
    assessment: Assessment,
    constraints: Constraints,
    hop: date,
    package: date,
    out: date,
    chance: float,
    *,
    waited: bool,
) -> str:
    """Why the hops go in on `hop` and packaging falls on `package`."""
    which = "the first of your days that fits" if waited else "the first free day"
    said = chance_words(assessment, chance)
    rest = f" and rested for {days_words(constraints.rest_days)}" if constraints.rest_days else ""
    first = f"Hops go in on {day_words(hop)}, {which} {_held(assessment, constraints)}{rest}{said}"
    contact = days_words(constraints.contact_days)
    if out == package:
        return f"{first}; {contact} of contact end on packaging day, {day_words(package)}."
    if constraints.destination == "bottle":
        return (
            f"{first}; {contact} of contact end on {day_words(out)}, and bottles wait for the gravity to hold again, "
            f"until {day_words(package)}."
        )
    return f"{first}; {contact} of contact end on {day_words(out)}, and {day_words(package)} is your packaging day."


def cautions_of(
    assessment: Assessment, batch: Batch, constraints: Constraints, made: Plan, asked: Release
) -> tuple[str, ...]:
    """What must stand beside the dates."""
    found = []
    # A hold that bottles wait for once the hops are out is said below.
    if not asked.holds(Condition.FINISHED) or assessment.held_h < constraints.hold_h:
        found.append(FORECAST_ONLY)
    if not asked.holds(Condition.READING_FRESH):
        found.append(f"{unread_words(asked.reading_age)} See the gravity before you package.")
    if assessment.hand_sample_agrees is None:
        found.append(HAND_SAMPLE_FIRST)
    elif assessment.hand_sample_agrees is False:
        found.append(HAND_SAMPLE_DISAGREES)
    if made.hop_days and constraints.destination != "keg":
        until = f", about {day_words(made.bottling_day)}" if made.bottling_day else ""
        found.append(BOTTLES_WAIT.format(contact=days_words(constraints.contact_days), until=until))
    if batch.diastatic or batch.mixed_culture:
        found.append(CREEPING_CULTURE)
    return tuple(found)
