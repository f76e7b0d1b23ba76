"""A cellar's part of a dataset: every batch that was pitched, with its calibrated readings, by month of pitching.

Several cellars may write into one directory, each its own part; an earlier one of the same cellar is replaced as a
whole.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import polars as pl

from ingest import file_modes
from ingest.control import Progress
from ingest.dataset.layout import (
    BATCH_ROWS,
    BATCHES_TABLE,
    LESSONS,
    LESSONS_FILE,
    MOVING,
    PART_FILE,
    READINGS_ROWS,
    READINGS_TABLE,
    batch_to_json,
    cellar_folder,
)
from ingest.errors import EntryError
from ingest.model import BatchRecord
from ingest.monitoring import Outlooks
from ingest.store import Store

_TABLES: Final = (READINGS_TABLE, BATCHES_TABLE, LESSONS)
_WRITING: Final = ".writing-"
_LONGEST_NAME: Final = 200
"""Bytes of a folder's name; most file systems hold 255."""


@dataclass(frozen=True, slots=True)
class Partitioned:
    """What was written."""

    directory: str
    cellar: str
    batches: int
    readings: int
    months: int


def export_partitioned(
    store: Store,
    directory: Path,
    *,
    cellar: str | None = None,
    outlooks: Outlooks | None = None,
    progress: Progress = lambda _: None,
) -> Partitioned:
    """Write this cellar's part of the dataset; `cellar` is its name there, the cellar's own unless given.

    Raises
    ------
    EntryError
        If another cellar has that name there, or nothing can be written.
    """
    name = store.preferences().cellar_name if cellar is None else cellar.strip()
    folder = cellar_folder(name)
    if not name or len(folder.encode()) > _LONGEST_NAME:
        raise EntryError("cellar", "the cellar's name there is empty or too long", "Give a short one with --cellar.")
    records = sorted(store.all(BatchRecord), key=lambda each: (each.pitched_at, each.batch_id))
    try:
        file_modes.make_directory(directory)
        _check_name(directory, folder, name, records)
        priors = (outlooks or Outlooks(store)).learn()
        with _aside(directory, folder) as aside:
            counted = _write_months(store, records, aside, folder, progress)
            lessons = aside / LESSONS / folder / LESSONS_FILE
            lessons.parent.mkdir(parents=True)
            lessons.write_text(priors.to_json() if priors is not None else "", encoding="utf-8")
    except OSError as error:
        problem = f"{directory} cannot be written ({error.strerror or error})"
        raise EntryError("path", problem, "Choose another.") from error
    return Partitioned(str(directory), name, len(records), *counted)


def _write_months(
    store: Store, records: list[BatchRecord], aside: Path, folder: str, progress: Progress
) -> tuple[int, int]:
    """How many readings and months were written."""
    by_month: dict[str, list[BatchRecord]] = {}
    for record in records:
        by_month.setdefault(f"{record.pitched_at:%Y-%m}", []).append(record)
    written = done = 0
    for month, those in by_month.items():
        frames = []
        for record in those:
            found = store.readings_of(record.batch_id).with_columns(batch_id=pl.lit(record.batch_id))
            frames.append(found.select(READINGS_ROWS.names()).cast(READINGS_ROWS))
            done += 1
            progress(f"batch {done} of {len(records)} ({100 * done // len(records)} %)")
        readings = pl.concat(frames)
        written += readings.height
        rows = pl.DataFrame([_row(store, record) for record in those], schema=BATCH_ROWS, orient="row")
        for table, frame in ((READINGS_TABLE, readings), (BATCHES_TABLE, rows)):
            file = aside / table / folder / f"pitched={month}" / PART_FILE
            file.parent.mkdir(parents=True)
            frame.write_parquet(file, compression="zstd")
    return written, len(by_month)


def _row(store: Store, record: BatchRecord) -> tuple[object, ...]:
    batch = store.batch(record.batch_id)
    return (
        record.batch_id,
        record.name,
        record.drink,
        record.yeast,
        record.pitched_at,
        record.ended_at,
        record.original_gravity_sg,
        batch_to_json(batch),
    )


def _check_name(directory: Path, folder: str, name: str, records: list[BatchRecord]) -> None:
    """Refuse to replace another cellar's part: one of which no batch is ours."""
    files = sorted((directory / BATCHES_TABLE / folder).glob(f"*/{PART_FILE}"))
    theirs = {batch_id for file in files for batch_id in pl.read_parquet(file, columns=["batch_id"])["batch_id"]}
    if theirs and theirs.isdisjoint(record.batch_id for record in records):
        problem = f"another cellar is called {name!r} in {directory}"
        raise EntryError("cellar", problem, "Give this one another name there with --cellar.")


@contextmanager
def _aside(directory: Path, folder: str) -> Iterator[Path]:
    """A place to write into; where the block ends well, it takes the place of this cellar's earlier part.

    A kill before leaves the earlier part as it was. One while the tables change places leaves a `.moving-` directory,
    by which a reader knows; the next export puts it right.
    """
    aside, moving = directory / f"{_WRITING}{folder}", directory / f"{MOVING}{folder}"
    shutil.rmtree(aside, ignore_errors=True)
    aside.mkdir(mode=file_modes.DIRECTORY)
    try:
        yield aside
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    for file in aside.rglob("*.*"):
        if file.is_file():
            _on_disk(file)
    shutil.rmtree(moving, ignore_errors=True)
    aside.rename(moving)
    for table in _TABLES:
        place = directory / table / folder
        shutil.rmtree(place, ignore_errors=True)
        place.parent.mkdir(exist_ok=True)
        with suppress(FileNotFoundError):  # a cellar without batches has none of the tables
            (moving / table / folder).rename(place)
    shutil.rmtree(moving)


def _on_disk(file: Path) -> None:
    with file.open("rb+") as opened:
        os.fsync(opened.fileno())
