"""What a device can tell, under which names, in which units, and how each unit becomes the one we keep."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from analysis.units import f_to_c, plato_to_sg, sg_from_density
from ingest.errors import Fault

Convert = Callable[[float], float]


def _same(value: float) -> float:
    return value


def _fahrenheit(value: float) -> float:
    return f_to_c(value)


def _density(value: float) -> float:
    return sg_from_density(value)


def _plato(value: float) -> float:
    return plato_to_sg(value)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A field of `Report`: the units it may come in, and the range outside which an instrument is broken.

    `names` are the plain names under which SenML records and rules know it.
    """

    field: str
    names: frozenset[str]
    units: dict[str, Convert]
    low: float
    high: float
    shown_unit: str
    remedy: str


QUANTITIES: Final = (
    Quantity(
        "gravity_sg",
        frozenset({"gravity", "sg", "density", "extract"}),
        {"SG": _same, "°P": _plato, "kg/m3": _density},
        0.9,
        1.3,
        "SG",
        "Gravity lies between 0.980 and 1.200; look whether the unit is right",
    ),
    Quantity(
        "temperature_c",
        frozenset({"temperature", "temp"}),
        {"°C": _same, "°F": _fahrenheit, "K": lambda value: value - 273.15},
        -40.0,
        110.0,
        "°C",
        "A sensor that says so is usually loose or broken; check its wire",
    ),
    Quantity(
        "inclination_deg",
        frozenset({"inclination", "angle"}),
        {"°": _same, "rad": math.degrees},
        -180.0,
        180.0,
        "°",
        "An inclination lies between 0 and 90 degrees",
    ),
    Quantity(
        "battery_v",
        frozenset({"battery", "voltage", "battery_v"}),
        {"V": _same, "mV": lambda value: value / 1000},
        0.0,
        60.0,
        "V",
        "Look whether the unit is right: V or mV",
    ),
    Quantity(
        "battery_pct",
        frozenset({"battery", "charge", "battery_pct"}),
        {"%": _same, "ratio": lambda value: value * 100},
        0.0,
        110.0,
        "%",
        "A battery's charge lies between 0 and 100 %",
    ),
    Quantity(
        "signal_dbm",
        frozenset({"signal", "rssi"}),
        {"dBm": _same, "dBW": lambda value: value + 30},
        -200.0,
        30.0,
        "dBm",
        "A received signal lies between −120 and 0 dBm",
    ),
)
"""Every measured quantity."""

BY_FIELD: Final = {quantity.field: quantity for quantity in QUANTITIES}

NATIVE_NAMES: Final[dict[str, tuple[str, str]]] = {
    "gravity_sg": ("gravity_sg", "SG"),
    "extract_plato": ("gravity_sg", "°P"),
    "density_kg_m3": ("gravity_sg", "kg/m3"),
    "temperature_c": ("temperature_c", "°C"),
    "temperature_f": ("temperature_c", "°F"),
    "inclination_deg": ("inclination_deg", "°"),
    "battery_v": ("battery_v", "V"),
    "battery_mv": ("battery_v", "mV"),
    "battery_pct": ("battery_pct", "%"),
    "signal_dbm": ("signal_dbm", "dBm"),
}
"""The names of our own JSON object: each carries its unit. Name -> (field of `Report`, unit)."""

UNIT_SPELLINGS: Final[dict[str, str]] = {
    "SG": "SG",
    "sg": "SG",
    "°P": "°P",
    "P": "°P",
    "Plato": "°P",
    "plato": "°P",
    "kg/m³": "kg/m3",
    "kg/m3": "kg/m3",
    "g/L": "kg/m3",
    "°C": "°C",
    "C": "°C",
    "Cel": "°C",
    "°F": "°F",
    "F": "°F",
    "K": "K",
    "°": "°",
    "deg": "°",
    "rad": "rad",
    "V": "V",
    "mV": "mV",
    "%": "%",
    "ratio": "ratio",
    "dBm": "dBm",
    "dBW": "dBW",
}
"""How a unit may be spelled in a rule -> the unit."""


def converted(field: str, value: float, unit: str) -> float:
    """`value` in the unit of the field. A density is taken at 20 °C."""
    return BY_FIELD[field].units[unit](value)


def out_of_range(field: str, value: float, path: str) -> Fault | None:
    """A fault if no sound instrument says so."""
    quantity = BY_FIELD[field]
    if quantity.low <= value <= quantity.high:  # false for NaN too
        return None
    shown = f"{value:.4g}"
    return Fault(
        path,
        f"{shown} {quantity.shown_unit} is outside {quantity.low:g} to {quantity.high:g} {quantity.shown_unit}",
        quantity.remedy,
    )
