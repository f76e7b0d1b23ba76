"""Units of the trade: gravity, extract and density; temperature; pressure; volume and mass.

Every function takes a number or a NumPy array and answers with the same shape; NaN in gives NaN out.
Gravity is specific gravity at 20/20 °C. A table in air and one in vacuum differ by 0.00005 at 10 °P.
"""

from __future__ import annotations

import re
from typing import Final, TypeVar

from analysis.model import Floats

N = TypeVar("N", float, Floats)

# NIST SP 811 (2008), appendix B, gives 6.894757 kPa for a psi and 3.785412 L for a US gallon, rounded: the pound
# (0.45359237 kg), the inch (25.4 mm), the gallon (231 cubic inches) and standard gravity (9.80665 m/s²) are exact.
KPA_PER_BAR: Final = 100.0
KG_PER_LB: Final = 0.45359237
G_PER_OZ: Final = 1000 * KG_PER_LB / 16
KPA_PER_PSI: Final = KG_PER_LB * 9.80665 / 0.0254**2 / 1000
LITRES_PER_US_GAL: Final = 231 * 2.54**3 / 1000
ATMOSPHERE_KPA: Final = 101.325  # the standard atmosphere, exact

GLASS_PER_C: Final = 25e-6
"""Cubic expansion of hydrometer glass per °C (the figure that hydrometer standards use)."""

# ICUMSA SPS-4: kg/m³ that sucrose of mass fraction w adds to water, in powers of w from 1 (columns) and of
# (temperature − 20)/100 from 0 (rows). Fit by Bettin, Emmerich, Spieweck and Toledo.
_SUCROSE: Final = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)


def sg_to_plato(gravity_sg: N) -> N:
    """Extract in °P (g in 100 g of solution) of a sucrose solution; below 1.000 it is negative.

    The cubic that the ASBC publishes for its extract table (within 0.012 °P of the ICUMSA densities up to 30 °P).
    """
    return ((135.997 * gravity_sg - 630.272) * gravity_sg + 1111.14) * gravity_sg - 616.868


def plato_to_sg(extract_plato: N) -> N:
    """Specific gravity 20/20 °C of an extract in °P: the inverse of `sg_to_plato`, to rounding."""
    gravity_sg = 1 + extract_plato / (258.6 - 227.1 * extract_plato / 258.2)
    for _ in range(4):  # Newton from a start good to 5e-5; the cubic rises everywhere
        slope = (3 * 135.997 * gravity_sg - 2 * 630.272) * gravity_sg + 1111.14
        gravity_sg = gravity_sg - (sg_to_plato(gravity_sg) - extract_plato) / slope
    return gravity_sg


def sg_to_brix(gravity_sg: N) -> N:
    """Degrees Brix, sucrose in % by mass, of the sucrose solution of this specific gravity; below 1.000 it is negative.

    From the ICUMSA densities at 20 °C (SPS-4). It is what a hydrometer of the sugar trade reads, and what a
    refractometer reads as long as there is no alcohol.
    """
    fraction = (gravity_sg - 1) * 2.5
    for _ in range(6):  # Newton; the density is so nearly straight that six steps leave rounding
        step = 1e-5
        here = _sucrose_sg(fraction)
        fraction = fraction - (here - gravity_sg) * step / (_sucrose_sg(fraction + step) - here)
    return 100 * fraction


def brix_to_sg(extract_brix: N) -> N:
    """Specific gravity 20/20 °C of a sucrose solution in % by mass (ICUMSA SPS-4): the inverse of `sg_to_brix`."""
    return _sucrose_sg(extract_brix / 100)


def _sucrose_sg(mass_fraction: N) -> N:
    return sucrose_density_kg_m3(mass_fraction, mass_fraction * 0.0 + 20.0) / WATER_20C_KG_M3


def water_density_kg_m3(temperature_c: N) -> N:
    """Density of air-free water at atmospheric pressure in kg/m³, 0 to 100 °C (ICUMSA SPS-4's water term)."""
    t = temperature_c
    top = 999.83952 + t * (
        16.952577 + t * (-7.9905127e-3 + t * (-46.241757e-6 + t * (105.84601e-9 - 281.03006e-12 * t)))
    )
    return top / (1 + 16.887236e-3 * t)


WATER_20C_KG_M3: Final = water_density_kg_m3(20.0)
"""`water_density_kg_m3` at 20 °C."""


def sucrose_density_kg_m3(mass_fraction: N, temperature_c: N) -> N:
    """Density in kg/m³ (in vacuum) of a sucrose solution, `mass_fraction` from 0 to 1 (ICUMSA SPS-4)."""
    x = (temperature_c - 20) / 100
    density = water_density_kg_m3(temperature_c)
    for power, row in enumerate(_SUCROSE):
        term = mass_fraction * 0.0
        for coefficient in reversed(row):
            term = (term + coefficient) * mass_fraction
        density = density + x**power * term
    return density


