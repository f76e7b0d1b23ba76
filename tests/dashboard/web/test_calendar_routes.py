from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from icalendar import Calendar
from starlette.requests import Request

from dashboard import context
from dashboard.web import calendar_routes


def ask(token: str, name: str = calendar_routes.CELLAR):
    scope = {"type": "http", "method": "GET", "path": "/", "headers": [], "path_params": {"token": token, "name": name}}
    return calendar_routes.feed(Request(scope))


@pytest.fixture
def token(cellar):
    made = calendar_routes.token_of(cellar.store)
    yield made
    cellar.store.undo()


def test_before_a_token_is_made_no_address_works(cellar):
    assert cellar.store.preferences().calendar_token == ""
    assert ask("").status_code == 404
    assert ask("guess").status_code == 404


def test_the_token_is_made_once_and_cannot_be_guessed(cellar, token):
    assert calendar_routes.token_of(cellar.store) == token
    # 24 random bytes: 192 bits, well above the 128 that OWASP's guide asks of a session's name.
    assert len(token) >= 32


def test_the_feed_is_a_calendar_of_the_cellars_days(cellar, token):
    answer = ask(token)
    assert answer.status_code == 200
    assert answer.media_type.startswith("text/calendar")
    events = Calendar.from_ical(answer.body).walk("VEVENT")
    planned = {
        o.plan.packaging_day for o in calendar_routes.outlooks_of(calendar_routes.CELLAR) if o.plan.packaging_day
    }
    assert planned
    assert planned <= {event.decoded("dtstart") for event in events}


def test_a_batchs_feed_holds_that_batch_alone(cellar, token):
    record = cellar.batches["held"]
    text = ask(token, record.batch_id).body.decode()
    assert record.name in text
    assert cellar.batches["active"].name not in text


def test_the_address_of_one_batch_reaches_that_batch_alone(cellar, token):
    record, other = cellar.batches["held"], cellar.batches["active"]
    own = calendar_routes.feed_path(token, record.batch_id).split("/")[2]
    assert ask(own, record.batch_id).status_code == 200
    assert record.name in ask(own, record.batch_id).body.decode()
    for name in (calendar_routes.CELLAR, other.batch_id, ""):
        assert ask(own, name).status_code == 404
    assert token not in own
    assert len(own) >= 32  # 192 bits
    assert calendar_routes.feed_path(token) == f"/feed/{token}/cellar.ics"


def test_a_wrong_token_and_an_unknown_batch_look_the_same(cellar, token):
    answers = [ask(token[:-1] + "!"), ask(token, "batch-none"), ask("ünïcode")]
    assert {(a.status_code, a.body) for a in answers} == {(404, b"There is nothing at this address.")}


def test_a_new_token_ends_the_old_one(cellar):
    old = calendar_routes.token_of(cellar.store)
    new = calendar_routes.renewed_token(cellar.store)
    assert ask(old).status_code == 404
    assert ask(new).status_code == 200
    for _ in range(3):
        cellar.store.undo()


def test_a_closed_cellar_answers_like_a_wrong_address(cellar, token):
    context.set_service(None)
    assert ask(token).status_code == 404
    context.set_service(cellar.service)


def test_a_moved_day_moves_the_same_event(cellar, token):
    def days():
        events = Calendar.from_ical(ask(token, cellar.batches["active"].batch_id).body).walk("VEVENT")
        return {str(e["uid"]): e.decoded("dtstart") for e in events}

    before = days()
    store, p = cellar.store, cellar.store.preferences()

    planned = sorted(before.values())
    busy = tuple((planned[0] + timedelta(days=n)).isoformat() for n in range(5))
    store.save(replace(p, busy_dates=busy))
    cellar.outlooks.of(cellar.batches["active"].batch_id, now=datetime.now(UTC))
    after = days()
    store.undo()
    cellar.outlooks.of(cellar.batches["active"].batch_id)
    assert before
    assert set(after) == set(before)
    assert after != before
