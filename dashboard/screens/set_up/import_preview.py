"""The first rows of a log, and a first guess at which column is what; the person decides. No Streamlit here."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import polars as pl

from analysis.display_units import DisplayUnits
from analysis.units import f_to_c, plato_to_sg
from analysis.wording import joined
from ingest.errors import ImportFileError
from ingest.transfer import OURS, order_of, scan_text

LABELS: Final[dict[str, str]] = {
    "measured_at": "Time",
    "gravity_sg": "Gravity, SG",
    "temperature_c": "Temperature, °C",
    "device_id": "Device",
    "extract_plato": "Extract, °P or °Bx",
    "temperature_f": "Temperature, °F",
    "inclination_deg": "Inclination, °",
    "battery_v": "Battery, V",
    "signal_dbm": "Signal, dBm",
}
"""The columns that can be named on screen, each with the unit in which the log has it; others are taken where they bear
our names. A column of °Bx may be taken as °P: up to 30 they differ by less than 0.05."""

_IN_UNITS: Final = (
    ("gravity_sg", "gravity", float),
    ("extract_plato", "gravity", plato_to_sg),
    ("temperature_c", "temperature", float),
    ("temperature_f", "temperature", f_to_c),
)
"""Columns that can be shown as they will be read: the quantity, and the way to our unit."""

GRAVITIES: Final = frozenset({"gravity_sg", "extract_plato", "density_kg_m3", "inclination_deg"})

_MOST_SG: Final = 1.3
_WARMEST_C: Final = 45.0
_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "measured_at": ("measured", "time", "timestamp", "date", "datetime", "when"),
    "device_id": ("device", "sensor", "id"),
    "gravity_sg": ("gravity", "sg", "density"),
    "extract_plato": ("plato", "extract"),
    "inclination_deg": ("inclination", "angle"),
    "temperature_c": ("temperature", "temp", "celsius"),
    "battery_v": ("battery", "voltage"),
    "signal_dbm": ("signal", "rssi"),
}


def head(path: Path, rows: int = 50) -> pl.DataFrame:
    """The first rows.

    Raises
    ------
    ImportFileError
        If the file cannot be read.
    """
    ending = path.suffix.lower()
    try:
        if ending in (".csv", ".tsv"):
            return scan_text(path).head(rows).collect()
        if ending == ".parquet":
            return pl.read_parquet(path, n_rows=rows)
        return pl.scan_ndjson(path, infer_schema_length=None).head(rows).collect()
    except (pl.exceptions.PolarsError, OSError) as error:
        why = str(error).strip().split("\n")[0]
        raise ImportFileError(path.name, "file", f"it cannot be read ({why})", "Open it and look") from error


def columns(frame: pl.DataFrame) -> dict[str, str]:
    """Our name to the column that seems to be it."""
    found = {name: name for name in frame.columns if name in OURS}
    for ours, words in _WORDS.items():
        if ours in found:
            continue
        left = [c for c in frame.columns if c not in found.values()]
        match = next((c for w in words for c in left if w in re.split(r"[^a-z]+", c.casefold())), None)
        if match is None:
            continue
        middle = _middle(frame[match])
        if ours == "gravity_sg" and middle is not None and middle > _MOST_SG:
            found.setdefault("extract_plato", match)
        elif ours == "temperature_c" and middle is not None and middle > _WARMEST_C:
            found.setdefault("temperature_f", match)
        else:
            found[ours] = match
    return {ours: theirs for ours, theirs in found.items() if ours in LABELS}


def labels(units: DisplayUnits) -> dict[str, str]:
    """The columns that can be named, those in the person's own units before those in others."""
    others = {
        "extract_plato" if units.gravity_unit == "SG" else "gravity_sg",
        "temperature_f" if units.temperature_unit == "°C" else "temperature_c",
    }
    return dict(sorted(LABELS.items(), key=lambda label: label[0] in others))


def dates_to_ask_for(path: Path, columns: Mapping[str, str]) -> bool:
    """Whether the log has dates such as 9/1/2026 and no row tells which number is the day."""
    if "measured_at" not in columns or path.suffix.lower() not in (".csv", ".tsv"):
        return False
    try:
        times = scan_text(path).select(columns["measured_at"]).collect().to_series()
    except (pl.exceptions.PolarsError, OSError):
        return False  # said when it is taken in
    return order_of(times) is None


def read_as(frame: pl.DataFrame, columns: Mapping[str, str], units: DisplayUnits) -> str:
    """How the first row that has them will be read, in the person's units, so that a wrong unit is seen; else empty."""
    told = []
    for ours, quantity, inside in _IN_UNITS:
        if ours not in columns:
            continue
        values = frame[columns[ours]].cast(pl.Float64(), strict=False).drop_nulls()
        if len(values):
            told.append(units.said(float(inside(values[0])), quantity))
    return f"Its first values will be read as {joined(told)}." if told else ""


def _middle(column: pl.Series) -> float | None:
    value = column.cast(pl.Float64(), strict=False).median()
    return float(value) if isinstance(value, int | float) else None


def device_id(path: Path) -> str:
    """An id for a log that names no device: the file's own name."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", path.stem).strip("-")[:60] or "log"
