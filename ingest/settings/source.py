"""The settings file as text: its values, and on which line each of them stands."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from ingest.errors import SettingsError, SettingsFaults


class Source:
    """The settings file's values, and where in the file each one stands."""

    def __init__(self, path: Path | None, text: str, values: dict[str, Any]) -> None:
        self.path = path
        self.folder = path.parent if path else Path.cwd()
        self.values = values
        self._lines = lines_of(text)

    def place(self, *path: str) -> str:
        """The file, line and dotted name of a key or table, as far as it is there."""
        if self.path is None:
            return ".".join(path)
        for end in range(len(path), 0, -1):
            if (line := self._lines.get(path[:end])) is not None:
                return f"{self.path}, line {line}, {'.'.join(p for p in path if not p.isdigit())}"
        return f"{self.path}, {'.'.join(p for p in path if not p.isdigit())}"


_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"""^\s*("[^"]*"|'[^']*'|[A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=""")


def lines_of(text: str) -> dict[tuple[str, ...], int]:
    """The line on which each table and key of a TOML text begins; tables of an array carry their number."""
    found: dict[tuple[str, ...], int] = {}
    counts: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = tuple(part.strip().strip("\"'") for part in header[2].split("."))
            if header[1] == "[[":
                at = counts.get(table, -1) + 1
                counts[table] = at
                found.setdefault(table, number)
                table = (*table, str(at))
            elif (table[:1]) in counts:  # a table inside the newest of an array
                table = (table[0], str(counts[table[:1]]), *table[1:])
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            parts = tuple(part.strip().strip("\"'") for part in key[1].split("."))
            for end in range(1, len(parts) + 1):
                found.setdefault((*table, *parts[:end]), number)
    return found


def read(config: Path, faults: SettingsFaults, *, needed: bool) -> Source:
    """Read the file; where it is not `needed` and not there, nothing is set.

    A line that is not TOML is put among the `faults` and passed over, so that those after it are looked at too.

    Raises
    ------
    SettingsError
        If the file cannot be read.
    """
    if not needed and not config.is_file():
        return Source(None, "", {})
    config = config.expanduser().absolute()
    try:
        text = config.read_text(encoding="utf-8-sig")  # some editors begin a file with a byte order mark
    except FileNotFoundError:
        raise SettingsError(str(config), "there is no such file", "Check the name given with --config") from None
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(str(config), f"it cannot be read ({error})", "It must be a UTF-8 text file") from None
    return Source(config, text, _parsed(config, text, faults))


def _remedy(error: str) -> str:
    if "Cannot declare" in error:
        return "A table begins once: put what belongs to it under its first [header]"
    if "Cannot overwrite" in error:
        return "A name stands once in a table: remove one of the two lines"
    return 'A text value needs quotes: host = "10.0.0.5"'


def _parsed(config: Path, text: str, faults: SettingsFaults) -> dict[str, Any]:
    lines = text.splitlines()
    passed_over: set[int] = set()
    while True:
        try:
            return tomllib.loads("\n".join(lines))
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"line (\d+)", str(error))
            number = int(found[1]) if found else 0
            where = f"{config}, line {number}" if number else str(config)
            remedy = _remedy(str(error))
            faults.found.append(SettingsError(where, f"this is not TOML ({error})", remedy))
            if number in passed_over or not (0 < number <= len(lines) and _KEY.match(lines[number - 1])):
                faults.refuse()  # no single line that could be passed over: what follows cannot be told
            passed_over.add(number)
            lines[number - 1] = ""
