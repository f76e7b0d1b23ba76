from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from ingest import systemd


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="systemd is Linux's")
@pytest.mark.parametrize("kind", ["a path", "abstract"])
def test_a_word_arrives_at_the_socket_that_systemd_names(tmp_path: Path, kind: str) -> None:
    name = str(tmp_path / "notify") if kind == "a path" else f"@tunroom-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(name.replace("@", "\0", 1) if kind == "abstract" else name)
        assert systemd.notify(systemd.READY, {"NOTIFY_SOCKET": name})
        manager.settimeout(5)
        assert manager.recv(100) == b"READY=1"


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="systemd is Linux's")
def test_where_nobody_reads_nobody_waits(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        said = [systemd.notify(systemd.ALIVE, {"NOTIFY_SOCKET": str(tmp_path / "notify")}) for _ in range(1000)]
    assert said[0]
    assert not said[-1]  # the kernel keeps a few hundred of them (net.unix.max_dgram_qlen), and then it would wait


@pytest.mark.parametrize("environ", [{}, {"NOTIFY_SOCKET": ""}, {"NOTIFY_SOCKET": "/nowhere/notify"}])
def test_without_systemd_nothing_happens(environ: dict[str, str]) -> None:
    assert not systemd.notify(systemd.READY, environ)


@pytest.mark.parametrize(
    ("environ", "seconds"),
    [
        ({"WATCHDOG_USEC": "60000000"}, 24.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}, 24.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}, None),  # meant for another process
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_a_sign_of_life_comes_well_within_the_watchdogs_time(environ: dict[str, str], seconds: float | None) -> None:
    assert systemd.watchdog_every_s(environ) == seconds
