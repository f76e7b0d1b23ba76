"""A year of a cellar by an injected clock: does anything grow that should not, and is every reading kept?

    python -m tests.benchmarks.soak [--days 365] [--devices 60] [--batches 80] [--every 900] [--look-h 6]
                                    [--restarts 12] [--report-days 30] [--trace] [--dir DIR]

One process with the real store, pipeline, outlooks, watcher, notifier and pages, whose clock is a simulated one. The
cellar is opened as the first version of the tables left it, and brought up. Each device sends a JSON message every 15
minutes; batches run in the vessels one after another, are hopped, packaged and ended; the watcher looks every 6 hours;
store and service are closed and opened again now and then, each time as an upgraded program. After each simulated month
it prints memory, threads, descriptors, readings kept of those sent, the processor time of pages, and the size of the
file.
Faults of real clocks are apart from it (`tests/benchmarks/kills.py`, `tests/system`), at real speed.
"""

from __future__ import annotations

import argparse
import gc
import gzip
import json
import os
import shutil
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from dashboard import context
from ingest import threads
from ingest.model import BatchRecord, Device, EventRecord, Placement, Preferences, Vessel
from ingest.monitoring import Notifier, Outlooks, Watcher, outlook
from ingest.mqtt import Subscriber
from ingest.pipeline import Arrival, Pipeline
from ingest.service import Service
from ingest.settings import load
from ingest.store import Store
from tests.benchmarks import memory

ROOT = Path(__file__).parents[2]
MONTH = timedelta(days=30)
START = datetime(2026, 4, 1, tzinfo=UTC)
OLDEST = ROOT / "tests" / "older" / "tables-1.duckdb.gz"
REAL = datetime
TODAY = "from dashboard import navigation as n\nnext(e for e in n.PAGES if e.path == 'today').show()\n"
BATCH = "from dashboard.screens.batch import page as batch\nbatch.show()\n"


class Clock(type):
    """Stands for `datetime` in modules that ask it for the time; everything else about it is the real one."""

    at = START

    def __instancecheck__(cls, value: object) -> bool:
        return isinstance(value, REAL)


class Simulated(REAL, metaclass=Clock):
    """`datetime` with another now."""

    @classmethod
    def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
        return Clock.at.astimezone(tz)


def inject() -> None:
    """Let every module of ours that asks for the time ask the simulated clock."""
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in ("ingest", "dashboard") and getattr(module, "datetime", None) is REAL:
            source = getattr(module, "__file__", None)
            if source and "datetime.now(" in Path(source).read_text():
                module.datetime = Simulated  # type: ignore[attr-defined]
    outlook.time = SimpleNamespace(monotonic=lambda: (Clock.at - START).total_seconds())  # type: ignore[assignment]


@dataclass
class Life:
    """The cellar as it runs from one start to the next stop."""

    store: Store
    pipeline: Pipeline
    watcher: Watcher
    told: list[str]


@contextmanager
def running(data: Path, told: list[str], version: str) -> Iterator[Life]:
    settings = load(None, data, {})
    with Store.open(data / "tunroom.duckdb") as store:
        pipeline = Pipeline(store)
        pipeline.start()
        outlooks = Outlooks(store)

        def send(_urls: object, title: str, _body: str) -> bool:
            told.append(title)
            return True

        notifier = Notifier(store, send=send, version=version)
        watcher = Watcher(store, outlooks, notifier, lambda _topic, _payload: None)
        subscriber = Subscriber(settings.broker, pipeline)
        context.set_service(Service(settings, store, pipeline, subscriber, outlooks, notifier))
        try:
            yield Life(store, pipeline, watcher, told)
        finally:
            context.set_service(None)
            subscriber.close()
            pipeline.close()


