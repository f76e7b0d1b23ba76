"""The plans of the cellar as a calendar that a program can subscribe to (RFC 5545)."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event

from analysis.display_units import DisplayUnits, chance_percent
from analysis.model import events_of
from analysis.planning import Act, done_so_far
from analysis.wording import FORECAST_ONLY, reason
from ingest.model import Preferences

if TYPE_CHECKING:
    from ingest.monitoring import Outlook

_EVENTS: Final = uuid.UUID("6f0d2a3e-5f0b-4f57-9f5e-0c6f2b7f9a41")
"""Name space of our event ids: one batch and act have one id for ever, so that a moved date moves the event."""

_REFRESH: Final = timedelta(hours=1)
_LOGGED: Final = "It was logged as done."
_EVE: Final = timedelta(hours=-15)
"""An alarm at nine in the morning of the day before."""


def feed(outlooks: Sequence[Outlook], *, preferences: Preferences, now: datetime) -> bytes:
    """The dates of these batches as an iCalendar stream.

    Days are whole-day events in the person's own calendar, so that they need no time zone. Programs refresh
    subscribed calendars slowly, and many drop their alarms: this is never the only reminder.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//tunroom//plans//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    name = " ".join(preferences.cellar_name.split())  # one with a line break may have been kept by an earlier version
    calendar.add("name", name)  # RFC 7986
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", _REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")
    zone = ZoneInfo(preferences.time_zone)
    for outlook in outlooks:
        for event in (*_done(outlook, zone), *_to_come(outlook, now.astimezone(zone).date(), preferences.units)):
            calendar.add_component(event)
    return bytes(calendar.to_ical())


def event_id(batch_id: str, act: str) -> str:
    """The stable id of one act of one batch."""
    return f"{uuid.uuid5(_EVENTS, f'{batch_id}/{act}')}@tunroom"


def _name(act: Act, dose: int) -> str:
    """Which act of the batch, as its id knows it for ever."""
    return act if dose == 1 else f"{act} {dose}"


def _done(outlook: Outlook, zone: ZoneInfo) -> Iterator[Event]:
    """What was logged, on the day on which it was done and in words that ask for nothing."""
    done = done_so_far(outlook.batch)
    doses = events_of(outlook.batch, "dry hop")
    acts: list[tuple[Act, int, str, datetime]] = [
        ("hops in", n, "hops went in" + (f" ({n} of {len(doses)})" if len(doses) > 1 else ""), each.at)
        for n, each in enumerate(doses, 1)
    ]
    if done.hops_out:
        acts.append(("hops out", 1, "hops came out", events_of(outlook.batch, "hops out")[-1].at))
    if done.packaged:
        acts.append(("package", 1, "packaged", events_of(outlook.batch, "package")[-1].at))
    for act, dose, words, at in acts:
        title = f"{outlook.record.name}: {words}"
        yield _event(outlook, _name(act, dose), title, at.astimezone(zone).date(), [_LOGGED], certain=True)


def _to_come(outlook: Outlook, today: date, units: DisplayUnits) -> Iterator[Event]:
    """What is still to be done, each with its alarm."""
    for each in outlook.to_do(today):
        title = f"{outlook.record.name}: {each.act}"
        if each.doses > 1:
            title += f" ({each.dose} of {each.doses})"
        said = [reason(outlook.plan.reason, units)]
        if each.chance is not None:
            said.append(f"The chance that this day still fits is {chance_percent(each.chance)}.")
        if each.act == "package":
            said.append(FORECAST_ONLY)
        yield _event(outlook, _name(each.act, each.dose), title, each.day, said, certain=False)


def _event(outlook: Outlook, act: str, title: str, day: date, said: list[str], *, certain: bool) -> Event:
    plan, where = outlook.plan, outlook.vessel.name if outlook.vessel else ""
    event = Event()
    event.add("uid", event_id(outlook.record.batch_id, act))
    event.add("dtstamp", plan.made_at)
    event.add("last-modified", plan.made_at)
    event.add("sequence", int(plan.made_at.timestamp()) // 60)  # rises with every plan, as a revision must
    event.add("summary", title)
    event.add("description", " ".join(said))
    if where:
        event.add("location", where)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    event.add("status", "CONFIRMED" if certain else "TENTATIVE")
    if not certain:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", title)
        alarm.add("trigger", _EVE)
        event.add_component(alarm)
    return event
