"""The process is killed at random moments while it writes: what was kept stays, once."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from ingest.model import Vessel
from ingest.store.store import Store

CHILD = """
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ingest.store import upsert
from ingest.model import Report, Vessel
from ingest.store.store import Store

upsert.SETTLE_AT = 4_000  # so that kills also fall into the sorting
began = int(sys.argv[2])
store = Store.open(Path(sys.argv[1]))
store._settle_at = 4_000
T = datetime(2026, 3, 1, tzinfo=UTC)
for number in range(began, began + 10_000):
    # The broker delivers the last batch again after a restart, so each batch overlaps the one before.
    numbers = range(max(0, 400 * number - 400), 400 * (number + 1))
    times = [T + timedelta(seconds=n) for n in numbers]
    store.keep([Report(device_id="d", measured_at=t, received_at=t, gravity_sg=1.05) for t in times])
    store.save(Vessel(vessel_id="v", name=f"after {number}"))
    print(number, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_a_kill_at_any_moment_loses_and_doubles_nothing_that_was_kept(tmp_path: Path):
    chance = random.Random(11)
    done = -1
    for _ in range(3):
        command = [sys.executable, "-c", CHILD, str(tmp_path), str(done + 1)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            for _ in range(chance.randint(3, 12)):
                line = child.stdout.readline()
                assert line, "the child ended by itself"
                done = int(line)
            child.send_signal(signal.SIGKILL)
            done = max([done, *map(int, child.stdout.read().split())])  # what it said before the signal reached it
        with Store.open(tmp_path) as store:
            rows, distinct, newest = store._file.read(
                "SELECT count(*), count(DISTINCT measured_s), max(measured_s) - min(measured_s) + 1 FROM report"
            )[0]
            assert rows == distinct == newest == store.counts()["readings"]
            assert rows >= 400 * (done + 1)
            [vessel] = store.all(Vessel)
            assert int(vessel.name.split()[1]) >= done
            assert len(store.changes(100_000)) >= done + 1
