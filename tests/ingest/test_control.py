import json
import os
import stat

import pytest

from ingest import control
from ingest.control import ControlError
from ingest.errors import EntryError


def test_a_command_reaches_the_owner_and_its_answer_comes_back(tmp_path):
    with control.serving(tmp_path, {"add": lambda arguments, _: arguments["a"] + arguments["b"]}):
        assert control.ask(tmp_path, "add", {"a": 2, "b": 3}) == 5


def test_progress_is_heard_while_the_command_runs(tmp_path):
    def slow(_arguments, progress):
        progress("half")
        progress("nearly")
        return "done"

    heard = []
    with control.serving(tmp_path, {"slow": slow}):
        assert control.ask(tmp_path, "slow", {}, progress=heard.append) == "done"
    assert heard == ["half", "nearly"]


def test_the_servers_sentence_reaches_the_asker(tmp_path):
    def refuse(_arguments, _progress):
        raise EntryError("batch", "no batch is called 'Nobody'", "Give its id.")

    with control.serving(tmp_path, {"plan": refuse}), pytest.raises(ControlError, match="no batch is called 'Nobody'"):
        control.ask(tmp_path, "plan", {})


def test_an_unforeseen_failure_becomes_a_sentence_and_the_server_goes_on(tmp_path, caplog):
    handlers = {"bad": lambda *_: 1 / 0, "good": lambda *_: "fine"}
    with control.serving(tmp_path, handlers):
        with pytest.raises(ControlError, match="its log says more"):
            control.ask(tmp_path, "bad", {})
        assert control.ask(tmp_path, "good", {}) == "fine"
    assert "ZeroDivisionError" in caplog.text


def test_without_the_token_nothing_is_carried_out(tmp_path):
    done = []
    with control.serving(tmp_path, {"do": lambda *_: done.append(1)}):
        note = tmp_path / "control.json"
        note.write_text(json.dumps(json.loads(note.read_text()) | {"token": "guessed"}))
        with pytest.raises(ControlError, match="token"):
            control.ask(tmp_path, "do", {})
    assert done == []


def test_the_owner_is_named_while_it_serves_and_not_afterwards(tmp_path):
    with control.serving(tmp_path, {}):
        assert control.owner(tmp_path) == os.getpid()
    assert control.owner(tmp_path) is None


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps permissions in another way")
def test_only_the_owner_of_the_data_can_read_the_token(tmp_path):
    with control.serving(tmp_path, {}):
        assert stat.S_IMODE((tmp_path / "control.json").stat().st_mode) == 0o600


def test_a_path_too_long_for_a_unix_socket_works_all_the_same(tmp_path):
    deep = tmp_path / ("d" * 90) / ("e" * 90)
    deep.mkdir(parents=True)
    with control.serving(deep, {"hello": lambda *_: "here"}):
        assert control.ask(deep, "hello", {}) == "here"


def test_what_a_killed_server_left_behind_does_not_stop_the_next(tmp_path):
    (tmp_path / "control.json").write_text(
        json.dumps({"pid": 1, "address": str(tmp_path / "control.sock"), "token": "x"})
    )
    (tmp_path / "control.sock").touch()
    assert control.owner(tmp_path) is None
    with control.serving(tmp_path, {"hello": lambda *_: "here"}):
        assert control.ask(tmp_path, "hello", {}) == "here"
