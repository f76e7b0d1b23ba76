"""How numbers, chances, days and quantities are printed, each in one way: on pages, in plans, sheets and messages.

Each kind of number has a single printing. A gravity has three decimals or one of °P, a temperature one decimal, a
pressure whole kPa, hundredths of a bar or tenths of a psi, a volume tenths of a litre or hundredths of a gallon: so
finely as the inputs of the pages take them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from analysis import units

GravityUnit = Literal["SG", "°P"]
TemperatureUnit = Literal["°C", "°F"]
PressureUnit = Literal["kPa", "bar", "psi"]
VolumeUnit = Literal["L", "US gal"]

THIN: Final = "\u202f"
"""The narrow no-break space between a number and its unit."""

NBSP: Final = "\u00a0"
"""A space at which no line breaks."""

MINUS: Final = "\u2212"
DASH: Final = "–"
UNKNOWN: Final = "—"

WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# The words and their borders are those of the IPCC's calibrated language (Mastrandrea et al., Guidance Note for Lead
# Authors of the IPCC Fifth Assessment Report on Consistent Treatment of Uncertainties, 2010, table 1).
_CHANCES: Final[tuple[tuple[float, str], ...]] = (
    (0.99, "almost certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.01, "very unlikely"),
    (0.00, "almost ruled out"),
)

DECIMALS: Final = {"SG": 3, "°P": 1, "points": 1, "°C": 1, "°F": 1, "kPa": 0, "bar": 2, "psi": 1, "L": 1, "US gal": 2}
"""Digits after the point by unit: as finely as the inputs of the pages take it."""

_FALLS_FROM_SG: Final = 1.010
"""SG; the gravity from which a fall is taken where it is said in °P. The scale is so nearly straight that a fall of ten
points is 2.61 °P from 1.010 to 1.000 less 0.04, and 2.52 from 1.020 (by `units.sg_to_plato`)."""


def number(value: float, decimals: int = 0) -> str:
    """A number with fixed decimals and a true minus sign; a dash where there is none."""
    if not math.isfinite(value):
        return UNKNOWN
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def percent(share: float | None) -> str:
    """A share as whole percent; never 0 % or 100 % for what is merely close to it."""
    if share is None or not math.isfinite(share):
        return UNKNOWN
    if 0 < share < 0.005:
        return f"less than{NBSP}1{THIN}%"
    if 0.995 <= share < 1:
        return f"more than{NBSP}99{THIN}%"
    return f"{number(100 * share)}{THIN}%"


def chance_percent(probability: float) -> str:
    """A chance as whole percent; never a plain 0 or 100 %, since we infer it."""
    return percent(min(max(probability, 0.001), 0.999))


def chance_word(probability: float) -> str:
    """The word for a chance: the same in every sentence, and the one for the whole percent that stands beside it."""
    shown = round(100 * probability)
    for border, word in _CHANCES:
        if shown >= 100 * border:
            return word
    return _CHANCES[-1][1]


def chance(probability: float) -> str:
    """A chance in words and numbers: ``very likely (93 %)``."""
    return f"{chance_word(probability)} ({chance_percent(probability)})"


def rare_chance(probability: float) -> str:
    """The chance of a harm, of which tenths of a percent matter; never said to be 0 or 100 %."""
    if probability < 0.001:
        return f"under 0.1{THIN}%"
    return f"over 99.9{THIN}%" if probability > 0.999 else f"{number(100 * probability, 1)}{THIN}%"


def chances_table() -> list[tuple[str, str]]:
    """Each word for a chance with the chances it stands for, the surest first."""
    rows = []
    upper = 1.0
    for border, word in _CHANCES:
        span = f"{number(100 * border)} to {number(100 * upper)}{THIN}%"
        rows.append((word, span if border else f"less than {number(100 * upper)}{THIN}%"))
        upper = border
    return rows


def mass(grams: float) -> str:
    """``0.45 g``, ``12.5 g``, ``128 g``: three digits, as scales for these amounts show."""
    if not math.isfinite(grams):
        return UNKNOWN
    return f"{number(grams, 2 if grams < 9.995 else 1 if grams < 99.95 else 0)}{THIN}g"


def day(that: date) -> str:
    """A date as people say it where the day of reading is not known: ``Saturday 28 Nov``."""
    return f"{WEEKDAYS[that.weekday()]} {that.day} {MONTHS[that.month - 1]}"


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """One person's units: quantities in and out of them, and printed with them.

    Inside, gravity is SG at 20/20 °C, a fall of gravity SG, temperature °C, pressure kPa gauge, volume litres.
    """

    gravity_unit: GravityUnit = "SG"
    temperature_unit: TemperatureUnit = "°C"
    pressure_unit: PressureUnit = "kPa"
    volume_unit: VolumeUnit = "L"

    def unit_of(self, quantity: str, own: str = "") -> str:
        """The unit in which a quantity is shown; `own` where the person has no choice."""
        chosen: dict[str, str] = {
            "gravity": self.gravity_unit,
            "gravity fall": "points" if self.gravity_unit == "SG" else "°P",
            "temperature": self.temperature_unit,
            "pressure": self.pressure_unit,
            "volume": self.volume_unit,
        }
        return chosen.get(quantity, own)

    def shown(self, value: float, quantity: str) -> float:
        """A value in the person's unit."""
        match quantity, self.unit_of(quantity):
            case ["gravity", "°P"]:
                return float(units.sg_to_plato(value))
            case ["gravity fall", "°P"]:
                return float(units.sg_to_plato(_FALLS_FROM_SG) - units.sg_to_plato(_FALLS_FROM_SG - value))
            case ["gravity fall", _]:
                return 1000 * value
            case ["temperature", "°F"]:
                return float(units.c_to_f(value))
            case ["pressure", "bar"]:
                return float(units.kpa_to_bar(value))
            case ["pressure", "psi"]:
                return float(units.kpa_to_psi(value))
            case ["volume", "US gal"]:
                return float(units.litres_to_us_gal(value))
        return float(value)

    def entered(self, value: float, quantity: str) -> float:
        """A value typed in the person's unit, as it is kept: the inverse of `shown`."""
        match quantity, self.unit_of(quantity):
            case ["gravity", "°P"]:
                return float(units.plato_to_sg(value))
            case ["gravity fall", "°P"]:
                return _FALLS_FROM_SG - float(units.plato_to_sg(units.sg_to_plato(_FALLS_FROM_SG) - value))
            case ["gravity fall", _]:
                return value / 1000
            case ["temperature", "°F"]:
                return float(units.f_to_c(value))
            case ["pressure", "bar"]:
                return float(units.bar_to_kpa(value))
            case ["pressure", "psi"]:
                return float(units.psi_to_kpa(value))
            case ["volume", "US gal"]:
                return float(units.us_gal_to_litres(value))
        return float(value)

    def figure(self, value: float, quantity: str, own: str = "") -> str:
        """The bare number in the person's unit."""
        return number(self.shown(value, quantity), DECIMALS.get(self.unit_of(quantity, own), 2))

    def said(self, value: float | None, quantity: str, own: str = "") -> str:
        """A quantity with its unit; SG has none, as people write it. A dash where it is not known."""
        if value is None or not math.isfinite(value):
            return UNKNOWN
        if quantity == "mass":
            return mass(value)
        unit = self.unit_of(quantity, own)
        figure = self.figure(value, quantity, own)
        return figure if unit in ("", "SG") else f"{figure}{' ' if unit == 'points' else THIN}{unit}"

    def gravity(self, gravity_sg: float | None) -> str:
        """``1.012`` or ``3.1 °P``."""
        return self.said(gravity_sg, "gravity")

    def temperature(self, temperature_c: float | None) -> str:
        """``20.0 °C`` or ``68.0 °F``."""
        return self.said(temperature_c, "temperature")

    def pressure(self, gauge_kpa: float | None) -> str:
        """``314 kPa``, ``3.14 bar`` or ``45.5 psi``."""
        return self.said(gauge_kpa, "pressure")

    def volume(self, litres: float | None) -> str:
        """``19.0 L`` or ``5.02 US gal``."""
        return self.said(litres, "volume")

    def fall(self, fall_sg: float) -> str:
        """A fall of gravity as measured: ``2.0 points`` (thousandths) or ``0.5 °P``."""
        return self.said(fall_sg, "gravity fall")

    def about_fall(self, fall_sg: float) -> str:
        """A fall of gravity in words: ``about 4 points``, ``about half a point`` or ``about 1.0 °P``."""
        value = fall_sg * 1000
        if value < 0.3:
            return "next to nothing"
        if self.gravity_unit == "°P":
            return f"about {self.fall(fall_sg)}"
        if value < 0.75:
            return "about half a point"
        rounded = round(value)
        return f"about {rounded} point{'s' if rounded != 1 else ''}"

    def fall_between(self, low_sg: float, high_sg: float) -> str:
        """``2 to 5 points`` or ``0.5 to 1.3 °P``."""
        if self.gravity_unit == "°P":
            low_text, high_text = (self.figure(max(x, 0.0), "gravity fall") for x in (low_sg, high_sg))
            return f"{low_text if low_text == high_text else f'{low_text} to {high_text}'}{THIN}°P"
        low, high = round(max(low_sg, 0) * 1000), round(max(high_sg, 0) * 1000)
        if low == high:
            return f"{number(low)} point{'s' if low != 1 else ''}"
        return f"{number(low)} to {number(high)} points"

    def one_point(self) -> str:
        """The fall that counts as none, 0.001 SG: ``one point`` or ``0.3 °P``."""
        return "one point" if self.gravity_unit == "SG" else self.fall(0.001)
