from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from dashboard.__main__ import main
from dashboard.access.passwords import Passwords
from dashboard.cli import access
from ingest.model import Device
from ingest.store.store import Store


@pytest.fixture
def say(monkeypatch):
    """What stands on standard input."""
    return lambda text: monkeypatch.setattr("sys.stdin", io.StringIO(text))


def test_the_password_comes_from_standard_input_and_is_said_nowhere(say, tmp_path: Path, capsys) -> None:
    say("copper kettle lantern\nsomething else\n")
    assert main(["password", "--data", str(tmp_path / "cellar")]) == 0
    said = capsys.readouterr()
    assert "kettle" not in said.out + said.err
    assert Passwords(tmp_path / "cellar").role_of("copper kettle lantern") == "keep"
    say("window only please\n")
    assert main(["password", "--role", "look", "--data", str(tmp_path / "cellar")]) == 0
    assert "must sign in again" in capsys.readouterr().out
    assert Passwords(tmp_path / "cellar").role_of("window only please") == "look"


def test_it_is_never_an_argument(tmp_path: Path, capsys) -> None:
    for given in (["copper kettle lantern"], ["--password", "copper kettle lantern"]):
        with pytest.raises(SystemExit):
            main(["password", *given, "--data", str(tmp_path)])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("typed", "problem"), [("", "holds no password"), ("short\n", "soon guessed")])
def test_what_cannot_be_a_password_is_refused_in_a_sentence(say, tmp_path: Path, capsys, typed, problem) -> None:
    say(typed)
    assert main(["password", "--data", str(tmp_path)]) == 2
    assert problem in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_at_a_terminal_it_is_asked_for_twice_and_not_shown(monkeypatch, tmp_path: Path, capsys) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    answers = iter(["copper kettle lantern", "copper kettle lantens", "copper kettle lantern", "copper kettle lantern"])
    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr(access.getpass, "getpass", lambda _prompt: next(answers))
    assert main(["password", "--data", str(tmp_path)]) == 2
    assert "the two differ" in capsys.readouterr().err
    assert main(["password", "--data", str(tmp_path)]) == 0


def test_broker_settings_know_the_cellars_devices_and_rules(tmp_path: Path, capsys) -> None:
    (tmp_path / "t.toml").write_text(
        'data_dir = "cellar"\n[broker]\nhost = "broker.example"\nprefix = "home/tun"\n[[rules]]\n'
        'topic = "shed/{device}/t"\ntemperature = {value = "@", unit = "°C"}\n'
    )
    with Store.open(tmp_path / "cellar") as store:
        store.save(Device(device_id="float-9", kind="float"))
    folder = tmp_path / "out"
    assert main(["broker-settings", str(folder), "--device", "probe-1", "--config", str(tmp_path / "t.toml")]) == 0
    said = capsys.readouterr().out
    assert "float-9" in said
    text = (folder / "access").read_text()
    assert "user float-9\ntopic write home/tun/report/float-9\ntopic write shed/float-9/t\n" in text
    assert "user probe-1\n" in text
    assert 'host = "broker.example"' in (folder / "tunroom.toml").read_text()
    words = [line.split()[1] for line in (folder / "logins.txt").read_text().splitlines() if line.startswith("float-9")]
    assert words
    assert words[0] not in said
    assert json.dumps(words[0]) not in (folder / "passwords").read_text()
