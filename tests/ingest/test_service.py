from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from ingest import pipeline, service, systemd
from ingest.decoding.deduplication import Arrival
from ingest.settings.settings import Broker, Settings
from ingest.store.store import Store


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What systemd was told."""
    said: list[str] = []
    monkeypatch.setattr(systemd, "notify", said.append)
    return said


def running(folder: Path, port: int) -> Any:
    return service.running(Settings(data_dir=folder, broker=Broker(host="127.0.0.1", port=port)), watch=False)


def test_no_sign_of_life_goes_out_while_taking_in_hangs(
    tmp_path: Path, port: int, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    hung, go_on = threading.Event(), threading.Event()

    def hangs(_store: Store, _reports: Sequence[Any], _rejections: Sequence[Any] = ()) -> int:
        hung.set()
        go_on.wait(30)
        return 0

    monkeypatch.setattr(pipeline, "_HANGS_S", 0.0)
    monkeypatch.setattr(Store, "keep", hangs)
    with running(tmp_path, port) as parts:
        parts.sign_of_life()
        assert told == [systemd.ALIVE]
        parts.pipeline.put(Arrival("tunroom/report/float-1", b'{"gravity_sg": 1.05}', datetime.now(UTC)))
        assert hung.wait(10)
        parts.sign_of_life()
        assert told == [systemd.ALIVE]
        assert any("Readings have not been taken in" in problem for problem in parts.problems())
        go_on.set()
        assert parts.pipeline.settle(10)
        parts.sign_of_life()
        assert told == [systemd.ALIVE, systemd.ALIVE]


def test_a_full_disk_is_said_and_no_reason_to_be_restarted(
    tmp_path: Path, port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline, "_HANGS_S", 0.0)
    with running(tmp_path, port) as parts:
        parts.pipeline.problem = "The disk is full."
        parts.pipeline._busy_since = 0.0
        assert parts.lifeless() is None


def test_no_sign_of_life_goes_out_once_a_thread_has_ended(tmp_path: Path, port: int, told: list[str]) -> None:
    with running(tmp_path, port) as parts:
        ended = threading.Thread(target=lambda: None)
        ended.start()
        ended.join()
        alive, parts.subscriber._thread = parts.subscriber._thread, ended
        parts.sign_of_life()
        assert told == []
        assert "Nobody listens to the broker" in parts.problems()[-1]
        parts.subscriber._thread = alive
