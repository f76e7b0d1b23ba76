"""What was logged is asked for on no screen, in no feed and by no message; an undone entry is asked for again."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar
from streamlit.testing.v1 import AppTest

import dashboard
from analysis.model import Event
from analysis.planning.plan import Constraints, Plan, plan
from analysis.wording import Voice, dates, packaging_date
from dashboard.charts.calendar import calendar_figure
from dashboard.cli import commands as offline
from dashboard.queries import calendar_feed
from dashboard.queries.attention import Standing, needs_of
from dashboard.screens.today import vessel_list
from dashboard.web import calendar_routes
from dashboard.wording import voice_of
from dashboard.wording.calendar import agenda, opening
from ingest import commands
from ingest.model import EventRecord, Preferences
from ingest.monitoring.alert_conditions import conditions
from ingest.monitoring.notifier import verdict_message
from ingest.monitoring.outlook import Outlook
from tests.analysis.situations import DAY, HOUR, NOW, creeping, done
from tests.analysis.situations import batch as batch_with
from tests.examples import examples
from tests.ingest.messages import heard, outlook

PREFERENCES = Preferences(time_zone="UTC")
MAIN = Path(dashboard.__file__).parent / "main.py"
WEEKDAY = "today|tomorrow|Mon|Tue|Wed|Thu|Fri|Sat|Sun"
ASKS_HOPS = re.compile(rf"\bdry hop\b|weigh the hops|hops go in|hops into|hops in\b|hops (?:{WEEKDAY})|hop day", re.I)
ASKS_PACKAGING = re.compile(
    rf"\bpackage (?!only)|: package$|next: packaging|packaging (?:day|{WEEKDAY}|would|vessel)|follow the sheet", re.I
)


def texts(seen: Outlook, say: Voice) -> Iterator[str]:
    """Everything that is said of one batch, screen by screen."""
    now, today = say.now, say.today()
    needs = tuple(needs_of(seen, (heard(measured_at=now, received_at=now),), say))
    for need in needs:
        yield f"{need.sentence} {need.todo}"
    standing = Standing(seen.record, seen.vessel, seen, (), needs)
    yield vessel_list.lead([standing], say)
    yield re.sub(r"<[^>]*>", " ", vessel_list.row(standing, say))
    items = agenda([seen], say)
    yield opening(items, say)
    yield from (item.what for item in items)
    figure = calendar_figure([seen], say, PREFERENCES, "light")
    yield from (f"{word} {at:%a}" for word, at in zip(figure.data[1].text or (), figure.data[1].x or (), strict=True))
    for what, when, small in dates(seen.plan, seen.batch, say):
        yield f"{what} {when}. {small}"
    if packaged := packaging_date(seen.to_do(today), seen.batch, say):
        yield packaged if packaged.startswith("Packaged") else f"Packaging day: {packaged}"
    calendar = Calendar.from_ical(calendar_feed.feed([seen], preferences=PREFERENCES, now=now))
    for event in calendar.walk("VEVENT"):
        yield str(event["SUMMARY"])
        yield str(event["DESCRIPTION"])
    for condition in conditions(now, [seen], [], PREFERENCES, str):
        if condition.state:
            yield condition.title
            yield f"{condition.body} {condition.reason}"
    verdict = json.loads(verdict_message(seen, say.units)[1])
    yield f"hop day {verdict['hop_day']}" if verdict["hop_day"] else ""
    yield f"packaging day {verdict['packaging_day']}" if verdict["packaging_day"] else ""
    yield verdict["reason"]


@given(
    logged=st.lists(st.tuples(st.sampled_from(("dry hop", "hops out", "package")), st.integers(0, 8)), max_size=4),
    doses=st.integers(0, 3),
    destination=st.sampled_from(("undecided", "keg", "bottle")),
    early=st.booleans(),
    falls=st.booleans(),
    passed_h=st.integers(0, 200),
    knows=st.booleans(),
)
@settings(max_examples=examples(50), deadline=None)
def test_no_text_asks_for_what_is_logged(
    logged: list[tuple[Any, int]],
    doses: int,
    destination: Any,
    early: bool,
    falls: bool,
    passed_h: int,
    knows: bool,
) -> None:
    now = NOW + passed_h * HOUR
    what = batch_with(*(Event(kind, now - days_ago * DAY) for kind, days_ago in logged))
    constraints = Constraints(dry_hops=doses, destination=destination, early_dry_hop=early)
    assessment = creeping(now=now, newest_reading_at=now) if falls else done(now=now, newest_reading_at=now)
    made = plan(assessment, what, constraints, now=now)
    if not knows:  # as it was before anything was logged; its reason is replaced with it
        made = replace(plan(assessment, batch_with(), constraints, now=now - DAY), reason=None)
    seen = replace(outlook(plan=made), batch=what, assessment=assessment, computed_at=now)
    say = voice_of(PREFERENCES, now)
    kinds = [kind for kind, _ in logged]
    packaged = "package" in kinds
    ins = [days_ago for kind, days_ago in logged if kind == "dry hop"]
    outs = [days_ago for kind, days_ago in logged if kind == "hops out"]
    are_out = bool(outs) and min(outs) <= min(ins, default=99)
    told = [text for text in texts(seen, say) if text]
    if packaged or are_out or len(ins) >= doses:
        assert [text for text in told if ASKS_HOPS.search(text)] == []
    elif ins and knows:
        next_day = constraints.local_day(now - min(ins) * DAY) + timedelta(days=2)
        if next_day > say.today():
            assert [text for text in told if re.search(r"hops today|dry hop today", text, re.I)] == []
        assert any(ASKS_HOPS.search(text) for text in told) or made.packaging_day is None
    if packaged:
        assert [text for text in told if ASKS_PACKAGING.search(text)] == []


def test_the_patterns_find_what_is_still_to_be_done() -> None:
    """Else the test above could not fail."""
    say = voice_of(PREFERENCES, NOW)
    today = NOW.date()
    due = Plan(made_at=NOW, hop_day=today, packaging_day=today + timedelta(days=3), hops_out_day=today)
    told = [t for t in texts(replace(outlook(plan=due), batch=batch_with()), say) if t]
    assert sum(bool(ASKS_HOPS.search(t)) for t in told) >= 8
    due = Plan(made_at=NOW, packaging_day=today)
    told = [t for t in texts(replace(outlook(plan=due), batch=batch_with()), say) if t]
    assert sum(bool(ASKS_PACKAGING.search(t)) for t in told) >= 8


# --- the same on real screens ----------------------------------------------------------------------------------------


def text_of(app: AppTest) -> str:
    """All HTML that a page shows, without its tags."""
    parts = [element.proto.body for element in app.get("html")]
    for element in app.get("bidi_component"):
        if element.proto.component_name == "tunroom_markup":
            parts.append(json.loads(element.proto.json))
    text = re.sub(r"<style>.*?</style>", "", "\n".join(parts), flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text))


def screen(page: str, **query: str) -> str:
    app = AppTest.from_string(
        f"from dashboard.ui import components\nfrom dashboard import navigation\n"
        f"[entry] = [e for e in navigation.PAGES if e.path == {page!r}]\n"
        f"components.screen(entry.show)()\n",
        default_timeout=60,
    )
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    assert not app.exception
    return text_of(app)


@pytest.fixture
def due(cellar: Any) -> Any:
    """One batch whose hops are due today, wished for in one dose by a person who hops on any day."""
    record = cellar.batches["held"]
    yield record
    for event in cellar.store.all(EventRecord, batch_id=record.batch_id):
        cellar.store.remove(event)


def asked(cellar: Any, batch_id: str) -> dict[str, str]:
    """Everything that is said of the batch at this moment, by where."""
    today = text_of(AppTest.from_file(str(MAIN), default_timeout=60).run())
    calendar = screen("calendar")
    row = today[today.index("Old Gate Lager") :]
    feed = calendar_routes.calendar_text(batch_id) or b""
    titles = [str(e["SUMMARY"]) for e in Calendar.from_ical(feed).walk("VEVENT")]
    return {
        "lead": today[: today.index("Vessel 3")],
        "row": row[: row.find("attenuated")],
        "batch": screen("batch", id=batch_id),
        "calendar": " ".join(re.findall(r"[^.,]*\(Old Gate Lager\)", calendar)),
        "packaging": screen("packaging", id=batch_id),
        "feed": "\n".join(titles),
    }


def test_hops_logged_leave_every_screen_at_once_and_come_back_with_an_undo(cellar: Any, due: Any) -> None:
    store, batch_id = cellar.store, due.batch_id
    before = asked(cellar, batch_id)
    for where in ("row", "batch", "calendar", "feed"):
        assert ASKS_HOPS.search(before[where]), where
    store.save(EventRecord(batch_id=batch_id, kind="dry hop", at=datetime.now(UTC) - timedelta(seconds=1)))
    for where, text in asked(cellar, batch_id).items():
        said = re.sub(r"Dry hops in|Dry hopped|Dry hops", "", text)
        assert not ASKS_HOPS.search(said), (where, ASKS_HOPS.search(said))
    store.undo()
    after = asked(cellar, batch_id)
    assert all(ASKS_HOPS.search(after[where]) for where in ("row", "batch", "calendar", "feed"))


def test_packaged_leaves_every_screen_at_once(cellar: Any, due: Any) -> None:
    at = datetime.now(UTC) - timedelta(seconds=1)
    cellar.store.save(EventRecord(batch_id=due.batch_id, kind="package", at=at))
    said = asked(cellar, due.batch_id)
    for where in ("row", "calendar", "feed"):
        assert not ASKS_PACKAGING.search(said[where]), where
        assert not ASKS_HOPS.search(said[where]), where
    assert "Packaged Today" in said["batch"]
    assert "Packaging day:" not in said["packaging"]
    assert "packaged" in said["feed"]


def test_a_feed_is_never_taken_from_a_memory_on_its_way(cellar: Any) -> None:
    """RFC 9111, 5.2.2.4: with no-cache a stored answer is not used without asking us again."""
    request: Any = SimpleNamespace(
        path_params={"token": calendar_routes.token_of(cellar.store), "name": calendar_routes.CELLAR}
    )
    assert "no-cache" in calendar_routes.feed(request).headers["Cache-Control"]


def test_the_command_names_only_what_is_still_to_come(cellar: Any, due: Any, monkeypatch: Any, capsys: Any) -> None:
    def carry_out(_arguments: Any, _command: str, constraints: dict[str, Any]) -> Any:
        return commands.plan_of(cellar.store, constraints, lambda _: None, cellar.outlooks)

    monkeypatch.setattr(offline, "carry_out", carry_out)

    def said(as_json: bool) -> str:
        offline._plan(argparse.Namespace(batch=due.batch_id, json=as_json))
        return capsys.readouterr().out

    assert "Hops in: " in said(False)
    assert date.fromisoformat(json.loads(said(True))["hop_day"])
    cellar.store.save(EventRecord(batch_id=due.batch_id, kind="dry hop", at=datetime.now(UTC) - timedelta(seconds=1)))
    assert "Hops in" not in said(False)
    answer = json.loads(said(True))
    assert (answer["hop_day"], answer["hop_chance"]) == (None, None)
    assert answer["packaging_day"]
    cellar.store.save(EventRecord(batch_id=due.batch_id, kind="package", at=datetime.now(UTC) - timedelta(seconds=1)))
    assert json.loads(said(True))["packaging_day"] is None
    assert "Package:" not in said(False)
