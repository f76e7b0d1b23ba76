"""The packaging sheet in the person's units: inputs and answers as labelled rows, shared by screen and printed page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from analysis.display_units import THIN, DisplayUnits, number, percent, rare_chance
from analysis.packaging import Field, PackagingSheet, SheetInputs, field_of, fields, safety
from analysis.units import litres_to_us_gal
from analysis.wording import altitude_words, joined, sugar_name, unsaid, worded, worst_case_sentences
from ingest.model import Preferences

Light = Literal["go", "caution", "stop"]

VERDICTS: dict[Light, str] = {"go": "Go", "caution": "Caution", "stop": "Stop"}
VERDICT_LINES: dict[Light, str] = {
    "go": "The numbers entered stay under the limits entered.",
    "caution": "Something here needs your care first.",
    "stop": "Do not package on these numbers.",
}


_CHOICES = {"so2": "SO2", "salt": "potassium metabisulfite"}

NOT_SAID = "not said"
"""In place of an answer that cannot be given; its reason stands beside it."""


def verdict_of(sheet: PackagingSheet, preferences: Preferences) -> tuple[Light | None, list[str]]:
    """Go, caution or stop for the package asked about, and why; any refusal makes it a stop. None where none is "
    "asked."""
    mine = preferences.units
    for said, reasons in ((sheet.bottle_verdict, sheet.bottle_reasons), (sheet.keg_verdict, sheet.keg_reasons)):
        if said is not None:
            return said, [worded(each, mine) for each in reasons]
    return None, [worded(each, mine) for each in sheet.refusals]


def cautions_of(sheet: PackagingSheet, preferences: Preferences) -> list[str]:
    """What to take care of, the reasons of the verdict among it."""
    return [worded(each, preferences.units) for each in sheet.cautions]


def missing_of(sheet: PackagingSheet) -> list[str]:
    """What is still to be entered, by name, in one sentence; the reasons and the rows say what it is wanted for."""
    names = [f"“{field_of(each.key).label}”" for each in sheet.missing if each.key != "package"]
    if not names:
        return []
    them = "it" if len(names) == 1 else "them"
    return [f"{joined(names)}: without {them} the sheet cannot say everything that it is asked for."]


def worst_case_of(sheet: PackagingSheet, preferences: Preferences) -> list[str]:
    """What the worst case counts; nothing where no pressure can be said."""
    if sheet.bottle_worst_gauge_kpa is None and sheet.keg_worst_gauge_kpa is None:
        return []
    return worst_case_sentences(sheet, preferences.units)


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


def input_sections(inputs: SheetInputs, preferences: Preferences) -> tuple[Section, ...]:
    """What was entered, by group; what was not is left out."""
    groups: dict[str, list[Row]] = {}
    for field in fields():
        if field.kind == "falls":
            continue  # its upper end is printed
        value = getattr(inputs, field.key)
        if value is not None:
            groups.setdefault(field.group, []).append(Row(field.label, _entry(field, value, preferences)))
    return tuple(Section(title, tuple(rows)) for title, rows in groups.items())


def assumed_rows(sheet: PackagingSheet, preferences: Preferences) -> tuple[Row, ...]:
    """What was counted because nothing else was entered."""
    found = ((field_of(key), value) for key, value in sheet.assumed.items())
    return tuple(
        # What counts against the drink alone is not what a pressure is set by.
        Row(of.label, _entry(of, value, preferences) + (", for what has to hold" if of.counted is not None else ""))
        for of, value in found
    )


def _entry(field: Field, value: Any, preferences: Preferences) -> str:
    if field.kind == "yes or no":
        return "yes" if value else "no"
    if field.kind == "shares":
        return ", ".join(f"{name} {share:g}" for name, share in value.items())
    if field.kind == "number":
        if field.key == "altitude_m" and value == 0:
            return "sea level"
        if not field.quantity:
            return f"{_short(float(value))}{THIN}{field.unit}".rstrip(THIN)
        return preferences.units.said(float(value), field.quantity, field.unit)
    return sugar_name(str(value)) if field.key == "priming_sugar" else _CHOICES.get(str(value), str(value))


