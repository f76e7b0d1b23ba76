"""A new cellar of what can be read of a damaged one, which is only read.

First all of the damaged files are copied beside the new cellar, with zeros for what the disk does not give; everything
else is done with the copies. Then come the tables (`salvage.py`), with as much of the log as DuckDB can take in, and
then the rows that the rest of the log added.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ingest import file_modes
from ingest.errors import EntryError, StoreDamaged, StoreTooNew
from ingest.store import refusals, salvage, write_ahead_log
from ingest.store.duckdb_file import owned_elsewhere
from ingest.store.migrations import NEWEST
from ingest.store.store import Store

Progress = Callable[[str], None]

COPIES: Final = "damaged"
"""The directory in the new one that holds the files as they were."""

_SECTOR: Final = 4096
"""Bytes that are tried at once where a disk refuses more."""

_NOT_IN_IT: Final = ("schema_version", "report_old", "report_new")


@dataclass(frozen=True, slots=True)
class Repaired:
    """What stands in the new cellar, and what does not.

    Attributes
    ----------
    directory
        Where the new cellar is.
    copies
        Where the files are as they were.
    readings
        Readings in the new cellar.
    tables
        Rows of every other table in the new cellar.
    missing
        A sentence for each thing that could not be read, with its number where it is known; empty where all was read.
    """

    directory: str
    copies: str
    readings: int
    tables: dict[str, int]
    missing: tuple[str, ...]


def repair(database: Path, target: Path, *, progress: Progress = lambda _: None) -> Repaired:
    """Make a new cellar in an empty directory of what can be read of a damaged database and its log.

    Raises
    ------
    EntryError
        If there is neither database nor log, or the directory is not empty.
    StoreInUse
        If a program has the cellar open.
    StoreDamaged
        If nothing can be read; the copies are kept.
    StoreTooNew
        If a later version wrote it.
    """
    logs = refusals.logs_of(database)
    if not database.is_file() and not logs:
        raise EntryError("data", f"there is no cellar in {database.parent}", "Name its directory with --data.")
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise EntryError("path", f"{target} is no empty directory", "Name one, or one that does not exist yet.")
    if database.is_file() and owned_elsewhere(database):
        raise refusals.in_use(database, None)
    copies = target / COPIES
    missing: list[str] = []
    try:
        file_modes.make_directory(copies)
        for each in [p for p in (database, *logs) if p.is_file()]:
            progress(f"copying {each.name}")
            missing += _copy_what_is_given(each, copies / each.name)
        with _scratch(target) as scratch:
            new = scratch / database.name
            made = _remake(copies / database.name, new, scratch, progress)
            progress("opening what was read")
            with Store.open(new) as store:
                rows = store.rows()
            new.rename(target / database.name)
    except OSError as error:
        raise refusals.cannot_use(target, error) from error
    readings = rows["report_old"] + rows["report_new"]
    kept = {name: count for name, count in rows.items() if name not in _NOT_IN_IT}
    return Repaired(str(target), str(copies), readings, kept, (*missing, *made))


@contextmanager
def _scratch(target: Path) -> Iterator[Path]:
    """A directory for what is on its way: under its own name the new cellar stands whole or not at all."""
    scratch = target / ".in-progress"
    file_modes.make_directory(scratch)
    try:
        yield scratch
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _remake(database: Path, new: Path, scratch: Path, progress: Progress) -> list[str]:
    """Fill a new database from the copies; sentences on what is missing."""
    base = scratch / "base.duckdb"
    taken = dict.fromkeys(refusals.logs_of(database), 0)  # up to which byte DuckDB takes each in with the database
    missing: list[str] = []
    version = None
    if database.is_file():
        shutil.copyfile(database, base)
        taken = {log: _cut_to_what_is_whole(log, database, base) for log in taken}
        try:
            version = _version_with_logs(base, taken)
        except StoreDamaged as error:
            missing.append(f"{database.name}: nothing in it can be read ({error}).")
    else:
        missing.append(f"{database.name} is not there.")
    found = {}
    if version is None:
        taken = dict.fromkeys(taken, 0)
        version = _version_of_rows(taken)
    elif version > NEWEST:
        raise StoreTooNew(
            f"{database.name} was written by a later version of tunroom (tables {version}; this version knows "
            f"{NEWEST}). Repair it with that version."
        )
    salvage.make_tables(new, version)
    if base.is_file() and not missing:
        found = salvage.read_into(new, base, progress)
    missing += _of_tables(found)
    rows = sum(each.rows for table, each in found.items() if table != "schema_version")
    for log, begin in taken.items():
        said, more = _add_logged(log, begin, version, new, scratch)
        missing, rows = missing + said, rows + more
    if not rows:
        raise StoreDamaged(
            f"Nothing could be read. {' '.join(missing)} Copies of the files as they are stand in {database.parent}: "
            "keep them, and put back a backup with: tunroom restore FILE"
        )
    salvage.set_version(new, version)
    if named := salvage.name_the_nameless(new):
        missing.append(
            f"The ids of {_many(named, 'device')} could not be read. Their readings are kept under unknown-1 and so on."
        )
    return missing


def _cut_to_what_is_whole(log: Path, database: Path, base: Path) -> int:
    """Put beside the base what DuckDB can take in of a log; the byte at which that ends."""
    state = write_ahead_log.examine(log, database)
    if state.good:
        beside = base.with_name(base.name + log.name.removeprefix(database.name))
        shutil.copyfile(log, beside)
        os.truncate(beside, state.good)
    return state.good


def _version_with_logs(base: Path, taken: dict[Path, int]) -> int:
    """The version of the tables, with the logs taken in, or without them where DuckDB refuses them."""
    try:
        return salvage.version_of(base)
    except StoreDamaged:
        if not (beside := refusals.logs_of(base)):
            raise
        for log in beside:
            log.unlink()
        taken.update(dict.fromkeys(taken, 0))
        return salvage.version_of(base)


def _version_of_rows(logs: Iterable[Path]) -> int:
    """The newest version of the tables that has as many columns as the rows in logs."""
    seen: dict[str, int] = {}
    for log in logs:
        seen |= write_ahead_log.rows_added(log, 0).columns
    for version in range(NEWEST, 0, -1):
        columns = salvage.columns_of(version)
        if all(len(columns.get(table, ())) == count for table, count in seen.items() if table != "schema_version"):
            return version
    raise StoreDamaged(f"The log holds rows of tables that this version of tunroom does not know: {', '.join(seen)}.")


def _of_tables(found: dict[str, salvage.TableRead]) -> list[str]:
    said = []
    for table, each in found.items():
        name = _called(table)
        if each.expected is None:
            said.append(f"{name}: {each.rows:,} rows were read; how many there were is not known.")
        elif each.rows < each.expected:
            gone = each.expected - each.rows
            said.append(f"{name}: {each.rows:,} of {each.expected:,} rows were read, {gone:,} could not.")
        for column, count in each.blanks.items():
            said.append(f"{name}: of {count:,} rows the value {column} could not be read; they are kept without it.")
    return said


def _add_logged(log: Path, begin: int, version: int, new: Path, scratch: Path) -> tuple[list[str], int]:
    """Add the rows that a log added behind a byte; what is missing of it, and how many they were."""
    logged = write_ahead_log.rows_added(log, begin)
    if not logged.rows:
        if begin and not logged.unreadable:
            return [], 0
        return [f"{log.name}: from byte {begin:,} on nothing in it can be read."], 0
    alone = scratch / "logged.duckdb"
    beside = alone.with_name(f"{alone.name}.wal")
    alone.unlink(missing_ok=True)
    salvage.make_tables(alone, version)
    beside.write_bytes(write_ahead_log.head_for(alone) + logged.entries)
    added = salvage.add_rows(new, alone)
    counted = ", ".join(f"{_called(table)} {count:,}" for table, count in sorted(added.items())) or "none that are new"
    lost = f" In it {_many(logged.unreadable, 'place')} could not be read." if logged.unreadable else ""
    return [
        f"{log.name}: from byte {begin:,} on only rows that were added could be taken in ({counted}). What was changed "
        f"or removed there is as it was before.{lost}"
    ], sum(added.values())


def _many(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _called(table: str) -> str:
    return "readings" if table.startswith("report_") else table.replace("_", " ")


def _copy_what_is_given(source: Path, target: Path) -> list[str]:
    """Copy a file; where the disk refuses a piece, zeros stand in its place. Says how much that was."""
    lost, at = 0, 0
    read = os.open(source, os.O_RDONLY)
    try:
        size = os.fstat(read).st_size
        with os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, file_modes.FILE), "wb") as to:
            length = 1024 * 1024
            while at < size:
                length = min(length, size - at)
                try:
                    piece = os.pread(read, length, at)
                except OSError as error:
                    if error.errno != errno.EIO:
                        raise
                    if length > _SECTOR:
                        length = _SECTOR
                        continue
                    piece, lost = bytes(length), lost + length
                if not piece:
                    break
                to.write(piece)
                at += len(piece)
                if at % (1024 * 1024) == 0:
                    length = 1024 * 1024
            to.flush()
            os.fsync(to.fileno())
    finally:
        os.close(read)
    return [f"{source.name}: the disk gave no answer for {lost:,} of {size:,} bytes."] if lost else []
