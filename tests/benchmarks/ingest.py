"""How fast readings come in, how soon they show, and what they cost on disk and in memory.

One command: ``python tests/benchmarks/ingest.py``. It needs Mosquitto (``apt install mosquitto``), which it starts on a
free port of its own. ``--only throughput,latency`` picks parts; ``--soak-minutes 10`` adds the memory soak.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho
import polars as pl
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from ingest import service
from ingest.settings.settings import Broker, Settings
from ingest.store.store import Store

START_S = 1_700_000_000
DEVICES = 50
RECEIVE_MAXIMUM = Broker().receive_maximum
TOPIC = "tunroom/report/+"


@contextmanager
def mosquitto(folder: Path) -> Iterator[int]:
    """A broker with the settings that the README asks for; yields its port."""
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    config = folder / "mosquitto.conf"
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_inflight_messages 0\nmax_queued_messages 0\n"
        "log_type error\n"
    )
    process = subprocess.Popen([program, "-c", str(config)])
    time.sleep(0.5)
    try:
        yield port
    finally:
        process.terminate()
        process.wait(10)


def message(number: int, start_s: int) -> tuple[str, bytes]:
    """A float's report; device and instant are its own."""
    body = {
        "measured_at": start_s + number // DEVICES * 60,
        "gravity_sg": round(1.05 - number * 1e-7, 5),
        "temperature_c": 19.5,
        "battery_v": 3.9,
        "signal_dbm": -60,
    }
    return f"tunroom/report/float-{number % DEVICES}", json.dumps(body).encode()


def publish(port: int, count: int, start_s: int) -> None:
    """Publish as fast as paho can, in a process of its own."""
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    info = None
    for topic, payload in [message(n, start_s) for n in range(count)]:
        info = client.publish(topic, payload, qos=1)
    if info is not None:
        info.wait_for_publish(300)
    client.disconnect()
    client.loop_stop()


def publish_steadily(port: int, per_second: int, seconds: float, devices: int) -> None:
    """Publish at a steady pace; each message says when it was published."""
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    began = time.monotonic()
    for n in range(int(per_second * seconds)):
        ahead = began + n / per_second - time.monotonic()
        if ahead > 0:
            time.sleep(ahead)
        payload = json.dumps({"measured_at": time.time(), "gravity_sg": 1.05, "temperature_c": 19.5})
        client.publish(f"tunroom/report/steady-{n % devices}", payload, qos=1)
    time.sleep(1)
    client.disconnect()
    client.loop_stop()


def subscribe_only(port: int, client_id: str) -> None:
    """Make a session that the broker keeps."""
    client, subscribed = _bare(client_id), threading.Event()
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_connect = lambda c, *_: c.subscribe(TOPIC, 1)
    _connect(client, port)
    subscribed.wait(10)
    client.disconnect()
    client.loop_stop()


def bare_rate(port: int, count: int, client_id: str, ready: Callable[[], None]) -> float:
    """Messages a second of a subscriber that only counts and acknowledges."""
    client, done = _bare(client_id), threading.Event()
    seen, began, ended = 0, 0.0, 0.0

    def on_message(c: paho.Client, _data: Any, received: paho.MQTTMessage) -> None:
        nonlocal seen, began, ended
        if seen == 0:
            began = time.perf_counter()
        seen += 1
        c.ack(received.mid, received.qos)
        if seen == count:
            ended = time.perf_counter()
            done.set()

    client.on_message = on_message
    client.on_subscribe = lambda *_: ready()
    client.on_connect = lambda c, *_: c.subscribe(TOPIC, 1)
    _connect(client, port)
    done.wait(600)
    client.disconnect()
    client.loop_stop()
    return count / (ended - began)


def _bare(client_id: str) -> paho.Client:
    return paho.Client(CallbackAPIVersion.VERSION2, client_id, protocol=MQTTProtocolVersion.MQTTv5, manual_ack=True)


def _connect(client: paho.Client, port: int) -> None:
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 86_400
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    client.loop_start()


def our_rate(port: int, count: int, client_id: str, folder: Path, ready: Callable[[], None]) -> float:
    """Durable rows a second of the whole chain: decode, commit, acknowledge."""
    broker = Broker(host="127.0.0.1", port=port, client_id=client_id)
    with service.running(Settings(data_dir=folder, broker=broker), watch=False) as parts:
        before = parts.store.counts()["readings"]
        while not parts.subscriber.status().connected:
            time.sleep(0.001)
        ready()
        while parts.store.counts()["readings"] == before:
            time.sleep(0.0005)
        began, first = time.perf_counter(), parts.store.counts()["readings"]
        while parts.store.counts()["readings"] < before + count:
            time.sleep(0.01)
        return float(before + count - first) / (time.perf_counter() - began)


