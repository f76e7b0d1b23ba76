"""A log of readings as a file (CSV, Parquet, JSON lines): its columns, its instants, its units, its faults."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final, cast

import polars as pl

from analysis.units import c_to_f, density_from_sg, sg_to_plato
from ingest.decoding import AHEAD_S, BY_FIELD, ID_REMEDY, LARGEST_SEQUENCE, NATIVE_NAMES, converted, is_good_id, shown
from ingest.errors import ImportFileError
from ingest.store import QUANTITIES

Ask = Callable[[str, list[str]], str | None]

OURS: Final = ("measured_at", "device_id", *NATIVE_NAMES, "sequence")
"""What a column can be: an instant, a device, a quantity with its unit in the name, or a counter."""

_DECIMAL_COMMA: Final = r"^\s*([+-]?\d+),(\d+)\s*$"


def _encoding_of(path: Path) -> str:
    """UTF-8 where all of the file is, else Windows-1252, as older spreadsheets write; Latin-1 is a part of it."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        try:
            while chunk := file.read(1 << 20):
                decoder.decode(chunk)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8"


def separator_of(path: Path) -> str:
    """What parts the columns of a text file, by its first line: a semicolon where numbers are written with a comma."""
    if path.suffix.lower() == ".tsv":
        return "\t"
    with path.open(encoding=_encoding_of(path), errors="replace") as file:
        first = file.readline()
    return ";" if first.count(";") > first.count(",") else ","


def scan_text(path: Path) -> pl.LazyFrame:
    """A CSV or TSV file as text, numbers with a decimal point."""
    separator = separator_of(path)
    encoding = _encoding_of(path)
    if encoding == "utf-8":
        frame = pl.scan_csv(path, infer_schema=False, separator=separator)
    else:
        text = path.read_bytes().decode(encoding, errors="replace")
        frame = pl.read_csv(text.encode(), infer_schema=False, separator=separator).lazy()
    return frame.with_columns(pl.all().str.replace(_DECIMAL_COMMA, "${1}.${2}")) if separator == ";" else frame


