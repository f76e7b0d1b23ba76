"""What the packaging sheet makes of a sweetener: how much of it, whether it can ferment, and the gas it would give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from analysis.drinks import BEERS
from analysis.packaging import safety, sulfite
from analysis.packaging.carbonation import volumes_of_grams
from analysis.packaging.sweetening import SWEETENERS, mass_for_gravity

BEER_LIKE_PH: Final = 3.8
"""From this pH on a usual dose leaves too little molecular SO2 (common practice; 50 mg/L is 0.5 molecular at 3.8)."""


@dataclass(frozen=True, slots=True)
class Stabilised:
    """Whether the drink is said to be stabilised, whether that counts, and why not where it does not."""

    said: bool
    counts: bool
    why_not: str = ""


def stabilised(given: Mapping[str, Any]) -> Stabilised:
    """Whether yeast is held back: the person's word, unless drink, pH or dose say that it cannot be so."""
    if given.get("filtered"):
        return Stabilised(True, True)
    if not given.get("stabilised"):
        return Stabilised(False, False)
    start = "It is said to be stabilised, but counts as holding live yeast: "
    if given.get("drink") in BEERS:
        return Stabilised(True, False, start + "in beer sulfite and sorbate stabilise nothing.")
    missing = " and ".join(name for key, name in (("drink", "drink"), ("ph", "pH")) if key not in given)
    if missing:
        return Stabilised(True, False, f"{start}give its {missing} first, on which it depends.")
    molecular = molecular_so2(given)
    if molecular is not None and molecular < sulfite.STABILISING_MOLECULAR_PPM:
        return Stabilised(
            True,
            False,
            f"{start}{molecular:.2f} mg/L of molecular SO2 is below the {sulfite.STABILISING_MOLECULAR_PPM} mg/L that "
            "holds microbes back.",
        )
    if molecular is None and given["ph"] >= BEER_LIKE_PH:
        return Stabilised(
            True, False, f"{start}at pH {given['ph']:.1f} a usual dose of sulfite and sorbate stabilises nothing."
        )
    return Stabilised(True, True)


def molecular_so2(given: Mapping[str, Any]) -> float | None:
    """Molecular SO2 in mg/L of all the sulfite added, at most; None without a dose or a pH."""
    if "sulfite_ppm" not in given or "ph" not in given:
        return None
    added = sulfite.so2_ppm(given["sulfite_ppm"], given["sulfite_as"]) + given.get("sulfite_present_ppm", 0.0)
    return sulfite.molecular_so2_ppm(added, given["ph"])


def dose_g_per_l(given: Mapping[str, Any]) -> float | None:
    """Sweetener in g/L, from its mass or from the gravity to sweeten to; None where neither can be worked out.

    Raises
    ------
    ValueError
        If the sweetener cannot lift the gravity as far as is wished.
    """
    if "sweetener" not in given:
        return None
    if "sweetener_g" in given:
        mass = float(given["sweetener_g"])
        if mass == 0:
            return 0.0
        return mass / given["volume_l"] if "volume_l" in given else None
    if "sweeten_to_sg" in given and "final_gravity_sg" in given:
        return mass_for_gravity(given["final_gravity_sg"], given["sweeten_to_sg"], 1.0, SWEETENERS[given["sweetener"]])
    return None


@dataclass(frozen=True, slots=True)
class Sweetened:
    """A fermentable sweetener in the drink; `volumes` of CO2 if all of it ferments, None where its dose is unknown."""

    name: str
    volumes: float | None


def fermentable(given: Mapping[str, Any]) -> Sweetened | None:
    """The sweetener that yeast can eat; None where there is none of it."""
    name = given.get("sweetener")
    if name is None or not SWEETENERS[name].fermentable:
        return None
    try:
        dose = dose_g_per_l(given)
    except ValueError:
        dose = None
    if dose == 0:
        return None
    return Sweetened(name, None if dose is None else volumes_of_grams(dose * SWEETENERS[name].co2_g_per_g))


def refusal(name: str) -> str:
    """Why a fermentable sweetener must not meet live yeast in a bottle, and the ways out."""
    return (
        f"{name.capitalize()} ferments: with live yeast it makes gas in any bottle, still ones too. "
        + safety.WAYS_TO_SWEETEN
    )
