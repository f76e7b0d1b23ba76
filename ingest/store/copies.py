"""Copies of a cellar's files, made before anything that could lose what they hold: a replay of the log, a migration."""

from __future__ import annotations

import filecmp
import logging
import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from ingest.errors import StoreDamaged, StoreError
from ingest.file_modes import FILE
from ingest.store.refusals import REPAIR, cannot_use, logs_of
from ingest.store.write_ahead_log import examine

log = logging.getLogger(__name__)

_KEPT: Final = 5
"""Copies of logs that stay after a run that stopped in order: a log has at most about 16 MB (DuckDB's own limit, after
which it folds the log into the database), so that they take 80 MB at most."""

_KEPT_WHILE_UNCLEAN: Final = 20
"""The same while runs end by kills: enough to look back, without filling the disk where it happens every minute."""


def keep_logs(database: Path) -> bool:
    """Before DuckDB replays a log: see whether it is whole, and keep a copy of it; whether there was one.

    A log that is there means that the last run did not stop in order. After the replay DuckDB deletes it.

    Raises
    ------
    StoreDamaged
        If the log is damaged. Neither file was changed.
    StoreFull
        If there is no room for the copy.
    """
    logs = logs_of(database)
    for each in logs:
        if each.name.endswith(".recovery"):  # DuckDB makes it of the other two
            continue
        try:
            state = examine(each, database)
        except OSError as error:
            raise cannot_use(each, error) from error
        if state.damage is not None:
            rest = f" and {state.lost:,} more that cannot" if state.lost else ""
            raise StoreDamaged(
                f"{each} is damaged: {state.damage}. The database beside it, {database.name}, is not to blame. The log "
                f"has {state.transactions:,} changes that can be read{rest}. Both files were left as they are. Copy "
                "both to another place and keep them. Then put back a copy of the two; or read what can be read into "
                f"a new cellar. {REPAIR} By hand: shorten the log to its first {state.good:,} bytes, or move it away "
                "where that is 0, to go on without what cannot be read."
            )
        kept = _kept_name(each)
        try:
            _copy(each, kept)
        except OSError as error:
            raise cannot_use(kept, error) from error
        log.warning(
            "The last run did not stop in order: %s holds %s changes, which are taken in now. A copy is kept as %s.",
            each.name, f"{state.transactions:,}", kept,
        )  # fmt: skip
        if state.torn:
            log.warning(
                "The last %s bytes of the log are a change that was not written to its end. After a kill this is "
                "usual, and nothing that was acknowledged is missing. Were the file cut short by something else, what "
                "stood behind could not be known; the copy holds all there was.",
                f"{state.torn:,}",
            )
    return bool(logs)


def prune(database: Path, *, unclean: bool) -> None:
    """After a start that went well: of the copies of logs keep the newest few."""
    kept = sorted(database.parent.glob(f"{database.name}.wal*.kept-*"), key=_stamp)
    for old in kept[: -(_KEPT_WHILE_UNCLEAN if unclean else _KEPT)]:
        old.unlink(missing_ok=True)
        log.info("Removed %s: newer copies of logs are there, and the cellar has been opened since.", old)


def _stamp(kept: Path) -> str:
    return kept.name.rpartition(".kept-")[2]


def _kept_name(each: Path) -> Path:
    return _unused(each.with_name(f"{each.name}.kept-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"))


def _unused(path: Path) -> Path:
    name, number = path.name, 2
    while path.exists():
        path, number = path.with_name(f"{name}-{number}"), number + 1
    return path


def before_migration(database: Path, old: int, new: int, version_of: Callable[[Path], int]) -> Path:
    """Copy a closed database, and see that the copy can be read; where it is.

    `version_of` opens a copy and says the version of its tables, or raises OSError.

    Raises
    ------
    StoreError
        If it cannot be made. The database was not changed.
    """
    if logs_of(database):
        raise StoreError(
            f"{database} could not be closed in order before its tables are changed: {database.name}.wal is still "
            "there. Nothing was changed; free some space on the disk and start again."
        )
    wanted = database.with_name(f"{database.name}.before-{old}-to-{new}-{datetime.now(UTC):%Y-%m-%d}")
    try:
        if wanted.exists() and filecmp.cmp(database, wanted, shallow=False):  # a start that was killed made it
            return wanted
        copy = _unused(wanted)
        _copy(database, copy)
        _check(copy, database.stat().st_size, old, version_of)
    except OSError as error:
        raise StoreError(
            f"The tables of {database} are to be brought from version {old} to {new}, and the copy that is made before "
            f"cannot be written ({error}). Nothing was changed. It needs {database.stat().st_size / 1e6:,.0f} MB: free "
            "some space and start again."
        ) from error
    return copy


def _check(copy: Path, size: int, version: int, version_of: Callable[[Path], int]) -> None:
    if copy.stat().st_size != size:
        raise OSError(f"{copy.name} is shorter than the database")
    found = version_of(copy)
    if found != version:
        raise OSError(f"{copy.name} holds tables of version {found}")


def _copy(source: Path, target: Path) -> None:
    """Copy a file so that under the new name stands all of it or nothing, even after a power cut."""
    part = target.with_name(f"{target.name}.part")
    try:
        with (
            source.open("rb") as read,
            os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, FILE), "wb") as to,
        ):
            shutil.copyfileobj(read, to, 1024 * 1024)
            to.flush()
            os.fsync(to.fileno())
        part.rename(target)
        if os.name == "posix":
            folder = os.open(target.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
