"""A backup: one database file, as the cellar was at one moment, with its checksum beside it; and the way back.

It is written under another name, opened and read through, and only then gets its own: whatever has the name is whole.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ingest import file_modes
from ingest.errors import EntryError, StoreError
from ingest.store import Store, look_into

Progress = Callable[[str], None]

CHECKSUM: Final = ".sha256"
"""Ending of the file beside a backup that holds its SHA-256 (FIPS 180-4), as `sha256sum --check` reads it."""

_PART: Final = ".part"
_READINGS: Final = ("report_old", "report_new")
"""The tables of readings."""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What was written, and read again to see that it is whole."""

    file: str
    bytes: int
    sha256: str
    readings: int
    tables: dict[str, int]


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, and where; `checksum` says whether there was one to compare."""

    directory: str
    bytes: int
    checksum: str
    readings: int
    tables: dict[str, int]


def back_up(store: Store, file: Path, *, progress: Progress = lambda _: None) -> BackedUp:
    """Write the cellar into one file while it runs, and see that it can be read.

    Raises
    ------
    EntryError
        If the file is there already, or its directory is not.
    StoreError
        If it cannot be written or read again; nothing is left of it.
    """
    if file.exists():
        raise EntryError("path", f"{file} is there already", "Give another name; an earlier backup is never replaced.")
    if not file.parent.is_dir():
        raise EntryError("path", f"there is no directory {file.parent}", "Make it, or mount what belongs there, first.")
    part = file.with_name(f".{file.name}{_PART}")
    _forget(part)
    try:
        progress(f"writing {file.name}")
        said = store.copy_to(part)
        progress(f"reading {file.name}")
        _version, found = look_into(part)
        if found != said:
            raise StoreError(
                f"{file} does not hold what was written to it. Look after that disk; nothing was kept there."
            )
        part.chmod(file_modes.FILE)
        digest = _sha256_on_disk(part)
        _write_checksum(file, digest)
        part.replace(file)
    except OSError as error:
        raise StoreError(
            f"{file} could not be written ({error.strerror or error}). The cellar was not touched."
        ) from error
    finally:
        _forget(part)
    return BackedUp(str(file), file.stat().st_size, digest, _readings(found), found)


def restore(file: Path, database: Path, *, progress: Progress = lambda _: None) -> Restored:
    """Put a backup where no cellar is. The backup is only read.

    Parameters
    ----------
    database
        Where the cellar's file is to stand.

    Raises
    ------
    EntryError
        If there is no such backup, or a cellar (or its log) is there already.
    StoreError
        If it is not what was written, no cellar, of a later version, or cannot be copied; nothing is left of it.
    """
    if not file.is_file():
        raise EntryError("path", f"there is no file {file}", "Name a backup, such as tunroom-2026-03-01.duckdb.")
    there = [each for each in (database, *database.parent.glob(f"{database.name}.wal*")) if each.exists()]
    if there:
        raise EntryError(
            "data",
            f"{there[0]} is there already",
            "Name an empty directory with --data, or move that cellar away first.",
        )
    part = database.with_name(f".{database.name}{_PART}")
    try:
        file_modes.make_directory(database.parent)
        _forget(part)
        progress(f"reading {file.name}")
        expected = _read_checksum(file)
        shutil.copyfile(file, part)
        part.chmod(file_modes.FILE)
        digest = _sha256_on_disk(part)
        if expected is not None and digest != expected:
            raise StoreError(
                f"{file} is not what was written: its SHA-256 is {digest}, and {file.name}{CHECKSUM} says {expected}. "
                "Nothing was restored. Take another backup."
            )
        _version, rows = look_into(part)
        part.replace(database)
    except OSError as error:
        raise StoreError(f"{file} could not be restored to {database} ({error.strerror or error}).") from error
    finally:
        _forget(part)
    checked = "as written" if expected is not None else f"no {file.name}{CHECKSUM} beside it to compare with"
    return Restored(str(database.parent), database.stat().st_size, checked, _readings(rows), rows)


def _readings(rows: dict[str, int]) -> int:
    return sum(rows.get(name, 0) for name in _READINGS)


def _forget(part: Path) -> None:
    for each in (part, part.with_name(f"{part.name}.wal")):
        each.unlink(missing_ok=True)


def _sha256_on_disk(path: Path) -> str:
    """Once all of it is on the disk."""
    with path.open("rb") as read:
        os.fsync(read.fileno())
        return hashlib.file_digest(read, "sha256").hexdigest()


def _write_checksum(file: Path, digest: str) -> None:
    beside = file.with_name(f"{file.name}{CHECKSUM}")
    with os.fdopen(
        os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, file_modes.FILE), "w", encoding="ascii"
    ) as to:
        to.write(f"{digest}  {file.name}\n")
        to.flush()
        os.fsync(to.fileno())


def _read_checksum(file: Path) -> str | None:
    beside = file.with_name(f"{file.name}{CHECKSUM}")
    if not beside.is_file():
        return None
    words = beside.read_text(encoding="ascii", errors="replace").split()
    return words[0].lower() if words else ""