_READERS: Final[dict[str, Callable[[Path], pl.LazyFrame]]] = {
    ".csv": scan_text,
    ".tsv": scan_text,
    ".parquet": pl.scan_parquet,
    ".jsonl": lambda path: pl.scan_ndjson(path, infer_schema_length=None),
    ".ndjson": lambda path: pl.scan_ndjson(path, infer_schema_length=None),
}
_ZONE: Final = r"(?:[zZ]|[+-]\d{2}:?\d{2})$"
_TIME_REMEDY: Final = "Write 2026-03-01T10:00:00Z, 01.03.2026 10:00 (day first), or epoch seconds"
_FARTHEST_MS: Final = 1e14
"""Epoch milliseconds in the year 5138: farther ones do not fit where instants are kept, and no clock shows them."""
_INSTANT: Final = pl.Datetime("us", "UTC")


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
            "Choose the column of the time (in a terminal: --column measured_at=NAME)",
        )
    if not found.keys() & NATIVE_NAMES.keys():
        raise ImportFileError(
            path.name,
            "columns",
            f"none is a quantity ({', '.join(names)})",
            f"Choose a column for one (in a terminal: --column gravity_sg=NAME). Quantities: {', '.join(NATIVE_NAMES)}",
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
    path: Path, found: Mapping[str, str], *, zone: str, device_id: str | None = None, now: datetime | None = None
) -> tuple[pl.DataFrame, bool]:
    """The readings of a file, and whether its times bore no zone and were read in `zone`.

    Parameters
    ----------
    now
        What is dated later, by more than a device's clock may run ahead, is refused: a reading from the future would
        count as the newest for as long. Without it anything up to the year 2100 is read.

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
    measured_at, assumed = _instants(path, raw["measured_at"], zone, found["measured_at"])
    if now is not None:
        _refuse(
            path,
            measured_at > now + timedelta(seconds=AHEAD_S),
            found["measured_at"],
            f"{{value}} lies in the future (it is {now:%Y-%m-%d %H:%M} UTC now)",
            "Look at the year, at the order of day and month, and at the time zone, or leave these rows out",
            raw["measured_at"],
        )
    devices = raw["device_id"].cast(pl.String()) if device_id is None else pl.repeat(device_id, raw.height, eager=True)
    if device_id is None:
        _refuse(path, devices.is_null(), found["device_id"], "it is empty", "Each row needs its device")
        refuse_ids(path, devices, found["device_id"])
    elif not is_good_id(device_id):
        raise ImportFileError(path.name, "--device", f"{shown(device_id)} cannot be a device's id", ID_REMEDY)
    sequence = _sequence(path, raw, found) if "sequence" in found else pl.Series([None] * raw.height)
    rows = {"device_id": devices, "measured_at": measured_at, **_quantities(path, raw, found)}
    return pl.DataFrame({**rows, "sequence": sequence.cast(pl.Int64())}), assumed


def refuse_ids(path: Path, ids: pl.Series, column: str) -> None:
    """Raise `ImportFileError` at the first row whose device has an id that no message could bear."""
    bad = [each for each in ids.unique() if each is not None and not is_good_id(each)]
    _refuse(path, ids.is_in(bad), column, "{value} cannot be a device's id", ID_REMEDY, ids)


def _sequence(path: Path, raw: pl.DataFrame, found: Mapping[str, str]) -> pl.Series:
    numbers = _numbers(path, raw, "sequence", found)
    odd = ~(numbers.is_between(0, LARGEST_SEQUENCE, closed="left") & (numbers == numbers.floor()))
    _refuse(path, odd, found["sequence"], "{value} is no whole number from 0", "Such as 17", raw["sequence"])
    return numbers


def read_gravities(path: Path, given: Mapping[str, str], *, zone: str) -> tuple[pl.DataFrame, bool]:
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
    rows, assumed = read_log(path, found, zone=zone, device_id=path.stem)
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


def _instants(path: Path, column: pl.Series, zone: str, theirs: str) -> tuple[pl.Series, bool]:
    """The column as UTC instants, and whether the zone had to be assumed."""
    assumed = False
    if column.dtype == pl.String():
        numbers = column.cast(pl.Float64(), strict=False)
        if numbers.null_count() == column.null_count():
            column = numbers
    if column.dtype.is_numeric():
        seconds = column.cast(pl.Float64())
        impossible = ~seconds.is_between(-_FARTHEST_MS, _FARTHEST_MS)  # also NaN
        _refuse(path, impossible, theirs, "{value} is not a time", _TIME_REMEDY, column)
        milli = (seconds.abs() > 1e11).fill_null(value=False)
        instants = (
            (pl.select(pl.when(milli).then(seconds / 1e3).otherwise(seconds)).to_series() * 1e6)
            .round()
            .cast(pl.Int64())
            .cast(_INSTANT)
        )
    elif isinstance(column.dtype, pl.Datetime):
        assumed = column.dtype.time_zone is None
        instants = _zoned(column.cast(pl.Datetime("us", column.dtype.time_zone)), zone)
    elif column.dtype == pl.String() and (plain := _plain_utc(column)) is not None:
        instants = plain
    elif column.dtype == pl.String():
        zoned = column.str.contains(_ZONE).fill_null(value=True)
        assumed = not zoned.all()
        instants = _from_text(column, zoned, zone)
    else:
        raise ImportFileError(
            path.name, f"column {theirs!r}", f"it is {column.dtype}, not a time", "Give RFC 3339 text or epoch seconds"
        )
    bad = instants.is_null()
    _refuse(path, bad, theirs, "{value} is not a time", _TIME_REMEDY, column)
    early = (instants.dt.year() < 1990) | (instants.dt.year() > 2100)
    _refuse(
        path,
        early,
        theirs,
        "{value} is not a likely time",
        "Look whether it is in seconds, or the clock was not set",
        column,
    )
    return instants, assumed


def _plain_utc(column: pl.Series) -> pl.Series | None:
    """The commonest way to write instants, read in a fraction of the time; None where any row differs from it."""
    instants = column.str.to_datetime("%Y-%m-%dT%H:%M:%S%.fZ", time_unit="us", time_zone="UTC", strict=False)
    return instants if instants.null_count() == column.null_count() else None


def _from_text(column: pl.Series, zoned: pl.Series, zone: str) -> pl.Series:
    """RFC 3339 and its usual relatives, and dates with the day first. Null where it is no time.

    What bears no zone is in `zone`; a date alone is its midnight.
    """
    text = column.str.replace(r"^(\d)\.", "0${1}.").str.replace(r"^(\d{2})\.(\d)\.", "${1}.0${2}.")
    text = text.str.replace(r"^(\d{2})\.(\d{2})\.(\d{4})", "${3}-${2}-${1}")
    text = text.str.replace(r"^(\d{4}-\d{2}-\d{2})$", "${1}T00:00")
    text = text.str.replace(r"^(\d{4}-\d{2}-\d{2}),? +", "${1}T").str.replace(r"T(\d):", "T0${1}:")
    text = text.str.replace(r"[zZ]$", "+00:00")
    text = text.str.replace(r"([+-]\d{2})(\d{2})$", "${1}:${2}").str.replace(r"T(\d{2}:\d{2})([+-]|$)", "T${1}:00${2}")
    with_zone = text.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f%:z", time_unit="us", strict=False).dt.convert_time_zone(
        "UTC"
    )
    without = text.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f", time_unit="us", strict=False)
    return pl.select(pl.when(zoned).then(with_zone).otherwise(_zoned(without, zone))).to_series()


def _zoned(column: pl.Series, zone: str) -> pl.Series:
    if isinstance(column.dtype, pl.Datetime) and column.dtype.time_zone is None:
        # A clock that is never put forward shows an hour that the zone's clocks skip: it goes on from the one before.
        hour = pl.duration(hours=1)
        plain = column.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
        before = pl.select(column - hour).to_series()
        before = before.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
        column = pl.select(pl.coalesce(plain, before + hour)).to_series()
    return column.dt.convert_time_zone("UTC")


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
        _refuse(path, outside, found[ours], f"{{value}} is outside {within}", remedy, raw[ours])
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
        _refuse(
            path,
            bad,
            found[ours],
            "{value} is not a number",
            "Write 1.0123 with a point; leave it empty where unknown",
            column,
        )
    elif column.dtype.is_numeric() or column.dtype == pl.Null():
        numbers = column.cast(pl.Float64())
    else:
        raise ImportFileError(
            path.name, f"column {found[ours]!r}", f"it is {column.dtype}, not numbers", "Choose another column"
        )
    return numbers.fill_nan(None)


def _refuse(
    path: Path, bad: pl.Series, column: str, problem: str, remedy: str, values: pl.Series | None = None
) -> None:
    bad = bad.fill_null(value=False)
    count = int(bad.sum())
    if not count:
        return
    row = int(bad.arg_true()[0])
    value = None if values is None else values[row]
    more = f" (and {count - 1} more rows)" if count > 1 else ""
    raise ImportFileError(
        path.name, f"row {row + 1}, column {column!r}", problem.format(value=shown(value)) + more, remedy
    )


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
