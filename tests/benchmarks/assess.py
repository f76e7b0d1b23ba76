"""How long an assessment takes, with a naive least-squares fit in the same run.

One command: ``python tests/benchmarks/assess.py``. It times one batch of 14 days at 15-minute spacing, how the time
grows with readings and with the number of earlier batches, a thousand batches on two processes, and `learn`.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from scipy.optimize import curve_fit  # noqa: E402

from analysis import Batch, FinishedBatch, Priors, assess, learn  # noqa: E402
from ingest import threads  # noqa: E402
from sample_data.kinetics import Recipe, simulate  # noqa: E402
from sample_data.sensors import Float, sample  # noqa: E402
from tests.benchmarks.forecast_methods import _four, _hours, _start  # noqa: E402

threads.one_for_linear_algebra()  # here, so that also the processes that are spawned do so

PITCHED = datetime(2031, 3, 1, tzinfo=UTC)
_shared: dict[str, Any] = {}


def batch_of(days: float, interval_h: float, seed: int, yeast: str = "yeast 0") -> tuple[Batch, pl.DataFrame]:
    """One invented ale with a decent float."""
    rng = np.random.default_rng(seed)
    extract = rng.uniform(1.042, 1.060) * 1000 - 1000
    extract /= 0.388
    recipe = Recipe(
        extract, (0.1 * extract, 0.05 * extract, 0.42 * extract, 0.13 * extract), half=(4.0, 8.0, 11.0, 16.0),
        settled_share=0.35, fading=0.0006, lag_h=float(rng.uniform(6, 16)), growth=float(rng.uniform(0.1, 0.15)),
    )  # fmt: skip
    steps = int(days * 48) + 2
    warmth = np.full((1, steps), 19.0 + rng.normal(0, 1))
    course = simulate([recipe], warmth, np.ones((1, steps)))
    rows = sample(
        Float(interval_h=interval_h), course.times_h, course.gravity_sg[0], warmth[0], course.activity[0],
        until_h=days * 24, rng=rng,
    )  # fmt: skip
    stamps = np.datetime64(PITCHED.replace(tzinfo=None), "us") + (rows.at_h * 3.6e9).astype("timedelta64[us]")
    frame = pl.DataFrame(
        {
            "measured_at": pl.Series(stamps).dt.replace_time_zone("UTC"),
            "gravity_sg": rows.gravity_sg,
            "temperature_c": rows.temperature_c,
            "by_hand": np.zeros(len(rows.at_h), dtype=bool),
        }
    )
    batch = Batch(
        pitched_at=PITCHED, original_gravity_sg=1 + 0.000388 * extract, yeast=yeast, drink="ale",
        expected_attenuation=(0.72, 0.86),
    )  # fmt: skip
    return batch, frame


def milliseconds(call: Callable[[], object], times: int) -> tuple[float, float, float]:
    """Median and 90th percentile of a call's time and its median processor time, after one that does not count."""
    call()
    took, worked = [], []
    for _ in range(times):
        began, busy = time.perf_counter(), time.process_time()
        call()
        took.append(1000 * (time.perf_counter() - began))
        worked.append(1000 * (time.process_time() - busy))
    return float(np.median(took)), float(np.quantile(took, 0.9)), float(np.median(worked))


def naive(batch: Batch, readings: pl.DataFrame) -> object:
    """The plain least-squares logistic on every reading."""
    t, g = _hours(readings, batch)
    try:
        return curve_fit(_four, t, g * 1000, p0=_start(t, g * 1000, None, 4), maxfev=2000)
    except RuntimeError:
        return None


def _init(text: str) -> None:
    _shared["priors"] = Priors.from_json(text)
    _shared["batches"] = [batch_of(14, 0.25, k) for k in range(20)]


def _assess(k: int) -> bool:
    batch, readings = _shared["batches"][k % 20]
    return assess(readings, batch, now=PITCHED + timedelta(days=3 + k % 11), priors=_shared["priors"]).finished


def _worked(_: int) -> float:
    time.sleep(0.3)  # so that each of the two processes answers once
    return time.process_time()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=40, help="calls per figure")
    parser.add_argument(
        "--batches", type=int, default=1000, help="batches for the run on two processes; 0 leaves it out"
    )
    parser.add_argument("--earlier", type=int, default=500, help="finished batches for `learn`; 0 leaves it out")
    args = parser.parse_args()
    earlier = [FinishedBatch(*batch_of(12, 0.5, 10_000 + k, f"yeast {k % 9}")) for k in range(max(args.earlier, 48))]
    priors = learn(earlier[:48])
    cases = [batch_of(14, 0.25, k) for k in range(6)]
    print(f"{'':58} median    p90  processor")

    def row(what: str, figures: tuple[float, float, float]) -> None:
        print(f"{what:58} {figures[0]:6.1f} {figures[1]:6.1f} {figures[2]:6.1f} ms", flush=True)

    for day in (3, 6, 14):
        now = PITCHED + timedelta(days=day)
        spread = [
            milliseconds(lambda c=c, n=now: assess(c[1], c[0], now=n, priors=priors), args.times // 4) for c in cases
        ]
        row(f"assess, {day} of 14 days at 15 min", tuple(np.median(spread, axis=0)))
    spread = [milliseconds(lambda c=c: naive(*c), args.times // 4) for c in cases]
    row("curve_fit of the 4-parameter logistic, 14 days", tuple(np.median(spread, axis=0)))
    for interval in (1.0, 0.25, 1 / 15, 1 / 60):
        batch, readings = batch_of(14, interval, 3)
        now = PITCHED + timedelta(days=14)
        row(f"assess, {len(readings)} readings over 14 days", milliseconds(
            lambda b=batch, r=readings, n=now: assess(r, b, now=n, priors=priors), args.times // 4))  # fmt: skip
    if args.earlier:
        began = time.perf_counter()
        whole = learn(earlier)
        print(f"learn over {len(earlier)} finished batches: {time.perf_counter() - began:.1f} s")
        began = time.perf_counter()
        learn(earlier[:1], start=whole)
        print(f"learn one more by start: {time.perf_counter() - began:.2f} s")
        batch, readings = cases[0]
        now = PITCHED + timedelta(days=14)
        row(f"assess with priors of {len(earlier)} batches", milliseconds(
            lambda: assess(readings, batch, now=now, priors=whole), args.times // 4))  # fmt: skip
    if args.batches:
        with get_context("spawn").Pool(2, _init, (priors.to_json(),)) as pool:
            pool.map(_assess, range(20))
            began = time.perf_counter()
            pool.map(_assess, range(args.batches), chunksize=25)
            print(f"{args.batches} batches on two processes: {time.perf_counter() - began:.1f} s", end="")
            print(f"; {sum(pool.map(_worked, range(2), chunksize=1)):.1f} s of processor time at most")


if __name__ == "__main__":
    main()
