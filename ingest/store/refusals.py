"""Why a cellar's file cannot be opened, read or written: one true sentence each, with what to do."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path
from typing import Final

from ingest.errors import StoreDamaged, StoreError, StoreFull, StoreInUse

LOGS: Final = (".wal", ".wal.checkpoint", ".wal.recovery")
"""Endings of what DuckDB keeps beside a database: together with it they are the cellar."""

REPAIR: Final = "For that: tunroom repair NEW_DIRECTORY"
"""How to read what can be read; the damaged files are not changed by it."""

_DISK_FULL: Final = ("no space left", "file too large", "quota", "disk full", "not enough space")
_DAMAGED: Final = (
    "corrupt", "could not read enough bytes", "not a valid duckdb", "checksum", "replaying wal", "deserialize"
)  # fmt: skip


def logs_of(path: Path) -> list[Path]:
    """The logs beside a database that hold anything."""
    beside = (path.with_name(path.name + ending) for ending in LOGS)
    return [log for log in beside if log.is_file() and log.stat().st_size > 0]


def cannot_open(path: Path, error: Exception) -> StoreError:
    """The error for a database that DuckDB does not open."""
    said = str(error).lower()
    if "lock" in said and (owner := re.search(r"pid (\d+)", said)) is not None:
        return in_use(path, int(owner[1]))
    if "could not set lock" in said or "used by another process" in said:
        return in_use(path, None)
    if "replaying wal" in said:
        return StoreDamaged(
            f"{path}.wal, the log of the newest changes, cannot be taken in ({first_line(error)}). The database "
            f"{path.name} beside it is not to blame, and both were left as they are. Copy both to another place and "
            f"keep them; then put back a copy of the two, or read what can be read into a new cellar. {REPAIR}"
        )
    if any(word in said for word in _DAMAGED) or type(error).__name__ != "IOException":
        return damaged(path, error)
    if "permission denied" in said or "read-only file system" in said:
        return not_writable(path, first_line(error))
    return full(error)


def cannot_use(path: Path, error: OSError) -> StoreError:
    """The error for a place that the operating system refuses."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return full(error)
    if error.errno == errno.EROFS:
        return not_writable(path, "it is mounted read-only")
    if error.errno in (errno.EACCES, errno.EPERM):
        return not_writable(path, error.strerror or str(error))
    return StoreError(f"{path} cannot be used ({error.strerror or error}). Choose another with --data.")


def not_writable(path: Path, why: str) -> StoreError:
    """The error for a place that may not be written to."""
    return StoreError(
        f"{path} cannot be written to ({why}). The cellar was left as it is. Let this user write there, or mount it "
        "for writing, or choose another data directory with --data."
    )


def in_use(path: Path, pid: int | None) -> StoreInUse:
    """The error for a file that another process has open."""
    who = "another process" if pid is None else f"process {pid}"
    return StoreInUse(
        f"{path} is in use by {who}: a tunroom is already running on this data. "
        "Stop that one first, or choose another data directory with --data."
    )


def full(error: Exception) -> StoreFull:
    """The error for a write that the disk refused."""
    return StoreFull(
        f"The disk is full or cannot be written, so nothing new is kept ({first_line(error)}). "
        "Free some space: messages wait at the broker and it goes on by itself."
    )


def damaged(path: Path | None, error: Exception) -> StoreDamaged:
    """The error for a database that is not what was written, or not one of ours."""
    if path is None:
        return StoreDamaged(f"The cellar in memory is damaged ({first_line(error)}). Start again.")
    with_log = f"{path.name} and {path.name}.wal, the log of its newest changes,"
    return StoreDamaged(
        f"{path} is damaged, or no cellar of tunroom ({first_line(error)}). It was left as it is. {with_log} belong "
        "together: move both where there is one, throw neither away, and look after the disk. Then put back a copy of "
        f"the two or a backup, import your last export, or read what can be read into a new cellar. {REPAIR}"
    )


def of_a_write(path: Path | None, error: Exception) -> StoreError:
    """The error for a write that failed."""
    said = str(error).lower()
    if any(word in said for word in _DAMAGED) and not any(word in said for word in _DISK_FULL):
        return damaged(path, error)
    return full(error)


def of_a_copy(target: Path, error: Exception) -> StoreError:
    """The error for a copy that could not be written; the cellar itself goes on."""
    said = str(error).lower()
    why = "no space is left there" if any(word in said for word in _DISK_FULL) else first_line(error)
    return StoreError(
        f"{target} could not be written ({why}). The cellar itself was not touched. Choose another place."
    )


def is_damage(error: Exception) -> bool:
    """Whether DuckDB says that what it read is not what was written."""
    return any(word in str(error).lower() for word in _DAMAGED)


def check_place(path: Path) -> None:
    """Refuse a place in which a cellar cannot be kept, before DuckDB touches anything there.

    Raises
    ------
    StoreError
        If something else is in its place, a log has no database, or nothing can be written.
    """
    if path.exists() and not path.is_file():
        raise StoreError(
            f"{path} is a directory or device, where the cellar's file should be. It was left as it is: move it away, "
            "or choose another data directory with --data."
        )
    logs = logs_of(path)
    if logs and (not path.exists() or path.stat().st_size == 0):
        raise StoreDamaged(
            f"{logs[0]} is the log of a cellar whose database, {path.name}, is "
            f"{'empty' if path.exists() else 'not there'}. The log alone holds the newest changes only, and it was "
            "left as it is: put the database back beside it. Where it is lost, the rows that the log added can be read "
            f"into a new cellar. {REPAIR} To start anew, move the log away first, and keep it."
        )
    try:
        if path.exists():
            with path.open("r+b"):
                pass
        _write_a_little(path.parent)
    except OSError as error:
        raise cannot_use(path if path.exists() else path.parent, error) from error
    if path.exists() and path.stat().st_size == 0:
        path.unlink()  # holds nothing: a disk was full when it was made. DuckDB makes a new one, but reads no empty one


_LITTLE: Final = 256 * 1024
"""Bytes that must fit before a cellar is opened: an empty one has 12 KiB, and its first tables about 200 KiB."""


def _write_a_little(folder: Path) -> None:
    probe = folder / f".tunroom-probe-{os.getpid()}"
    try:
        with os.fdopen(os.open(probe, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(bytes(_LITTLE))
            file.flush()
            os.fsync(file.fileno())
    finally:
        probe.unlink(missing_ok=True)


def first_line(error: Exception) -> str:
    """What an error says, in one line."""
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
