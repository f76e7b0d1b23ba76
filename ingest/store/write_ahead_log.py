"""What a write-ahead log of DuckDB holds, read without DuckDB: whether all that was committed to it can be replayed.

DuckDB itself does not say. Tried with DuckDB 2.0 on the log of a killed writer:

- cut short, or with a wrong size in the middle: it opens in silence and with what stands before that place;
- a wrong byte in an entry: an error that names the log, nothing is changed (the checksum of each entry is compared);
- a wrong byte in the head, or the log of another database: it opens in silence as if there were no log, and deletes
  the log at the next checkpoint;
- a log whose database is gone: it makes a new database and deletes the log.

So the log is read here first. Its form, as that version writes it: a head (fields 100 to 103: kind, version, the
database's identifier, the number of the checkpoint that it follows), then entries, each of a size and a checksum in
eight bytes each, little-endian, and the entry; an entry begins with field 100, its kind. Every transaction ends with an
entry of the kind *flush*. A test makes a log anew and reads it, so that a version of DuckDB that writes another form is
noticed.
"""

from __future__ import annotations

import mmap
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

_KIND: Final = b"\x64\x00"
_HEAD: Final = _KIND + b"\x62\x65\x00\x02\x66\x00\x10"  # kind 98: version; 101: version 2; 102: sixteen bytes follow
_CHECKPOINT: Final = 0x63
_FLUSH: Final = 0x64
_FRAME: Final = 16
_WORD: Final = 2**64 - 1

_BLOCK: Final = 4096
_IDENTIFIER_AT: Final = 124
"""Where the identifier stands in the first block of a database; the second and third bear checkpoint numbers."""


@dataclass(frozen=True, slots=True)
class LogState:
    """What a log holds.

    Attributes
    ----------
    size, good
        Bytes of the file, and of it the bytes up to the end of the last transaction that can be replayed.
    transactions, lost
        How many can be replayed, and how many are seen behind a damaged place.
    damage
        What is wrong with it beyond an end in the middle of a transaction; None where nothing is.
    """

    size: int
    good: int
    transactions: int
    lost: int = 0
    damage: str | None = None

    @property
    def torn(self) -> int:
        """Bytes behind the last whole transaction: a write that was cut off."""
        return self.size - self.good


def examine(log: Path, database: Path) -> LogState:
    """Read the log beside a database.

    Raises
    ------
    OSError
        If one of the two cannot be read.
    """
    size = log.stat().st_size
    if size == 0:
        return LogState(0, 0, 0)
    with log.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        head = _head(data[:128])
        if head is None:
            # Cut off while the head was written: nothing was committed to it yet.
            begun = size <= len(_HEAD) + 64 and _HEAD.startswith(data[: min(size, len(_HEAD))])
            damage = None if begun else "its head cannot be read"
            return LogState(size, 0, 0, _flushes(data, 0), damage)
        began, identifier, checkpoint = head
        state, folded_in = _entries(data, began)
    if state.damage is None and (foreign := _foreign(database, identifier, checkpoint, folded_in)) is not None:
        return LogState(size, 0, 0, state.transactions, foreign)
    return state


def _entries(data: mmap.mmap, began: int) -> tuple[LogState, bool]:
    """Go from entry to entry; whether one says that the database has taken all of it in."""
    size, at, good = len(data), began, began
    transactions = lost = 0
    damage: str | None = None
    folded_in = False
    while at + _FRAME <= size:
        length = int.from_bytes(data[at : at + 8], "little")
        said = int.from_bytes(data[at + 8 : at + _FRAME], "little")
        end = at + _FRAME + length
        entry = data[at + _FRAME : min(end, size)]
        if length == 0 and not any(data[at:size]):
            break  # room that the file system added behind the end
        if end > size or entry[:2] != _KIND:
            # The last write, cut off: or a wrong size, with whole transactions somewhere behind it.
            more = _flushes(data, at + _FRAME)
            if damage is None and more:
                damage = f"the entry at byte {at:,} has an impossible size"
            lost += more
            break
        sound = checksum(entry) == said
        if not sound and damage is None:
            damage = f"the entry at byte {at:,} is not what was written (its checksum differs)"
        kind = entry[2]
        if kind == _CHECKPOINT:
            folded_in = True
        at = end
        if kind == _FLUSH:
            if damage is None:
                transactions, good = transactions + 1, at
            else:
                lost += 1
    return LogState(size, good, transactions, lost, damage), folded_in


