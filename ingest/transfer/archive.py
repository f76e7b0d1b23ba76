"""An export that was zipped, unpacked with care: its manifest first, known names only, and no more than it may hold."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path, PurePosixPath
from typing import Final

from ingest.errors import ImportFileError
from ingest.file_modes import FILE

MOST_BYTES: Final = 4 * 1024**3
"""Unpacked bytes that are accepted: a reading takes 14 to 20 bytes as Parquet (measured), ten million 0.2 GB, so this
is twenty times a large cellar, and still fits on a disk."""

MOST_MANIFEST: Final = 1024**2
"""Bytes of a manifest: it has a number for each table, about 1 KB."""

MOST_TIMES: Final = 20
"""How many times as large as in the archive a member may be. Parquet is compressed already: a million readings
shrank to a 1.05th at most, constant ones too (measured). Small files, of little but their description, shrink more, and
are allowed `_SMALL` bytes anyway."""

_SMALL: Final = 1024**2
_PIECE: Final = 1024**2
_KNOWN_PACKING: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def unpack(file: Path, directory: Path, manifest: str, names: frozenset[str]) -> None:
    """Write the manifest and the members of these names that stand beside it into a directory.

    Whatever else is in the archive stays there.

    Raises
    ------
    ImportFileError
        If it cannot be read, is no export, or would unpack to more than an export can have.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            members = _chosen(file, archive, manifest, names)
            left = MOST_BYTES
            for member in members:
                left -= _write(file, archive, member, directory, left)
    except (OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, ValueError) as error:
        raise ImportFileError(file.name, "the archive", f"it cannot be read ({error})", "Export again") from error


def _chosen(file: Path, archive: zipfile.ZipFile, manifest: str, names: frozenset[str]) -> list[zipfile.ZipInfo]:
    """The members that are an export's, the manifest first; refused before anything is unpacked."""
    infos = archive.infolist()
    manifests = [m for m in infos if PurePosixPath(m.filename).name == manifest]
    if not manifests:
        raise ImportFileError(
            file.name, manifest, "there is none, so this is no export", "Give an export's directory or a zip of it"
        )
    if len(manifests) > 1:
        raise ImportFileError(
            file.name, manifest, f"it is there {len(manifests)} times", "Zip one export's directory alone"
        )
    folder = PurePosixPath(manifests[0].filename).parent
    beside = [m for m in infos if PurePosixPath(m.filename).parent == folder and not m.is_dir()]
    chosen = {manifest: manifests[0]}
    for member in beside:
        name = PurePosixPath(member.filename).name
        if name not in names:
            continue
        if name in chosen:
            raise ImportFileError(file.name, name, "it is there more than once", "Zip one export's directory alone")
        chosen[name] = member
    for name, member in chosen.items():
        _check(file, name, member, MOST_MANIFEST if name == manifest else MOST_BYTES)
    total = sum(member.file_size for member in chosen.values())
    if total > MOST_BYTES:
        raise _too_large(file, "the archive", total)
    return list(chosen.values())


def _check(file: Path, name: str, member: zipfile.ZipInfo, most: int) -> None:
    if member.flag_bits & 0x1:
        raise ImportFileError(file.name, name, "it is encrypted", "Make a zip without a password")
    if member.compress_type not in _KNOWN_PACKING:
        raise ImportFileError(
            file.name, name, "it is packed in an unusual way", "Zip it with the usual method, deflate"
        )
    if member.file_size > most:
        raise _too_large(file, name, member.file_size)
    if member.file_size > max(_SMALL, MOST_TIMES * member.compress_size):
        times = member.file_size // max(1, member.compress_size)
        raise ImportFileError(
            file.name,
            name,
            f"it would unpack to {times:,} times its size, {member.file_size / 1e6:,.0f} MB, as no export does",
            "Export again",
        )


def _write(file: Path, archive: zipfile.ZipFile, member: zipfile.ZipInfo, directory: Path, left: int) -> int:
    """Unpack one member, counting: what its head says may be untrue."""
    name = PurePosixPath(member.filename).name
    allowed, written = min(member.file_size, left), 0
    target = os.open(directory / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), FILE)
    with os.fdopen(target, "wb") as out, archive.open(member) as packed:
        while piece := packed.read(_PIECE):
            written += len(piece)
            if written > allowed:
                raise _too_large(file, name, written)
            out.write(piece)
    if written != member.file_size:
        raise ImportFileError(
            file.name, name, f"it has {written:,} bytes and says {member.file_size:,}", "Export again"
        )
    return written


def _too_large(file: Path, where: str, size: int) -> ImportFileError:
    return ImportFileError(
        file.name,
        where,
        f"it would unpack to at least {size / 1e9:,.1f} GB; {MOST_BYTES / 1e9:.1f} GB at most are taken in",
        "Look whether it is an export; a cellar that is so large is exported to a directory and imported from there",
    )
