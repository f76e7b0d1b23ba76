"""Every acknowledged reading is exactly one row, whatever is killed, restarted or cut meanwhile."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ingest.store.store import Store

DEVICES = 5


def reading(number: int) -> tuple[str, bytes]:
    """Odd devices tell the time, even ones only count; no two numbers give the same bytes to one device."""
    device = number % DEVICES
    body: dict[str, Any] = {"gravity_sg": 1.05, "temperature_c": 15 + number % 1000 / 100, "number": number}
    if device % 2:
        body["measured_at"] = 1_772_352_000 + number
    else:
        body["sequence"] = number
    return f"tunroom/report/device-{device}", json.dumps(body).encode()


def kept_numbers(data: Path) -> list[int]:
    store = Store.open(data / "tunroom.duckdb")
    try:
        found: list[int] = []
        for device in range(DEVICES):
            for extra in store.readings_as_sent(f"device-{device}")["extra"]:
                found.append((json.loads(extra) if isinstance(extra, str) else extra)["number"])
        assert store.counts()["rejected"] == 0
        return sorted(found)
    finally:
        store.close()


def ordeal(
    *,
    kills: int,
    restarts: int,
    cuts: int,
    mosquitto: Callable[..., Any],
    publisher: Callable[[int], Any],
    ingest_process: Callable[[str], Any],
    port: int,
    proxy_to: Callable[[int], Any],
    wait_until: Callable[..., None],
    seed: int,
    per_second: int = 300,
) -> None:
    chance = random.Random(seed)
    broker = mosquitto(port)
    proxy = proxy_to(port)
    ingest = ingest_process(f'[broker]\nhost = "127.0.0.1"\nport = {proxy.port}\n')
    ingest.start()
    wait_until(lambda: "as tunroom" in broker.log, 30, "the first connection")
    time.sleep(1)  # the session must exist before the first publish: until then nobody asked to keep anything
    sender = publisher(port)
    ills = ["kill"] * kills + ["restart"] * restarts + ["cut"] * cuts
    chance.shuffle(ills)
    number = 0
    for ill in ills:
        until = time.monotonic() + chance.uniform(0.3, 2.0)
        while time.monotonic() < until:
            for _ in range(per_second // 20):
                sender.publish(*reading(number), number)
                number += 1
            time.sleep(0.05)
        if ill == "kill":
            ingest.kill()
            time.sleep(chance.uniform(0, 0.3))
            ingest.start()
        elif ill == "restart":
            broker.restart()
        else:
            proxy.cut()
            time.sleep(chance.uniform(0.1, 1.0))
            proxy.heal()
    wait_until(lambda: sender.pending == 0, 60, "the acknowledgement of every publish")
    assert sender.acknowledged == set(range(number))
    for _ in range(20):  # only a stopped process lets us look into its file
        wait_until(lambda: ingest.ready, 60, "the start of ingest")
        time.sleep(3)
        assert ingest.stop() == 0
        kept = kept_numbers(ingest.data)
        if set(kept) >= set(range(number)):
            break
        ingest.start()
    missing = sorted(set(range(number)) - set(kept))
    assert missing == [], f"{len(missing)} of {number} acknowledged readings are missing, from {missing[:5]}"
    assert len(kept) == len(set(kept)), "some readings are there twice"
    print(f"{number} readings, {kills} kills, {restarts} broker restarts, {cuts} cuts: each is exactly one row")


@pytest.mark.mosquitto
def test_every_acknowledged_reading_is_one_row_after_kills_a_restart_and_a_cut(
    mosquitto: Any, publisher: Any, ingest_process: Any, port: int, proxy_to: Any, wait_until: Any
) -> None:
    ordeal(
        kills=3, restarts=1, cuts=1, seed=1, mosquitto=mosquitto, publisher=publisher,
        ingest_process=ingest_process, port=port, proxy_to=proxy_to, wait_until=wait_until,
    )  # fmt: skip


@pytest.mark.mosquitto
@pytest.mark.long
def test_every_acknowledged_reading_is_one_row_after_25_kills_5_restarts_and_10_cuts(
    mosquitto: Any, publisher: Any, ingest_process: Any, port: int, proxy_to: Any, wait_until: Any
) -> None:
    ordeal(
        kills=25, restarts=5, cuts=10, seed=2, mosquitto=mosquitto, publisher=publisher,
        ingest_process=ingest_process, port=port, proxy_to=proxy_to, wait_until=wait_until,
    )  # fmt: skip
