"""Dissolved CO2, priming sugar and pressure. A *volume* is a litre of CO2 (0 °C, 1 atm) in a litre of drink.

Pressure is gauge (above the atmosphere), at equilibrium, in kPa. The air is thinner higher up, so that the same gas
shows as more on a gauge there (`atmosphere_kpa`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.attenuation import CO2_PER_EXTRACT, REAL_PER_APPARENT
from analysis.model import Floats
from analysis.sugars import INGREDIENTS, Ingredient
from analysis.thresholds import FILL_SPREAD_VOLUMES
from analysis.units import ATMOSPHERE_KPA, c_to_f, density_from_sg, kpa_to_psi, psi_to_kpa, sg_to_plato

CO2_G_PER_L_PER_VOLUME: Final = 1.977
"""Density of CO2 at 0 °C and 1 atm in g/L (handbook value, from memory; the ideal gas would be 1.964)."""

_CO2 = 12.011 + 2 * 15.999  # g/mol; standard atomic weights, IUPAC abridged
_MALIC = 134.09  # g/mol, C4H6O5; the same weights

_MOL_PER_M3_PER_VOLUME = 1000 * CO2_G_PER_L_PER_VOLUME / _CO2
_HENRY_25C = 3.3e-4  # mol/(m³ Pa), R. Sander, Atmos. Chem. Phys. 23, 10901 (2023)
_HENRY_SLOPE_K = 2400.0  # d ln H / d(1/T), the same compilation


_LAPSE_PER_M = 0.0065 / 288.15  # K/m over K: ISO 2533
_LAPSE_POWER = 9.80665 * 0.0289644 / (8.31432 * 0.0065)  # g M / (R L) with the constants of that standard


PRIMING_SUGARS: Final[dict[str, Ingredient]] = {name: each for name, each in INGREDIENTS.items() if name != "fructose"}
"""What a package may be primed with, by name; juice, concentrate and wort tell their strength."""


def atmosphere_kpa(altitude_m: float = 0.0) -> float:
    """Air pressure at an altitude, by the standard atmosphere up to 11 km.

    ISO 2533:1975 and US Standard Atmosphere 1976: 288.15 K and 101.325 kPa at sea level, 6.5 K/km. The weather moves
    it by some 3 kPa.
    """
    return ATMOSPHERE_KPA * math.pow(1 - _LAPSE_PER_M * altitude_m, _LAPSE_POWER)


def volumes_of_grams(co2_g_per_l: float) -> float:
    """Volumes of g/L."""
    return co2_g_per_l / CO2_G_PER_L_PER_VOLUME


def grams_of_volumes(volumes: float) -> float:
    """CO2 in g/L of volumes."""
    return volumes * CO2_G_PER_L_PER_VOLUME


def _chart_volumes_per_psi(temperature_c: float) -> float:
    return 0.01821 + 0.090115 * math.exp(-(c_to_f(temperature_c) - 32) / 43.11)


def dissolved_volumes(gauge_kpa: float, temperature_c: float, altitude_m: float = 0.0) -> float:
    """Volumes dissolved at equilibrium.

    A. J. deLange's fit of the ASBC chart (from memory; checked on 148 points of the chart as printed in 1994, 30 to
    46 °F: root mean square 0.02 volume). Above 25 °C it extrapolates.
    """
    absolute_psi = kpa_to_psi(gauge_kpa + atmosphere_kpa(altitude_m))
    return absolute_psi * _chart_volumes_per_psi(temperature_c) - 0.003342


def chart_gauge_kpa(volumes: float, temperature_c: float, altitude_m: float = 0.0) -> float:
    """Gauge pressure over a drink with these volumes, by the same fit; negative where it would take up more."""
    absolute_kpa = psi_to_kpa((volumes + 0.003342) / _chart_volumes_per_psi(temperature_c))
    return absolute_kpa - atmosphere_kpa(altitude_m)


def water_vapour_kpa(temperature_c: float) -> float:
    """Vapour pressure of water (Buck 1981, from memory; 2.34 kPa at 20 °C)."""
    return 0.61121 * math.exp((18.678 - temperature_c / 234.5) * (temperature_c / (257.14 + temperature_c)))


def henry_gauge_kpa(volumes: float, temperature_c: float, altitude_m: float = 0.0) -> float:
    """Gauge pressure over pure water with these volumes, by Henry's law, water vapour included (Sander 2023)."""
    henry = _HENRY_25C * math.exp(_HENRY_SLOPE_K * (1 / (temperature_c + 273.15) - 1 / 298.15))
    absolute_kpa = volumes * _MOL_PER_M3_PER_VOLUME / henry / 1000 + water_vapour_kpa(temperature_c)
    return absolute_kpa - atmosphere_kpa(altitude_m)


def package_gauge_kpa(volumes: float, temperature_c: float, altitude_m: float = 0.0) -> float:
    """Gauge pressure in a closed package: the higher of the chart's fit and Henry's law, never below 0.

    Both are published; they part by a few per cent above 30 °C, where the chart is extrapolated. The head space is
    counted as holding CO2 alone: air sealed in with it adds up to one atmosphere more (see `safety.HEAD_SPACE_KPA`).
    """
    both = chart_gauge_kpa(volumes, temperature_c, altitude_m), henry_gauge_kpa(volumes, temperature_c, altitude_m)
    return max(0.0, *both)


