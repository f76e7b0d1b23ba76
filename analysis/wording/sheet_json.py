"""The packaging sheet as JSON, for scripts: numbers under their keys, findings as sentences."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any, Final

from analysis.display_units import DisplayUnits
from analysis.packaging import Finding, PackagingSheet
from analysis.wording.sheet import worded
from analysis.wording.sheet_cautions import against_oxygen
from analysis.wording.sheet_gaps import unsaid, worst_case_sentences

ANSWERS: Final = (
    "alcohol_abv_pct",
    "apparent_attenuation",
    "real_attenuation",
    "residual_co2_volumes",
    "priming_g",
    "keg_gauge_kpa",
    "bottle_gauge_kpa",
    "bottle_worst_gauge_kpa",
    "bottle_verdict",
    "potassium_metabisulfite_g",
    "tablets",
    "molecular_so2_ppm",
    "hops_g",
)
"""Keys that are always there, null where they cannot be said."""

_WHERE_SAID: Final = (
    "priming_l",
    "priming_parts_g",
    "hops_total_g",
    "wished_volumes",
    "carbonation_g_per_l",
    "residual_co2_g_per_l",
    "sweetener_needed_g",
    "sweetened_gravity_sg",
    "so2_total_ppm",
    "potassium_sorbate_g",
    "heated_gauge_kpa",
    "acid_g",
)
"""Keys that are there where they can be said."""


def as_json(sheet: PackagingSheet, units: DisplayUnits) -> dict[str, Any]:
    """Every answer under its key, in terms of JSON.

    Parameters
    ----------
    sheet
        What was worked out. The keys of `ANSWERS`, `missing`, `unsaid`, `assumed`, `refusals`, `cautions`,
        `checklist` and `method` are always there; what is said of bottles and kegs where they are asked about; the
        others where they can be said. Each null of `ANSWERS` has its reason in `unsaid`.
    units
        The person's, for the sentences; the numbers keep the units of their names.
    """

    def said(findings: Iterable[Finding]) -> list[str]:
        return [worded(each, units) for each in findings]

    answer: dict[str, Any] = {key: getattr(sheet, key) for key in ANSWERS}
    answer["hops_g"] = None if sheet.hops_g is None else dict(sheet.hops_g)
    answer |= {key: getattr(sheet, key) for key in _WHERE_SAID if getattr(sheet, key) is not None}
    if sheet.priming_parts_g is not None:
        answer["priming_parts_g"] = dict(sheet.priming_parts_g)
    limit = sheet.so2_limit
    if limit is not None:
        answer["so2_limit"] = {"so2_ppm": limit.so2_ppm, "jurisdiction": limit.jurisdiction, "source": limit.source}
    if sheet.bottle_verdict is not None:
        answer["bottle_volumes"] = sheet.bottle_volumes
        answer["bottle_worst_volumes"] = sheet.bottle_worst_volumes
        answer["bottle_pressure_distribution"] = [asdict(point) for point in sheet.bottle_pressure_distribution]
        answer["chance_above_rating"] = sheet.chance_above_rating
        answer["bottle_reasons"] = said(sheet.bottle_reasons)
    if sheet.keg_verdict is not None:
        answer["keg_verdict"] = sheet.keg_verdict
        answer["keg_worst_gauge_kpa"] = sheet.keg_worst_gauge_kpa
        answer["keg_reasons"] = said(sheet.keg_reasons)
    answer["refusals"], answer["cautions"] = said(sheet.refusals), said(sheet.cautions)
    answer["missing"] = [
        {"input": each.key, "why": worded(each, units), "answers": list(each.answers)} for each in sheet.missing
    ]
    answer["unsaid"] = unsaid(sheet, ANSWERS)
    answer["assumed"] = dict(sheet.assumed)
    answer["worst_case"] = worst_case_sentences(sheet, units)
    answer["checklist"] = list(against_oxygen(sheet.inputs.package))
    answer["method"] = asdict(sheet.method)
    return answer