def _child(kind: str, arguments: tuple[Any, ...], ready: Any, out: Any) -> None:
    rate = bare_rate if kind == "bare" else our_rate
    began = 0.0

    def listening() -> None:
        nonlocal began
        began = time.process_time()
        ready.set()

    found = rate(*arguments, listening)
    out.put((found, (time.process_time() - began) / arguments[1] * 1e6))


def _measure(kind: str, arguments: tuple[Any, ...], meanwhile: Callable[[], None]) -> tuple[float, float]:
    """Run a subscriber in a fresh process; once it listens, do something meanwhile.

    Returns its rate, and its processor time for each message in microseconds.
    """
    spawn = get_context("spawn")
    ready, out = spawn.Event(), spawn.Queue()
    process = spawn.Process(target=_child, args=(kind, arguments, ready, out))
    process.start()
    ready.wait(60)
    meanwhile()
    rate, processor_us = out.get()
    process.join()
    return rate, processor_us


def throughput(folder: Path, count: int, rounds: int) -> None:
    """The bare subscriber and ours, in turn, while a publisher publishes, and from the broker's own store."""
    spawn = get_context("spawn")
    with mosquitto(folder) as port:
        ratios: dict[str, list[float]] = {"while publishing": [], "from a backlog": []}
        for number in range(rounds):
            rates = {}
            for kind in ("bare", "ours"):
                start_s = START_S + number * 10_000_000

                def blast(start_s: int = start_s) -> None:
                    spawn.Process(target=publish, args=(port, count, start_s)).start()

                name = f"{kind}-live-{number}"
                extra = () if kind == "bare" else (folder / "live",)
                rates[kind] = _measure(kind, (port, count, name, *extra), blast)
            _report("while publishing", number, rates, ratios)
            for kind in ("bare", "ours"):
                subscribe_only(port, f"{kind}-backlog-{number}")
            publish(port, count, START_S + number * 10_000_000)
            for kind in ("bare", "ours"):
                extra = () if kind == "bare" else (folder / f"backlog-{number}",)
                rates[kind] = _measure(kind, (port, count, f"{kind}-backlog-{number}", *extra), lambda: None)
            _report("from a backlog", number, rates, ratios)
        for mode, found in ratios.items():
            print(f"{mode}: median ratio {statistics.median(found):.2f} of {len(found)} rounds")


def _report(mode: str, number: int, rates: dict[str, tuple[float, float]], ratios: dict[str, list[float]]) -> None:
    (ours, our_us), (bare, bare_us) = rates["ours"], rates["bare"]
    ratios[mode].append(ours / bare)
    print(
        f"{mode}, round {number + 1}: {ours:,.0f} durable rows/s against {bare:,.0f} messages/s of a bare subscriber, "
        f"ratio {ours / bare:.2f}; processor time for each {our_us:.0f} µs against {bare_us:.0f} µs",
        flush=True,
    )


def latency(folder: Path, per_second: int, seconds: float) -> None:
    """From publish to a row that a query sees."""
    settings_of = Broker(host="127.0.0.1", client_id="latency")
    with mosquitto(folder) as port:
        broker = Broker(host="127.0.0.1", port=port, client_id=settings_of.client_id)
        with service.running(Settings(data_dir=folder / "latency", broker=broker), watch=False) as parts:
            while not parts.subscriber.status().connected:
                time.sleep(0.01)
            time.sleep(0.5)
            process = get_context("spawn").Process(target=publish_steadily, args=(port, per_second, seconds, 1))
            process.start()
            waits: list[float] = []
            newest: datetime | None = None
            ends = time.monotonic() + seconds + 30
            while len(waits) < int(per_second * seconds) and time.monotonic() < ends:
                since = None if newest is None else newest + timedelta(microseconds=1)
                rows = parts.store.readings_as_sent("steady-0", since=since)["measured_at"].to_list()
                now = time.time()
                waits.extend(now - row.timestamp() for row in rows)
                newest = rows[-1] if rows else newest
                time.sleep(0.01)
            process.join()
    found = np.array(waits)
    print(
        f"{len(found):,} messages at {per_second}/s: publish to visible row median {np.median(found):.3f} s, "
        f"99th percentile {np.quantile(found, 0.99):.3f} s, worst {found.max():.3f} s"
    )


