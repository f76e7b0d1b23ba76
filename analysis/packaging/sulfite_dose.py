"""The sulfite and sorbate part of the packaging sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.drinks import BEERS
from analysis.packaging import safety, sulfite
from analysis.packaging.sweetener_dose import BEER_LIKE_PH, molecular_so2, stabilised


def sulfite_part(given: Mapping[str, Any], answer: dict[str, Any], refusals: list[str], cautions: list[str]) -> None:
    """Fill in the dose, the tablets and the molecular SO2, or refuse at a legal limit."""
    if "sulfite_ppm" in given:
        _sulfite(given, answer, refusals, cautions)
    if "sorbate_ppm" in given:
        _sorbate(given, answer, refusals, cautions)
    held = stabilised(given)
    if given.get("stabilised"):
        cautions.append(safety.SORBATE)
    if held.said and not held.counts:
        cautions += [held.why_not, safety.NOT_IN_BEER]


def _sulfite(given: Mapping[str, Any], answer: dict[str, Any], refusals: list[str], cautions: list[str]) -> None:
    ppm, given_as = given["sulfite_ppm"], given["sulfite_as"]
    so2 = sulfite.so2_ppm(ppm, given_as)
    total = so2 + given.get("sulfite_present_ppm", 0.0)
    answer["so2_total_ppm"] = round(total, 2)
    place = given.get("jurisdiction")
    limit = _limit(given)
    if limit is not None:
        answer["so2_limit"] = {"so2_ppm": limit.so2_ppm, "jurisdiction": limit.jurisdiction, "source": limit.source}
    molecular = molecular_so2(given)
    if molecular is not None:
        answer["molecular_so2_ppm"] = round(molecular, 4)
    if limit is not None and total >= limit.so2_ppm:
        drink = given.get("drink", "drink")
        refusals.append(
            f"{total:.0f} mg/L of SO2 is at or over the limit of {limit.so2_ppm:.0f} mg/L for {drink} in the "
            f"{limit.jurisdiction} ({limit.source})."
        )
        return
    if limit is None:
        cautions.append(
            f"No number for SO2 in this drink is known for {place or 'a place that is not said'}; beer in the EU may "
            f"hold {sulfite.EU_BEER_PPM:.0f} mg/L in all. Check your own rules."
        )
    elif place is None or place.upper() not in ("EU", "US"):
        cautions.append("The place is not said or not known, so the lowest known limit was used. Check your own rules.")
    if given.get("drink") is None:
        cautions.append(
            f"The drink is not said: in beer the EU allows only {sulfite.EU_BEER_PPM:.0f} mg/L of SO2 in all."
        )
    if "volume_l" in given:
        grams = sulfite.salt_g(ppm, given_as, given["volume_l"])
        answer["potassium_metabisulfite_g"] = round(grams, 3)
        if "tablet_g" in given:
            answer["tablets"] = round(grams / given["tablet_g"], 2)
    _what_it_does(given, total, molecular, cautions)
    cautions += [safety.SULFITE_HANDLING, safety.SULFITE_ASTHMA]
    if total >= sulfite.LABEL_PPM:
        cautions.append(safety.SULFITE_LABEL)


def _limit(given: Mapping[str, Any]) -> sulfite.Limit | None:
    limit = sulfite.limit_for(given.get("drink"), given.get("jurisdiction"))
    if limit is not None and limit.jurisdiction == "EU" and given.get("wine_colour") in ("white", "rosé"):
        return (
            sulfite.Limit("EU", ("wine",), sulfite.EU_WHITE_PPM, limit.source)
            if given.get("drink") == "wine"
            else limit
        )
    return limit


def _what_it_does(given: Mapping[str, Any], total: float, molecular: float | None, cautions: list[str]) -> None:
    counted = "SO2" if given["sulfite_as"] == "so2" else "the salt, potassium metabisulfite"
    if given.get("sulfite_basis", "added") == "added":
        cautions.append(
            f"The dose of {given['sulfite_ppm']:g} mg/L is counted as {counted}, as added: part of it gets bound, so "
            "less stays free and the molecular SO2 is at most the figure here."
        )
    else:
        cautions.append(
            f"The dose of {given['sulfite_ppm']:g} mg/L is counted as {counted}, as free: the grams here assume that "
            "none of it gets bound. Measure the free SO2 afterwards."
        )
    beer = given.get("drink") in BEERS
    if molecular is None:
        if beer:
            cautions.append("In beer sulfite is an antioxidant and stabilises nothing.")
        return
    little = molecular < sulfite.STABILISING_MOLECULAR_PPM
    if little and (given["ph"] >= BEER_LIKE_PH or beer):
        cautions.append(
            f"At pH {given['ph']:.1f} sulfite is an antioxidant and stabilises nothing: of {total:.0f} mg/L of SO2 "
            f"only {molecular:.2f} mg/L is molecular."
        )
    elif beer:
        cautions.append(
            f"Of {total:.0f} mg/L of SO2 {molecular:.2f} mg/L is molecular, enough to hold many microbes back; in beer "
            "it still counts as an antioxidant only, not as stabilising."
        )
    elif little:
        cautions.append(
            f"{molecular:.2f} mg/L of molecular SO2 is below the {sulfite.STABILISING_MOLECULAR_PPM} mg/L that holds "
            "microbes back (0.8 for white wine; common practice)."
        )


def _sorbate(given: Mapping[str, Any], answer: dict[str, Any], refusals: list[str], cautions: list[str]) -> None:
    acid = given["sorbate_ppm"] * sulfite.SORBIC_PER_POTASSIUM_SORBATE
    limit, source = sulfite.SORBATE_LIMITS_PPM.get(
        (given.get("jurisdiction") or "").upper(), sulfite.SORBATE_LIMITS_PPM["EU"]
    )
    if acid >= limit:
        refusals.append(
            f"{given['sorbate_ppm']:.0f} mg/L of potassium sorbate is {acid:.0f} mg/L of sorbic acid, at or over the "
            f"limit of {limit:.0f} mg/L ({source})."
        )
        return
    if "volume_l" in given:
        answer["potassium_sorbate_g"] = round(given["sorbate_ppm"] * given["volume_l"] / 1000, 2)
    cautions.append(safety.SORBATE)
    if given.get("finished") is False:
        cautions.append("It has not finished: sorbate will not stop it.")
