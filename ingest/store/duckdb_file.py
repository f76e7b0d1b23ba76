"""The DuckDB file: who owns it, a cursor per call, one write at a time, and coming back after a full disk.

DuckDB allows one read-write process per file. A failed checkpoint invalidates the database for every handle of the
process until all of them are closed; so cursors never leave this module's context managers, which count them, and the
file can be closed and opened again under the feet of every thread.
"""

from __future__ import annotations

import itertools
import logging
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, ClassVar, Final, TypeVar, cast

import duckdb
import polars as pl

from ingest import file_modes
from ingest.errors import StoreError, StoreFull, StoreTooNew
from ingest.store import copies, refusals
from ingest.store.migrations import MIGRATIONS, NEWEST

log = logging.getLogger(__name__)

_RETRY_S: Final = 1.0
"""How long a write waits after a failure before it tries the disk again."""

_COPIES: Final = itertools.count(1)
"""Numbers of the names under which copies are attached: two may be made at once."""

Cursor = duckdb.DuckDBPyConnection
T = TypeVar("T")


class StoreFile:
    """One open DuckDB database, shared by every thread of this process."""

    _open: ClassVar[set[Path]] = set()
    _open_lock: ClassVar[threading.Lock] = threading.Lock()

    def __init__(self, path: Path | None) -> None:
        self.path = None if path is None else path.resolve()
        self.broken: str | None = None
        self.alone = threading.RLock()
        """Held by whoever writes, and kept until memory says what the file says."""
        self._turn = threading.Condition()
        self._active = 0
        self._generation = 0
        self._stale = False
        self.recall: Callable[[], None] = lambda: None
        """Called before the first write after a reopening: what is in memory may be behind the file then."""
        self.may_write: Callable[[], None] = lambda: None
        """Called before every write: raises where whoever is about to write may not."""
        self._connection: Cursor | None = None
        self._closed = False
        self._replays = False
        self._tried_at = -_RETRY_S
        self._claim()
        try:
            self._make_ready()
            self._connection = self._connect()
            self._copy_before_migration()
            self._migrate()
            self._tidy()
        except BaseException:
            self.close()
            raise

    # -- life

    def _claim(self) -> None:
        if self.path is None:
            return
        with self._open_lock:
            if self.path in self._open:
                raise refusals.in_use(self.path, os.getpid())
            self._open.add(self.path)

    def _make_ready(self) -> None:
        """Make the directory, refuse what cannot be opened, and keep a copy of a log before DuckDB replays it."""
        if self.path is None:
            return
        try:
            file_modes.make_directory(self.path.parent)
        except OSError as error:
            raise StoreError(f"{self.path.parent} cannot be used ({error.strerror}). Choose another.") from error
        if owned_elsewhere(self.path):
            return  # its log is being written; the connection says who owns it
        refusals.check_place(self.path)
        self._replays = copies.keep_logs(self.path)

    def _tidy(self) -> None:
        """After a start: nobody else may read what is ours, and of kept logs a few are enough."""
        if self.path is None:
            return
        file_modes.tighten(p for p in self.path.parent.iterdir() if p.name.startswith(self.path.name))
        copies.prune(self.path, unclean=self._replays)

    def _connect(self) -> Cursor:
        if self.path is None:
            connection = duckdb.connect(":memory:")
        else:
            new = not self.path.exists()
            try:
                connection = duckdb.connect(str(self.path))
            except duckdb.Error as error:
                refusal = refusals.cannot_open(self.path, error)
                if new and isinstance(refusal, StoreFull):
                    self.path.unlink(missing_ok=True)  # half of an empty database, which would then be "damaged"
                raise refusal from error
        connection.execute("SET TimeZone = 'UTC'")
        return connection

    @staticmethod
    def _version(cursor: Cursor) -> int:
        """The version of the tables; 0 of a new cellar."""
        try:
            [(done,)] = cursor.execute("SELECT coalesce(max(number), 0) FROM schema_version").fetchall()
        except duckdb.CatalogException:
            return 0
        return int(done)

    def _copy_before_migration(self) -> None:
        """Keep a copy of a cellar whose tables are about to be changed."""
        if self.path is None:
            return
        with self._cursor() as cursor:
            old = self._version(cursor)
        if not 0 < old < NEWEST:
            return
        with self._turn:
            connection, self._connection = self._connection, None
        assert connection is not None  # noqa: S101 - we have just asked it
        try:
            connection.execute("CHECKPOINT")  # so that the file alone holds everything
        except duckdb.Error as error:
            raise refusals.of_a_write(self.path, error) from error
        finally:
            connection.close()
        copy = copies.before_migration(self.path, old, NEWEST, _version_of)
        log.warning(
            "The tables are brought from version %d to %d. The cellar as it was is kept as %s.", old, NEWEST, copy
        )
        self._connection = self._connect()

    def _migrate(self) -> None:
        with self.writing() as cursor:
            cursor.execute(
                "CREATE TABLE IF NOT EXISTS schema_version (number INTEGER, sentence VARCHAR, made_at TIMESTAMP)"
            )
            done = self._version(cursor)
            if done > NEWEST:
                raise StoreTooNew(
                    f"{self.path} was written by a later version of tunroom (tables {done}; this version knows "
                    f"{NEWEST}). Upgrade tunroom, or open another data directory with --data."
                )
            for step in (each for each in MIGRATIONS if each.number > done):
                log.info("Tables %d: %s", step.number, step.sentence)
                cursor.execute(step.sql)
                cursor.execute(
                    "INSERT INTO schema_version VALUES (?, ?, now()::TIMESTAMP)", [step.number, step.sentence]
                )

    def close(self) -> None:
        """Wait for running calls, then close the file. A second call does nothing."""
        with self._turn:
            if self._closed:
                return
            self._closed = True
            self._turn.wait_for(lambda: self._active == 0, timeout=30)
            connection, self._connection = self._connection, None
        if connection is not None:
            connection.close()
        if self.path is not None:
            with self._open_lock:
                self._open.discard(self.path)

    # -- calls

    @contextmanager
    def _cursor(self) -> Iterator[Cursor]:
        """A cursor that is counted, so that the file is never closed under it."""
        with self._turn:
            if self._closed:
                raise StoreError("The store is closed. Open it again with Store.open(path).")
            if self._connection is None:
                self._reopen()
            connection, generation = self._connection, self._generation
            assert connection is not None  # noqa: S101 - _reopen raises where it cannot connect
            cursor = connection.cursor()
            self._active += 1
        try:
            yield cursor
        except duckdb.FatalException as error:
            raise _Invalidated(generation, error) from error
        finally:
            cursor.close()
            with self._turn:
                self._active -= 1
                self._turn.notify_all()

    def read(self, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> list[tuple[Any, ...]]:
        """The rows of a query; parameters in order, or by name."""
        given = parameters if isinstance(parameters, dict) else list(parameters)
        return self._reading(lambda cursor: cursor.execute(sql, given).fetchall())

    def frame(self, sql: str, parameters: Sequence[Any] = ()) -> pl.DataFrame:
        """The rows of a query as a frame."""
        return self._reading(lambda cursor: cast(pl.DataFrame, cursor.sql(sql, params=list(parameters)).pl()))

    def rows(self) -> dict[str, int]:
        """The rows of each table."""
        return self._reading(
            lambda cursor: _rows_of(cursor, cursor.execute("SELECT current_database()").fetchall()[0][0])
        )

    def _reading(self, ask: Callable[[Cursor], T]) -> T:
        try:
            with self._cursor() as cursor:
                return ask(cursor)
        except _Invalidated as lost:
            self._revive(lost)
        except duckdb.Error as torn:
            # Beside a write that a full disk refuses, a read may meet a block that is half there: look again after it.
            if not refusals.is_damage(torn):
                raise
            with self.alone:
                pass
        try:
            with self._cursor() as cursor:
                return ask(cursor)
        except duckdb.Error as error:
            if refusals.is_damage(error):
                raise refusals.damaged(self.path, error) from error
            raise
        except _Invalidated as lost:
            self._revive(lost)
            raise self._lost(lost) from lost.error

    @contextmanager
    def writing(self) -> Iterator[Cursor]:
        """A transaction, alone in its time; rolled back where the block raises.

        Raises
        ------
        StoreFull
            If the disk refused it. Nothing of it was kept, or all of it where the refusal came after the commit: it
            may be tried again either way, because what is there already stays one row.
        NotAllowed
            If whoever is about to write may not.
        """
        self.may_write()
        with self.alone:
            try:
                self._catch_up()
                with self._cursor() as cursor:
                    cursor.begin()
                    try:
                        yield cursor
                        cursor.commit()
                    except BaseException:
                        _roll_back(cursor)
                        raise
            except _Invalidated as lost:
                self._revive(lost)
                raise self._lost(lost) from lost.error
            except (duckdb.IOException, duckdb.TransactionException, duckdb.OutOfMemoryException) as error:
                # With one writer at a time, a transaction fails for want of disk alone, never by conflict.
                refusal = refusals.of_a_write(self.path, error)
                self.broken = str(refusal)
                raise refusal from error
            self.broken = None

    def copy_to(self, target: Path) -> dict[str, int]:
        """Write the whole database into a new file, as it is at one moment; others go on reading and writing.

        Returns
        -------
        dict[str, int]
            The rows of each table at that moment.

        Raises
        ------
        StoreError
            If it cannot be written. What was written of it is left to the caller.
        """
        name = f"copy_{next(_COPIES)}"
        try:
            with self._cursor() as cursor:
                cursor.execute(f"ATTACH '{_quoted(target)}' AS {name}")
                try:
                    cursor.begin()
                    try:
                        [(own,)] = cursor.execute("SELECT current_database()").fetchall()
                        rows = _rows_of(cursor, own)
                        cursor.execute(f'COPY FROM DATABASE "{own}" TO {name}')
                        cursor.commit()
                    except BaseException:
                        _roll_back(cursor)
                        raise
                finally:
                    cursor.execute(f"DETACH {name}")
        except _Invalidated as lost:
            self._revive(lost)
            raise self._lost(lost) from lost.error
        except duckdb.Error as error:
            raise refusals.of_a_copy(target, error) from error
        return rows

    # -- after a full disk

    def _catch_up(self) -> None:
        while self._stale:
            self._stale = False
            try:
                self.recall()
            except BaseException:
                self._stale = True
                raise

    def _revive(self, lost: _Invalidated) -> None:
        """Close every handle of an invalidated database and open it again."""
        with self._turn:
            self.broken = str(self._lost(lost))
            self._turn.wait_for(lambda: self._active == 0 or self._generation != lost.generation)
            if self._closed or self._connection is None or self._generation != lost.generation:
                return  # another thread was here first
            self._connection.close()
            self._connection = None
            log.error("The store is reopened: %s", lost.error)
            self._tried_at = -_RETRY_S
            with suppress(StoreError):  # said to the next who asks
                self._reopen()

    def _lost(self, lost: _Invalidated) -> StoreError:
        return refusals.of_a_write(self.path, lost.error)

    def _reopen(self) -> None:
        if time.monotonic() < self._tried_at + _RETRY_S:
            raise StoreFull(self.broken or "The store is being reopened. Nothing is lost; it tries again by itself.")
        self._tried_at = time.monotonic()
        try:
            self._connection = self._connect()
        except StoreError as error:
            self.broken = str(error)
            raise
        self._generation += 1
        self._stale = True


class _Invalidated(Exception):
    """The database of this generation is lost to every handle."""

    def __init__(self, generation: int, error: duckdb.Error) -> None:
        super().__init__(str(error))
        self.generation = generation
        self.error = error


def _roll_back(cursor: Cursor) -> None:
    try:
        cursor.rollback()
    except duckdb.Error as error:  # an invalidated database cannot roll back; there is nothing left to undo either
        log.debug("rollback: %s", error)


def _version_of(copy: Path) -> int:
    """The version of the tables in a copy, which is not changed."""
    try:
        with duckdb.connect(str(copy), read_only=True) as connection:
            return StoreFile._version(connection)
    except duckdb.Error as error:
        raise OSError(f"{copy.name} cannot be read: {refusals.first_line(error)}") from error


def _rows_of(cursor: Cursor, database: str) -> dict[str, int]:
    asked = "SELECT table_name FROM duckdb_tables() WHERE database_name = ? AND NOT internal ORDER BY table_name"
    names = [name for (name,) in cursor.execute(asked, [database]).fetchall()]
    counted = [cursor.execute(f'SELECT count(*) FROM "{database}"."{name}"').fetchall() for name in names]
    return {name: int(rows) for name, [(rows,)] in zip(names, counted, strict=True)}


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")


def look_into(path: Path) -> tuple[int, dict[str, int]]:
    """The version of the tables of a closed database and the rows of each; every row of them is read.

    Raises
    ------
    StoreError
        If it cannot be read, or is no cellar of this version or an earlier one.
    """
    try:
        with duckdb.connect(str(path), read_only=True) as connection:
            version = StoreFile._version(connection)
            [(own,)] = connection.execute("SELECT current_database()").fetchall()
            rows = _rows_of(connection, own)
            for name in rows:  # a count is in the file's head; a checksum is compared only where a block is read
                connection.execute(f'SELECT bit_xor(hash(each)) FROM "{name}" AS each').fetchall()
    except duckdb.Error as error:
        raise refusals.cannot_open(path, error) from error
    if not version:
        raise StoreError(f"{path} is a DuckDB database, but no cellar of tunroom. Nothing was changed.")
    if version > NEWEST:
        raise StoreTooNew(
            f"{path} was written by a later version of tunroom (tables {version}; this version knows {NEWEST}). "
            "Upgrade tunroom first."
        )
    return version, rows


def owned_elsewhere(path: Path) -> bool:
    """Whether another process holds the lock that DuckDB takes on its file. This one does not have it open."""
    if sys.platform == "win32":
        return False  # there nobody else can open the file at all, and DuckDB says so
    import fcntl

    try:
        with path.open("r+b") as file:
            fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False
