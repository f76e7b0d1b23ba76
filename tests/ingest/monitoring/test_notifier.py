from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.display_units import DisplayUnits
from analysis.model import Creep, Range
from analysis.packaging import FollowUp
from analysis.planning.plan import Plan
from ingest.model import BatchRecord, Device, Preferences, Vessel
from ingest.monitoring.alert_conditions import conditions
from ingest.monitoring.lots import with_follow_up
from ingest.monitoring.notifier import Notifier, apprise_send, escaped, is_quiet, verdict_message
from ingest.monitoring.outlook import Outlook
from ingest.store.store import DeviceStatus, Store
from tests.analysis.situations import free_day
from tests.examples import examples
from tests.ingest.messages import ADDRESS, HOUR, NOW, Post, heard, outlook

# apprise 2.3 imports a module that Python 3.13 drops; it brings its own stand-in there.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


@pytest.fixture
def store() -> Any:
    with Store.in_memory() as opened:
        opened.save(Device(device_id="float-1", kind="float", name="Heron"))
        opened.save(Preferences(notify_urls=(ADDRESS,)))
        opened.save(Vessel(vessel_id="vessel-3", name="Vessel 3"))
        opened.save(BatchRecord(batch_id="batch-7", name="Saison", vessel_id="vessel-3", pitched_at=NOW - 200 * HOUR))
        yield opened


def look(
    notifier: Notifier, store: Store, at: datetime, *outlooks: Outlook, words: Sequence[DeviceStatus] = ()
) -> list[str]:
    notifier.consider(at, outlooks, words, store.preferences())
    notifier.send_due(at)
    return [m.kind for m in notifier.waiting]