def size_and_queries(folder: Path, rows: int, devices: int = 200) -> None:
    """A cellar with many readings: bytes for each, and how long the usual questions take."""
    path = folder / "large"
    random = np.random.default_rng(1)
    store = Store.open(path / "tunroom.duckdb")
    names = [f"device-{n:03d}" for n in range(devices)]
    each, chunk = rows // devices, 1000
    gravity = 1.06 - 0.05 / (1 + np.exp(-(np.arange(each) - each / 3) / (each / 12)))
    newest = datetime.now(UTC).replace(microsecond=0)
    began = time.perf_counter()
    for start in range(0, each, chunk):
        size = min(chunk, each - start)
        at = np.repeat(np.arange(start, start + size), devices)
        offset = np.tile(np.arange(devices), size)
        seconds = (at - each) * 300 + offset  # every five minutes, each device at a second of its own
        frame = pl.DataFrame(
            {
                "device_id": np.tile(np.array(names), size),
                "measured_at": pl.Series(seconds * 1_000_000).cast(pl.Duration("us")) + newest,
                "gravity_sg": np.round(gravity[at] + random.normal(0, 0.0008, at.size), 4),
                "temperature_c": np.round(19 + random.normal(0, 0.3, at.size), 1),
                "battery_v": np.round(4.1 - at / each * 0.6 + random.normal(0, 0.005, at.size), 2),
                "signal_dbm": np.round(-65 + random.normal(0, 3, at.size)),
            }
        ).with_columns(pl.col("measured_at").alias("received_at"))
        store.keep_frame(frame, topic="benchmark")
    took = time.perf_counter() - began
    store.close()
    store = Store.open(path / "tunroom.duckdb")
    store.close()  # a checkpoint
    on_disk = sum(file.stat().st_size for file in path.iterdir())
    print(f"{each * devices:,} readings kept in {took:.0f} s; {on_disk / (each * devices):.2f} bytes on disk each")
    began = time.perf_counter()
    store = Store.open(path / "tunroom.duckdb")
    print(f"opening took {time.perf_counter() - began:.2f} s")
    _time("latest reading of each device", lambda: len(store.device_statuses()) == devices)
    since = newest - timedelta(days=14)
    _time("one device's last two weeks", lambda: store.readings_as_sent(names[7], since=since).height > 4000)
    store.close()


def _time(what: str, call: Callable[[], bool]) -> None:
    times = []
    processor = time.process_time()
    for _ in range(20):
        began = time.perf_counter()
        if not call():
            raise SystemExit(f"{what}: the answer is wrong")
        times.append((time.perf_counter() - began) * 1000)
    processor = (time.process_time() - processor) * 1000 / len(times)
    print(
        f"{what}: first {times[0]:.1f} ms, median {statistics.median(times):.1f} ms, worst {max(times):.1f} ms; "
        f"{processor:.1f} ms of processor time each"
    )


def resident_mb() -> float:
    """Memory of this process, Linux only."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def soak(folder: Path, minutes: float, per_second: int = 1500) -> None:
    """Memory while readings come in at a steady pace."""
    with mosquitto(folder) as port:
        broker = Broker(host="127.0.0.1", port=port, client_id="soak")
        with service.running(Settings(data_dir=folder / "soak", broker=broker), watch=False) as parts:
            process = get_context("spawn").Process(
                target=publish_steadily, args=(port, per_second, minutes * 60, DEVICES)
            )
            process.start()
            samples: list[tuple[float, float]] = []
            began, told = time.monotonic(), 0
            while process.is_alive():
                time.sleep(2)
                samples.append(((time.monotonic() - began) / 60, resident_mb()))
                if int(samples[-1][0]) > told:
                    told = int(samples[-1][0])
                    count = parts.store.counts()["readings"]
                    print(f"  after {told} min: {count:,} readings, {samples[-1][1]:.0f} MB", flush=True)
            process.join()
            kept = parts.store.counts()["readings"]
    # The store sorts readings away every 245,760 of them; until then they are in memory, so compare highest points.
    third = len(samples) // 3
    peaks = [max(mb for _, mb in samples[start : start + third]) for start in (0, third, 2 * third)]
    print(
        f"soak: {kept:,} readings in {minutes:g} min at {per_second}/s; highest resident memory in each third: "
        + ", ".join(f"{peak:.0f} MB" for peak in peaks)
    )


def main() -> None:
    """Run the parts that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="throughput,latency,size")
    parser.add_argument("--messages", type=int, default=30_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--soak-minutes", type=float, default=0)
    options = parser.parse_args()
    parts = set(options.only.split(","))
    folder = Path(tempfile.mkdtemp(prefix="tunroom-benchmark-"))
    try:
        if "throughput" in parts:
            throughput(folder, options.messages, options.rounds)
        if "latency" in parts:
            latency(folder, 1000, 20)
        if "size" in parts:
            size_and_queries(folder, options.rows)
        if options.soak_minutes:
            soak(folder, options.soak_minutes)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
