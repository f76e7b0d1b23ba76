"""The packaging sheet in the person's units: inputs and answers as labelled rows, shared by screen and printed page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from analysis import units
from analysis.display_units import Say
from analysis.packaging import Field, PackagingSheet, Quantity, SheetInputs, fields
from analysis.wording.sheet import worded
from dashboard.wording import THIN, number
from ingest.model import Preferences

Light = Literal["go", "caution", "stop"]

VERDICTS: dict[Light, str] = {"go": "Go", "caution": "Caution", "stop": "Stop"}
VERDICT_LINES: dict[Light, str] = {
    "go": "The numbers entered stay under the limits entered.",
    "caution": "Something here needs your care first.",
    "stop": "Do not package on these numbers.",
}


def display_units(preferences: Preferences) -> Say:
    """The person's units, for the sheet's sentences."""
    return Say(preferences.gravity_unit, preferences.temperature_unit, preferences.pressure_unit)


def verdict_of(sheet: PackagingSheet, preferences: Preferences) -> tuple[Light | None, list[str]]:
    """Go, caution or stop for the package asked about, and why; any refusal makes it a stop. None where none is "
    "asked."""
    mine = display_units(preferences)
    for said, reasons in ((sheet.bottle_verdict, sheet.bottle_reasons), (sheet.keg_verdict, sheet.keg_reasons)):
        if said is not None:
            return said, [worded(each, mine) for each in reasons]
    return None, [worded(each, mine) for each in sheet.refusals]


def cautions_of(sheet: PackagingSheet, preferences: Preferences) -> list[str]:
    """What to take care of, the reasons of the verdict among it."""
    return [worded(each, display_units(preferences)) for each in sheet.cautions]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the sheet: a label, the value as said, and a note where one is due."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """Rows that belong together."""

    title: str
    rows: tuple[Row, ...]


def unit_of(quantity: Quantity, preferences: Preferences, unit: str = "") -> str:
    """The unit in which a quantity is shown to this person; `unit` where the person has no choice."""
    chosen: dict[str, str] = {
        "gravity": preferences.gravity_unit,
        "temperature": preferences.temperature_unit,
        "pressure": preferences.pressure_unit,
        "volume": preferences.volume_unit,
    }
    if quantity == "gravity fall":
        return "points" if preferences.gravity_unit == "SG" else "°P"
    return chosen.get(quantity, unit)


def shown(value: float, quantity: Quantity, preferences: Preferences) -> float:
    """A value of the sheet in the person's unit."""
    match quantity, unit_of(quantity, preferences):
        case ["gravity", "°P"]:
            return float(units.sg_to_plato(value))
        case ["gravity fall", "°P"]:
            return float(units.sg_to_plato(1.010) - units.sg_to_plato(1.010 - value))
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
    return value


def entered(value: float, quantity: Quantity, preferences: Preferences) -> float:
    """A value typed in the person's unit, in the sheet's: the inverse of `shown`."""
    match quantity, unit_of(quantity, preferences):
        case ["gravity", "°P"]:
            return float(units.plato_to_sg(value))
        case ["gravity fall", "°P"]:
            return 1.010 - float(units.plato_to_sg(units.sg_to_plato(1.010) - value))
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
    return value


_DECIMALS = {"SG": 3, "°P": 1, "points": 1, "°C": 1, "°F": 0, "kPa": 0, "bar": 2, "psi": 1, "L": 1, "US gal": 2, "g": 1}


def said(value: float, quantity: Quantity, preferences: Preferences, unit: str = "") -> str:
    """A number with its unit, as this person reads it."""
    name = unit_of(quantity, preferences, unit)
    text = number(shown(value, quantity, preferences), _DECIMALS.get(name, 2))
    return text if name in ("", "SG") else f"{text}{THIN}{name}"


def input_sections(inputs: SheetInputs, preferences: Preferences) -> tuple[Section, ...]:
    """What was entered, by group; what was not is left out."""
    groups: dict[str, list[Row]] = {}
    for field in fields():
        value = getattr(inputs, field.key)
        if value is not None:
            groups.setdefault(field.group, []).append(Row(field.label, _entry(field, value, preferences)))
    return tuple(Section(title, tuple(rows)) for title, rows in groups.items())


def _entry(field: Field, value: Any, preferences: Preferences) -> str:
    if field.kind == "yes or no":
        return "yes" if value else "no"
    if field.kind == "shares":
        return ", ".join(f"{name} {share:g}" for name, share in value.items())
    if field.kind == "number":
        return said(float(value), field.quantity, preferences, field.unit)
    return str(value)


def answer_sections(sheet: PackagingSheet, preferences: Preferences) -> tuple[Section, ...]:
    """What the sheet says, by group; what it cannot say is left out."""
    found = (
        Section("Alcohol and attenuation", tuple(_alcohol(sheet))),
        Section("Hops", tuple(_hops(sheet))),
        Section("Carbonation", tuple(_carbonation(sheet, preferences))),
        Section("Bottles", tuple(_bottles(sheet, preferences))),
        Section("Sulfite and sorbate", tuple(_sulfite(sheet))),
        Section("Sweetening and acid", tuple(_sweetening(sheet, preferences))),
    )
    return tuple(section for section in found if section.rows)