def test_a_finish_is_told_once_however_often_it_is_seen(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    for hour in range(30):
        look(notifier, store, NOW + hour * HOUR, outlook(finished=True, p_finished=0.97, held_h=12.0))
    assert post.titles == ["Saison in Vessel 3: finished"]
    assert "97" in post.sent[0][1]
    assert "12 of 48 hours" in post.sent[0][1]


def test_a_verdict_that_dithers_is_told_once_and_again_only_after_a_day(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    for hour in range(20):
        look(notifier, store, NOW + hour * HOUR, outlook(finished=hour % 2 == 0))
    assert len(post.sent) == 1
    for hour in range(20, 50):
        look(notifier, store, NOW + hour * HOUR, outlook(finished=False))
    look(notifier, store, NOW + 50 * HOUR, outlook(finished=True))
    assert len(post.sent) == 2


UNITS = DisplayUnits()
TOMORROW = date(2026, 3, 4)


@pytest.mark.parametrize(
    ("kind", "change", "words"),
    [
        ("finished", {"finished": True}, ()),
        ("stalled", {"stalled": True, "phase": "stalled"}, ()),
        ("renewed fall after hops", {"creep": Creep(Range(0.001, 0.002, 0.003), NOW), "phase": "creeping"}, ()),
        ("hop day tomorrow", {"plan": Plan(made_at=NOW, hop_day=TOMORROW, reason=free_day(TOMORROW))}, ()),
        ("packaging tomorrow", {"plan": Plan(made_at=NOW, packaging_day=TOMORROW, reason=free_day(TOMORROW))}, ()),
        ("temperature outside its range", {"temperature_c": 24.0}, ()),
        ("sensor silent", {}, (heard(silent=True, received_at=NOW - 5 * HOUR),)),
        ("battery low", {}, (heard(battery_pct=9.0),)),
    ],
)
def test_each_kind_is_told_with_its_subject_and_only_it(
    store: Store, kind: str, change: dict[str, Any], words: Sequence[DeviceStatus]
) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    told = []
    for minutes in (0, 40, 80):
        at = NOW + timedelta(minutes=minutes)
        told += notifier.consider(at, [outlook(**change)], words, store.preferences())
        notifier.send_due(at)
    assert [m.kind for m in told] == [kind]
    [(title, body)] = post.sent
    assert title
    assert "Saison" in body


def test_a_lot_that_burst_is_told_once_with_every_lot_in_doubt_although_it_has_long_ended(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    ended = store.save(
        BatchRecord(
            name="Marrow", vessel_id="vessel-3", yeast="House", pitched_at=NOW - 900 * HOUR, ended_at=NOW - 500 * HOUR
        )
    )
    store.save(Vessel(vessel_id="vessel-4", name="Vessel 4"))
    store.save(BatchRecord(name="Tern", vessel_id="vessel-4", yeast="house", pitched_at=NOW - 400 * HOUR))
    burst = FollowUp("burst", date(2026, 3, 2))
    store.save(replace(ended, plan=with_follow_up(ended, burst)))
    for hour in range(30):
        look(notifier, store, NOW + hour * HOUR, outlook())
    [(title, body)] = post.sent
    assert title == "Marrow: a bottle burst"
    assert "Tern" in body
    assert "keep people away" in body


def test_a_moved_date_is_told_once_it_has_stayed_moved(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    first = Plan(made_at=NOW, packaging_day=date(2026, 3, 20), reason=free_day(date(2026, 3, 20)))
    later = Plan(made_at=NOW, packaging_day=date(2026, 3, 24), reason=free_day(date(2026, 3, 24)))
    look(notifier, store, NOW, outlook(plan=first))
    look(notifier, store, NOW + HOUR, outlook(plan=later))
    look(notifier, store, NOW + 1.5 * HOUR, outlook(plan=first))  # it was only a flicker
    assert post.sent == []
    for hour in (2, 3, 4, 5, 6):
        look(notifier, store, NOW + hour * HOUR, outlook(plan=later))
    assert post.titles == ["Saison: date moved"]
    assert "4 days later, from Friday 20 Mar to Tuesday 24 Mar. Tuesday 24 Mar is the first free day" in post.sent[0][1]


def test_dates_that_an_upgrade_moved_are_told_in_one_message_that_says_why(store: Store) -> None:
    post, days = Post(), (date(2026, 3, 20), date(2026, 3, 24))

    def cellar(day: date) -> list[Outlook]:
        plan = Plan(made_at=NOW, packaging_day=day, reason=free_day(day))
        one = outlook(plan=plan)
        return [replace(one, record=replace(one.record, batch_id=f"batch-{n}", name=f"Lot {n}")) for n in range(30)]

    look(Notifier(store, send=post, version="1.4"), store, NOW, *cellar(days[0]))
    upgraded = Notifier(store, send=post, version="1.5")
    for hour in range(1, 8):
        look(upgraded, store, NOW + hour * HOUR, *cellar(days[1]))
    [(title, body)] = post.sent
    assert title == "After the upgrade: 30 dates moved"
    assert "upgraded from 1.4 to 1.5" in body
    assert body.count("Packaging day moved 4 days later") == 30
    look(upgraded, store, NOW + 8 * HOUR, *cellar(days[0]))  # a move of its own day is told as before
    look(upgraded, store, NOW + 11 * HOUR, *cellar(days[0]))
    assert post.titles[1:] == ["Lot 7: date moved"]  # the others are not in the store, and a message of those is none


def test_after_an_upgrade_that_moves_nothing_nothing_is_said(store: Store) -> None:
    post = Post()
    plan = Plan(made_at=NOW, packaging_day=date(2026, 3, 20), reason=free_day(date(2026, 3, 20)))
    for n, version in enumerate(("1.4", "1.5", "1.5")):
        look(Notifier(store, send=post, version=version), store, NOW + 3 * n * HOUR, outlook(plan=plan))
    assert post.sent == []


def test_a_move_of_one_day_is_not_worth_a_message(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    for hour, day in enumerate((20, 21, 21, 21, 21)):
        plan = Plan(made_at=NOW, packaging_day=date(2026, 3, day), reason=free_day(date(2026, 3, day)))
        look(notifier, store, NOW + 3 * hour * HOUR, outlook(plan=plan))
    assert post.sent == []


def test_a_door_opened_for_ten_minutes_is_no_alarm(store: Store) -> None:
    post = Post()
    notifier = Notifier(store, send=post)
    for minutes, temperature_c in ((0, 20.0), (5, 24.0), (15, 20.0), (30, 20.0)):
        look(notifier, store, NOW + timedelta(minutes=minutes), outlook(temperature_c=temperature_c))
    assert post.sent == []


def test_a_temperature_is_told_in_the_persons_unit(store: Store) -> None:
    store.save(replace(store.preferences(), temperature_unit="°F"))
    post = Post()
    notifier = Notifier(store, send=post)
    for minutes in (0, 45):
        look(notifier, store, NOW + timedelta(minutes=minutes), outlook(temperature_c=25.0))
    # 25 °C is 77 °F, 18 and 21 °C are 64.4 and 69.8 °F.
    assert post.sent[0][1] == "Saison in Vessel 3 is at 77.0\u202f°F; you wished for 64.4\u202f°F to 69.8\u202f°F."


def test_quiet_hours_hold_messages_back_and_lose_none(store: Store) -> None:
    store.save(replace(store.preferences(), quiet_from=time(22), quiet_to=time(7), time_zone="Europe/Paris"))
    post = Post()
    notifier = Notifier(store, send=post)
    night = datetime(2026, 3, 3, 23, tzinfo=UTC)  # midnight in Paris
    assert look(notifier, store, night, outlook(finished=True)) == ["finished"]
    assert post.sent == []
    assert look(notifier, store, night + 7.5 * HOUR, outlook(finished=True)) == []
    assert len(post.sent) == 1


@pytest.mark.parametrize(
    ("hour", "start", "end", "quiet"),
    [
        (23, 22, 7, True),
        (3, 22, 7, True),
        (7, 22, 7, False),
        (12, 22, 7, False),
        (13, 12, 14, True),
        (14, 12, 14, False),
    ],
)
def test_quiet_hours_may_run_over_midnight(hour: int, start: int, end: int, quiet: bool) -> None:
    preferences = Preferences(quiet_from=time(start), quiet_to=time(end))
    assert is_quiet(datetime(2026, 3, 3, hour, tzinfo=UTC), preferences) is quiet


def test_a_restart_neither_loses_nor_repeats_a_message(tmp_path: Path) -> None:
    post = Post()
    post.open = False
    with Store.open(tmp_path / "cellar.duckdb") as store:
        store.save(Preferences(notify_urls=(ADDRESS,)))
        look(Notifier(store, send=post), store, NOW, outlook(finished=True))
    post.open = True
    with Store.open(tmp_path / "cellar.duckdb") as store:
        look(Notifier(store, send=post), store, NOW + 2 * HOUR, outlook(finished=True))
        assert len(post.sent) == 1
    with Store.open(tmp_path / "cellar.duckdb") as store:
        look(Notifier(store, send=post), store, NOW + 4 * HOUR, outlook(finished=True))
    assert len(post.sent) == 1


def test_a_refused_message_is_tried_again_ever_less_often(store: Store) -> None:
    post = Post()
    post.open = False
    tries: list[datetime] = []

    def refuse(urls: Sequence[str], title: str, body: str) -> bool:
        tries.append(at)
        return False

    notifier = Notifier(store, send=refuse)
    for minute in range(0, 600):
        at = NOW + timedelta(minutes=minute)
        look(notifier, store, at, outlook(stalled=True))
    gaps = [(b - a).total_seconds() / 60 for a, b in itertools.pairwise(tries)]
    assert gaps == [1, 2, 4, 8, 16, 32, 64, 128, 256]
    assert [m.kind for m in notifier.waiting] == ["stalled"]


def test_an_address_that_refuses_does_not_repeat_the_message_to_the_others(store: Store) -> None:
    good, bad = "json://127.0.0.1:1/good", "json://127.0.0.1:1/bad?password=hidden"
    store.save(replace(store.preferences(), notify_urls=(good, bad)))
    calls: list[str] = []

    def half(urls: Sequence[str], title: str, body: str) -> bool:
        calls.extend(urls)
        return list(urls) == [good]

    for hour in range(4):  # each as after a restart
        look(Notifier(store, send=half), store, NOW + hour * HOUR, outlook(stalled=True))
    assert calls.count(good) == 1
    assert calls.count(bad) == 4
    assert "hidden" not in (store.get_note("notify") or "")


def test_a_sender_that_raises_costs_nothing_but_a_retry(store: Store) -> None:
    def broken(urls: Sequence[str], title: str, body: str) -> bool:
        raise OSError("no route")

    notifier = Notifier(store, send=broken)
    assert look(notifier, store, NOW, outlook(stalled=True)) == ["stalled"]


def test_nothing_is_sent_or_counted_as_told_before_an_address_is_set_up(store: Store) -> None:
    store.save(replace(store.preferences(), notify_urls=()))
    post = Post()
    notifier = Notifier(store, send=post)
    look(notifier, store, NOW, outlook(finished=True))
    assert post.sent == []
    assert not notifier.test().good
    store.save(replace(store.preferences(), notify_urls=(ADDRESS,)))
    look(notifier, store, NOW + HOUR, outlook(finished=True))
    assert len(post.sent) == 1


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=1, max_size=30))
@settings(max_examples=examples(30), deadline=None)
def test_whatever_happens_each_finish_is_told_exactly_once(hours: list[tuple[bool, bool, bool]]) -> None:
    # Each hour: whether it looks finished, whether the post is open, whether the program restarts.
    post = Post()
    with Store.in_memory() as store:
        store.save(Preferences(notify_urls=(ADDRESS,)))
        notifier = Notifier(store, send=post)
        for hour, (finished, post.open, restarts) in enumerate(hours):
            if restarts:
                notifier = Notifier(store, send=post)
            look(notifier, store, NOW + hour * HOUR, outlook(finished=finished))
        post.open = True
        look(notifier, store, NOW + timedelta(days=6), outlook(finished=hours[-1][0]))
    ever = any(finished for finished, _, _ in hours)
    gaps = "".join("f" if finished else "-" for finished, _, _ in hours).strip("-").split("f")
    apart = sum(len(gap) > 24 for gap in gaps)  # after a day without, a finish is a new one
    assert len(post.sent) == (1 + apart if ever else 0)


def test_only_the_chosen_kinds_are_told(store: Store) -> None:
    store.save(replace(store.preferences(), notify_kinds=("stalled",)))
    post = Post()
    look(Notifier(store, send=post), store, NOW, outlook(finished=True, stalled=True))
    assert post.titles == ["Saison in Vessel 3: stalled"]


def test_the_test_message_says_how_it_went(store: Store) -> None:
    post = Post()
    assert Notifier(store, send=post).test().good
    assert post.titles == ["A test"]
    post.open = False
    assert "refused" in Notifier(store, send=post).test().sentence
    store.save(replace(store.preferences(), notify_urls=("nonsense",)))
    assert "cannot be read" in Notifier(store).test().sentence


def test_apprise_hands_a_message_to_a_real_web_address() -> None:
    from http.server import BaseHTTPRequestHandler, HTTPServer
    from threading import Thread

    got: list[dict[str, Any]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        server.timeout = 5
        thread = Thread(target=server.handle_request)
        thread.start()
        assert apprise_send([f"json://127.0.0.1:{server.server_port}/"], "Saison: finished", "It has.")
        thread.join(5)
    assert (got[0]["title"], got[0]["message"]) == ("Saison: finished", "It has.")


def test_apprise_says_no_where_nobody_listens() -> None:
    assert not apprise_send(["json://127.0.0.1:9/"], "a", "b")
    assert not apprise_send([], "a", "b")


@pytest.mark.parametrize(
    ("name", "topic"),
    [
        ("Vessel 3", "verdict/Vessel 3"),
        ("left/right", "verdict/left%2Fright"),
        ("#1+", "verdict/%231%2B"),
        ("100%", "verdict/100%25"),
        ("Fässchen", "verdict/Fässchen"),
        ("a\nb\x00", "verdict/a%0Ab%00"),
    ],
)
def test_the_verdict_is_published_under_one_topic_level_whatever_the_vessels_name(name: str, topic: str) -> None:
    # MQTT 5 (OASIS), 4.7.1: + and # must not be in a topic name, / parts its levels; 1.5.4: no U+0000.
    assert verdict_message(outlook(name), UNITS)[0] == topic
    assert escaped(name).count("/") == 0


def test_the_verdict_is_json_that_a_script_can_use_and_stays_the_same_within_the_hour() -> None:
    plan = Plan(made_at=NOW, packaging_day=date(2026, 3, 7), packaging_chance=0.86, reason=free_day(date(2026, 3, 7)))
    topic, payload = verdict_message(outlook(plan=plan, finished=True, hold_met=True, p_finished=0.9712), UNITS)
    said = json.loads(payload)
    assert said["finished"] is True
    assert said["p_finished"] == 0.97
    assert said["packaging_day"] == "2026-03-07"
    assert said["gravity_sg"] == 1.012
    minutes_later = NOW + timedelta(minutes=20)
    replanned = replace(plan, made_at=minutes_later)
    later = outlook(plan=replanned, finished=True, hold_met=True, p_finished=0.9709, newest_reading_at=minutes_later)
    assert verdict_message(later, UNITS) == (topic, payload)


def test_the_verdict_says_finished_only_once_the_hold_was_seen_too() -> None:
    likely = json.loads(verdict_message(outlook(finished=True, hold_met=False, p_finished=0.72), UNITS)[1])
    assert likely["finished"] is False
    assert likely["p_finished"] == 0.72
    assert (
        json.loads(verdict_message(outlook(finished=True, hold_met=True, p_finished=0.9), UNITS)[1])["finished"] is True
    )


def test_the_verdict_that_a_relay_acts_on_lasts_no_longer_than_the_reading_it_rests_on() -> None:
    # Two and a half days of silence, then a device that dates its readings in the future.
    for made_at in (NOW + 60 * HOUR, NOW - 2 * HOUR):
        plan = Plan(made_at=made_at, packaging_day=NOW.date())
        stale = json.loads(verdict_message(outlook(plan=plan, finished=True, hold_met=True, p_finished=0.97), UNITS)[1])
        assert (stale["finished"], stale["hold_met"], stale["may_package"]) == (False, False, False)


def test_a_message_of_a_renewed_fall_offers_a_cold_keg_only_on_a_fresh_reading() -> None:
    plan = Plan(made_at=NOW, cold_keg_day=NOW.date())
    falls = outlook(plan=plan, phase="creeping")
    for now, offered in ((NOW, True), (NOW + 60 * HOUR, False)):
        told = [c for c in conditions(now, [falls], [], Preferences(), str) if c.kind == "renewed fall after hops"]
        assert ("may be filled" in told[0].body) is offered
        assert ("silence is not stability" in told[0].body) is not offered


def test_the_message_of_a_finish_counts_only_hours_that_have_passed() -> None:
    record = outlook(finished=True, hold_met=True, held_h=59.7, p_finished=0.95)
    told = [c for c in conditions(NOW, [record], [], Preferences(), str) if c.kind == "finished"]
    assert "held for 59 hours; you asked for 48." in told[0].body


def test_a_mail_keeps_a_name_that_looks_like_html(monkeypatch: pytest.MonkeyPatch) -> None:
    """In no part of the mail is it a tag, and in none is it lost."""
    import smtplib
    from email import message_from_string

    sent: list[str] = []

    class Post:
        def __init__(self, *_: Any, **__: Any) -> None:
            pass

        def sendmail(self, _sender: str, _to: Any, text: str, *_: Any) -> None:
            sent.append(text)

        def __getattr__(self, _name: str) -> Any:
            return lambda *_, **__: None

    monkeypatch.setattr(smtplib, "SMTP", Post)
    monkeypatch.setattr(smtplib, "SMTP_SSL", Post)
    name = "<img src=x onerror=alert(1)>"
    for address in (
        "mailto://u:p@example.test?to=a@example.test",
        "mailto://u:p@example.test?to=a@example.test&format=html",
    ):
        sent.clear()
        assert apprise_send([address], f"{name}: finished", f"{name} has finished.\nSee it.")
        parts = [part for part in message_from_string(sent[0]).walk() if not part.is_multipart()]
        for part in parts:
            body = part.get_payload(decode=True).decode()  # type: ignore[union-attr]
            shown = name if part.get_content_type() == "text/plain" else "&lt;img"
            assert shown in body
            assert (part.get_content_type() == "text/plain") or "<img" not in body