@dataclass
class Cellar:
    """Which batch is where, and what its float would read."""

    devices: int
    batches: int
    days: int
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(11))

    def __post_init__(self) -> None:
        # One after another in each vessel, as evenly over the year as the numbers allow.
        each = self.days / max(1.0, self.batches / min(self.devices, max(1, self.batches // 8)))
        self.length = timedelta(days=min(35.0, max(6.0, each)))
        self.vessels = min(self.devices, max(1, int(np.ceil(self.batches * self.length.days / self.days))))
        self.pitched = [
            START + timedelta(days=float(d)) for d in np.linspace(0, self.days - self.length.days, self.batches)
        ]
        self.rate = self.rng.uniform(0.3, 0.8, self.batches)
        self.final = self.rng.uniform(1.006, 1.014, self.batches)

    def enter(self, store: Store) -> None:
        store.save(Preferences(cellar_name="A year", notify_urls=("json://localhost",)))
        for old in store.active_batches():
            store.save(replace(old, ended_at=START))
        for n in range(self.devices):
            vessel = store.save(Vessel(vessel_id=f"v{n}", name=f"Tank {n + 1}"))
            store.save(Device(device_id=f"device-{n}", kind="float"))
            store.save(Placement(device_id=f"device-{n}", vessel_id=vessel.vessel_id, from_at=START))

    def entries(self, store: Store, begin: datetime, end: datetime) -> None:
        """What a person enters between two instants."""
        for n, pitched in enumerate(self.pitched):
            batch = store.get(BatchRecord, f"b{n}")
            if batch is None and begin <= pitched < end:
                vessel = f"v{n % self.devices}"
                store.save(
                    BatchRecord(
                        batch_id=f"b{n}", name=f"Lot {n + 1}", vessel_id=vessel, pitched_at=pitched,
                        original_gravity_sg=1.052, yeast="Marrow", plan={"dry_hops": 1},
                    )
                )  # fmt: skip
            if batch is None:
                continue
            for kind, day in (("dry hop", 8), ("hops out", 11)):
                if begin <= pitched + timedelta(days=day) < end:
                    store.save(EventRecord(batch_id=f"b{n}", kind=kind, at=pitched + timedelta(days=day)))  # type: ignore[arg-type]
            if begin <= pitched + self.length < end:
                over = pitched + self.length
                store.save(EventRecord(batch_id=f"b{n}", kind="package", at=over - timedelta(hours=1)))
                store.save(replace(batch, ended_at=over))

    def gravity(self, device: int, at: datetime) -> float:
        age, which = 1e9, 0
        for n in range(device, self.batches, self.devices):
            if self.pitched[n] <= at:
                age, which = (at - self.pitched[n]).total_seconds() / 86400, n
        final = self.final[which]
        fall = (1.052 - final) / (1 + np.exp(-(age - 2.5) * 2 * self.rate[which])) if age < 1e9 else 1.052 - final
        return float(round(1.052 - fall + self.rng.normal(0, 0.0003), 4))


class Soak:
    """The year, and its sums."""

    def __init__(self, given: argparse.Namespace, data: Path) -> None:
        self.given, self.data = given, data
        self.cellar = Cellar(given.devices, given.batches, given.days)
        self.sent = 0
        self.told: list[str] = []
        self.rows: list[dict[str, float]] = []
        self.growth: memory.Growth | None = None

    def run(self) -> None:
        step = timedelta(hours=self.given.look_h)
        end = START + timedelta(days=self.given.days)
        life_lasts = timedelta(days=self.given.days / self.given.restarts)
        every = timedelta(days=self.given.report_days)
        at, month_ends, lives = START, START + every, 0
        (self.data / "tunroom.duckdb").write_bytes(gzip.decompress(OLDEST.read_bytes()))
        while at < end:
            lives += 1
            with running(self.data, self.told, f"life {lives}") as life:
                if lives == 1:
                    inject()
                    self.cellar.enter(life.store)
                    self.sent = life.store.counts()["readings"]
                stops = min(end, at + life_lasts)
                while at < stops:
                    self._step(life, at, at + step)
                    at += step
                    if at >= month_ends or at >= end:
                        self.rows.append(self._measure(life, at))
                        month_ends += every
        self._judge()

    def _step(self, life: Life, begin: datetime, end: datetime) -> None:
        Clock.at = end
        self.cellar.entries(life.store, begin, end)
        at = begin
        while at < end:
            for n in range(self.given.devices):
                said = {
                    "measured_at": (at + timedelta(seconds=n)).isoformat(),
                    "gravity_sg": self.cellar.gravity(n, at), "temperature_c": 19.5, "battery_v": 3.9,
                }  # fmt: skip
                life.pipeline.put(Arrival(f"tunroom/report/device-{n}", json.dumps(said).encode(), at))
                self.sent += 1
            at += timedelta(seconds=self.given.every)
        if not life.pipeline.settle(120):
            raise SystemExit("the pipeline did not settle")
        life.watcher.look(end)
        if life.watcher.problem:
            raise SystemExit(life.watcher.problem)

    def _measure(self, life: Life, at: datetime) -> dict[str, float]:
        pages = {"today": [], "batch": []}  # type: dict[str, list[float]]
        running_now = life.store.active_batches()
        for _ in range(3):
            pages["today"].append(_page(TODAY, None))
            if running_now:
                pages["batch"].append(_page(BATCH, running_now[0].batch_id))
        gc.collect()
        tags = dict(life.store._file.read("SELECT tag, memory_usage_bytes / 1e6 FROM duckdb_memory()"))
        held = sum(tags.values())
        kept = life.store.counts()["readings"]
        row = {
            "day": (at - START).days, "rss": _rss_mb(), **memory.parts(),
            "duckdb": float(held), "threads": threading.active_count(),
            "descriptors": sum(1 for _ in Path("/proc/self/fd").iterdir()), "kept": kept, "sent": self.sent,
            "running": len(running_now), "today": statistics.median(pages["today"]),
            "batch": statistics.median(pages["batch"]) if pages["batch"] else float("nan"),
            "mb": sum(p.stat().st_size for p in self.data.iterdir() if p.is_file()) / 1e6,
        }  # fmt: skip
        print(
            f"day {row['day']:4.0f}  {row['rss']:6.1f} MB ({row['own']:.1f} its own, {row['files']:.1f} of files; "
            f"{row['duckdb']:.1f} DuckDB's; {row['malloc']:.1f} by malloc and {row['free']:.1f} free in it; "
            f"{row['blocks']:,.0f} thousand objects of Python's)  {row['threads']:.0f} threads  "
            f"{row['descriptors']:.0f} descriptors  {kept:,} of {self.sent:,} readings  {row['running']:.0f} running  "
            f"Today {row['today']:.0f} ms  a batch {row['batch']:.0f} ms  {row['mb']:.1f} MB on disk  "
            f"{len(self.told)} messages",
            flush=True,
        )
        if self.given.trace and at >= START + timedelta(days=self.given.days / 10):
            if self.growth is None:
                self.growth = memory.Growth()
            else:
                print(self.growth.told(), flush=True)
        return row

    def _judge(self) -> None:
        days = np.array([row["day"] for row in self.rows])
        later = days > self.given.days / 10
        rows = [row for row in self.rows if row["day"] > self.given.days / 10]
        if len(rows) >= 3:
            for name, of in (("memory", "rss"), ("its own", "own"), ("DuckDB's", "duckdb"), ("malloc's", "malloc")):
                slope = np.polyfit(days[later], [row[of] for row in rows], 1)[0] * MONTH.days
                print(f"{name} after the first tenth: {slope:+.2f} MB a simulated month")
        for name in ("threads", "descriptors"):
            seen = sorted({int(row[name]) for row in rows})
            print(f"{name} after the first tenth: {', '.join(map(str, seen))}")
        last = self.rows[-1]
        print(f"kept {last['kept']:,} of {last['sent']:,}; {1e6 * last['mb'] / last['kept']:.1f} bytes a reading")


def _page(script: str, batch_id: str | None) -> float:
    from streamlit.testing.v1 import AppTest

    app = AppTest.from_string(script, default_timeout=120)
    if batch_id is not None:
        app.query_params["id"] = batch_id
    began = time.process_time()  # the processor's, since the machine may be shared
    app.run()
    spent = 1e3 * (time.process_time() - began)
    if app.exception:
        raise SystemExit(f"a page stumbled: {app.exception}")
    return spent


def _rss_mb() -> float:
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--devices", type=int, default=60)
    parser.add_argument("--batches", type=int, default=80)
    parser.add_argument("--every", type=int, default=900, help="seconds between a device's messages")
    parser.add_argument("--look-h", type=float, default=6.0, help="simulated hours between two looks of the watcher")
    parser.add_argument("--restarts", type=int, default=12)
    parser.add_argument("--report-days", type=float, default=30.0, help="simulated days between two lines")
    parser.add_argument("--trace", action="store_true", help="after the first tenth, say what grew (slower)")
    parser.add_argument("--dir", type=Path)
    given = parser.parse_args()
    data = given.dir or Path(tempfile.mkdtemp())
    data.mkdir(parents=True, exist_ok=True)
    threads.give_memory_back()  # as the service does at its start
    began = time.perf_counter()
    try:
        Soak(given, data).run()
    finally:
        if given.dir is None:
            shutil.rmtree(data, ignore_errors=True)
    print(f"{time.perf_counter() - began:.0f} s at real speed")


if __name__ == "__main__":
    main()
