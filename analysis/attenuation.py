"""Attenuation and alcohol from two gravities, by Balling's relations.

Balling: 2.0665 g of extract give 1 g of alcohol, 0.9565 g of CO2 and 0.11 g of yeast. On 14 beers measured in
1911 to 1917 the alcohol comes out 0.18 % vol high on the mean, at worst 0.52 (USDA Bulletin 493).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.model import Floats
from analysis.units import N, sg_to_plato

METHOD: Final = "Balling's relations on extract from the ASBC cubic"

EXTRACT_PER_ALCOHOL: Final = 2.0665
CO2_PER_ALCOHOL: Final = 0.9565
CO2_PER_EXTRACT: Final = CO2_PER_ALCOHOL / EXTRACT_PER_ALCOHOL
"""Grams of CO2 from a gram of real extract fermented (the rest is alcohol and yeast)."""

REAL_PER_APPARENT: Final = 0.8192
"""Real extract falls by this share of the fall in apparent extract (Balling; its complement weighs the original)."""

ETHANOL_SG: Final = 0.79067
"""Ethanol 20/20 °C: 789.24 over 998.20 kg/m³ (OIML R 22)."""


def real_extract_plato(original_plato: N, apparent_plato: N) -> N:
    """Real extract in °P of a drink from original and apparent extract in °P; numbers or arrays."""
    return (1 - REAL_PER_APPARENT) * original_plato + REAL_PER_APPARENT * apparent_plato


def alcohol_abw_pct(original_plato: N, apparent_plato: N) -> N:
    """Alcohol in % by mass from original and apparent extract in °P; numbers or arrays."""
    real = real_extract_plato(original_plato, apparent_plato)
    return (original_plato - real) / (EXTRACT_PER_ALCOHOL - 0.010665 * original_plato)


def alcohol_abv_pct(original_gravity_sg: float, final_gravity_sg: float) -> float:
    """Alcohol in % by volume at 20 °C from original and final gravity.

    Raises
    ------
    ValueError
        If the final gravity is above the original.
    """
    original, apparent = _extracts(original_gravity_sg, final_gravity_sg)
    return alcohol_abw_pct(original, apparent) * final_gravity_sg / ETHANOL_SG


def apparent_attenuation(original_gravity_sg: float, final_gravity_sg: float) -> float:
    """Apparent attenuation as a fraction of the original extract; above 1 in a dry drink lighter than water.

    By extract in °P, as textbooks define it: wherever the product tells an apparent attenuation, it is this one.
    """
    original, apparent = _extracts(original_gravity_sg, final_gravity_sg)
    return 1 - apparent / original


def attenuation_course(original_gravity_sg: float, gravity_sg: Floats | float) -> Floats:
    """Apparent attenuation at each of many gravities, shape (n,); below 0 where noise lifts one above the original."""
    return np.asarray(1 - sg_to_plato(np.asarray(gravity_sg, dtype=float)) / sg_to_plato(original_gravity_sg))


def real_attenuation(original_gravity_sg: float, final_gravity_sg: float) -> float:
    """Real attenuation (real degree of fermentation by extract) as a fraction."""
    original, apparent = _extracts(original_gravity_sg, final_gravity_sg)
    return 1 - real_extract_plato(original, apparent) / original


def gravity_at_attenuation(original_gravity_sg: float, attenuation: float) -> float:
    """Final gravity at an apparent attenuation, by gravity points as the trade quotes ranges."""
    return 1 + (original_gravity_sg - 1) * (1 - attenuation)


def _extracts(original_gravity_sg: float, final_gravity_sg: float) -> tuple[float, float]:
    original = sg_to_plato(original_gravity_sg)
    if original <= 0:
        raise ValueError(f"original_gravity_sg is {original_gravity_sg:.3f}; the usual range is 1.020 to 1.160")
    if final_gravity_sg > original_gravity_sg:
        raise ValueError(
            f"final_gravity_sg {final_gravity_sg:.3f} is above original_gravity_sg {original_gravity_sg:.3f}; "
            "the usual range is 0.990 to 1.030"
        )
    return original, sg_to_plato(final_gravity_sg)
