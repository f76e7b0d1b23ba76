"""What a packaging sheet was not told: what is missing, why an answer is null, what its worst case counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.display_units import THIN, DisplayUnits, number
from analysis.packaging import Answer, Finding, InputMissing, LowAlcohol, PackagingSheet, field_of
from analysis.thresholds import HEAD_SPACE_KPA
from analysis.wording.formatting import joined

_ANSWERS: Final[dict[Answer, str]] = {
    "verdict": "a go",
    "alcohol": "the alcohol",
    "residual gas": "the gas still dissolved",
    "priming sugar": "the priming sugar",
    "pressure to set": "the pressure to set",
    "sulfite": "the mass of sulfite",
    "molecular SO2": "the molecular SO2",
    "sorbate": "the mass of sorbate",
    "hops": "the mass of hops",
    "sweetener": "the mass of sweetener",
    "acid": "the mass of acid",
}
_SUGARS: Final = {
    "sucrose": "sucrose (table sugar)",
    "glucose monohydrate": "glucose monohydrate (dextrose with its crystal water)",
    "glucose anhydrous": "anhydrous glucose (dextrose without crystal water)",
}

_SET_BY: Final = {
    "forced test": "the forced test",
    "what was entered": "the lowest gravity that was entered",
    "drink, yeast and culture": "what this drink, yeast and culture can reach",
}

_NEEDED_BY: Final[dict[str, Answer]] = {
    "alcohol_abv_pct": "alcohol",
    "apparent_attenuation": "alcohol",
    "real_attenuation": "alcohol",
    "residual_co2_volumes": "residual gas",
    "priming_g": "priming sugar",
    "keg_gauge_kpa": "pressure to set",
    "potassium_metabisulfite_g": "sulfite",
    "tablets": "sulfite",
    "molecular_so2_ppm": "molecular SO2",
    "hops_g": "hops",
}
"""Which answer each key of the JSON belongs to."""


def sugar_name(name: str) -> str:
    """A sugar so that the right bag is taken: with or without crystal water."""
    return _SUGARS.get(name, name)


def gap_worded(finding: Finding) -> str | None:
    """The sentence for a finding about what is not given or too weak, None for any other."""
    match finding:
        case InputMissing("package"):
            return "It is not said whether it goes into bottles or kegs: say so first; until then there is no go."
        case InputMissing(key, answers):
            return f"“{field_of(key).label}” is not given: enter it, or {_without(answers)}."
        case LowAlcohol(abv):
            return (
                f"With {abv:.1f} % vol and sugar left nothing holds back what spoils it or makes people ill: have it "
                "filtered free of microbes or heat treated, by licensed practice, and keep it cold."
            )
    return None


def _without(answers: Sequence[Answer]) -> str:
    unsaid = [_ANSWERS[each] for each in answers if each != "verdict"]
    said = f"{joined(unsaid)} cannot be said" if unsaid else ""
    return " and ".join(filter(None, (said, "there is no go" if "verdict" in answers else "")))


def unsaid(sheet: PackagingSheet, keys: Sequence[str]) -> dict[str, str]:
    """Why each of these answers is null, by its key; those that are not null are left out.

    Parameters
    ----------
    sheet
        What was worked out.
    keys
        Names of attributes of it.
    """
    return {key: _why(sheet, key) for key in keys if getattr(sheet, key) is None}


def _why(sheet: PackagingSheet, key: str) -> str:
    answer = _NEEDED_BY.get(key)
    lacking = [field_of(each.key).label for each in sheet.missing if answer in each.answers]
    if lacking:
        return f"Not given: {joined(lacking)}."
    not_asked = _not_asked(sheet, key)
    if not_asked:
        return not_asked
    if sheet.refusals:
        return "It is refused: see the refusals."
    return "It is not given while the verdict is stop: see the reasons."


def _not_asked(sheet: PackagingSheet, key: str) -> str:
    """Why nobody asked for it, empty where somebody did."""
    given = sheet.inputs
    match key:
        case "alcohol_abv_pct" | "apparent_attenuation" | "real_attenuation":
            missing = [k for k in ("original_gravity_sg", "final_gravity_sg") if getattr(given, k) is None]
            return f"Not given: {joined([field_of(k).label for k in missing])}."
        case "residual_co2_volumes":
            return f"Not given: {field_of('warmest_c').label}."
        case "priming_g" if given.carbonation_volumes is None:
            return "No carbonation is wished for."
        case "priming_g" if given.package == "keg" and given.priming_sugar is None:
            return "A keg is carbonated by pressure unless a priming sugar is chosen."
        case "priming_g":
            missing = [k for k in ("volume_l", "warmest_c") if getattr(given, k) is None]
            return f"Not given: {joined([field_of(k).label for k in missing])}." if missing else ""
        case "keg_gauge_kpa" if given.package == "bottle" and given.serving_c is None:
            return "It goes into bottles."
        case "keg_gauge_kpa":
            missing = [k for k in ("carbonation_volumes", "serving_c") if getattr(given, k) is None]
            if missing:
                return f"Not given: {joined([field_of(k).label for k in missing])}."
            return "The pressure that holds this carbonation would pass the keg's rating."
        case "bottle_gauge_kpa" | "bottle_worst_gauge_kpa" | "bottle_verdict":
            if given.package == "keg":
                return "It goes into a keg."
            if sheet.bottle_verdict is None:
                return "It is not said that it goes into bottles."
            return "Neither a carbonation nor the warmest temperature is given."
        case "potassium_metabisulfite_g" | "molecular_so2_ppm" if given.sulfite_ppm is None:
            return "No dose of sulfite is given."
        case "tablets" if given.sulfite_ppm is None or given.tablet_g is None:
            return "No dose of sulfite, or no mass of a tablet, is given."
        case "hops_g":
            return "No dry hops are given."
    return ""


def worst_case_sentences(sheet: PackagingSheet, units: DisplayUnits) -> list[str]:
    """What the worst case counts, part by part, and where it presses."""
    case = sheet.worst_case
    if case is None:
        return []
    base = "wished for" if (sheet.inputs.carbonation_volumes or 0.0) >= case.base_volumes else "still dissolved"
    parts = [f"{case.base_volumes:.1f} volumes {base}"]
    if case.lowest_sg is None:
        parts.append("no further fall, as no final gravity is given")
    else:
        down = f"down to {units.gravity(case.lowest_sg)}, set by {_SET_BY[case.set_by]}"
        parts.append(f"{case.fall_volumes:.1f} from a further fall, {down}")
    if case.creep_volumes > 0:
        parts.append(f"{case.creep_volumes:.1f} from what dry hops may set free")
    if case.sweetener is not None:
        parts.append(f"{case.sweetener_volumes:.1f} from all of the {case.sweetener}")
    if case.acid_volumes > 0:
        parts.append(f"{case.acid_volumes:.1f} from malic acid that bacteria may turn to lactic acid")
    if case.priming_volumes > 0:
        parts.append(f"{case.priming_volumes:.1f} from a priming sugar that may be stronger than it is counted")
    unsaid_up = "" if sheet.inputs.altitude_m is not None else ", as none is given"
    where = f"{units.temperature(case.storage_c)} and {altitude_words(case.altitude_m).removeprefix('at ')}{unsaid_up}"
    air = ""
    if sheet.bottle_verdict is not None:
        held = "No air in the neck is counted, as it is purged." if sheet.inputs.purged else ""
        counted = f"Up to {units.pressure(HEAD_SPACE_KPA)} from air in the neck come on top of it."
        air = f" {held or counted}"
    return [f"The worst case counts {joined(parts)}. The pressure is that at {where}.{air}"]


def altitude_words(altitude_m: float) -> str:
    """Where a gauge is read: ``at sea level``, ``2000 m up``."""
    return "at sea level" if altitude_m == 0 else f"at an altitude of {number(altitude_m)}{THIN}m"
