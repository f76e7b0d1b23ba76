"""How numbers, chances, days and quantities are printed, each in one way: on pages, in plans, sheets and messages.

Each kind of number has a single printing. A gravity has three decimals or one of °P, a temperature one decimal, a
pressure whole kPa, hundredths of a bar or tenths of a psi, a volume tenths of a litre or hundredths of a gallon: so
finely as the inputs of the pages take them. A mass has three digits, as its scales have, and from a kilogram or a pound
on a thousandth of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Literal

from analysis import units
from analysis.model import Floats

GravityUnit = Literal["SG", "°P", "°Bx"]
TemperatureUnit = Literal["°C", "°F"]
PressureUnit = Literal["kPa", "bar", "psi"]
VolumeUnit = Literal["L", "US gal"]
MassUnit = Literal["g", "oz"]
Quantity = Literal[
    "", "gravity", "gravity fall", "temperature", "pressure", "volume", "mass", "concentration", "share", "plain"
]
"""What a number is of; "" and "plain" are shown as they are."""

THIN: Final = "\u202f"
"""The narrow no-break space between a number and its unit."""

NBSP: Final = "\u00a0"
"""A space at which no line breaks."""

MINUS: Final = "\u2212"
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

DECIMALS: Final = {
    "SG": 3,
    "°P": 1,
    "°Bx": 1,
    "points": 1,
    "°C": 1,
    "°F": 1,
    "kPa": 0,
    "bar": 2,
    "psi": 1,
    "L": 1,
    "US gal": 2,
    "g/L": 2,
    "oz/US gal": 3,
    "mg/L": 0,
    "mg": 0,
    "% vol": 1,
    "%": 0,
    "volumes": 2,
    "m": 0,
}
"""Digits after the point by unit: as finely as the inputs of the pages take it."""

STEPS: Final = {
    "SG": 0.001,
    "°P": 0.1,
    "°Bx": 0.1,
    "points": 0.5,
    "°C": 0.5,
    "°F": 0.5,
    "kPa": 5.0,
    "bar": 0.1,
    "psi": 1.0,
    "L": 0.5,
    "US gal": 0.25,
    "g": 1.0,
    "oz": 0.1,
    "g/L": 0.5,
    "oz/US gal": 0.05,
    "mg/L": 5.0,
    "mg": 10.0,
    "% vol": 0.5,
    "%": 1.0,
    "volumes": 0.1,
    "m": 50.0,
}
"""By how much the buttons beside an input change it, by unit."""

_WORDS: Final = ("points", "volumes")
"""Units that are words; what is a sign stands close to its number."""

_PATTERNS: Final = {"g": "%.6g", "oz": "%.4g", "L": "%.2f"}
"""How a quantity stands in an input where that is finer than its print: a mass may be of a tablet or of a sack, so that
its digits count and not its decimals, and a small batch is measured in hundredths of a litre."""

_EXTRACTS: Final[dict[str, tuple[Callable[[Any], Any], Callable[[Any], Any]]]] = {
    "°P": (units.sg_to_plato, units.plato_to_sg),
    "°Bx": (units.sg_to_brix, units.brix_to_sg),
}
"""From gravity and back, for the units that tell what is dissolved."""

_SIMPLE: Final[dict[str, tuple[Callable[[Any], Any], Callable[[Any], Any]]]] = {
    "°F": (units.c_to_f, units.f_to_c),
    "bar": (units.kpa_to_bar, units.bar_to_kpa),
    "psi": (units.kpa_to_psi, units.psi_to_kpa),
    "US gal": (units.litres_to_us_gal, units.us_gal_to_litres),
    "oz": (units.g_to_oz, units.oz_to_g),
    "oz/US gal": (units.g_per_l_to_oz_per_us_gal, units.oz_per_us_gal_to_g_per_l),
    "points": (lambda fall: 1000 * fall, lambda points: points / 1000),
    "%": (lambda share: 100 * share, lambda percent: percent / 100),
}
"""From our unit and back, for the units that say their quantity by themselves."""

_FALLS_FROM_SG: Final = 1.010
_LEAST_POINTS: Final = 900.0
_MOST_POINTS: Final = 1700.0
"""What is typed between these is a gravity without its point: 0.900 to 1.700, from dry wine to a thick syrup."""
"""SG; the gravity from which a fall is taken where it is said in °P. The scale is so nearly straight that a fall of ten
points is 2.61 °P from 1.010 to 1.000 less 0.04, and 2.52 from 1.020 (by `units.sg_to_plato`)."""


_TYPED_WHOLE: Final = (900.0, 1300.0)
"""A gravity typed without its point, as the trade says it: 1050 for 1.050. No extract reaches these numbers (by
definition it is at most 100 g in 100 g), and no gravity in SG does."""


def gravity_as_typed(value: float, unit: str) -> float:
    """A gravity in its unit from what was typed: 1050 is 1.050, also where the field is in °P or °Bx.

    Everything else is left as it is: 1.050 in a field of °P may be one degree.
    """
    if unit not in ("SG", *_EXTRACTS) or not _TYPED_WHOLE[0] <= value <= _TYPED_WHOLE[1]:
        return value
    return value / 1000 if unit == "SG" else float(_EXTRACTS[unit][0](value / 1000))


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


def _mass(value: float, small: str, large: str, many: float) -> str:
    """A mass in its small unit with three digits, or from `many` of them on in the large one with four."""
    if value >= many * (1 - 1e-9):
        return f"{_digits(value / many, 4)}{THIN}{large}"
    return f"{_digits(value, 3, 2 if small == 'g' else 4)}{THIN}{small}"


def _digits(value: float, digits: int, most: int = 3) -> str:
    """A number with so many digits, and at most so many of them after the point."""
    whole = 1
    while abs(value) >= 10**whole - 0.5 * 10.0 ** (whole - digits) and whole < digits:
        whole += 1
    small = whole == 1 and abs(value) < 1
    decimals = digits - whole
    if small:  # leading zeros are no digits
        decimals = most if abs(value) < 0.1 else max(decimals, min(most, digits))
    return number(value, min(decimals, most))


def day(that: date) -> str:
    """A date as people say it where the day of reading is not known: ``Saturday 28 Nov``."""
    return f"{WEEKDAYS[that.weekday()]} {that.day} {MONTHS[that.month - 1]}"


def specific_gravity_typed(value: float) -> float:
    """A specific gravity as it was meant: 1050 is 1.050. No gravity lies between, so nothing else can be meant."""
    return value / 1000.0 if _LEAST_POINTS <= value <= _MOST_POINTS else float(value)


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """One person's units: quantities in and out of them, and printed with them.

    Inside, gravity is SG at 20/20 °C, a fall of gravity SG, temperature °C, pressure kPa gauge, volume litres, mass
    grams, a concentration grams in a litre, a share a fraction.
    """

    gravity_unit: GravityUnit = "SG"
    temperature_unit: TemperatureUnit = "°C"
    pressure_unit: PressureUnit = "kPa"
    volume_unit: VolumeUnit = "L"
    mass_unit: MassUnit = "g"

    def unit_of(self, quantity: str, own: str = "") -> str:
        """The unit in which a quantity is shown; `own` where the person has no choice.

        A concentration is in ounces a gallon for who chose both, else in grams a litre.
        """
        chosen: dict[str, str] = {
            "gravity": self.gravity_unit,
            "gravity fall": "points" if self.gravity_unit == "SG" else self.gravity_unit,
            "temperature": self.temperature_unit,
            "pressure": self.pressure_unit,
            "volume": self.volume_unit,
            "mass": self.mass_unit,
            "concentration": "oz/US gal" if (self.mass_unit, self.volume_unit) == ("oz", "US gal") else "g/L",
            "share": "%",
        }
        return chosen.get(quantity, own)

    def shown(self, value: float, quantity: str) -> float:
        """A value in the person's unit."""
        unit = self.unit_of(quantity)
        if unit in _EXTRACTS:
            extract = _EXTRACTS[unit][0]
            if quantity == "gravity fall":
                return float(extract(_FALLS_FROM_SG) - extract(_FALLS_FROM_SG - value))
            return float(extract(value))
        return float(_SIMPLE[unit][0](value)) if unit in _SIMPLE else float(value)

    def entered(self, value: float, quantity: str) -> float:
        """A value typed in the person's unit, as it is kept: the inverse of `shown`.

        A specific gravity is also taken without its point, 1050 for 1.050, as the trade says it and as a browser hands
        over 1,050.
        """
        unit = self.unit_of(quantity)
        if quantity == "gravity" and unit == "SG":
            return specific_gravity_typed(value)
        if unit in _EXTRACTS:
            extract, gravity = _EXTRACTS[unit]
            if quantity == "gravity fall":
                return _FALLS_FROM_SG - float(gravity(extract(_FALLS_FROM_SG) - value))
            return float(gravity(value))
        return float(_SIMPLE[unit][1](value)) if unit in _SIMPLE else float(value)

    def gravities(self, gravity_sg: Floats) -> Floats:
        """Many gravities in the person's unit."""
        return gravity_sg if self.gravity_unit == "SG" else _EXTRACTS[self.gravity_unit][0](gravity_sg)

    def figure(self, value: float, quantity: str, own: str = "") -> str:
        """The bare number in the person's unit."""
        return number(self.shown(value, quantity), DECIMALS.get(self.unit_of(quantity, own), 2))

    def said(self, value: float | None, quantity: str, own: str = "") -> str:
        """A quantity with its unit; SG has none, as people write it. A dash where it is not known."""
        if value is None or not math.isfinite(value):
            return UNKNOWN
        if quantity == "mass":
            return self.mass(value)
        return self._with_unit(self.figure(value, quantity, own), self.unit_of(quantity, own))

    def typed(self, value: float, quantity: str, own: str = "") -> str:
        """A quantity with all the digits that were typed, for what is said back to who typed it."""
        unit, shown = self.unit_of(quantity, own), self.shown(value, quantity)
        figure = f"{shown:.6g}"
        if unit == "SG" and abs(shown) < 10 and len(figure.partition(".")[2]) < DECIMALS[unit]:
            figure = f"{shown:.3f}"
        return self._with_unit(figure.replace("-", MINUS), unit)

    def span(self, low: float, high: float, quantity: str, own: str = "") -> str:
        """From one quantity to another: ``0.990 to 1.160`` or ``32 to 104 °F``, for what is usual or allowed."""
        unit = self.unit_of(quantity, own)
        if unit == "SG":
            ends = [number(value, 3) for value in (low, high)]
        else:
            ends = [self._three_digits(value, quantity) for value in (low, high)]
        return self._with_unit(f"{ends[0]} to {ends[1]}", unit)

    def about(self, value: float, quantity: str) -> str:
        """A figure of a text, round in the unit in which it was published and with three digits in another."""
        return self._with_unit(self._three_digits(value, quantity), self.unit_of(quantity))

    def _three_digits(self, value: float, quantity: str) -> str:
        return f"{float(f'{self.shown(value, quantity):.3g}'):g}".replace("-", MINUS)

    def input_format(self, quantity: str, own: str = "") -> str:
        """How a quantity stands in an input, as a printf pattern."""
        unit = self.unit_of(quantity, own)
        return _PATTERNS.get(unit) or (f"%.{DECIMALS[unit]}f" if unit in DECIMALS else "%g" if not unit else "%.2f")

    def input_step(self, quantity: str, own: str = "") -> float:
        """By how much the buttons beside an input change it."""
        return STEPS.get(self.unit_of(quantity, own), 1.0 if quantity == "plain" else 0.1)

    @staticmethod
    def _with_unit(figure: str, unit: str) -> str:
        return figure if unit in ("", "SG") else f"{figure}{' ' if unit in _WORDS else THIN}{unit}"

    def fall_to(self, fall_sg: float, down_to_sg: float, decimals: int | None = None) -> str:
        """A fall that ended at a gravity, where it is known: a degree is not the same number of points everywhere."""
        if self.gravity_unit == "SG":
            return self._with_unit(number(1000 * fall_sg, 1 if decimals is None else decimals), "points")
        figure = number(self.fall_amount(fall_sg, down_to_sg), 2 if decimals is None else decimals)
        return self._with_unit(figure, self.gravity_unit)

    def fall_amount(self, fall_sg: float, down_to_sg: float) -> float:
        """How much a fall to `down_to_sg` is in the person's unit of gravity, SG where that is theirs."""
        return self.shown(down_to_sg + fall_sg, "gravity") - self.shown(down_to_sg, "gravity")

    def gravity_error(self, error_sg: float, at_sg: float) -> str:
        """The error of a gravity, finer than the gravity itself: ``0.0007 SG`` or ``0.18 °P``."""
        if self.gravity_unit == "SG":
            return f"{number(error_sg, 4)}{THIN}SG"
        return self.fall_to(error_sg, at_sg)

    def warmer_by(self, by_c: float, decimals: int = 1) -> str:
        """A difference of temperature."""
        by = self.shown(by_c, "temperature") - self.shown(0.0, "temperature")
        return f"{number(by, decimals)}{THIN}{self.temperature_unit}"

    def mass(self, grams: float | None) -> str:
        """``0.45 g``, ``12.5 g``, ``128 g``, ``1.250 kg``; ``0.0159 oz``, ``4.41 oz``, ``2.756 lb``."""
        if grams is None or not math.isfinite(grams):
            return UNKNOWN
        if self.mass_unit == "g":
            return _mass(grams, "g", "kg", 1000)
        return _mass(units.g_to_oz(grams), "oz", "lb", 16)

    def concentration(self, g_per_l: float | None) -> str:
        """``4.00 g/L`` or ``0.534 oz/US gal``."""
        return self.said(g_per_l, "concentration")

    def gravity(self, gravity_sg: float | None) -> str:
        """``1.012``, ``3.1 °P`` or ``3.1 °Bx``."""
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
        if self.gravity_unit != "SG":
            return f"about {self.fall(fall_sg)}"
        if value < 0.75:
            return "about half a point"
        rounded = round(value)
        return f"about {rounded} point{'s' if rounded != 1 else ''}"

    def fall_between(self, low_sg: float, high_sg: float) -> str:
        """``2 to 5 points`` or ``0.5 to 1.3 °P``."""
        if self.gravity_unit != "SG":
            low_text, high_text = (self.figure(max(x, 0.0), "gravity fall") for x in (low_sg, high_sg))
            return f"{low_text if low_text == high_text else f'{low_text} to {high_text}'}{THIN}{self.gravity_unit}"
        return self._points_between(max(low_sg, 0) * 1000, max(high_sg, 0) * 1000)

    @staticmethod
    def _points_between(low: float, high: float) -> str:
        low, high = round(low), round(high)
        if low == high:
            return f"{number(low)} point{'s' if low != 1 else ''}"
        return f"{number(low)} to {number(high)} points"

    def apart(self, one_sg: float, other_sg: float) -> str:
        """How far two gravities lie apart as they are printed: whoever subtracts one from the other gets the same."""
        return self.apart_from_range(one_sg, other_sg, other_sg)

    def apart_from_range(self, gravity_sg: float, low_sg: float, high_sg: float) -> str:
        """How far a gravity lies from each end of a range below it, as all three are printed."""
        nearer, farther = sorted(abs(self._printed_gap(gravity_sg, end)) for end in (low_sg, high_sg))
        if self.gravity_unit == "SG":
            return self._points_between(1000 * nearer, 1000 * farther)
        low_text, high_text = (number(gap, DECIMALS[self.gravity_unit]) for gap in (nearer, farther))
        return f"{low_text if low_text == high_text else f'{low_text} to {high_text}'}{THIN}{self.gravity_unit}"

    def _printed_gap(self, one_sg: float, other_sg: float) -> float:
        digits = DECIMALS[self.gravity_unit]
        one, other = (round(self.shown(sg, "gravity"), digits) for sg in (one_sg, other_sg))
        return one - other

    def colder_by(self, one_c: float, other_c: float) -> str:
        """How much colder one temperature is than another, as both are printed."""
        digits = DECIMALS[self.temperature_unit]
        one, other = (round(self.shown(c, "temperature"), digits) for c in (one_c, other_c))
        return f"{number(other - one, digits)}{THIN}{self.temperature_unit}"

    def one_point(self) -> str:
        """The fall that counts as none, 0.001 SG: ``one point`` or ``0.3 °P``."""
        return "one point" if self.gravity_unit == "SG" else self.fall(0.001)
