from __future__ import annotations

import sys
from pathlib import Path

import pytest

from dashboard.queries import machine


@pytest.mark.skipif(sys.platform != "linux", reason="as Linux tells it")
def test_memory_grows_with_what_is_taken() -> None:
    before = machine.memory()
    assert before.used is not None
    assert before.free is not None
    held = bytearray(64_000_000)
    held[::4096] = b"x" * len(held[::4096])  # a page that nobody wrote to is not taken
    after = machine.memory()
    assert after.used is not None
    assert 55e6 < after.used - before.used < 80e6


def test_a_containers_limit_counts_where_it_is_nearer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, text in {"meminfo": "MemTotal: 4000000 kB\nMemAvailable:  2000000 kB\n", "max": "1000000000\n"}.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "current").write_text("400000000\n")
    monkeypatch.setattr(machine, "_MEMINFO", tmp_path / "meminfo")
    monkeypatch.setattr(machine, "_LIMIT", tmp_path / "max")
    monkeypatch.setattr(machine, "_TAKEN", tmp_path / "current")
    assert machine.memory().free == 600_000_000
    (tmp_path / "max").write_text("max\n")  # control groups' word for no limit
    assert machine.memory().free == 2_048_000_000


def test_what_the_system_does_not_say_is_not_made_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("_MEMINFO", "_LIMIT"):
        monkeypatch.setattr(machine, name, tmp_path / "none")
    assert machine.memory().free is None
