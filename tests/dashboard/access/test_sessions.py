from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from dashboard.access import sessions as module
from dashboard.access.passwords import Passwords
from dashboard.access.sessions import Sessions
from tests.dashboard.access.conftest import House


def test_a_session_names_128_random_bits_and_no_two_are_alike(house: Callable[..., House]) -> None:
    sessions = house().gate.sessions
    given = {sessions.open("keep").split(".")[2] for _ in range(50)}
    assert len(given) == 50
    assert {len(each) for each in given} == {22}  # 16 bytes in base64; OWASP's guide asks for 64 bits at least


def test_what_is_remembered_of_ended_sessions_is_bounded_and_for_nobody_else(
    house: Callable[..., House], tmp_path: Path
) -> None:
    here = house()
    sessions = here.gate.sessions
    still = sessions.open("look")
    path = tmp_path / module.FILE_NAME
    for _ in range(3):
        ended = sessions.read(sessions.open("keep"))
        assert ended is not None
        sessions.end(ended)
    assert path.stat().st_mode & 0o777 == 0o600
    assert len(json.loads(path.read_text())) == 3
    here.wall += module.LASTS_S - 5
    session = sessions.read(still)
    assert session is not None
    here.wall += 10
    sessions.end(session)
    assert json.loads(path.read_text()).keys() == {session.session_id}  # those that are past anyway are forgotten


def test_where_it_is_not_known_who_signed_out_everybody_signs_in_anew(
    house: Callable[..., House], tmp_path: Path
) -> None:
    here = house()
    token = here.gate.sessions.open("keep")
    passwords = Passwords(tmp_path)
    (tmp_path / module.FILE_NAME).write_text("[1]")
    assert Sessions(passwords, lambda: here.wall).read(token) is None


def test_more_ended_sessions_than_can_be_kept_end_all(house: Callable[..., House], tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(module, "_MOST_ENDED", 3)
    sessions = house().gate.sessions
    other = sessions.open("look")
    tokens = [sessions.open("keep") for _ in range(4)]
    for token in tokens:
        session = sessions.read(token)
        assert session is not None
        sessions.end(session)
    assert [sessions.read(each) for each in (*tokens, other)] == [None] * 5