_FLUSH_ENTRY: Final = _KIND + bytes([_FLUSH]) + b"\xff\xff"


def _flushes(data: mmap.mmap, begin: int) -> int:
    """Ends of transactions that can be recognized although the way from entry to entry is lost."""
    count, at = 0, data.find(_WHOLE_FLUSH, begin)
    while at >= 0:
        count, at = count + 1, data.find(_WHOLE_FLUSH, at + len(_WHOLE_FLUSH))
    return count


def _head(data: bytes) -> tuple[int, bytes, int] | None:
    """Where the entries begin, the database's identifier, and the number of the checkpoint before it."""
    if not data.startswith(_HEAD):
        return None
    at, numbers = len(_HEAD), []
    try:
        for _ in range(16):
            number, at = _number(data, at)
            numbers.append(number)
        if data[at : at + 2] != b"\x67\x00":
            return None
        checkpoint, at = _number(data, at + 2)
        if data[at : at + 2] != b"\xff\xff":
            return None
        return at + 2, bytes(numbers), checkpoint
    except (IndexError, ValueError):
        return None


def _number(data: bytes, at: int) -> tuple[int, int]:
    """A number in groups of seven bits (LEB128), and where it ends."""
    number = shift = 0
    while True:
        byte = data[at]
        number, shift, at = number | (byte & 127) << shift, shift + 7, at + 1
        if byte < 128:
            return number, at


def _foreign(database: Path, identifier: bytes, checkpoint: int, folded_in: bool) -> str | None:
    """Why DuckDB would pass over the log in silence: it follows another database, or another state of it."""
    with database.open("rb") as file:
        blocks = file.read(3 * _BLOCK)
    if len(blocks) < 3 * _BLOCK or blocks[8:12] != b"DUCK":
        return None  # the database's own fault, and DuckDB says it
    if blocks[_IDENTIFIER_AT : _IDENTIFIER_AT + 16] != identifier:
        return "it was written for another database"
    now = max(int.from_bytes(blocks[at + 8 : at + 16], "little") for at in (_BLOCK, 2 * _BLOCK))
    if checkpoint == now or (folded_in and checkpoint == now - 1):
        return None
    return f"it follows checkpoint {checkpoint} of the database, which is at checkpoint {now}"


_TIMES: Final = np.uint64(0xBF58476D1CE4E5B9)
_MIX: Final = 0xC6A4A7935BD1E995


def checksum(data: bytes) -> int:
    """DuckDB's checksum: of every eight bytes a product, and of the rest a MurmurHash64A of that seed.

    Source: the checksums in the logs and databases that DuckDB 2.0 writes, which a test compares.
    """
    whole = len(data) // 8
    words = np.frombuffer(data, "<u8", whole)
    result = 5381 ^ int(np.bitwise_xor.reduce(words * _TIMES)) if whole else 5381
    rest = data[8 * whole :]
    if not rest:
        return result
    mixed = 0xE17A1465 ^ (len(rest) * _MIX & _WORD)
    mixed = (mixed ^ int.from_bytes(rest, "little")) * _MIX & _WORD
    mixed = (mixed ^ mixed >> 47) * _MIX & _WORD
    return result ^ mixed ^ mixed >> 47


_WHOLE_FLUSH: Final = (
    len(_FLUSH_ENTRY).to_bytes(8, "little") + checksum(_FLUSH_ENTRY).to_bytes(8, "little") + _FLUSH_ENTRY
)
"""The end of a transaction with its size and checksum, by which it is recognized."""


