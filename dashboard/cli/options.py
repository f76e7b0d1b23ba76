"""What the commands share: how one is added, the settings it was given, and its answer as JSON."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime
from typing import Any, Final, Protocol

from ingest.errors import EntryError
from ingest.settings.settings import Settings, load


class AddCommand(Protocol):
    """Adds a sub-command with the common options."""

    def __call__(
        self, name: str, run: Callable[[argparse.Namespace], int], summary: str, details: str = ""
    ) -> argparse.ArgumentParser: ...


def plain(value: Any) -> Any:
    """The same value in terms of JSON: times as RFC 3339 in UTC, records as objects."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    return value


Command = Callable[[argparse.Namespace], int]


def columns_of(pairs: Sequence[str]) -> dict[str, str]:
    """Our column names with the file's, from ``OURS=THEIRS`` as typed.

    Raises
    ------
    EntryError
        If one has no ``=``.
    """
    columns = {}
    for pair in pairs:
        ours, found, theirs = pair.partition("=")
        if not found:
            raise EntryError("column", f"--column {pair} has no =", "Write measured_at=NAME_IN_THE_FILE.")
        columns[ours.strip()] = theirs.strip()
    return columns


_UNITS: Final = {
    "sg": ("gravity_unit", "SG"),
    "p": ("gravity_unit", "°P"),
    "bx": ("gravity_unit", "°Bx"),
    "c": ("temperature_unit", "°C"),
    "f": ("temperature_unit", "°F"),
    "kpa": ("pressure_unit", "kPa"),
    "bar": ("pressure_unit", "bar"),
    "psi": ("pressure_unit", "psi"),
    "l": ("volume_unit", "L"),
    "us gal": ("volume_unit", "US gal"),
    "g": ("mass_unit", "g"),
    "oz": ("mass_unit", "oz"),
}
"""Units by how they are typed, without the sign of a degree: the choice of `DisplayUnits` and its value."""


def shows_units(parser: argparse.ArgumentParser) -> None:
    """Let a command that knows no cellar be told in which units to answer."""
    parser.add_argument(
        "--unit",
        type=_unit,
        action="append",
        default=[],
        metavar="UNIT",
        help="say it in °P or °Bx, °F, kPa, bar or psi, US gal, oz; may be given again",
    )


def _unit(text: str) -> tuple[str, str]:
    typed = " ".join(text.replace("°", "").split()).casefold()
    if typed not in _UNITS:
        offered = ", ".join(unit for _, unit in _UNITS.values())
        raise argparse.ArgumentTypeError(f"{text!r} is not a unit; give one of: {offered}")
    return _UNITS[typed]


def settings_of(arguments: argparse.Namespace) -> Settings:
    """The settings, with what the command line says laid over file and environment."""
    settings = load(arguments.config, arguments.data)
    if (port := getattr(arguments, "port", None)) is not None:
        settings = replace(settings, server=replace(settings.server, port=port))
    if (port := getattr(arguments, "broker_port", None)) is not None:
        settings = replace(settings, broker=replace(settings.broker, port=port))
    return settings


def ports(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=_port, metavar="NUMBER", help="the dashboard's port (default 8600)")
    parser.add_argument("--broker-port", type=_port, metavar="NUMBER", help="the broker's port (default 1883)")


def _port(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is not a port; give a number from 1 to 65535")


def with_bar(text: str) -> str:
    """A line of progress, with a bar where it says how many per cent are done."""
    found = re.search(r"(\d+) %", text)
    if found is None:
        return text
    done = min(100, int(found[1])) // 5
    return f"[{'=' * done}{' ' * (20 - done)}] {text}"
