"""Judging every batch of a dataset: one task a part, on processes of this machine or on a Dask cluster.

A task is given paths and an instant, and gives numbers and words; no frame travels. Each is judged as its cellar would,
with what that cellar had learned, and alone: what was said of it before has no part in it.
"""

from __future__ import annotations

import functools
import importlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import polars as pl

from analysis import Assessment, assess
from analysis.errors import AnalysisError
from analysis.model import Range
from analysis.schemas import READINGS
from ingest import threads
from ingest.control import Progress
from ingest.dataset.layout import Part, batch_from_json, lessons_from, parts_of
from ingest.errors import EntryError, ImportFileError

Judged = dict[str, Any]
"""What is said of one batch: plain values."""


def judge_all(
    directory: Path,
    *,
    now: datetime,
    scheduler: str | None = None,
    workers: int | None = None,
    progress: Progress = lambda _: None,
) -> list[Judged]:
    """Judge every batch of a dataset as of `now`, in order of cellar, month and batch.

    Parameters
    ----------
    scheduler
        The address of a Dask scheduler, whose workers have tunroom and see the directory by the same path. Without
        one, processes of this machine do it.
    workers
        How many such processes; one a processor unless given. With one, it is done in this process.

    Raises
    ------
    ImportFileError
        If the directory is no dataset, or a file of it cannot be read.
    EntryError
        If the scheduler cannot be reached, or there is no Dask.
    """
    parts = parts_of(directory.absolute())
    task = functools.partial(judge_part, now=now)
    if scheduler is not None:
        done = _on_cluster(scheduler, task, parts)
    elif (count := min(workers or os.cpu_count() or 1, len(parts))) > 1:
        done = _on_processes(count, task, parts)
    else:
        done = ((part, task(part)) for part in parts)
    found: dict[Part, list[Judged]] = {}
    for part, judged in done:
        found[part] = judged
        progress(f"part {len(found)} of {len(parts)} ({100 * len(found) // len(parts)} %)")
    return [judged for part in parts for judged in found[part]]


def judge_part(part: Part, now: datetime) -> list[Judged]:
    """Judge the batches of one part.

    Raises
    ------
    ImportFileError
        If a file of it cannot be read.
    """
    threads.one_for_linear_algebra()
    priors = lessons_from(Path(part.lessons))
    try:
        rows = pl.read_parquet(part.batches, hive_partitioning=False)
        readings = pl.read_parquet(part.readings, hive_partitioning=False)
        batches = [(row, batch_from_json(row["batch"])) for row in rows.iter_rows(named=True)]
    except (OSError, ValueError, KeyError, TypeError, pl.exceptions.PolarsError) as error:
        problem = f"its files cannot be read ({error})"
        raise ImportFileError(part.cellar, part.month, problem, "Export that cellar again") from error
    said = []
    for row, batch in batches:
        own = readings.filter(pl.col("batch_id") == row["batch_id"]).select(READINGS.names())
        about = {"cellar": part.cellar, "pitched": part.month, "batch_id": row["batch_id"], "name": row["name"]}
        as_of = _moment(own, batch.pitched_at, row["ended_at"], now)
        try:
            # As in its cellar: none is judged by what it taught itself.
            others = priors and priors.without(row["batch_id"])
            said.append({**about, **_facts(assess(own, batch, now=as_of, priors=others)), "problem": None})
        except (AnalysisError, ArithmeticError, ValueError) as error:  # the others are judged all the same
            said.append({**about, **dict.fromkeys(_NOTHING), "judged_at": as_of.isoformat(), "problem": str(error)})
    return said


def _moment(readings: pl.DataFrame, pitched_at: datetime, ended_at: datetime | None, now: datetime) -> datetime:
    """As of when a batch is judged: its newest reading that has come, as its cellar does; else the end, or now."""
    newest = readings.filter(pl.col("measured_at") <= now)["measured_at"].max()
    if isinstance(newest, datetime):
        return newest.astimezone(UTC)
    return max(pitched_at, min(now, ended_at or now))


_NOTHING = (
    "phase", "finished", "stalled", "hold_met", "p_finished", "held_h", "gravity_p10_sg", "gravity_p50_sg",
    "gravity_p90_sg", "finish_p10", "finish_p50", "finish_p90",
)  # fmt: skip
"""What is known of no batch that could not be judged."""


def _facts(a: Assessment) -> Judged:
    gravity, finish = a.gravity_sg, a.finish
    return {
        "judged_at": a.now.isoformat(),
        "phase": a.phase,
        "finished": a.finished,
        "stalled": a.stalled,
        "hold_met": a.hold_met,
        "p_finished": a.p_finished,
        "held_h": a.held_h,
        **_percentiles("gravity", gravity),
        "finish_p10": _when(finish.p10) if finish else None,
        "finish_p50": _when(finish.p50) if finish else None,
        "finish_p90": _when(finish.p90) if finish else None,
    }


def _percentiles(name: str, of: Range | None) -> dict[str, float | None]:
    return {f"{name}_{each}_sg": getattr(of, each) if of else None for each in ("p10", "p50", "p90")}


def _when(instant: datetime | None) -> str | None:
    return instant.isoformat() if instant else None


Task = Callable[[Part], list[Judged]]


def _on_processes(count: int, task: Task, parts: Sequence[Part]) -> Iterator[tuple[Part, list[Judged]]]:
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        futures = {pool.submit(task, part): part for part in parts}
        try:
            for future in as_completed(futures):
                yield futures[future], future.result()
        finally:
            pool.shutdown(cancel_futures=True)


def _on_cluster(scheduler: str, task: Task, parts: Sequence[Part]) -> Iterator[tuple[Part, list[Judged]]]:
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        remedy = 'Install it with pip install "tunroom[dask]", or leave --scheduler out.'
        raise EntryError("scheduler", "Dask is not installed here", remedy) from None
    try:
        # Certificates and keys come from Dask's own settings (distributed.comm.tls), for an address with tls://.
        client = distributed.Client(scheduler)
    except (OSError, ValueError, TimeoutError) as error:
        problem = f"no Dask scheduler answers at {scheduler} ({error})"
        raise EntryError("scheduler", problem, "Look at its address, such as tcp://10.0.0.5:8786.") from error
    with client:
        futures: Iterable[Any] = client.map(task, parts, pure=False)
        of = {future.key: part for future, part in zip(futures, parts, strict=True)}
        for future in distributed.as_completed(futures):
            yield of[future.key], future.result()