# -- what a damaged log still holds


_USE_TABLE: Final = 0x19
_INSERT: Final = 0x1A


@dataclass(frozen=True, slots=True)
class LoggedRows:
    """Rows that were added, as entries of a log, without anything that was changed or taken away.

    Attributes
    ----------
    entries
        Whole transactions, to stand behind `head_for` of a database with the same tables.
    rows
        How many rows of each table.
    columns
        How many columns each table had.
    unreadable
        Pieces that were passed over because they are not what was written.
    """

    entries: bytes
    rows: dict[str, int]
    columns: dict[str, int]
    unreadable: int


def rows_added(log: Path, begin: int) -> LoggedRows:
    """The rows that the transactions from a byte on added, whatever is wrong between them.

    Rows that were added can be taken in without what stood before them; changes and removals cannot, because they name
    their rows by place.
    """
    data = log.read_bytes()
    head = _head(data[:128])
    at = max(begin, head[0] if head is not None else 0)
    kept, rows, columns = bytearray(), Counter[str](), dict[str, int]()
    pending = _Pending()
    unreadable = 0
    while at + _FRAME <= len(data) and any(data[at : at + _FRAME]):
        end = at + _FRAME + int.from_bytes(data[at : at + 8], "little")
        entry = data[at + _FRAME : end]
        if end > len(data) or entry[:2] != _KIND:
            unreadable += 1
            at = data.find(_WHOLE_FLUSH, at + 1)  # the next place where a transaction ends, and so another begins
            if at < 0:
                break
            pending, at = _Pending(), at + len(_WHOLE_FLUSH)
            continue
        if checksum(entry) != int.from_bytes(data[at + 8 : at + _FRAME], "little"):
            unreadable += 1
            pending.table = None  # the rows behind may be another table's
        elif entry[2] == _FLUSH:
            if pending.rows:
                kept += pending.entries + _WHOLE_FLUSH
                rows.update(pending.rows)
                columns |= pending.columns
            pending = _Pending()
        else:
            pending.take(entry, data[at:end])
        at = end
    return LoggedRows(bytes(kept), dict(rows), columns, unreadable)


class _Pending:
    """The additions of a transaction whose end has not been seen yet."""

    def __init__(self) -> None:
        self.table: str | None = None
        self.entries = bytearray()
        self.rows = Counter[str]()
        self.columns: dict[str, int] = {}

    def take(self, entry: bytes, framed: bytes) -> None:
        if entry[2] == _USE_TABLE:
            self.table = _table_of(entry)
        elif entry[2] != _INSERT or self.table is None:
            return
        else:  # field 101, a chunk: its field 100 counts the rows, 101 the columns
            rows, at = _number(entry, 7)
            self.rows[self.table] += rows
            self.columns[self.table] = _number(entry, at + 2)[0]
        self.entries += framed


def _table_of(entry: bytes) -> str | None:
    """The table's name: the second text of the entry, each behind its length."""
    try:
        length, at = _number(entry, 8)
        length, at = _number(entry, at + length)
        return entry[at : at + length].decode()
    except (IndexError, UnicodeDecodeError):
        return None


def head_for(database: Path) -> bytes:
    """The head of a log that follows a closed database as it stands."""
    with database.open("rb") as file:
        blocks = file.read(3 * _BLOCK)
    identifier = blocks[_IDENTIFIER_AT : _IDENTIFIER_AT + 16]
    checkpoint = max(int.from_bytes(blocks[at + 8 : at + 16], "little") for at in (_BLOCK, 2 * _BLOCK))
    return _HEAD + b"".join(map(_in_sevens, identifier)) + b"\x67\x00" + _in_sevens(checkpoint) + b"\xff\xff"


def _in_sevens(number: int) -> bytes:
    """The reverse of `_number`."""
    groups = []
    while number > 127:
        groups.append(number & 127 | 128)
        number >>= 7
    return bytes([*groups, number])
