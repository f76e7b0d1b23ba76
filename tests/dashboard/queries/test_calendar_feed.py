from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from icalendar import Calendar

from analysis.model import Batch, Event
from analysis.planning import Obstacle, Packaged
from analysis.planning.plan import Plan
from dashboard.queries.calendar_feed import event_id, feed
from ingest.model import BatchRecord, Preferences, Vessel
from ingest.monitoring.outlook import Outlook
from tests.analysis.situations import free_day
from tests.ingest.messages import assessed

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)

PLAN = Plan(
    made_at=NOW,
    hop_day=date(2026, 3, 7),
    hop_days=(date(2026, 3, 7),),
    packaging_day=date(2026, 3, 10),
    hops_out_day=date(2026, 3, 10),
    hop_chance=0.91,
    packaging_chance=0.86,
    reason=free_day(date(2026, 3, 7)),
)


def outlook(
    plan: Plan = PLAN, batch_id: str = "batch-7", name: str = "Saison, süß; 2", events: tuple[Event, ...] = ()
) -> Outlook:
    pitched = NOW - timedelta(days=8)
    return Outlook(
        record=BatchRecord(batch_id=batch_id, name=name, vessel_id="v", pitched_at=pitched),
        vessel=Vessel(vessel_id="v", name="Vessel 3"),
        batch=Batch(pitched_at=pitched, drink="ale", events=events),
        readings=pl.DataFrame(),
        assessment=assessed(NOW),
        plan=plan,
        computed_at=NOW,
    )


def read(*outlooks: Any, cellar: str = "My cellar") -> dict[str, Any]:
    calendar = Calendar.from_ical(feed(outlooks, preferences=Preferences(cellar_name=cellar), now=NOW))
    return {str(event["UID"]): event for event in calendar.walk("VEVENT")}


def test_the_feed_read_back_holds_both_days() -> None:
    events = read(outlook())
    hops, package = events[event_id("batch-7", "hops in")], events[event_id("batch-7", "package")]
    assert hops["DTSTART"].dt == date(2026, 3, 7)
    assert package["DTSTART"].dt == date(2026, 3, 10)
    assert package["DTEND"].dt == date(2026, 3, 11)
    assert str(package["SUMMARY"]) == "Saison, süß; 2: package"
    assert str(package["LOCATION"]) == "Vessel 3"
    assert "90\u202f%. The chance that this day still fits is 86" in str(package["DESCRIPTION"])
    assert "never on a forecast alone" in str(package["DESCRIPTION"])
    assert str(package["STATUS"]) == "TENTATIVE"


@pytest.mark.parametrize("cellar", ["Shed\nBEGIN:VEVENT", "Shed\r\nX:1", "Shed\u2028two", "Shed\x00"])
def test_no_name_of_a_cellar_ends_the_feed_or_adds_to_it(cellar: str) -> None:
    assert len(read(outlook(), cellar=cellar)) == 2


def test_a_moved_date_moves_the_same_event() -> None:
    before = read(outlook())
    moved = replace(PLAN, made_at=NOW + timedelta(hours=5), packaging_day=date(2026, 3, 14), hops_out_day=None)
    after = read(outlook(moved))
    uid = event_id("batch-7", "package")
    assert before.keys() == after.keys()
    assert before[uid]["DTSTART"].dt == date(2026, 3, 10)
    assert after[uid]["DTSTART"].dt == date(2026, 3, 14)
    assert after[uid]["SEQUENCE"] > before[uid]["SEQUENCE"]
    assert after[uid]["LAST-MODIFIED"].dt > before[uid]["LAST-MODIFIED"].dt


def test_batches_and_doses_have_ids_of_their_own() -> None:
    twice = replace(PLAN, hop_days=(date(2026, 3, 5), date(2026, 3, 7)))
    events = read(outlook(twice), outlook(batch_id="batch-8"))
    assert len(events) == 5
    assert {str(e["SUMMARY"]) for e in events.values()} >= {"Saison, süß; 2: hops in (2 of 2)"}


