from __future__ import annotations

import asyncio
import logging

import pytest
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from dashboard.web import warm_up


class Recorder:
    """A web server that runs no script: it notes what is asked of it and says at once that a run is over."""

    def __init__(self, *, fails: bool = False) -> None:
        self.opened: list[tuple[str, str]] = []
        self.sessions: set[str] = set()
        self._fails = fails

    def connect_session(self, client, user_info):
        name = f"session-{len(self.opened)}"
        self.sessions.add(name)
        return name

    def handle_backmsg(self, session_id, message, *, client):
        assert session_id in self.sessions
        if self._fails:
            raise RuntimeError("stopping")
        self.opened.append((message.rerun_script.page_name, message.rerun_script.query_string))
        client.write_forward_msg(ForwardMsg(script_finished=ForwardMsg.FINISHED_SUCCESSFULLY))

    def close_session(self, session_id):
        self.sessions.discard(session_id)


@pytest.fixture
def server(monkeypatch):
    recorder = Recorder()
    monkeypatch.setattr(warm_up, "get_instance", lambda: recorder)
    return recorder


def test_the_first_screen_and_a_judged_batch_are_opened_and_left_again(cellar, server):
    asyncio.run(warm_up.open_pages())
    first, (page, query) = server.opened
    assert first == ("today", "")
    assert page == "batch"
    batch_id = query.removeprefix("id=")
    assert batch_id in {record.batch_id for record in cellar.store.active_batches()}
    assert cellar.outlooks.latest(batch_id) is not None
    assert not server.sessions


def test_a_batch_page_waits_until_a_batch_has_been_judged(cellar, server, monkeypatch):
    looks = []
    known = cellar.outlooks.latest

    def late(batch_id):
        looks.append(batch_id)
        return known(batch_id) if len(looks) > len(cellar.store.active_batches()) else None

    monkeypatch.setattr(cellar.outlooks, "latest", late)
    monkeypatch.setattr(warm_up, "_LOOK_S", 0.0)
    asyncio.run(warm_up.open_pages())
    assert [page for page, _ in server.opened] == ["today", "batch"]


def test_an_empty_cellar_has_only_its_first_screen_opened(empty, server):
    asyncio.run(warm_up.open_pages())
    assert server.opened == [("today", "")]


def test_a_page_that_cannot_be_opened_stops_nothing_and_is_told_in_the_log(cellar, monkeypatch, caplog):
    failing = Recorder(fails=True)
    monkeypatch.setattr(warm_up, "get_instance", lambda: failing)
    with caplog.at_level(logging.WARNING):
        asyncio.run(warm_up.open_pages())
    assert "not opened beforehand" in caplog.text
    assert not failing.sessions
