"""When the rows of a log were measured: its ways of writing an instant, and dates that may mean two days."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Literal

import polars as pl

from ingest.decoding import shown
from ingest.errors import ImportFileError
from ingest.transfer import clock_changes

DateOrder = Literal["day-first", "month-first"]
DATE_ORDERS: Final[tuple[DateOrder, ...]] = ("day-first", "month-first")

_ZONE: Final = r"(?:[zZ]|[+-]\d{2}:?\d{2})$"
_TIME_REMEDY: Final = (
    "Write 2026-03-01T10:00:00Z, 01.03.2026 10:00 (day first), 3/1/2026 10:00 with the order named, or epoch seconds"
)
_FARTHEST_MS: Final = 1e14
"""Epoch milliseconds in the year 5138: farther ones do not fit where instants are kept, and no clock shows them."""
_INSTANT: Final = pl.Datetime("us", "UTC")
_EITHER_WAY: Final = r"^\s*(\d{1,2})[/-](\d{1,2})[/-](\d{4})"
"""A date with slashes or dashes: its day or its month comes first, as its country has it."""
_HALF_DAY: Final = r"(?i)\s*([ap])\.?m\.?$"


def refuse(
    path: Path,
    bad: pl.Series,
    column: str,
    problem: str,
    remedy: str,
    values: pl.Series | None = None,
    *,
    of: str = "",
) -> None:
    """Raise `ImportFileError` at the first row that is bad; `of` is our name of its column."""
    bad = bad.fill_null(value=False)
    count = int(bad.sum())
    if not count:
        return
    row = int(bad.arg_true()[0])
    value = None if values is None else values[row]
    more = f" (and {count - 1} more rows)" if count > 1 else ""
    said = problem.format(value=shown(value)) + more
    raise ImportFileError(path.name, f"row {row + 1}, column {column!r}", said, remedy, of=of)


def order_of(column: pl.Series) -> DateOrder | Literal[""] | None:
    """In which order the dates with slashes stand, as far as their numbers tell.

    Returns
    -------
    str or None
        Empty where no date may be read in two ways; None where there are such, and none of them has a number above 12.
    """
    if column.dtype != pl.String():
        return ""
    parts = column.str.extract_groups(_EITHER_WAY).struct
    first, second = (parts.field(n).cast(pl.Int64(), strict=False) for n in ("1", "2"))
    if first.null_count() == column.len():
        return ""
    if (first > 12).any():
        return "day-first"
    return "month-first" if (second > 12).any() else None


def instants(
    path: Path,
    column: pl.Series,
    named: str,
    zone: str,
    order: DateOrder | None = None,
    devices: pl.Series | None = None,
) -> tuple[pl.Series, bool]:
    """The column as UTC instants, and whether the zone had to be assumed.

    Parameters
    ----------
    named
        What the file calls the column.
    order
        Of dates with slashes; without it as their numbers tell.
    devices
        Whose row each is: the hours of a clock's change are read by the order of a device's rows.

    Raises
    ------
    ImportFileError
        At the first row that is no time, or whose date may be two days.
    """
    assumed = False
    if column.dtype == pl.String():
        numbers = column.cast(pl.Float64(), strict=False)
        if numbers.null_count() == column.null_count():
            column = numbers
    if column.dtype.is_numeric():
        seconds = column.cast(pl.Float64())
        impossible = ~seconds.is_between(-_FARTHEST_MS, _FARTHEST_MS)  # also NaN
        refuse(path, impossible, named, "{value} is not a time", _TIME_REMEDY, column, of="measured_at")
        milli = (seconds.abs() > 1e11).fill_null(value=False)
        read = (
            (pl.select(pl.when(milli).then(seconds / 1e3).otherwise(seconds)).to_series() * 1e6)
            .round()
            .cast(pl.Int64())
            .cast(_INSTANT)
        )
    elif isinstance(column.dtype, pl.Datetime):
        assumed = column.dtype.time_zone is None
        read = _zoned(column.cast(pl.Datetime("us", column.dtype.time_zone)), zone, devices)
    elif column.dtype == pl.String() and (plain := _plain_utc(column)) is not None:
        read = plain
    elif column.dtype == pl.String():
        zoned = column.str.contains(_ZONE).fill_null(value=True) & ~column.str.contains(_EITHER_WAY + r"$")
        zoned = zoned.fill_null(value=True)
        assumed = not zoned.all()
        read = _from_text(_year_first(path, column, named, order), zoned, zone, devices)
    else:
        raise ImportFileError(
            path.name, named, f"it is {column.dtype}, not a time", "Give RFC 3339 text or epoch seconds"
        )
    refuse(path, read.is_null(), named, "{value} is not a time", _TIME_REMEDY, column, of="measured_at")
    early = (read.dt.year() < 1990) | (read.dt.year() > 2100)
    hint = "Look whether it is in seconds, or the clock was not set"
    refuse(path, early, named, "{value} is not a likely time", hint, column, of="measured_at")
    return read, assumed


def _year_first(path: Path, column: pl.Series, named: str, order: DateOrder | None) -> pl.Series:
    """Dates with slashes written with the year first; refused where they may mean two days and nobody said which."""
    told = order_of(column)
    if told == "":
        return column
    order = order or told
    if order is None:
        raise ImportFileError(
            path.name,
            f"column {named!r}",
            f"{shown(_first_either_way(column))} may be two days, and no row of it tells which number is the day",
            "Say it: --dates day-first or --dates month-first",
            on_screen="Choose the order of its dates",
            of="dates",
        )
    parts = column.str.extract_groups(_EITHER_WAY).struct
    first, second, year = (parts.field(n) for n in ("1", "2", "3"))
    day, month = (first, second) if order == "day-first" else (second, first)
    rest = column.str.replace(_EITHER_WAY, "")
    turned = year + "-" + month.str.zfill(2) + "-" + day.str.zfill(2) + rest
    impossible = month.cast(pl.Int64(), strict=False) > 12
    problem = f"{{value}} is not a time where dates are {order.replace('-', ' ')}"
    refuse(path, impossible, named, problem, "Give all rows in one order, or choose the other", column, of="dates")
    return pl.select(pl.coalesce(turned, column)).to_series()


def _first_either_way(column: pl.Series) -> str:
    return str(column.filter(column.str.contains(_EITHER_WAY).fill_null(value=False))[0])


def _plain_utc(column: pl.Series) -> pl.Series | None:
    """The commonest way to write instants, read in a fraction of the time; None where any row differs from it."""
    instants = column.str.to_datetime("%Y-%m-%dT%H:%M:%S%.fZ", time_unit="us", time_zone="UTC", strict=False)
    return instants if instants.null_count() == column.null_count() else None


def _from_text(column: pl.Series, zoned: pl.Series, zone: str, devices: pl.Series | None) -> pl.Series:
    """RFC 3339 and its usual relatives, and dates with the day first. Null where it is no time.

    What bears no zone is in `zone`; a date alone is its midnight.
    """
    text = column.str.replace(r"^(\d)\.", "0${1}.").str.replace(r"^(\d{2})\.(\d)\.", "${1}.0${2}.")
    text = text.str.replace(r"^(\d{2})\.(\d{2})\.(\d{4})", "${3}-${2}-${1}")
    text = text.str.replace(r"^(\d{4}-\d{2}-\d{2})$", "${1}T00:00")
    text = text.str.replace(r"^(\d{4}-\d{2}-\d{2}),? +", "${1}T").str.replace(r"T(\d):", "T0${1}:")
    text = _of_24_hours(text).str.replace(r"[zZ]$", "+00:00")
    text = text.str.replace(r"([+-]\d{2})(\d{2})$", "${1}:${2}").str.replace(r"T(\d{2}:\d{2})([+-]|$)", "T${1}:00${2}")
    with_zone = text.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f%:z", time_unit="us", strict=False).dt.convert_time_zone(
        "UTC"
    )
    without = text.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f", time_unit="us", strict=False)
    return pl.select(pl.when(zoned).then(with_zone).otherwise(_zoned(without, zone, devices))).to_series()


def _of_24_hours(text: pl.Series) -> pl.Series:
    """Times with AM or PM by the clock of 24 hours: 12 AM is midnight, 12 PM noon."""
    half = text.str.extract(_HALF_DAY).str.to_lowercase()
    if half.null_count() == text.len():
        return text
    hour = text.str.extract(r"T(\d{2}):").cast(pl.Int64(), strict=False)
    shifted = pl.select(pl.when(half == "p").then(hour % 12 + 12).otherwise(hour % 12)).to_series()
    shifted = pl.select(pl.when(hour.is_between(1, 12)).then(shifted)).to_series()  # 18:00 PM is no time
    there = "T" + shifted.cast(pl.String()).str.zfill(2)
    parts = text.str.replace(_HALF_DAY, "").str.extract_groups(r"^(.*)T\d{2}(:.*)$").struct
    return pl.select(
        pl.when(half.is_null()).then(text).otherwise(parts.field("1") + there + parts.field("2"))
    ).to_series()


def _zoned(column: pl.Series, zone: str, devices: pl.Series | None) -> pl.Series:
    """Times as UTC; what bears no zone is in `zone`, and about the hours of its clocks' changes read by the order."""
    if not isinstance(column.dtype, pl.Datetime) or column.dtype.time_zone is not None:
        return column.dt.convert_time_zone("UTC")
    first = column.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    second = column.dt.replace_time_zone(zone, ambiguous="latest", non_existent="null")
    if first.null_count() == column.null_count() and first.equals(second, null_equal=True):
        return first.dt.convert_time_zone("UTC")
    whose = pl.Series([None] * column.len()) if devices is None else devices
    if first.null_count() == column.null_count():  # only the days on which clocks are put back are in question
        days = column.dt.date()
        asked = days.is_in(days.filter(first != second).unique().implode()).fill_null(value=False)
    else:
        asked = pl.repeat(True, column.len(), eager=True)
    read = clock_changes.in_order(column.filter(asked).to_list(), whose.filter(asked).to_list(), zone)
    return first.dt.convert_time_zone("UTC").scatter(asked.arg_true(), pl.Series(read, dtype=_INSTANT))
