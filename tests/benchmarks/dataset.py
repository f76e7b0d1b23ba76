"""How long a dataset of many batches takes to judge: on one and two processes, on Dask with one and two workers.

One command: ``python tests/benchmarks/dataset.py --batches 300``. It invents batches of 14 days with a reading every
quarter of an hour, puts them down by cellar and month as `tunroom export --partitioned` does, judges all of them each
way, and stops if two ways differ by more than 1e-9. With ``--tls`` the cluster talks over TLS with certificates that
are made for the run. Processor time is given beside time, since other programs may hold the cores meanwhile.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from ingest.dataset import judge_all  # noqa: E402
from ingest.dataset.layout import BATCH_ROWS, READINGS_ROWS, batch_to_json, cellar_folder  # noqa: E402
from tests.benchmarks.assess import PITCHED, batch_of  # noqa: E402

NOW = datetime(2032, 6, 1, tzinfo=UTC)
DAYS, INTERVAL_H = 14.0, 0.25
SHAPES = 20
"""Different batches; the others are these again, in other months and cellars: judging takes as long."""


def make(directory: Path, batches: int, per_part: int) -> int:
    """Put the dataset down; how many parts it has."""
    shapes = [batch_of(DAYS, INTERVAL_H, seed) for seed in range(min(SHAPES, batches))]
    parts = -(-batches // per_part)
    for part in range(parts):
        cellar, month = divmod(part, 12)
        pitched = PITCHED.replace(year=PITCHED.year + (PITCHED.month - 1 + month) // 12)
        pitched = pitched.replace(month=(PITCHED.month - 1 + month) % 12 + 1)
        later = pitched - PITCHED
        rows, readings = [], []
        for number in range(part * per_part, min(batches, (part + 1) * per_part)):
            batch, frame = shapes[number % len(shapes)]
            batch, batch_id = replace(batch, pitched_at=batch.pitched_at + later), f"batch-{number}"
            rows.append(
                (batch_id, batch_id, batch.drink, batch.yeast, batch.pitched_at, None, None, batch_to_json(batch))
            )
            moved = frame.with_columns(pl.col("measured_at") + later, batch_id=pl.lit(batch_id), device_id=pl.lit("f"))
            readings.append(moved.select(READINGS_ROWS.names()).cast(READINGS_ROWS))
        folder, when = cellar_folder(f"Cellar {cellar + 1}"), f"pitched={pitched:%Y-%m}"
        for table, made in (
            ("batches", pl.DataFrame(rows, schema=BATCH_ROWS, orient="row")),
            ("readings", pl.concat(readings)),
        ):
            file = directory / table / folder / when / "part.parquet"
            file.parent.mkdir(parents=True)
            made.write_parquet(file, compression="zstd")
        lessons = directory / "lessons" / folder / "lessons.json"
        lessons.parent.mkdir(parents=True, exist_ok=True)
        lessons.write_text("")
    return parts


def timed(name: str, batches: int, judge: Callable[[], list[Any]]) -> list[Any]:
    """Judge, and print how long it took and how much of the processors it and its children used."""
    usage = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    began = time.perf_counter()
    judged = judge()
    took = time.perf_counter() - began
    after = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    busy = sum(b.ru_utime + b.ru_stime - a.ru_utime - a.ru_stime for a, b in zip(usage, after, strict=True))
    speed = f"{batches / took:6.1f} batches a second"
    print(f"{name:24} {took:7.1f} s, {speed}, {busy:7.1f} s of processors", flush=True)
    assert all(each["problem"] is None for each in judged)
    return judged


def check(one: list[Any], other: list[Any]) -> None:
    """Stop where two ways differ."""
    worst = 0.0
    for a, b in zip(one, other, strict=True):
        assert (a["batch_id"], a["phase"], a["finished"]) == (b["batch_id"], b["phase"], b["finished"])
        worst = max([worst, *(abs(v - b[k]) for k, v in a.items() if isinstance(v, float))])
    print(f"{'':24} largest difference {worst:.1e}")
    assert worst <= 1e-9


def security(folder: Path) -> Any:
    """Certificates for one run, as Dask takes them."""
    import trustme
    from distributed import Security

    authority = trustme.CA()
    leaf = authority.issue_cert("127.0.0.1")
    authority.cert_pem.write_to_path(str(folder / "ca.pem"))
    leaf.private_key_and_cert_chain_pem.write_to_path(str(folder / "leaf.pem"))
    leaf_file = str(folder / "leaf.pem")
    files = {"tls_ca_file": str(folder / "ca.pem")}
    for role in ("client", "scheduler", "worker"):
        files |= {f"tls_{role}_cert": leaf_file, f"tls_{role}_key": leaf_file}
    return Security(require_encryption=True, **files)


def on_dask(directory: Path, workers: int, tls: Path | None) -> Callable[[], list[Any]]:
    """The whole way over a cluster on this machine, with its start outside of what is timed."""
    import dask
    from distributed import LocalCluster

    warnings.simplefilter("ignore")
    secured = security(tls) if tls else None
    if tls:  # as its users would say it, in Dask's own settings
        leaf = str(tls / "leaf.pem")
        dask.config.set(
            {
                "distributed.comm.tls.ca-file": str(tls / "ca.pem"),
                "distributed.comm.tls.client.cert": leaf,
                "distributed.comm.tls.client.key": leaf,
            }
        )
    cluster = LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=None, security=secured,
        protocol="tls" if tls else "tcp", host="127.0.0.1",
    )  # fmt: skip

    def judge() -> list[Any]:
        with cluster:
            return judge_all(directory, now=NOW, scheduler=cluster.scheduler_address)

    return judge


def main() -> None:
    """Make the dataset, and judge it each way."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=300)
    parser.add_argument("--per-part", type=int, default=8, help="batches of a cellar and month")
    parser.add_argument("--tls", action="store_true", help="let the cluster talk over TLS")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        directory = Path(folder) / "dataset"
        parts = make(directory, arguments.batches, arguments.per_part)
        size = sum(file.stat().st_size for file in directory.rglob("*.parquet"))
        print(f"{arguments.batches} batches in {parts} parts, {size / 1e6:.1f} MB, {os.cpu_count()} processors")
        first = timed("one process", arguments.batches, lambda: judge_all(directory, now=NOW, workers=1))
        check(first, timed("two processes", arguments.batches, lambda: judge_all(directory, now=NOW, workers=2)))
        for workers in (1, 2):
            judge = on_dask(directory, workers, Path(folder) if arguments.tls else None)
            check(first, timed(f"Dask, workers: {workers}", arguments.batches, judge))


if __name__ == "__main__":
    main()
