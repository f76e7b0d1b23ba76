"""The packaging sheet in the person's units: inputs and answers as labelled rows, shared by screen and printed page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from analysis.display_units import THIN, mass, number, percent, rare_chance
from analysis.packaging import Field, fields, safety
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
        return preferences.units.said(float(value), field.quantity, field.unit)
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
        Row(label, mass(answer[key]) if unit == "g" else f"{number(answer[key], decimals)}{THIN}{unit}".rstrip(THIN))
        for key, label, decimals, unit in wanted
        if answer.get(key) is not None
    ]


def _alcohol(answer: Mapping[str, Any]) -> list[Row]:
    rows = _rows(answer, [("alcohol_abv_pct", "Alcohol", 1, "% vol")])
    for key, label in (("apparent_attenuation", "Apparent attenuation"), ("real_attenuation", "Real attenuation")):
        if answer.get(key) is not None:
            rows.append(Row(label, percent(answer[key])))
    return [Row(r.label, r.value, answer["method"]["alcohol"] if r.label == "Alcohol" else "") for r in rows]


def _hops(answer: Mapping[str, Any]) -> list[Row]:
    doses = answer.get("hops_g") or {}
    rows = [Row(name.capitalize() if name == "hops" else name, mass(grams)) for name, grams in doses.items()]
    if len(rows) > 1:
        rows.append(Row("Together", mass(answer["hops_total_g"])))
    return rows


def _carbonation(answer: Mapping[str, Any], preferences: Preferences) -> list[Row]:
    rows = []
    if answer.get("residual_co2_volumes") is not None:
        rows.append(Row("Still dissolved", _gas(answer["residual_co2_volumes"], answer["residual_co2_g_per_l"])))
    if answer.get("carbonation_g_per_l") is not None:
        rows.append(Row("Wished", _gas(answer["wished_volumes"], answer["carbonation_g_per_l"])))
    if answer.get("priming_g") is not None:
        rows.append(Row("Priming sugar", mass(answer["priming_g"]), answer["method"]["priming"]))
    if answer.get("keg_gauge_kpa") is not None:
        rows.append(Row("Keg pressure", preferences.units.pressure(answer["keg_gauge_kpa"]), "above the atmosphere"))
    if answer.get("keg_worst_gauge_kpa") is not None:
        worst = preferences.units.pressure(answer["keg_worst_gauge_kpa"])
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
            value = preferences.units.pressure(answer[key])
            rows.append(Row(label, value, f"{number(answer[volumes], 1)} volumes"))
    if answer.get("chance_above_rating") is not None:
        chance = answer["chance_above_rating"]
        rows.append(Row("Chance to pass the rating", rare_chance(chance)))
    if answer.get("heated_gauge_kpa") is not None:
        rows.append(
            Row(
                f"Pressure at {preferences.units.temperature(safety.PASTEURISING_C)}",
                preferences.units.pressure(answer["heated_gauge_kpa"]),
                "if heated",
            )
        )
    return rows


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
        rows.insert(1, Row("Gravity then", preferences.units.gravity(answer["sweetened_gravity_sg"])))
    return rows
