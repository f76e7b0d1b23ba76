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
            return LogState(size, 0, 0, damage=damage)
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
    whole = len(_FLUSH_ENTRY).to_bytes(8, "little") + checksum(_FLUSH_ENTRY).to_bytes(8, "little") + _FLUSH_ENTRY
    count, at = 0, data.find(whole, begin)
    while at >= 0:
        count, at = count + 1, data.find(whole, at + len(whole))
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