def sg_from_density(density_kg_m3: N) -> N:
    """Specific gravity 20/20 °C of a density in kg/m³ at 20 °C."""
    return density_kg_m3 / WATER_20C_KG_M3


def density_from_sg(gravity_sg: N) -> N:
    """Density in kg/m³ at 20 °C of a specific gravity 20/20 °C."""
    return gravity_sg * WATER_20C_KG_M3


def reference_temperatures(reference: str) -> tuple[float, float]:
    """What a hydrometer's scale was made for, in °C: of the liquid, and of the water it is compared with.

    Parameters
    ----------
    reference
        As printed on the scale: ``"20/20 °C"``, ``"60/60 °F"``, ``"15/15 °C"``, ``"20/4 °C"``; one temperature
        alone (``"20 °C"``) counts twice.

    Raises
    ------
    ValueError
        If it cannot be read.
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:/\s*(\d+(?:\.\d+)?))?\s*°?\s*([CF])\s*", reference, re.IGNORECASE)
    if found is None:
        raise ValueError(
            f"reference {reference!r} cannot be read; write it as on the scale, such as 20/20 °C or 60/60 °F"
        )
    liquid, water = float(found[1]), float(found[2] or found[1])
    if found[3].upper() == "F":
        liquid, water = f_to_c(liquid), f_to_c(water)
    return liquid, water


def temperature_corrected_sg(
    reading_sg: N, temperature_c: N, *, reference: str = "20/20 °C", expansion_per_c: float = GLASS_PER_C
) -> N:
    """Specific gravity 20/20 °C of a liquid that a hydrometer read at `temperature_c`.

    The liquid is taken to expand as a sucrose solution of its gravity does, and the hydrometer as its glass does
    (`expansion_per_c`, cubic, per °C; give 0 for a body that does not expand). Alcohol expands more than sugar, so read
    a finished drink near the reference temperature.

    Parameters
    ----------
    reading_sg
        As read on the scale.
    temperature_c
        Of the liquid when it was read, 0 to 60 °C.
    reference
        What the scale was made for, see `reference_temperatures`.
    """
    liquid_c, water_c = reference_temperatures(reference)
    density = reading_sg * water_density_kg_m3(water_c) / (1 + expansion_per_c * (temperature_c - liquid_c))
    fraction = (reading_sg - 1) * 2.5
    for _ in range(3):  # Newton; three steps leave 2e-11 SG over 0 to 60 °C
        step = 1e-4
        here = sucrose_density_kg_m3(fraction, temperature_c)
        slope = (sucrose_density_kg_m3(fraction + step, temperature_c) - here) / step
        fraction = fraction - (here - density) / slope
    return _sucrose_sg(fraction)


def c_to_f(temperature_c: N) -> N:
    """°F of °C."""
    return temperature_c * 1.8 + 32


def f_to_c(temperature_f: N) -> N:
    """°C of °F."""
    return (temperature_f - 32) / 1.8


def kpa_to_bar(pressure_kpa: N) -> N:
    """Bar of kPa."""
    return pressure_kpa / KPA_PER_BAR


def bar_to_kpa(pressure_bar: N) -> N:
    """Kilopascal of bar."""
    return pressure_bar * KPA_PER_BAR


def kpa_to_psi(pressure_kpa: N) -> N:
    """Pounds per square inch of kPa."""
    return pressure_kpa / KPA_PER_PSI


def psi_to_kpa(pressure_psi: N) -> N:
    """Kilopascal of pounds per square inch."""
    return pressure_psi * KPA_PER_PSI


def litres_to_us_gal(volume_l: N) -> N:
    """US gallons of litres."""
    return volume_l / LITRES_PER_US_GAL


def us_gal_to_litres(volume_us_gal: N) -> N:
    """Litres of US gallons."""
    return volume_us_gal * LITRES_PER_US_GAL


def g_to_oz(mass_g: N) -> N:
    """Ounces (avoirdupois) of grams."""
    return mass_g / G_PER_OZ


def oz_to_g(mass_oz: N) -> N:
    """Grams of ounces (avoirdupois)."""
    return mass_oz * G_PER_OZ


def g_per_l_to_oz_per_us_gal(concentration_g_per_l: N) -> N:
    """Ounces in a US gallon of grams in a litre."""
    return concentration_g_per_l * LITRES_PER_US_GAL / G_PER_OZ


def oz_per_us_gal_to_g_per_l(concentration_oz_per_us_gal: N) -> N:
    """Grams in a litre of ounces in a US gallon."""
    return concentration_oz_per_us_gal * G_PER_OZ / LITRES_PER_US_GAL
