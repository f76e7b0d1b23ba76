"""The packaging sheet: from what is given about a batch to what to weigh, what to set and what to leave.

`sheet` answers with what the inputs allow and None for the rest. What would be wrong to do comes back as a refusal,
a sentence with the reason and the way out; what needs care as a caution. `fields` describes the inputs.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis import attenuation
from analysis.display_units import DisplayUnits
from analysis.packaging import carbonation, safety, sweetening
from analysis.packaging.bottle import NO_PRIMING, judge
from analysis.packaging.fields import Field, Kind, Quantity, field_of, fields
from analysis.packaging.hops import shared_out, too_coarse, total_g
from analysis.packaging.keg import judge_keg
from analysis.packaging.sulfite_dose import sulfite_part
from analysis.packaging.sweetener_dose import dose_g_per_l, fermentable, refusal, stabilised
from analysis.packaging.validation import SheetInputError, checked

__all__ = ["DisplayUnits", "Field", "Kind", "Quantity", "SheetInputError", "field_of", "fields", "sheet"]

ANSWERS = (
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


def sheet(inputs: Mapping[str, Any], *, say: DisplayUnits | None = None) -> dict[str, Any]:
    """What the inputs allow to say about packaging.

    Parameters
    ----------
    inputs
        Any of the keys of `fields()`; None counts as not given.
    say
        The person's units for the sentences; the numbers keep the units of their names.

    Returns
    -------
    dict
        Every key of `ANSWERS` (None where it cannot be said or is refused), `refusals` and `cautions` (sentences),
        and for the page: `wished_volumes`, `carbonation_g_per_l`, `residual_co2_g_per_l`, `bottle_volumes`,
        `bottle_worst_volumes`, `bottle_reasons`, `bottle_pressure_distribution` (chance, gauge_kpa),
        `chance_above_rating`, `heated_gauge_kpa`, `keg_verdict`, `keg_reasons`, `keg_worst_gauge_kpa`,
        `sweetener_needed_g`, `sweetened_gravity_sg`, `acid_g`, `hops_total_g`, `so2_total_ppm`, `so2_limit`,
        `potassium_sorbate_g`, `checklist`, `method`.

    Raises
    ------
    SheetInputError
        Where an input cannot be used at all.
    """
    given = checked(inputs)
    say = say or DisplayUnits()
    answer: dict[str, Any] = dict.fromkeys(ANSWERS)
    refusals: list[str] = []
    cautions: list[str] = []
    _alcohol(given, answer, cautions)
    _hops(given, answer, cautions)
    residual = _residual(given, answer)
    _sweetening(given, answer, refusals, cautions)
    sulfite_part(given, answer, refusals, cautions)
    _bottle(given, answer, residual, refusals, cautions, say)
    _keg(given, answer, residual, refusals, cautions, say)
    _refused(answer, refusals)
    _priming(given, answer, residual, refusals, cautions)
    if "acid_g_per_l" in given and "volume_l" in given:
        answer["acid_g"] = round(given["acid_g_per_l"] * given["volume_l"], 2)
        cautions.append("Add acid in thirds, stir and taste; measure the pH again.")
    if "package" in given or "carbonation_volumes" in given:
        cautions.append(safety.GAS_IN_THE_ROOM)
    answer["refusals"] = _once(refusals)
    answer["cautions"] = [*_once(cautions), safety.DEFER]
    answer["checklist"] = list(safety.OXYGEN_CHECKLIST)
    answer["method"] = {
        "alcohol": attenuation.METHOD,
        "carbonation": "fit of the ASBC chart; in a closed package the higher of it and Henry's law",
        "priming": carbonation.PRIMING_SUGARS[given.get("priming_sugar", "sucrose")].source,
    }
    return answer


def _alcohol(given: Mapping[str, Any], answer: dict[str, Any], cautions: list[str]) -> None:
    if "original_gravity_sg" not in given or "final_gravity_sg" not in given:
        return
    original, final = given["original_gravity_sg"], given["final_gravity_sg"]
    abv = attenuation.alcohol_abv_pct(original, final)
    answer["alcohol_abv_pct"] = round(abv, 2)
    answer["apparent_attenuation"] = round(attenuation.apparent_attenuation(original, final), 4)
    answer["real_attenuation"] = round(attenuation.real_attenuation(original, final), 4)
    if abv > 12:
        cautions.append(
            "Balling's relations were made for beer; at this strength the alcohol may be off by half a per cent."
        )


def _hops(given: Mapping[str, Any], answer: dict[str, Any], cautions: list[str]) -> None:
    total = given.get("hops_total_g")
    if given.get("dry_hopped"):
        cautions.append(safety.CREEP)
    if total is None and "hops_g_per_l" in given and "volume_l" in given:
        total = total_g(given["hops_g_per_l"], given["volume_l"])
    if total is None:
        return
    shares = given.get("hop_shares") or {"hops": 1.0}
    step = given.get("scale_resolution_g", 1.0)
    answer["hops_g"] = shared_out(total, shares, step)
    if too_coarse(total, answer["hops_g"], shares):
        cautions.append(
            f"Steps of {step:g} g are too coarse for {total:g} g of these hops: use a finer scale and enter its step."
        )
    answer["hops_total_g"] = round(sum(answer["hops_g"].values()), 4)
    if total > 0:
        cautions.append(safety.CREEP)


def _residual(given: Mapping[str, Any], answer: dict[str, Any]) -> float | None:
    if "carbonation_volumes" in given:
        answer["wished_volumes"] = given["carbonation_volumes"]
        answer["carbonation_g_per_l"] = round(carbonation.grams_of_volumes(given["carbonation_volumes"]), 2)
    if "warmest_c" not in given:
        return None
    residual = carbonation.residual_volumes(given["warmest_c"], given.get("vessel_gauge_kpa", 0.0))
    answer["residual_co2_volumes"] = round(residual, 3)
    answer["residual_co2_g_per_l"] = round(carbonation.grams_of_volumes(residual), 2)
    return residual


def _sweetening(given: Mapping[str, Any], answer: dict[str, Any], refusals: list[str], cautions: list[str]) -> None:
    name = given.get("sweetener")
    if name is None:
        return
    sweetener = sweetening.SWEETENERS[name]
    final, volume = given.get("final_gravity_sg"), given.get("volume_l")
    mass = given.get("sweetener_g")
    try:
        dose = dose_g_per_l(given)
        mass = dose * volume if mass is None and dose is not None and volume is not None else mass
    except ValueError as problem:
        cautions.append(f"{problem}.".capitalize())
    if mass is not None:
        answer["sweetener_needed_g"] = round(mass, 1)
        if final is not None and volume is not None:
            answer["sweetened_gravity_sg"] = round(sweetening.gravity_after(final, volume, mass, sweetener), 4)
    if fermentable(given) and given.get("package") is None and not stabilised(given).counts:
        refusals.append(f"{stabilised(given).why_not} {refusal(name)}".lstrip())
    if sweetener.note:
        cautions.append(sweetener.note)


def _wants_bottles(given: Mapping[str, Any]) -> bool:
    if "package" in given:
        return bool(given["package"] == "bottle")
    return any(
        k in given for k in ("carbonation_volumes", "priming_sugar", "bottle_rating_kpa", "storage_c", "sweetener")
    )


def _bottle(
    given: Mapping[str, Any],
    answer: dict[str, Any],
    residual: float | None,
    refusals: list[str],
    cautions: list[str],
    say: DisplayUnits,
) -> None:
    if not _wants_bottles(given):
        return
    said = judge(given, residual, say)
    answer["bottle_verdict"] = said.verdict
    answer["bottle_gauge_kpa"] = None if said.gauge_kpa is None else round(said.gauge_kpa, 1)
    answer["bottle_worst_gauge_kpa"] = None if said.worst_gauge_kpa is None else round(said.worst_gauge_kpa, 1)
    answer["bottle_volumes"] = None if said.volumes is None else round(said.volumes, 3)
    answer["bottle_worst_volumes"] = None if said.worst_volumes is None else round(said.worst_volumes, 3)
    answer["bottle_pressure_distribution"] = said.distribution
    answer["chance_above_rating"] = said.chance_above_rating
    if said.heated_gauge_kpa is not None:
        answer["heated_gauge_kpa"] = round(said.heated_gauge_kpa, 1)
    answer["bottle_reasons"] = _once([*said.refusals, *said.reasons])
    refusals += said.refusals
    cautions += [*said.reasons, safety.BOTTLES, safety.TEST_BOTTLE]


def _refused(answer: dict[str, Any], refusals: list[str]) -> None:
    """What is refused of the lot stops its package too, and stands first among the reasons."""
    for package in ("bottle", "keg"):
        if refusals and answer.get(f"{package}_verdict") is not None:
            answer[f"{package}_verdict"] = "stop"
            answer[f"{package}_reasons"] = _once([*refusals, *answer[f"{package}_reasons"]])


def _priming(
    given: Mapping[str, Any],
    answer: dict[str, Any],
    residual: float | None,
    refusals: list[str],
    cautions: list[str],
) -> None:
    wished, volume = given.get("carbonation_volumes"), given.get("volume_l")
    if wished is None or volume is None or residual is None:
        return
    if given.get("package") == "keg" and "priming_sugar" not in given:
        return
    if given.get("package") == "keg" and wished > residual + 0.05 and stabilised(given).said:
        cautions.append(NO_PRIMING)
        return
    if refusals or "stop" in (answer["bottle_verdict"], answer.get("keg_verdict")):
        return
    sugar = carbonation.PRIMING_SUGARS[given.get("priming_sugar", "sucrose")]
    answer["priming_g"] = round(carbonation.priming_g(wished, residual, volume, sugar), 1)
    if sugar.name in ("honey", "dry malt extract"):
        cautions.append(f"{sugar.name.capitalize()} varies from lot to lot: {sugar.source}.")


def _keg(
    given: Mapping[str, Any],
    answer: dict[str, Any],
    residual: float | None,
    refusals: list[str],
    cautions: list[str],
    say: DisplayUnits,
) -> None:
    said = judge_keg(given, residual, say)
    answer["keg_gauge_kpa"] = None if said.gauge_kpa is None else round(said.gauge_kpa, 1)
    if given.get("package") != "keg":
        return
    answer["keg_verdict"] = said.verdict
    answer["keg_worst_gauge_kpa"] = round(said.worst_gauge_kpa, 1)
    answer["keg_reasons"] = _once([*said.refusals, *said.reasons])
    refusals += said.refusals
    cautions += [*said.reasons, safety.KEG]


def _once(sentences: list[str]) -> list[str]:
    return list(dict.fromkeys(sentences))
