"""The text of a log: which characters its bytes are, what parts its columns, which comma is a decimal one."""

from __future__ import annotations

import codecs
import io
from pathlib import Path
from typing import Final

import polars as pl

_DECIMAL_COMMA: Final = r"^\s*([+-]?\d+),(\d+)\s*$"
_PIECE: Final = 1 << 20
"""Bytes; a file is looked through in pieces, so that a large one is not held twice."""

_WESTERN: Final = "windows-1252"
"""What spreadsheets of western Europe and America write that write no UTF-8. The printable half of ISO 8859-1 is the
same in it (source: the WHATWG Encoding Standard, which reads the label latin1 so)."""


def encoding_of(path: Path) -> str:
    """In which encoding a text file is: UTF-8, UTF-16 where it begins with its mark, else Windows-1252."""
    with path.open("rb") as file:
        piece = file.read(_PIECE)
        if piece.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            while piece:
                decoder.decode(piece)
                piece = file.read(_PIECE)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return _WESTERN
    return "utf-8"


def encoding_assumed(path: Path) -> str | None:
    """The encoding of a text that is not UTF-8, which had to be assumed; None where nothing was assumed."""
    if path.suffix.lower() not in (".csv", ".tsv"):
        return None
    return _WESTERN.capitalize() if encoding_of(path) == _WESTERN else None


def separator_of(path: Path, encoding: str = "utf-8") -> str:
    """What parts the columns of a text file, by its first line: a semicolon where numbers are written with a comma."""
    if path.suffix.lower() == ".tsv":
        return "\t"
    with path.open(encoding=encoding, errors="replace") as file:
        first = file.readline()
    return max(",;\t", key=first.count)


def scan_text(path: Path) -> pl.LazyFrame:
    """A CSV or TSV file as text, numbers with a decimal point."""
    encoding = encoding_of(path)
    separator = separator_of(path, encoding)
    source = path if encoding == "utf-8" else io.BytesIO(path.read_bytes().decode(encoding, "replace").encode())
    frame = pl.scan_csv(source, infer_schema=False, separator=separator)
    return frame if separator == "," else frame.with_columns(pl.all().str.replace(_DECIMAL_COMMA, "${1}.${2}"))
