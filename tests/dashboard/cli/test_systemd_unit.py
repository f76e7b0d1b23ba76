"""The unit as systemd's own tools judge it: systemd-analyze(1), `verify` and `security`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from dashboard.__main__ import main
from dashboard.cli.systemd_unit import unit
from ingest.errors import SettingsError
from tests.conftest import find_program, missing

MOST_EXPOSURE = 2.0
"""Of 10, as `systemd-analyze security` counts it. It calls everything up to 4 fine; reaching the network and brokers
costs 1.3 of it in any case."""


@pytest.fixture
def analyze() -> str:
    program = find_program("systemd-analyze")
    if program is None:
        missing("systemd-analyze", "apt install systemd (Debian, Ubuntu)")
    assert program is not None
    return program


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "tunroom.service"
    path.write_text(unit(Path(sys.executable)))
    return path


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_systemd_finds_nothing_wrong_with_the_unit(analyze: str, file: Path) -> None:
    found = run(analyze, "verify", "--man=no", str(file))
    assert (found.returncode, found.stderr) == (0, "")


def test_systemd_finds_a_word_that_it_does_not_know(analyze: str, file: Path) -> None:
    file.write_text(file.read_text().replace("WatchdogSec=", "WatchdogSecs="))
    assert "WatchdogSecs" in run(analyze, "verify", "--man=no", str(file)).stderr


def test_systemd_finds_it_well_confined(analyze: str, file: Path) -> None:
    found = run(analyze, "security", "--offline=true", "--no-pager", f"--threshold={MOST_EXPOSURE * 10:.0f}", str(file))
    assert found.returncode == 0, found.stdout


def test_the_command_prints_it_for_the_installed_program(capsys, monkeypatch, tmp_path):
    for name in ("python", "tunroom"):
        (tmp_path / name).touch()
    monkeypatch.setattr(sys, "executable", str(tmp_path / "python"))
    assert main(["systemd-unit", "--account", "cellar"]) == 0
    printed = capsys.readouterr().out.splitlines()
    assert f"ExecStart={tmp_path}/tunroom serve --data /var/lib/cellar" in printed
    assert {"User=cellar", "Type=notify", "ProtectHome=yes"} <= set(printed)


@pytest.mark.parametrize(
    ("program", "account", "problem"),
    [("/opt/my tun/tunroom", "tunroom", "a space"), ("/opt/tunroom", "Root me", "no name of an account")],
)
def test_what_systemd_would_misread_is_refused(program: str, account: str, problem: str) -> None:
    with pytest.raises(SettingsError, match=problem):
        unit(Path(program), account)
    assert "ProtectHome=read-only" in unit(Path("/home/ada/venv/bin/tunroom"))  # else it could not start it
