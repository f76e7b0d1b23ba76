"""What an export says of itself, and whether its files are what it says; and writing one so that none is ever half."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from ingest.errors import ImportFileError
from ingest.file_modes import FILE
from ingest.store import NEWEST

MANIFEST: Final = "cellar.json"
_WRITING: Final = ".writing"
_WRITTEN: Final = ".written"

MOST_ROWS: Final = 100_000_000
"""Rows of one table that are taken in: ten times the readings for which the store is made."""


@contextmanager
def written_aside(directory: Path) -> Iterator[Path]:
    """A directory to write an export into; where the block ends well, it takes the place of the one in `directory`.

    Everything is written into `.writing` first, which becomes `.written` once it is whole and on the disk, and only
    then are files moved over those of the earlier export. A kill before leaves the earlier one; a kill after leaves the
    new one in `.written`, from which `file_of` reads, and the next export finishes the move.
    """
    _finish(directory)
    aside = directory / _WRITING
    shutil.rmtree(aside, ignore_errors=True)
    aside.mkdir(mode=0o700)
    try:
        yield aside
        for path in aside.iterdir():
            path.chmod(FILE)
            with path.open("rb+") as file:
                os.fsync(file.fileno())
        aside.rename(directory / _WRITTEN)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    _finish(directory)


def _finish(directory: Path) -> None:
    written = directory / _WRITTEN
    if not written.is_dir():
        return
    for path in sorted(written.iterdir(), key=lambda p: p.name == MANIFEST):  # the manifest last
        path.replace(directory / path.name)
    written.rmdir()


def is_free(directory: Path) -> bool:
    """Whether a directory holds nothing but an earlier export, or nothing at all."""
    if (directory / MANIFEST).is_file():
        return True
    return all(path.name in (_WRITING, _WRITTEN) for path in directory.iterdir())


def file_of(directory: Path, name: str) -> Path:
    """Where a file of the export is; see `written_aside`."""
    moving = directory / _WRITTEN / name
    return moving if moving.is_file() else directory / name


def read_manifest(directory: Path) -> dict[str, Any]:
    """What an export says of itself: `tables`, the version of its tables, and the rows of each.

    Raises
    ------
    ImportFileError
        If there is none, it cannot be read, or a later version wrote it.
    """

    def wrong(problem: str, remedy: str) -> ImportFileError:
        return ImportFileError(directory.name, MANIFEST, problem, remedy)

    path = file_of(directory, MANIFEST)
    if not path.is_file():
        raise wrong("there is none, so this is no export", "Give an export's directory")
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise wrong(f"it cannot be read ({error})", "Export again") from error
    if not isinstance(about, dict):
        raise wrong("it is no JSON object", "Export again")
    for name in ("tables", "readings"):
        if not _is_count(about.get(name)):
            raise wrong(f"{name!r} is {about.get(name)!r}, not a number of them", "Export again")
    if about["tables"] > NEWEST:
        raise wrong("it was written by a later version of tunroom", "Upgrade this one first")
    return about


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def check_files(directory: Path, about: dict[str, Any], names: tuple[str, ...]) -> None:
    """Compare the rows of each table with the manifest; nothing is loaded for it.

    Raises
    ------
    ImportFileError
        If a file is missing or cannot be read, or has other rows than the manifest says.
    """
    for name in names:
        path, said = file_of(directory, f"{name}.parquet"), about.get(name)
        try:
            rows = pq.read_metadata(path).num_rows
        except (OSError, pa.ArrowException) as error:
            first = (str(error).splitlines() or [type(error).__name__])[0]
            raise ImportFileError(directory.name, path.name, f"it cannot be read ({first})", "Export again") from error
        if not _is_count(said) or rows != said:
            raise ImportFileError(
                directory.name,
                path.name,
                f"it has {rows:,} rows, and {MANIFEST} says {said!r}: the files are of different exports",
                "Export again into a new directory",
            )
        if rows > MOST_ROWS:
            raise ImportFileError(
                directory.name, path.name, f"it has {rows:,} rows; {MOST_ROWS:,} at most are taken in", "Export again"
            )