def _rows(wanted: Sequence[tuple[float | None, str, int, str]]) -> list[Row]:
    return [
        Row(label, f"{number(value, decimals)}{THIN}{unit}".rstrip(THIN))
        for value, label, decimals, unit in wanted
        if value is not None
    ]


def _alcohol(sheet: PackagingSheet) -> list[Row]:
    rows = _rows([(sheet.alcohol_abv_pct, "Alcohol", 1, "% vol")])
    for share, label in (
        (sheet.apparent_attenuation, "Apparent attenuation"),
        (sheet.real_attenuation, "Real attenuation"),
    ):
        if share is not None:
            rows.append(Row(label, f"{number(100 * share)}{THIN}%"))
    return [Row(r.label, r.value, sheet.method.alcohol if r.label == "Alcohol" else "") for r in rows]


def _hops(sheet: PackagingSheet) -> list[Row]:
    doses = sheet.hops_g or {}
    rows = [Row(name.capitalize() if name == "hops" else name, f"{grams:g}{THIN}g") for name, grams in doses.items()]
    if len(rows) > 1:
        rows.append(Row("Together", f"{sheet.hops_total_g:g}{THIN}g"))
    return rows


def _carbonation(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    rows = []
    if sheet.residual_co2_volumes is not None and sheet.residual_co2_g_per_l is not None:
        rows.append(Row("Still dissolved", _gas(sheet.residual_co2_volumes, sheet.residual_co2_g_per_l)))
    if sheet.wished_volumes is not None and sheet.carbonation_g_per_l is not None:
        rows.append(Row("Wished", _gas(sheet.wished_volumes, sheet.carbonation_g_per_l)))
    if sheet.priming_g is not None:
        rows.append(Row("Priming sugar", f"{number(sheet.priming_g, 1)}{THIN}g", sheet.method.priming))
    if sheet.keg_gauge_kpa is not None:
        rows.append(Row("Keg pressure", said(sheet.keg_gauge_kpa, "pressure", preferences), "above the atmosphere"))
    if sheet.keg_worst_gauge_kpa is not None:
        worst = said(sheet.keg_worst_gauge_kpa, "pressure", preferences)
        rows.append(Row("Keg pressure in the worst case", worst, "where it stands warmest, all fermented that may"))
    return rows


def _gas(volumes: float, grams: float) -> str:
    return f"{number(volumes, 2)} volumes ({number(grams, 1)}{THIN}g/L)"


def _bottles(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    rows = []
    for gauge_kpa, volumes, label in (
        (sheet.bottle_gauge_kpa, sheet.bottle_volumes, "Pressure to expect"),
        (sheet.bottle_worst_gauge_kpa, sheet.bottle_worst_volumes, "Pressure in the worst case"),
    ):
        if gauge_kpa is not None and volumes is not None:
            rows.append(Row(label, said(gauge_kpa, "pressure", preferences), f"{number(volumes, 1)} volumes"))
    if sheet.chance_above_rating is not None:
        rows.append(Row("Chance to pass the rating", _fine_percent(sheet.chance_above_rating)))
    if sheet.heated_gauge_kpa is not None:
        rows.append(Row("Pressure at 65 °C", said(sheet.heated_gauge_kpa, "pressure", preferences), "if heated"))
    return rows


def _fine_percent(chance: float) -> str:
    """A chance that matters in tenths of a percent; an inferred one is never said to be 0 or 100 %."""
    if chance < 0.001:
        return f"under 0.1{THIN}%"
    return f"over 99.9{THIN}%" if chance > 0.999 else f"{number(100 * chance, 1)}{THIN}%"


def _sulfite(sheet: PackagingSheet) -> list[Row]:
    rows = _rows(
        [
            (sheet.potassium_metabisulfite_g, "Potassium metabisulfite", 2, "g"),
            (sheet.tablets, "Tablets", 2, ""),
            (sheet.so2_total_ppm, "SO2 in all", 0, "mg/L"),
            (sheet.molecular_so2_ppm, "Molecular SO2", 2, "mg/L"),
            (sheet.potassium_sorbate_g, "Potassium sorbate", 1, "g"),
        ],
    )
    limit = sheet.so2_limit
    if limit is not None:
        rows.append(Row("Limit on SO2", f"{number(limit.so2_ppm)}{THIN}mg/L", f"{limit.jurisdiction}: {limit.source}"))
    return rows


def _sweetening(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    rows = _rows([(sheet.sweetener_needed_g, "Sweetener", 0, "g"), (sheet.acid_g, "Acid", 1, "g")])
    if sheet.sweetened_gravity_sg is not None:
        rows.insert(1, Row("Gravity then", said(sheet.sweetened_gravity_sg, "gravity", preferences)))
    return rows
