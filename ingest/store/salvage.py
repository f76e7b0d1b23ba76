"""Read what can be read of a damaged database into a new one: table by table, row group by row group, value by value.

Tried with DuckDB 2.0: every block has a checksum, which is compared when the block is read, and a damaged block raises
without harm to the connection; a condition on the row number reads no other row groups; what is opened for reading
only, a log beside it included, is not changed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import duckdb

from ingest.errors import StoreDamaged
from ingest.store import refusals
from ingest.store.migrations import NEWEST, steps
from ingest.store.row_mapping import TABLES

Cursor = duckdb.DuckDBPyConnection

_ROW_GROUP: Final = 122_880
"""Rows that DuckDB keeps together."""

_VECTOR: Final = 2_048
"""Rows that DuckDB reads together: no smaller piece of a damaged row group is tried."""

_READING: Final = "device_key, measured_s, measured_us"
_KEYS: Final = {table.name: table.key for table in TABLES.values()} | {
    "assessment": "batch_id, made_at",
    "change": "change_id",
    "device_key": "device_key",
    "report_new": _READING,
    "report_old": _READING,
    "schema_version": "number",
}
"""What tells the rows of a table apart; of any other table all columns do."""


@dataclass(slots=True)
class TableRead:
    """What was read of one table.

    Attributes
    ----------
    expected
        The rows that it has by its own head; None where that cannot be read.
    rows
        The rows that were read.
    blanks
        Values that could not be read, by column; their rows were kept without them.
    """

    expected: int | None
    rows: int = 0
    blanks: Counter[str] = field(default_factory=Counter)


def make_tables(file: Path, version: int) -> None:
    """Make an empty cellar with the tables of a version."""
    with duckdb.connect(str(file)) as connection:
        for step in steps(0, version):
            connection.execute(step.sql)
        connection.execute("CREATE TABLE schema_version (number INTEGER, sentence VARCHAR, made_at TIMESTAMP)")


def set_version(file: Path, version: int) -> None:
    """Say that a cellar has the tables of a version, whatever could be read of that."""
    with duckdb.connect(str(file)) as connection:
        connection.execute("DELETE FROM schema_version")
        for step in steps(0, version):
            connection.execute(
                "INSERT INTO schema_version VALUES (?, ?, now()::TIMESTAMP)", [step.number, step.sentence]
            )


def version_of(damaged: Path) -> int:
    """The version of the tables: as it says, else the newest whose tables it has.

    Raises
    ------
    StoreDamaged
        If DuckDB cannot open it at all.
    """
    try:
        with duckdb.connect(str(damaged), read_only=True) as connection:
            try:
                [(said,)] = connection.execute("SELECT max(number) FROM schema_version").fetchall()
                if said:
                    return int(said)
            except duckdb.Error:
                pass
            have = _columns(connection)
    except duckdb.Error as error:
        raise StoreDamaged(refusals.first_line(error)) from error
    for version in range(NEWEST, 0, -1):
        if all(set(names) <= set(have.get(table, ())) for table, names in columns_of(version).items()):
            return version
    raise StoreDamaged("it has no tables of a cellar")


def columns_of(version: int) -> dict[str, tuple[str, ...]]:
    """The columns of each table of a version."""
    with duckdb.connect(":memory:") as connection:
        for step in steps(0, version):
            connection.execute(step.sql)
        return _columns(connection)


def _columns(cursor: Cursor, database: str | None = None) -> dict[str, tuple[str, ...]]:
    asked = (
        "SELECT table_name, column_name FROM duckdb_columns() JOIN duckdb_tables() USING (database_name, table_name) "
        "WHERE NOT duckdb_tables.internal AND database_name = coalesce(?, current_database()) ORDER BY column_index"
    )
    found: dict[str, tuple[str, ...]] = {}
    for table, column in cursor.execute(asked, [database]).fetchall():
        found[table] = (*found.get(table, ()), column)
    return found


def read_into(new: Path, damaged: Path, progress: Callable[[str], None]) -> dict[str, TableRead]:
    """Copy every table of a damaged database, as far as it can be read, into the empty tables of a new one."""
    with duckdb.connect(str(new)) as connection:
        connection.execute(f"ATTACH '{_quoted(damaged)}' AS damaged (READ_ONLY)")
        ours, theirs = _columns(connection), _columns(connection, "damaged")
        read = {}
        for table, columns in sorted(ours.items()):
            progress(f"reading {table}")
            both = [name for name in columns if name in theirs.get(table, ())]
            if both:
                read[table] = _Reader(connection, table, both).all()
        return read


class _Reader:
    """One table on its way from the damaged database into the new one."""

    def __init__(self, cursor: Cursor, table: str, columns: Sequence[str]) -> None:
        self.cursor, self.table, self.columns = cursor, table, columns
        asked = "SELECT column_name FROM duckdb_columns() WHERE table_name = ? AND NOT is_nullable"
        self.needed = {name for (name,) in cursor.execute(asked, [table]).fetchall()}
        self.read = TableRead(self._number("count(*)"))

    def all(self) -> TableRead:
        # The numbers of rows that were taken away are not given anew until their row group is written again, so that
        # the highest may be above the count; where it cannot be read, look as far again as the count.
        highest = self._number("max(rowid)")
        end = highest + 1 if highest is not None else 2 * (self.read.expected or 0) + _ROW_GROUP
        if not self._take(self.columns, 0, end):
            for begin in range(0, end, _ROW_GROUP):
                self._piece(begin, min(begin + _ROW_GROUP, end))
        return self.read

    def _piece(self, begin: int, end: int) -> None:
        if self._take(self.columns, begin, end):
            return
        if end - begin > _VECTOR:
            middle = begin + max(_VECTOR, (end - begin) // 2 // _VECTOR * _VECTOR)
            self._piece(begin, middle)
            self._piece(middle, end)
            return
        sound = [name for name in self.columns if self._reads(name, begin, end)]
        if not self.needed <= set(sound):
            return  # without its device or its time no reading means anything
        before = self.read.rows
        if self._take(sound, begin, end):
            for name in set(self.columns) - set(sound):
                self.read.blanks[name] += self.read.rows - before

    def _take(self, columns: Sequence[str], begin: int, end: int) -> bool:
        names = ", ".join(f'"{name}"' for name in columns)
        try:
            [(rows,)] = self.cursor.execute(
                f'INSERT INTO "{self.table}" ({names}) SELECT {names} FROM damaged."{self.table}" '
                "WHERE rowid >= ? AND rowid < ? ORDER BY rowid",
                [begin, end],
            ).fetchall()
        except duckdb.Error:
            return False
        self.read.rows += int(rows)
        return True

    def _reads(self, column: str, begin: int, end: int) -> bool:
        return self._number(f'bit_xor(hash("{column}"))', begin, end) is not None

    def _number(self, what: str, begin: int | None = None, end: int | None = None) -> int | None:
        where = "" if begin is None else f"WHERE rowid >= {begin} AND rowid < {end}"
        try:
            [(found,)] = self.cursor.execute(f'SELECT {what} FROM damaged."{self.table}" {where}').fetchall()
        except duckdb.Error:
            return None
        return None if found is None else int(found)


def add_rows(new: Path, logged: Path) -> dict[str, int]:
    """Add to a cellar the rows of another with the same tables; how many of each table were not there yet.

    Of an entry that both have the other's is kept, which is newer; of a reading the cellar's own.
    """
    with duckdb.connect(str(new)) as connection:
        connection.execute(f"ATTACH '{_quoted(logged)}' AS logged (READ_ONLY)")
        added = {}
        for table, columns in _columns(connection).items():
            names = ", ".join(f'"{name}"' for name in columns)
            keys = _KEYS.get(table, names)
            same = f"SELECT {keys} FROM logged.{table}"
            source = f"(SELECT DISTINCT ON ({keys}) * FROM logged.{table} ORDER BY {keys}, rowid DESC)"
            if table.startswith("report_"):
                source = f"(FROM {source} AS each ANTI JOIN report USING ({keys}))"
            else:
                connection.execute(f"DELETE FROM {table} WHERE ({keys}) IN ({same})")
            [(rows,)] = connection.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM {source}").fetchall()
            added[table] = int(rows)
        return {table: rows for table, rows in added.items() if rows}


def name_the_nameless(new: Path) -> int:
    """Give devices whose id could not be read one by their number; how many."""
    with duckdb.connect(str(new)) as connection:
        [(named,)] = connection.execute(
            "INSERT INTO device_key SELECT DISTINCT device_key, 'unknown-' || device_key FROM report "
            "WHERE device_key NOT IN (SELECT device_key FROM device_key)"
        ).fetchall()
        return int(named)


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