def test_hops_out_is_an_event_of_its_own_where_packaging_waits() -> None:
    events = read(outlook(replace(PLAN, packaging_day=date(2026, 3, 12))))
    assert events[event_id("batch-7", "hops out")]["DTSTART"].dt == date(2026, 3, 10)


def test_what_has_happened_is_confirmed_and_rings_no_more() -> None:
    done = Plan(made_at=NOW, packaging_day=date(2026, 3, 2), packaging_chance=1.0, reason=Packaged(date(2026, 3, 2)))
    [event] = read(outlook(done, events=(Event("package", NOW - timedelta(days=1)),))).values()
    assert str(event["STATUS"]) == "CONFIRMED"
    assert str(event["SUMMARY"]).endswith(": packaged")
    assert event["DTSTART"].dt == date(2026, 3, 2)
    assert event.walk("VALARM") == []


def test_logged_hops_keep_their_event_but_it_asks_for_nothing_more() -> None:
    """On the very day, and earlier than planned: a calendar that says "hops in" then asks for a second dose."""
    [hops] = [e for e in read(outlook(events=(Event("dry hop", NOW),))).values() if "hops" in e["SUMMARY"]]
    assert hops["UID"] == event_id("batch-7", "hops in")
    assert str(hops["SUMMARY"]).endswith(": hops went in")
    assert hops["DTSTART"].dt == NOW.date()
    assert (str(hops["STATUS"]), hops.walk("VALARM")) == ("CONFIRMED", [])
    assert "first free day" not in hops["DESCRIPTION"]


def test_of_two_doses_only_the_second_is_asked_for_once_the_first_is_in() -> None:
    twice = replace(PLAN, hop_days=(date(2026, 3, 3), date(2026, 3, 5)))
    events = read(outlook(twice, events=(Event("dry hop", NOW),)))
    asked = [str(e["SUMMARY"]) for e in events.values() if e.walk("VALARM") and "hops in" in e["SUMMARY"]]
    assert asked == ["Saison, süß; 2: hops in (2 of 2)"]


def test_a_hop_day_that_passed_unused_waits_for_the_person_where_they_live() -> None:
    honolulu = Preferences(time_zone="Pacific/Honolulu")  # ten hours behind UTC
    still = datetime(2026, 3, 8, 6, tzinfo=UTC)  # the evening of the 7th there
    for now, day in ((still, date(2026, 3, 7)), (still + timedelta(hours=6), date(2026, 3, 8))):
        calendar = Calendar.from_ical(feed([outlook()], preferences=honolulu, now=now))
        [hops] = [e for e in calendar.walk("VEVENT") if str(e["SUMMARY"]).endswith("hops in")]
        assert (str(hops["STATUS"]), hops["DTSTART"].dt) == ("TENTATIVE", day)


def test_a_batch_without_dates_adds_nothing() -> None:
    assert read(outlook(Plan(made_at=NOW, reason=Obstacle.END_UNKNOWN, blocked_by=Obstacle.END_UNKNOWN))) == {}


def test_the_stream_keeps_to_the_letter_of_the_standard() -> None:
    # RFC 5545: 3.1 lines end in CRLF and are at most 75 octets; 3.6 VERSION and PRODID; 3.6.1 UID and DTSTAMP.
    raw = feed([outlook()], preferences=Preferences(cellar_name="Käller"), now=NOW)
    lines = raw.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-1] == b""
    assert all(len(line) <= 75 for line in lines)
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert b"VERSION:2.0" in lines
    assert raw.count(b"UID:") == raw.count(b"BEGIN:VEVENT") == raw.count(b"DTSTAMP:")


@pytest.mark.parametrize(
    ("act", "uid"),
    [
        ("hops in", "bd334e95-309e-5b8c-adf6-3ca4d03d2067@tunroom"),
        ("package", "5e7dfd10-0875-53ec-a35b-d3f1b5aed23e@tunroom"),
    ],
)
def test_ids_never_change(act: str, uid: str) -> None:
    # Written down once: changing them would double every event in calendars already subscribed.
    assert event_id("batch-7", act) == uid