def _short(value: float) -> str:
    """With two decimals at most, as far as they say something."""
    text = number(value, 2)
    return text.rstrip("0").rstrip(".") if "." in text else text


def answer_sections(sheet: PackagingSheet, preferences: Preferences) -> tuple[Section, ...]:
    """What the sheet says, by group; what it cannot say is left out."""
    found = (
        Section("Alcohol and attenuation", tuple(_alcohol(sheet, preferences))),
        Section("Hops", tuple(_hops(sheet, preferences))),
        Section("Carbonation", tuple(_carbonation(sheet, preferences))),
        Section("Bottles", tuple(_bottles(sheet, preferences))),
        Section("Sulfite and sorbate", tuple(_sulfite(sheet, preferences))),
        Section("Sweetening and acid", tuple(_sweetening(sheet, preferences))),
    )
    return tuple(section for section in found if section.rows)


def _rows(wanted: Sequence[tuple[float | None, str, int, str]], units: DisplayUnits) -> list[Row]:
    return [
        Row(label, units.mass(value) if unit == "g" else f"{number(value, decimals)}{THIN}{unit}".rstrip(THIN))
        for value, label, decimals, unit in wanted
        if value is not None
    ]


def _alcohol(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    rows = _rows([(sheet.alcohol_abv_pct, "Alcohol", 1, "% vol")], preferences.units)
    for share, label in (
        (sheet.apparent_attenuation, "Apparent attenuation"),
        (sheet.real_attenuation, "Real attenuation"),
    ):
        if share is not None:
            rows.append(Row(label, percent(share)))
    return [Row(r.label, r.value, sheet.method.alcohol if r.label == "Alcohol" else "") for r in rows]


def _hops(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    doses, mass = sheet.hops_g or {}, preferences.units.mass
    rows = [Row(name.capitalize() if name == "hops" else name, mass(grams)) for name, grams in doses.items()]
    if len(rows) > 1 and sheet.hops_total_g is not None:
        rows.append(Row("Together", mass(sheet.hops_total_g)))
    return rows


def _carbonation(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    units, given, rows = preferences.units, sheet.inputs, []
    if sheet.residual_co2_volumes is not None and sheet.residual_co2_g_per_l is not None:
        held = _gas(sheet.residual_co2_volumes, sheet.residual_co2_g_per_l, units)
        rows.append(Row("Still dissolved", held, f"after {units.temperature(given.warmest_c)}"))
    if sheet.wished_volumes is not None and sheet.carbonation_g_per_l is not None:
        rows.append(Row("Wished", _gas(sheet.wished_volumes, sheet.carbonation_g_per_l, units)))
    rows += _priming(sheet, preferences)
    up = altitude_words(given.altitude_m or 0.0) + ("" if given.altitude_m is not None else ", as no altitude is given")
    if sheet.keg_gauge_kpa is not None:
        note = f"above the atmosphere, at {units.temperature(given.serving_c)}, {up}"
        rows.append(Row("Keg pressure", units.pressure(sheet.keg_gauge_kpa), note))
    elif sheet.keg_verdict is not None:
        rows.append(Row("Keg pressure", NOT_SAID, unsaid(sheet, ["keg_gauge_kpa"])["keg_gauge_kpa"]))
    if sheet.keg_worst_gauge_kpa is not None and sheet.worst_case is not None:
        worst, hottest = units.pressure(sheet.keg_worst_gauge_kpa), units.temperature(sheet.worst_case.storage_c)
        rows.append(Row("Keg pressure in the worst case", worst, f"at {hottest}, all fermented that may"))
    return rows


def _priming(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    """The sugar by its name, since others weigh differently for the same gas; else why there is none."""
    if sheet.priming_g is not None:
        return _primed(sheet, sheet.priming_g, preferences)
    if sheet.wished_volumes and (_sugar(sheet) or sheet.inputs.priming_shares):
        return [Row("Priming sugar", NOT_SAID, unsaid(sheet, ["priming_g"])["priming_g"])]
    return []


def _sugar(sheet: PackagingSheet) -> str:
    only = next(iter(sheet.inputs.priming_shares or {}), None)
    return sugar_name(str(sheet.inputs.priming_sugar or only or sheet.assumed.get("priming_sugar") or ""))


def _primed(sheet: PackagingSheet, grams: float, preferences: Preferences) -> list[Row]:
    """What to prime with, by name: the whole, and each part of a mix."""
    parts = sheet.priming_parts_g or {}
    named = "mix" if parts else _sugar(sheet)
    poured = "" if sheet.priming_l is None else f" ({_poured(sheet.priming_l, preferences)})"
    note = f"another sugar takes another mass; {sheet.method.priming}"
    rows = [Row("Priming sugar", f"{preferences.units.mass(grams)} of {named}{poured}", note)]
    return rows + [Row(f"Of it {name}", preferences.units.mass(each)) for name, each in parts.items()]


def _poured(litres: float, preferences: Preferences) -> str:
    """A volume as small as one that is poured to prime with."""
    if preferences.volume_unit == "L":
        return f"{number(1000 * litres)}{THIN}mL"
    return f"{number(litres_to_us_gal(litres), 3)}{THIN}US gal"


def _gas(volumes: float, g_per_l: float, units: DisplayUnits) -> str:
    return f"{number(volumes, 2)} volumes ({units.concentration(g_per_l)})"


def _bottles(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    rows = []
    hottest = "" if sheet.worst_case is None else f"at {preferences.units.temperature(sheet.worst_case.storage_c)}, "
    if sheet.bottle_verdict is not None and sheet.bottle_gauge_kpa is None:
        rows.append(Row("Pressure to expect", NOT_SAID, unsaid(sheet, ["bottle_gauge_kpa"])["bottle_gauge_kpa"]))
    for gauge_kpa, volumes, label in (
        (sheet.bottle_gauge_kpa, sheet.bottle_volumes, "Pressure to expect"),
        (sheet.bottle_worst_gauge_kpa, sheet.bottle_worst_volumes, "Pressure in the worst case"),
    ):
        if gauge_kpa is not None and volumes is not None:
            rows.append(Row(label, preferences.units.pressure(gauge_kpa), f"{hottest}{number(volumes, 1)} volumes"))
    if sheet.chance_above_rating is not None:
        rows.append(Row("Chance of more pressure than its rating", rare_chance(sheet.chance_above_rating)))
    if sheet.heated_gauge_kpa is not None:
        at = preferences.units.temperature(safety.PASTEURISING_C)
        rows.append(Row(f"Pressure at {at}", preferences.units.pressure(sheet.heated_gauge_kpa), "if heated"))
    return rows


def _sulfite(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    rows = _rows(
        [
            (sheet.potassium_metabisulfite_g, "Potassium metabisulfite", 2, "g"),
            (sheet.tablets, "Tablets", 2, ""),
            (sheet.so2_total_ppm, "SO2 in all", 0, "mg/L"),
            (sheet.molecular_so2_ppm, "Molecular SO2", 2, "mg/L"),
            (sheet.potassium_sorbate_g, "Potassium sorbate", 1, "g"),
        ],
        preferences.units,
    )
    if sheet.inputs.sulfite_ppm is not None:
        for key, label in (
            ("potassium_metabisulfite_g", "Potassium metabisulfite"),
            ("molecular_so2_ppm", "Molecular SO2"),
        ):
            rows += [Row(label, NOT_SAID, why) for why in unsaid(sheet, [key]).values()]
    limit = sheet.so2_limit
    if limit is not None:
        rows.append(Row("Limit on SO2", f"{number(limit.so2_ppm)}{THIN}mg/L", f"{limit.jurisdiction}: {limit.source}"))
    return rows


def _sweetening(sheet: PackagingSheet, preferences: Preferences) -> list[Row]:
    needed = [(sheet.sweetener_needed_g, "Sweetener", 0, "g"), (sheet.acid_g, "Acid", 1, "g")]
    rows = _rows(needed, preferences.units)
    if sheet.sweetened_gravity_sg is not None:
        rows.insert(1, Row("Gravity then", preferences.units.gravity(sheet.sweetened_gravity_sg)))
    return rows
