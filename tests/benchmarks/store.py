"""The store at ten million readings: speed of keeping, bytes on disk, and how long the common questions take.

    python tests/benchmarks/store.py [--readings 10000000] [--devices 200] [--dir DIR]

Devices report every 15 minutes, interleaved as they arrive: three in four are floats with inclination, temperature,
battery and signal, two in three of these with gravity too; the fourth is a probe. Values carry the noise and the
decimals of such sensors. Everything goes through `Store.keep` in batches of up to 2,000, as it does from the wire.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).parents[2]))

from ingest import transfer
from ingest.model import Report
from ingest.store.store import Store

BEGAN = datetime(2025, 6, 15, tzinfo=UTC)
EVERY_S = 900


def sent(readings: int, devices: int, seed: int = 1) -> Iterator[list[Report]]:
    """Batches of reports in order of arrival."""
    rng = np.random.default_rng(seed)
    number = np.arange(devices)
    phase_s = rng.integers(0, EVERY_S, devices)
    is_probe, says_gravity = number % 4 == 3, number % 3 != 0
    waiting: list[Report] = []
    for turn in range(-(-readings // devices)):
        at_s = turn * EVERY_S + phase_s + rng.integers(-5, 6, devices)
        days = at_s / 86_400
        fall = 1 / (1 + np.exp(((days + number * 0.37) % 21 - 3) * 1.5))
        gravity = 1.008 + 0.006 * (number * 104_729 % 100) / 100 + 0.04 * fall
        said_sg = np.round(gravity + rng.normal(0, 0.0004, devices), 4)
        inclination = np.round(25 + (gravity - 1) * 480 + rng.normal(0, 0.15, devices), 2)
        warmth = 19 + 2 * np.sin(days * 2 * np.pi) + rng.normal(0, 0.1, devices)
        warmth = np.where(is_probe, np.round(warmth * 16) / 16, np.round(warmth, 2))
        battery = np.round(4.15 - 0.008 * (days % 60) + rng.normal(0, 0.005, devices), 2)
        signal = np.round(-65 - number % 20 + rng.normal(0, 3, devices))
        for n in np.argsort(at_s, kind="stable").tolist():
            at = BEGAN + timedelta(seconds=int(at_s[n]))
            waiting.append(
                Report(
                    device_id=f"device-{n:03}",
                    measured_at=at,
                    received_at=at + timedelta(seconds=float(rng.uniform(0.15, 1.8))),
                    inclination_deg=None if is_probe[n] else float(inclination[n]),
                    gravity_sg=float(said_sg[n]) if says_gravity[n] and not is_probe[n] else None,
                    temperature_c=float(warmth[n]),
                    battery_v=None if is_probe[n] else float(battery[n]),
                    signal_dbm=float(signal[n]),
                )
            )
        while len(waiting) >= 2000:
            yield waiting[:2000]
            waiting = waiting[2000:]
    if waiting:
        yield waiting


def milliseconds(work: Callable[[], object], repeats: int = 5) -> tuple[float, float]:
    """The median and the first of some runs."""
    spent = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        spent.append((time.perf_counter() - began) * 1e3)
    return float(np.median(spent)), spent[0]


def say(what: str, figure: str, wanted: str = "") -> None:
    print(f"{what:<58}{figure:>22}   {wanted}", flush=True)


def keeping(store: Store, readings: int, devices: int) -> list[Report]:
    spent, kept, last = [], 0, []
    for last in sent(readings, devices):
        began = time.perf_counter()
        kept += store.keep(last)
        spent.append(time.perf_counter() - began)
    say("kept", f"{kept:,} readings")
    say("durable readings a second, batches of 2,000", f"{kept / sum(spent):,.0f}", "wanted: 13,000")
    milli = np.sort(spent) * 1e3
    say(
        "one batch: median, 99th percentile, longest",
        f"{np.median(milli):.0f}, {milli[int(len(milli) * 0.99)]:.0f}, {milli[-1]:.0f} ms",
    )
    say("most memory so far", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB")
    return last


def asking(store: Store, batch: list[Report]) -> None:
    newest = max(word.measured_at for word in store.device_statuses())
    fortnight = newest - timedelta(days=14)
    devices = store.device_ids()
    for what, work in {
        "latest reading of each device": store.device_statuses,
        "one device's last two weeks": lambda: store.readings_as_sent(devices[17], since=fortnight),
        "one device's two weeks half a year back": lambda: store.readings_as_sent(
            devices[42], since=fortnight - timedelta(days=182), until=newest - timedelta(days=182)
        ),
    }.items():
        median, first = milliseconds(work)
        say(f"{what}: median, first", f"{median:.1f}, {first:.1f} ms", "wanted: 50 ms")
    repeats = milliseconds(lambda: store.keep(batch))
    say("a batch delivered again", f"{repeats[0]:.0f} ms")
    parts = [replace(report, battery_pct=50.0) for report in batch]
    say("a batch that completes 2,000 readings", f"{milliseconds(lambda: store.keep(parts), 1)[0]:.0f} ms")
    wide = [replace(batch[0], measured_at=BEGAN - timedelta(days=30)), *batch[1:]]
    say("a batch that spans the whole time", f"{milliseconds(lambda: store.keep(wide), 1)[0]:.0f} ms")


def importing(folder: Path, rows: int = 1_000_000) -> None:
    rng = np.random.default_rng(2)
    pl.DataFrame(
        {
            "measured_at": pl.datetime_range(
                BEGAN, BEGAN + timedelta(minutes=rows - 1), "1m", time_unit="us", eager=True
            ).dt.to_string("%Y-%m-%dT%H:%M:%SZ"),
            "gravity_sg": np.round(1.05 - np.arange(rows) * 4e-8 + rng.normal(0, 4e-4, rows), 4),
            "temperature_c": np.round(rng.normal(19, 0.3, rows), 2),
        }
    ).write_csv(folder / "log.csv")
    with Store.open(folder / "import") as store:
        for what in ("import of a million rows of CSV", "the same again"):
            began = time.perf_counter()
            told = transfer.import_log(store, folder / "log.csv", device_id="float")
            say(what, f"{time.perf_counter() - began:.1f} s, {told.new:,} new", "wanted: 10 s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--readings", type=int, default=10_000_000)
    parser.add_argument("--devices", type=int, default=200)
    parser.add_argument("--dir", type=Path, help="where to write (default: a temporary directory)")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.dir) as folder:
        path = Path(folder) / "bench.duckdb"
        with Store.open(path) as store:
            batch = keeping(store, given.readings, given.devices)
        say("bytes on disk for each reading", f"{path.stat().st_size / given.readings:.2f}", "wanted: 8")
        began = time.perf_counter()
        with Store.open(path) as store:
            say("opening the cellar", f"{time.perf_counter() - began:.2f} s")
            asking(store, batch)
        importing(Path(folder))


if __name__ == "__main__":
    main()
