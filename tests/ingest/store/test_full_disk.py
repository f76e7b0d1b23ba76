"""A full disk, in a process of its own whose files may not grow beyond a limit."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

CHILD = """
import json, os, resource, signal, sys, threading, time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ingest.errors import StoreFull
from ingest.model import Report, Vessel
from ingest.store.store import Store

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # a write beyond the limit fails instead of killing
path, fails_at = Path(sys.argv[1]) / "cellar.duckdb", sys.argv[2]
T = datetime(2026, 3, 1, tzinfo=UTC)


def batch(number):
    times = [T + timedelta(seconds=500 * number + n) for n in range(500)]
    return [
        Report(
            device_id=f"float-{n % 7}", measured_at=t, received_at=t, gravity_sg=1.05, extra={"k": os.urandom(40).hex()}
        )
        for n, t in enumerate(times)
    ]


store = Store.open(path)
if fails_at == "checkpoint":  # let DuckDB fold its log into the file often, so that this is where the disk ends
    store._file.read("SET checkpoint_threshold = '300KB'")
for number in range(20):
    store.keep(batch(number))
largest = max(p.stat().st_size for p in path.parent.iterdir())
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
resource.setrlimit(resource.RLIMIT_FSIZE, (largest + 400_000, hard))

readers_stop, reader_errors = threading.Event(), []


def look():
    while not readers_stop.is_set():
        try:
            store.readings_as_sent("float-1")
            store.counts()
        except StoreFull:
            pass  # while it is reopened
        except BaseException as error:
            reader_errors.append(repr(error))
        time.sleep(0.01)


readers = [threading.Thread(target=look) for _ in range(3)]
for reader in readers:
    reader.start()

acknowledged, said, refused = 20, set(), []
number = 20
while len(refused) < 4 and number < 400:
    try:
        sent = batch(number)
        store.keep(sent)
        acknowledged += 1
    except StoreFull as error:
        refused.append(sent)
        said.add((str(error).split("(")[0], store.broken is not None))
        time.sleep(0.2)
    number += 1
entry_refused = False
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))  # the little that an entry needs might still have fitted
try:
    store.save(Vessel(vessel_id="v", name="Vessel"))
except StoreFull:
    entry_refused = True
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
time.sleep(1.1)
for sent in refused:  # the broker delivers again what was not acknowledged
    store.keep(sent)
store.save(Vessel(vessel_id="v", name="Vessel"))
readers_stop.set()
for reader in readers:
    reader.join()
broken_after, counted = store.broken, store.counts()["readings"]
store.close()
with Store.open(path) as store:
    rows, distinct = store._file.read("SELECT count(*), count(DISTINCT (device_key, measured_s)) FROM report")[0]
    print(json.dumps({
        "batches": acknowledged + len(refused), "refused": len(refused), "said": sorted(said), "rows": rows,
        "distinct": distinct, "counted": counted, "broken_after": broken_after, "entry_refused": entry_refused,
        "vessels": [v.name for v in store.all(Vessel)], "reader_errors": reader_errors,
        "keys": store._file.read("SELECT count(*), count(DISTINCT device_id) FROM device_key")[0],
    }))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits the size of files, which Windows cannot")
@pytest.mark.parametrize("fails_at", ["log", pytest.param("checkpoint", marks=pytest.mark.long)])
def test_a_full_disk_refuses_clearly_loses_nothing_and_recovers_without_a_restart(tmp_path: Path, fails_at: str):
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(tmp_path), fails_at], capture_output=True, text=True, timeout=240
    )
    assert done.returncode == 0, done.stderr[-3000:]
    told = json.loads(done.stdout)
    assert told["refused"] == 4
    assert told["said"] == [["The disk is full or cannot be written, so nothing new is kept ", True]]
    assert told["rows"] == told["distinct"] == told["counted"] == 500 * told["batches"]
    assert told["keys"] == [7, 7]
    assert told["broken_after"] is None
    assert told["entry_refused"]
    assert told["vessels"] == ["Vessel"]
    assert told["reader_errors"] == []
    if fails_at == "checkpoint":
        assert "The store is reopened: FATAL" in done.stderr
