"""The machine's clock is set two hours forth and back while readings come in, and none is lost or dated wrongly.

The service runs under libfaketime (Debian and Ubuntu: apt install faketime gcc), which sets the clock that it sees and
leaves the steady one alone, as setting a real clock does:

    python -m pytest -n 0 -s -m long tests/system/test_clock_set.py
"""

from __future__ import annotations

import json
import shutil
import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from ingest.model import NO_CLOCK
from ingest.store.store import Store
from tests.system.serving import Server

LIBRARIES = sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))
COURSE_H = (0, 2, 0, -2, 0)
"""By how many hours the service's clock is wrong, one after the other."""
EACH_S, EVERY_S = 4.0, 0.1
SLACK = timedelta(seconds=3)
SLEEP = """
#define _GNU_SOURCE
#include <errno.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>
int clock_nanosleep(clockid_t clock, int flags, const struct timespec *until, struct timespec *left) {
  return syscall(SYS_clock_nanosleep, clock, flags, until, left) == 0 ? 0 : errno;
}
"""
"""The kernel's own sleep: libfaketime's refuses one until an instant of the steady clock, which Python's sleep is."""


@pytest.fixture
def clock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file that says how wrong the clock of every process is that is started from now on."""
    compiler = shutil.which("cc")
    if not LIBRARIES or compiler is None:
        pytest.skip("needs libfaketime and a C compiler (Debian and Ubuntu: apt install faketime gcc)")
    source, sleep = tmp_path / "sleep.c", tmp_path / "sleep.so"
    source.write_text(SLEEP)
    subprocess.run([compiler, "-shared", "-fPIC", "-o", str(sleep), str(source)], check=True)
    file = tmp_path / "clock"
    file.write_text("+0\n")
    for name, value in (
        ("LD_PRELOAD", f"{sleep}:{LIBRARIES[0]}"),
        ("FAKETIME_TIMESTAMP_FILE", str(file)),
        ("FAKETIME_NO_CACHE", "1"),
        ("DONT_FAKE_MONOTONIC", "1"),
        ("FAKETIME_DONT_FAKE_MONOTONIC", "1"),
    ):
        monkeypatch.setenv(name, value)
    return file


@pytest.fixture
def server(tmp_path: Path, clock: Path) -> Iterator[Server]:
    served = Server(tmp_path, "serve")
    served.start()
    yield served
    served.kill()


@pytest.mark.long
def test_a_clock_set_two_hours_forth_and_back_loses_no_reading_and_misdates_none(
    server: Server, clock: Path, publisher: Any, wait_until: Any
) -> None:
    wait_until(lambda: server.health().get("broker_connected"), 60, "the connection to the broker")
    sender = publisher(server.broker_port)
    said: dict[str, datetime] = {}
    sent_at: dict[str, tuple[datetime, int]] = {}
    number = 0
    for hours in COURSE_H:
        clock.write_text(f"{hours:+d}h\n")
        time.sleep(0.5)
        until = time.monotonic() + EACH_S
        while time.monotonic() < until:
            now = datetime.now(UTC)
            said[f"dated-{number}"] = now
            sent_at[f"clockless-{number}"] = (now, hours)
            body = {"gravity_sg": 1.05, "temperature_c": 15 + number / 100, "number": number}
            dated = {**body, "measured_at": now.isoformat()}
            sender.publish("tunroom/report/dated", json.dumps(dated).encode(), 2 * number)
            sender.publish("tunroom/report/clockless", json.dumps(body).encode(), 2 * number + 1)
            number += 1
            time.sleep(EVERY_S)
        wait_until(lambda: sender.pending == 0, 30, "the acknowledgement of every publish")
        wait_until(lambda n=number: server.health()["readings"] == 2 * n, 30, "every reading's row")
        assert server.health()["problems"] == []
    assert server.interrupt() == 0
    with Store.open(server.data) as store:
        kept = {device: list(store.readings_as_sent(device).iter_rows(named=True)) for device in ("dated", "clockless")}
        assert store.counts()["rejected"] == 0
    assert {f"dated-{_number(row)}": row["measured_at"] for row in kept["dated"]} == said
    assert len(kept["clockless"]) == number
    for row in kept["clockless"]:
        # Nobody can tell such a reading's time but this machine, so it is as wrong as its clock was, and flagged.
        at, hours = sent_at[f"clockless-{_number(row)}"]
        assert row["time_flag"] == NO_CLOCK
        assert abs(row["measured_at"] - at - timedelta(hours=hours)) < SLACK
    print(f"{2 * number} readings, the clock wrong by {COURSE_H} hours: each is kept once, and dated as it had to be")


def _number(row: dict[str, Any]) -> int:
    extra = row["extra"]
    return int((json.loads(extra) if isinstance(extra, str) else extra)["number"])
