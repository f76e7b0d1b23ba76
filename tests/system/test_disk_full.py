"""A full disk: nothing is acknowledged, nothing is lost, and it goes on by itself when space returns."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from typing import Any

import pytest

from ingest.store.store import Store

if sys.platform != "linux":
    pytest.skip("a running process's file size limit can be changed on Linux only", allow_module_level=True)

import resource

FREE = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
SENTENCE = "nothing is acknowledged until it can be kept"


def buffered(number: int, size: int = 2000) -> bytes:
    first = 1_772_352_000 + number * size
    return json.dumps(
        [
            {"measured_at": first + n, "gravity_sg": 1.05 + n % 97 / 1e4, "temperature_c": n % 83 / 7}
            for n in range(size)
        ]
    ).encode()


@pytest.mark.mosquitto
def test_a_full_disk_holds_acknowledgements_back_and_recovers_without_a_restart(
    mosquitto: Any, publisher: Any, ingest_process: Any, port: int, wait_until: Callable[..., None]
) -> None:
    broker = mosquitto(port)
    ingest = ingest_process(f'[broker]\nhost = "127.0.0.1"\nport = {port}\n')
    ingest.start()
    wait_until(lambda: "as tunroom" in broker.log, 60, "the connection")
    time.sleep(1)
    sender = publisher(port)
    sender.publish("tunroom/report/float-1", buffered(0), 0)
    database = ingest.data / "tunroom.duckdb"
    wait_until(lambda: any(f.stat().st_size > 100_000 for f in ingest.data.glob("tunroom.duckdb*")), 30, "a first row")
    largest = max(f.stat().st_size for f in ingest.data.glob("tunroom.duckdb*"))
    resource.prlimit(ingest.pid, resource.RLIMIT_FSIZE, (largest + 50_000, resource.RLIM_INFINITY))
    for number in range(1, 10):
        sender.publish("tunroom/report/float-1", buffered(number), number)
    wait_until(lambda: SENTENCE in ingest.log, 30, "the sentence about the disk")
    time.sleep(1)
    resource.prlimit(ingest.pid, resource.RLIMIT_FSIZE, FREE)
    wait_until(lambda: "readings can be kept again" in ingest.log, 60, "the recovery")
    wait_until(lambda: sender.pending == 0, 30, "the acknowledgement of every publish")
    time.sleep(2)
    assert ingest.stop() == 0
    with Store.open(database) as store:
        assert store.counts()["readings"] == 20_000
        assert store.counts()["rejected"] == 0