def keg_gauge_kpa(volumes: float, temperature_c: float, altitude_m: float = 0.0) -> float:
    """Regulator setting that holds these volumes at the serving temperature; 0 where it holds them vented."""
    return max(0.0, chart_gauge_kpa(volumes, temperature_c, altitude_m))


def residual_volumes(warmest_c: float, vessel_gauge_kpa: float = 0.0, altitude_m: float = 0.0) -> float:
    """CO2 still dissolved after fermentation, in volumes.

    Parameters
    ----------
    warmest_c
        The warmest the drink has been since fermentation ended: it gives gas off and does not take it up again.
    vessel_gauge_kpa
        The vessel's own pressure; 0 when vented.
    altitude_m
        Where it fermented: thinner air holds less gas in a vented vessel.
    """
    return dissolved_volumes(vessel_gauge_kpa, warmest_c, altitude_m)


def volumes_of_fall(from_sg: float, fall_sg: float) -> float:
    """Volumes of CO2 that a further fall of gravity makes: about 0.49 a point (Balling, ASBC cubic)."""
    if fall_sg <= 0:
        return 0.0
    apparent = sg_to_plato(from_sg) - sg_to_plato(from_sg - fall_sg)
    grams = REAL_PER_APPARENT * apparent / 100 * density_from_sg(from_sg) * CO2_PER_EXTRACT
    return volumes_of_grams(grams)


def volumes_of_malic_acid(g_per_l: float) -> float:
    """Volumes of CO2 from malic acid that bacteria turn to lactic acid, one mol from one: about 0.17 for each g/L."""
    return volumes_of_grams(g_per_l * _CO2 / _MALIC)


def priming_g(
    volumes: float, residual: float, volume_l: float, co2_g_per_g: float, own_l_per_g: float = 0.0
) -> float | None:
    """Grams of a sugar that take `volume_l` from the residual to the wished volumes; 0 where it already holds them.

    Parameters
    ----------
    co2_g_per_g
        CO2 in grams that a gram of it gives.
    own_l_per_g
        Litres that a gram of it adds to the drink and that are to be carbonated too: juice and wort bring no gas.
        What a dry sugar adds is left out (0.6 mL a gram, less than half a per cent of a usual dose).

    Returns
    -------
    None where it is too weak to carbonate even itself.
    """
    wanted = max(0.0, volumes - residual)
    gain = co2_g_per_g - grams_of_volumes(volumes) * own_l_per_g
    if wanted == 0:
        return 0.0
    return grams_of_volumes(wanted) * volume_l / gain if gain > 0 else None


def heated_gauge_kpa(volumes: float, temperature_c: float = 65.0, altitude_m: float = 0.0) -> tuple[float, float]:
    """What a filled bottle reaches when heated: the lower and the higher of the two relations, both extrapolated."""
    both = chart_gauge_kpa(volumes, temperature_c, altitude_m), henry_gauge_kpa(volumes, temperature_c, altitude_m)
    return min(both), max(both)


@dataclass(frozen=True, slots=True)
class Spread:
    """A bottle's pressure as a distribution: `chances` that it stays at or below `gauge_kpa`, both rising."""

    gauge_kpa: Floats
    chances: Floats

    def chance_above(self, limit_kpa: float) -> float:
        """The chance that the pressure passes a limit."""
        return float(1 - np.interp(limit_kpa, self.gauge_kpa, self.chances, left=0.0, right=1.0))


def pressure_spread(
    volumes: float,
    temperature_c: float,
    *,
    fall_p90_volumes: float = 0.0,
    falls_volumes: tuple[float, ...] = (),
    creep_p90_volumes: float = 0.0,
    altitude_m: float = 0.0,
) -> Spread:
    """Distribution of the pressure at `temperature_c`, for a picture.

    The wished volumes spread normally by `FILL_SPREAD_VOLUMES`; what may still ferment and what hops may start are
    each exponential with the given 90th percentile, unless `falls_volumes` gives equally likely values of the former.
    Their sum is convolved on a grid.
    """
    step = 0.02
    reach = 6 * FILL_SPREAD_VOLUMES
    grid = np.arange(-reach, reach + step / 2, step)
    density = np.exp(-0.5 * (grid / FILL_SPREAD_VOLUMES) ** 2)
    density /= density.sum()
    start = volumes - reach
    if falls_volumes:
        weights, _ = np.histogram(falls_volumes, np.arange(-step / 2, max(falls_volumes) + 1.5 * step, step))
        density = np.convolve(density, weights / weights.sum())
    for p90 in (0.0 if falls_volumes else fall_p90_volumes, creep_p90_volumes):
        if p90 < 1e-6:  # nothing that a grid of hundredths could show
            continue
        rate = math.log(10) / p90
        extra = np.arange(0.0, 7 / rate, step)
        weights = np.exp(-rate * extra)
        density = np.convolve(density, weights / weights.sum())
    total = start + step * np.arange(density.size)
    cumulative = np.cumsum(density)
    marks = np.array([0.01, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 0.999])
    at = np.interp(marks, cumulative, total)
    pressures = np.array([package_gauge_kpa(float(v), temperature_c, altitude_m) for v in at])
    return Spread(pressures, marks)
