"""A log of readings as a file (CSV, Parquet, JSON lines): its columns, its instants, its units, its faults."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final, cast

import polars as pl

from analysis.units import c_to_f, density_from_sg, sg_to_plato
from ingest.decoding import AHEAD_S, BY_FIELD, ID_REMEDY, LARGEST_SEQUENCE, NATIVE_NAMES, converted, is_good_id, shown
from ingest.errors import ImportFileError
from ingest.store import QUANTITIES
from ingest.transfer.log_text import scan_text
from ingest.transfer.log_times import DateOrder, instants, refuse

Ask = Callable[[str, list[str]], str | None]

OURS: Final = ("measured_at", "device_id", *NATIVE_NAMES, "sequence")
"""What a column can be: an instant, a device, a quantity with its unit in the name, or a counter."""

_READERS: Final[dict[str, Callable[[Path], pl.LazyFrame]]] = {
    ".csv": scan_text,
    ".tsv": scan_text,
    ".parquet": pl.scan_parquet,
    ".jsonl": lambda path: pl.scan_ndjson(path, infer_schema_length=None),
    ".ndjson": lambda path: pl.scan_ndjson(path, infer_schema_length=None),
}


def mapping(path: Path, given: Mapping[str, str], ask: Ask | None = None) -> dict[str, str]:
    """Which column of the file is which of `OURS`.

    Columns that bear our names are taken as they are. Where the instant or every quantity is still missing, `ask`
    (question, the columns left) -> column is asked.

    Raises
    ------
    ImportFileError
        If the file cannot be read, `given` names something that is not there, or the instant is not found.
    """
    names = _names(path)
    for ours, theirs in given.items():
        if ours not in OURS:
            raise ImportFileError(
                path.name, f"--column {ours}", "there is no such quantity", f"One of: {', '.join(OURS)}"
            )
        if theirs not in names:
            raise ImportFileError(
                path.name, f"column {theirs!r}", "it is not in the file", f"It has: {', '.join(names)}"
            )
    found = {name: name for name in OURS if name in names} | dict(given)
    if ask is not None:
        for ours, question in _questions(found):
            left = [name for name in names if name not in found.values()]
            theirs_chosen = ask(question, left) if left else None
            if theirs_chosen is not None:
                found[ours] = theirs_chosen
    if "measured_at" not in found:
        raise ImportFileError(
            path.name,
            "columns",
            f"none says when it was measured ({', '.join(names)})",
            "Name it: --column measured_at=NAME",
            on_screen="Choose it under Time",
            of="measured_at",
        )
    if not found.keys() & NATIVE_NAMES.keys():
        raise ImportFileError(
            path.name,
            "columns",
            f"none is a quantity ({', '.join(names)})",
            f"Name one, such as --column gravity_sg=NAME. Quantities: {', '.join(NATIVE_NAMES)}",
            on_screen="Choose the column of at least one of them, such as Gravity or Temperature",
            of="gravity_sg",
        )
    return found


def _questions(found: Mapping[str, str]) -> list[tuple[str, str]]:
    asked = []
    if "measured_at" not in found:
        asked.append(("measured_at", "Which column says when it was measured?"))
    if not found.keys() & {"gravity_sg", "extract_plato", "density_kg_m3", "inclination_deg"}:
        asked += [
            ("gravity_sg", "Which column is the gravity in SG?"),
            ("extract_plato", "Which column is the extract in °P?"),
            ("inclination_deg", "Which column is the inclination in degrees?"),
        ]
    if not found.keys() & {"temperature_c", "temperature_f"}:
        asked += [
            ("temperature_c", "Which column is the temperature in °C?"),
            ("temperature_f", "Which column is the temperature in °F?"),
        ]
    return asked


def read_log(
    path: Path,
    found: Mapping[str, str],
    *,
    zone: str,
    device_id: str | None = None,
    now: datetime | None = None,
    dates: DateOrder | None = None,
) -> tuple[pl.DataFrame, bool]:
    """The readings of a file, and whether its times bore no zone and were read in `zone`.

    Parameters
    ----------
    now
        What is dated later, by more than a device's clock may run ahead, is refused: a reading from the future would
        count as the newest for as long. Without it anything up to the year 2100 is read.
    dates
        The order of day and month in dates such as 9/1/2026; without it as the numbers of the column tell.

    Returns
    -------
    pl.DataFrame
        `device_id`, `measured_at` (UTC), every quantity in the unit in which it is kept, and `sequence`.

    Raises
    ------
    ImportFileError
        At the first thing that is wrong: row, column, problem, remedy.
    """
    raw = _read(path, found)
    whose = raw["device_id"] if "device_id" in raw.columns else None
    measured_at, assumed = instants(path, raw["measured_at"], found["measured_at"], zone, dates, whose)
    if now is not None:
        refuse(
            path,
            measured_at > now + timedelta(seconds=AHEAD_S),
            found["measured_at"],
            f"{{value}} lies in the future (it is {now:%Y-%m-%d %H:%M} UTC now)",
            "Look at the year, at the order of day and month, and at the time zone, or leave these rows out",
            raw["measured_at"],
            of="measured_at",
        )
    devices = raw["device_id"].cast(pl.String()) if device_id is None else pl.repeat(device_id, raw.height, eager=True)
    if device_id is None:
        refuse(path, devices.is_null(), found["device_id"], "it is empty", "Each row needs its device", of="device_id")
        refuse_ids(path, devices, found["device_id"])
    elif not is_good_id(device_id):
        raise ImportFileError(
            path.name, "the device", f"{shown(device_id)} cannot be a device's id", ID_REMEDY, of="device"
        )
    sequence = _sequence(path, raw, found) if "sequence" in found else pl.Series([None] * raw.height)
    rows = {"device_id": devices, "measured_at": measured_at, **_quantities(path, raw, found)}
    return pl.DataFrame({**rows, "sequence": sequence.cast(pl.Int64())}), assumed


def refuse_ids(path: Path, ids: pl.Series, column: str) -> None:
    """Raise `ImportFileError` at the first row whose device has an id that no message could bear."""
    bad = [each for each in ids.unique() if each is not None and not is_good_id(each)]
    refuse(path, ids.is_in(bad), column, "{value} cannot be a device's id", ID_REMEDY, ids, of="device_id")


def _sequence(path: Path, raw: pl.DataFrame, found: Mapping[str, str]) -> pl.Series:
    numbers = _numbers(path, raw, "sequence", found)
    odd = ~(numbers.is_between(0, LARGEST_SEQUENCE, closed="left") & (numbers == numbers.floor()))
    refuse(
        path, odd, found["sequence"], "{value} is no whole number from 0", "Such as 17", raw["sequence"], of="sequence"
    )
    return numbers


def read_gravities(
    path: Path, given: Mapping[str, str], *, zone: str, dates: DateOrder | None = None
) -> tuple[pl.DataFrame, bool]:
    """The readings of one batch's log for the analysis, and whether its times were read in `zone`.

    Gravity may stand in SG, °P or kg/m³; a column `by_hand` (true, yes or 1) marks what was read by hand.

    Returns
    -------
    pl.DataFrame
        Schema `analysis.schemas.READINGS`.

    Raises
    ------
    ImportFileError
        As `read_log`, and where no column is a gravity.
    """
    found = mapping(path, given)
    if not found.keys() & {"gravity_sg", "extract_plato", "density_kg_m3"}:
        raise ImportFileError(
            path.name,
            "columns",
            f"there is no column gravity_sg, extract_plato or density_kg_m3 ({', '.join(_names(path))})",
            "Name it, such as --column gravity_sg=NAME",
        )
    rows, assumed = read_log(path, found, zone=zone, device_id=path.stem, dates=dates)
    by_hand = pl.repeat(value=False, n=rows.height, eager=True)
    if "by_hand" in _names(path):
        told = _read(path, {"by_hand": "by_hand"})["by_hand"].cast(pl.String()).str.to_lowercase()
        by_hand = told.is_in(["true", "1", "yes"]).fill_null(value=False)
    return rows.select("measured_at", "gravity_sg", "temperature_c").with_columns(by_hand=by_hand), assumed


def _names(path: Path) -> list[str]:
    return _scan(path).collect_schema().names()


def _scan(path: Path) -> pl.LazyFrame:
    if not path.is_file():
        raise ImportFileError(path.name, "file", "there is no such file", "Look at the path")
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise ImportFileError(
            path.name,
            "file",
            f"{path.suffix or 'no ending'} is not a known kind of log",
            f"Known: {', '.join(_READERS)}",
        )
    try:
        frame = reader(path)
        frame.collect_schema()
    except (pl.exceptions.PolarsError, OSError) as error:
        raise ImportFileError(
            path.name, "file", f"it cannot be read ({_first_line(error)})", "Open it and look"
        ) from error
    return frame


def _read(path: Path, found: Mapping[str, str]) -> pl.DataFrame:
    try:
        frame = _scan(path).select(pl.col(theirs).alias(ours) for ours, theirs in found.items()).collect()
    except (pl.exceptions.PolarsError, OSError) as error:
        raise ImportFileError(
            path.name, "file", f"it cannot be read ({_first_line(error)})", "Open it and look"
        ) from error
    if frame.is_empty():
        raise ImportFileError(path.name, "rows", "there are none", "An empty log has nothing to take in")
    texts = [name for name, dtype in frame.schema.items() if dtype == pl.String()]
    return frame.with_columns(pl.col(texts).str.strip_chars().replace("", None))


def _quantities(path: Path, raw: pl.DataFrame, found: Mapping[str, str]) -> dict[str, pl.Series]:
    """Every quantity of the file in the unit in which it is kept, within what a sound instrument can say."""
    kept: dict[str, pl.Series] = {}
    for ours in NATIVE_NAMES:
        if ours not in found:
            continue
        field, unit = NATIVE_NAMES[ours]
        numbers = _numbers(path, raw, ours, found)
        values = numbers
        if ours != field:  # in another unit; every conversion takes arrays as well as numbers
            values = pl.Series(cast(Any, converted(field, cast(float, numbers.to_numpy()), unit))).fill_nan(None)
        limits = BY_FIELD[field]
        outside = ~values.is_between(limits.low, limits.high)
        within, remedy = _as_typed(field, unit)
        refuse(path, outside, found[ours], f"{{value}} is outside {within}", remedy, raw[ours], of=ours)
        kept[field] = _either(kept[field], values) if field in kept else values
    return {name: kept.get(name, pl.Series(name, [None] * raw.height, dtype=pl.Float64())) for name in QUANTITIES}


def _as_typed(field: str, unit: str) -> tuple[str, str]:
    """The range of a quantity in the unit of the file, and the remedy in the same."""
    limits = BY_FIELD[field]
    if unit not in _SHOWN:
        return f"{limits.low:g} to {limits.high:g} {limits.shown_unit}", limits.remedy
    shown, back = _SHOWN[unit]
    within = f"{back(limits.low):.0f} to {back(limits.high):.0f} {shown}".replace("-", "−")
    if field != "gravity_sg":
        return within, limits.remedy
    usual = f"{back(0.980):.0f} and {back(1.200):.0f} {shown}".replace("-", "−")
    return within, f"Gravity lies between {usual}; look whether the unit is right"


_SHOWN: Final[dict[str, tuple[str, Callable[[float], float]]]] = {
    "°P": ("°P", lambda sg: sg_to_plato(sg)),
    "kg/m3": ("kg/m³", lambda sg: density_from_sg(sg)),
    "°F": ("°F", lambda celsius: c_to_f(celsius)),
    "mV": ("mV", lambda volts: 1000 * volts),
}
"""Units of a file that are not those we keep: how they are written, and a kept value in them."""


def _either(first: pl.Series, second: pl.Series) -> pl.Series:
    return pl.select(pl.coalesce(first, second)).to_series()


def _numbers(path: Path, raw: pl.DataFrame, ours: str, found: Mapping[str, str]) -> pl.Series:
    column = raw[ours]
    if column.dtype == pl.String():
        numbers = column.cast(pl.Float64(), strict=False)
        bad = numbers.is_null() & column.is_not_null()
        refuse(
            path,
            bad,
            found[ours],
            "{value} is not a number",
            "Write 1.0123 with a point; leave it empty where unknown",
            column,
            of=ours,
        )
    elif column.dtype.is_numeric() or column.dtype == pl.Null():
        numbers = column.cast(pl.Float64())
    else:
        raise ImportFileError(
            path.name, f"column {found[ours]!r}", f"it is {column.dtype}, not numbers", "Choose another column"
        )
    return numbers.fill_nan(None)


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
