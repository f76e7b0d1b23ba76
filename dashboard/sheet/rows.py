"""The packaging sheet in the person's units: inputs and answers as labelled rows, shared by screen and printed page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from analysis import units
from analysis.packaging import Field, Quantity, fields
from dashboard.wording import THIN, number
from ingest.model import Preferences

Light = Literal["go", "caution", "stop"]

VERDICTS: dict[Light, str] = {"go": "Go", "caution": "Caution", "stop": "Stop"}
VERDICT_LINES: dict[Light, str] = {
    "go": "The numbers entered stay under the limits entered.",
    "caution": "Something here needs your care first.",
    "stop": "Do not package on these numbers.",
}


def verdict_of(answer: Mapping[str, Any]) -> tuple[Light | None, list[str]]:
    """Go, caution or stop for the package asked about, and why; any refusal makes it a stop. None where none is "
    "asked."""
    refusals = list(answer.get("refusals") or ())
    for package in ("bottle", "keg"):
        if answer.get(f"{package}_verdict") is not None:
            reasons = list(dict.fromkeys([*refusals, *(answer.get(f"{package}_reasons") or ())]))
            said: Light = answer[f"{package}_verdict"]
            return ("stop" if refusals else said), reasons
    return None, refusals


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


def input_sections(given: Mapping[str, Any], preferences: Preferences) -> tuple[Section, ...]:
    """What was entered, by group; what was not is left out."""
    groups: dict[str, list[Row]] = {}
    for field in fields():
        value = given.get(field.key)
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


def answer_sections(answer: Mapping[str, Any], preferences: Preferences) -> tuple[Section, ...]:
    """What the sheet says, by group; what it cannot say is left out."""
    found = (
        Section("Alcohol and attenuation", tuple(_alcohol(answer))),
        Section("Hops", tuple(_hops(answer))),
        Section("Carbonation", tuple(_carbonation(answer, preferences))),
        Section("Bottles", tuple(_bottles(answer, preferences))),
        Section("Sulfite and sorbate", tuple(_sulfite(answer))),
        Section("Sweetening and acid", tuple(_sweetening(answer, preferences))),
    )
    return tuple(section for section in found if section.rows)


def _rows(answer: Mapping[str, Any], wanted: Sequence[tuple[str, str, int, str]]) -> list[Row]:
    return [
        Row(label, f"{number(answer[key], decimals)}{THIN}{unit}".rstrip(THIN))
        for key, label, decimals, unit in wanted
        if answer.get(key) is not None
    ]


def _alcohol(answer: Mapping[str, Any]) -> list[Row]:
    rows = _rows(answer, [("alcohol_abv_pct", "Alcohol", 1, "% vol")])
    for key, label in (("apparent_attenuation", "Apparent attenuation"), ("real_attenuation", "Real attenuation")):
        if answer.get(key) is not None:
            rows.append(Row(label, f"{number(100 * answer[key])}{THIN}%"))
    return [Row(r.label, r.value, answer["method"]["alcohol"] if r.label == "Alcohol" else "") for r in rows]


def _hops(answer: Mapping[str, Any]) -> list[Row]:
    doses = answer.get("hops_g") or {}
    rows = [Row(name.capitalize() if name == "hops" else name, f"{grams:g}{THIN}g") for name, grams in doses.items()]
    if len(rows) > 1:
        rows.append(Row("Together", f"{answer['hops_total_g']:g}{THIN}g"))
    return rows


def _carbonation(answer: Mapping[str, Any], preferences: Preferences) -> list[Row]:
    rows = []
    if answer.get("residual_co2_volumes") is not None:
        rows.append(Row("Still dissolved", _gas(answer["residual_co2_volumes"], answer["residual_co2_g_per_l"])))
    if answer.get("carbonation_g_per_l") is not None:
        rows.append(Row("Wished", _gas(answer["wished_volumes"], answer["carbonation_g_per_l"])))
    if answer.get("priming_g") is not None:
        rows.append(Row("Priming sugar", f"{number(answer['priming_g'], 1)}{THIN}g", answer["method"]["priming"]))
    if answer.get("keg_gauge_kpa") is not None:
        rows.append(Row("Keg pressure", said(answer["keg_gauge_kpa"], "pressure", preferences), "above the atmosphere"))
    if answer.get("keg_worst_gauge_kpa") is not None:
        worst = said(answer["keg_worst_gauge_kpa"], "pressure", preferences)
        rows.append(Row("Keg pressure in the worst case", worst, "where it stands warmest, all fermented that may"))
    return rows


def _gas(volumes: float, grams: float) -> str:
    return f"{number(volumes, 2)} volumes ({number(grams, 1)}{THIN}g/L)"


def _bottles(answer: Mapping[str, Any], preferences: Preferences) -> list[Row]:
    rows = []
    for key, volumes, label in (
        ("bottle_gauge_kpa", "bottle_volumes", "Pressure to expect"),
        ("bottle_worst_gauge_kpa", "bottle_worst_volumes", "Pressure in the worst case"),
    ):
        if answer.get(key) is not None:
            value = said(answer[key], "pressure", preferences)
            rows.append(Row(label, value, f"{number(answer[volumes], 1)} volumes"))
    if answer.get("chance_above_rating") is not None:
        chance = answer["chance_above_rating"]
        rows.append(Row("Chance to pass the rating", _fine_percent(chance)))
    if answer.get("heated_gauge_kpa") is not None:
        rows.append(Row("Pressure at 65 °C", said(answer["heated_gauge_kpa"], "pressure", preferences), "if heated"))
    return rows


def _fine_percent(chance: float) -> str:
    """A chance that matters in tenths of a percent; an inferred one is never said to be 0 or 100 %."""
    if chance < 0.001:
        return f"under 0.1{THIN}%"
    return f"over 99.9{THIN}%" if chance > 0.999 else f"{number(100 * chance, 1)}{THIN}%"


def _sulfite(answer: Mapping[str, Any]) -> list[Row]:
    rows = _rows(
        answer,
        [
            ("potassium_metabisulfite_g", "Potassium metabisulfite", 2, "g"),
            ("tablets", "Tablets", 2, ""),
            ("so2_total_ppm", "SO2 in all", 0, "mg/L"),
            ("molecular_so2_ppm", "Molecular SO2", 2, "mg/L"),
            ("potassium_sorbate_g", "Potassium sorbate", 1, "g"),
        ],
    )
    limit = answer.get("so2_limit")
    if limit:
        rows.append(
            Row("Limit on SO2", f"{number(limit['so2_ppm'])}{THIN}mg/L", f"{limit['jurisdiction']}: {limit['source']}")
        )
    return rows


def _sweetening(answer: Mapping[str, Any], preferences: Preferences) -> list[Row]:
    rows = _rows(answer, [("sweetener_needed_g", "Sweetener", 0, "g"), ("acid_g", "Acid", 1, "g")])
    if answer.get("sweetened_gravity_sg") is not None:
        rows.insert(1, Row("Gravity then", said(answer["sweetened_gravity_sg"], "gravity", preferences)))
    return rows
