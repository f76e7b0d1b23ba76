"""The plans of the cellar as a calendar that a program can subscribe to (RFC 5545)."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event

from analysis.planning_words import FORECAST_ONLY
from analysis.wishes import percent
from ingest.model import Preferences

if TYPE_CHECKING:
    from ingest.outlook import Outlook

_EVENTS: Final = uuid.UUID("6f0d2a3e-5f0b-4f57-9f5e-0c6f2b7f9a41")
"""Name space of our event ids: one batch and act have one id for ever, so that a moved date moves the event."""

_REFRESH: Final = timedelta(hours=1)
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
    calendar.add("name", preferences.cellar_name)  # RFC 7986
    calendar.add("x-wr-calname", preferences.cellar_name)
    calendar.add("refresh-interval", _REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")
    today = now.astimezone(ZoneInfo(preferences.time_zone)).date()
    for outlook in outlooks:
        for event in _events(outlook, today):
            calendar.add_component(event)
    return bytes(calendar.to_ical())


def event_id(batch_id: str, act: str) -> str:
    """The stable id of one act of one batch."""
    return f"{uuid.uuid5(_EVENTS, f'{batch_id}/{act}')}@tunroom"


def _events(outlook: Outlook, today: date) -> Iterator[Event]:
    plan, name = outlook.plan, outlook.record.name
    where = outlook.vessel.name if outlook.vessel else ""
    several = len(plan.hop_days) > 1
    for number, day in enumerate(plan.hop_days or ((plan.hop_day,) if plan.hop_day else ()), 1):
        act = "hops in" if number == 1 else f"hops in {number}"
        title = f"{name}: hops in" + (f" ({number} of {len(plan.hop_days)})" if several else "")
        yield _event(outlook, act, title, day, plan.hop_chance, where, past=day < today)
    if plan.hops_out_day is not None and plan.hops_out_day != plan.packaging_day:
        yield _event(outlook, "hops out", f"{name}: hops out", plan.hops_out_day, plan.hop_chance, where)
    if plan.packaging_day is not None:
        title = f"{name}: package"
        yield _event(outlook, "package", title, plan.packaging_day, plan.packaging_chance, where)


def _event(
    outlook: Outlook, act: str, title: str, day: date, chance: float | None, where: str, *, past: bool = False
) -> Event:
    plan = outlook.plan
    certain = past or chance == 1.0
    said = [plan.reason]
    if chance is not None and not certain:
        said.append(f"The chance that this day still fits is {percent(chance)}.")
    if act == "package" and not certain:
        said.append(FORECAST_ONLY)
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
