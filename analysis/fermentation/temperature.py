"""How temperature drives the rate: an Arrhenius law with an uncertain activation energy, and a limit of cold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.fermentation.parameters import Parameter
from analysis.model import Floats

GAS_J_MOL_K: Final = 8.314462618
"""Molar gas constant (CODATA 2018, exact)."""

ENERGY_MEAN_KJ_MOL: Final = 62.0
ENERGY_SD_KJ_MOL: Final = 18.0
"""Activation energy of fermentation rate: a factor of about 2.5 for ten degrees, give or take
(glycolysis and yeast growth lie between 40 and 90 kJ/mol; from memory)."""

_ENERGY_NODES: Final = np.linspace(-2.0, 2.0, 17)
_COLD_NODES: Final = np.linspace(-1.0, 1.0, 5)
_COLD_BELOW_C: Final = 10.0
_COLD_SPREAD_C: Final = 3.5


@dataclass(frozen=True, slots=True)
class Warmth:
    """Warmth-weighted time for every stored temperature law, on one time grid.

    `tau` has shape (laws, points).
    """

    hours: Floats
    tau: Floats
    speed_now: Floats

    def law(self, theta: Floats) -> Floats:
        """Row of the stored law nearest to the parameters, shape (n,)."""
        energy = np.clip(np.rint((theta[:, Parameter.WARMTH] - _ENERGY_NODES[0]) * 4.0), 0, _ENERGY_NODES.size - 1)
        cold = np.clip(np.rint((theta[:, Parameter.COLD] - _COLD_NODES[0]) * 2.0), 0, _COLD_NODES.size - 1)
        return np.asarray((energy * _COLD_NODES.size + cold).astype(np.intp))


def speeds(temperature_c: Floats, reference_c: float, usual_c: float) -> Floats:
    """Relative rate of every stored law at each temperature, shape (laws, n).

    `usual_c` is where this batch has been fermenting: the cold limit is counted down from it.
    """
    kelvin = temperature_c + 273.15
    energy = (ENERGY_MEAN_KJ_MOL + ENERGY_SD_KJ_MOL * _ENERGY_NODES) * 1000.0
    arrhenius = np.exp(energy[:, None] / GAS_J_MOL_K * (1 / (reference_c + 273.15) - 1 / kelvin))
    limit = usual_c - _COLD_BELOW_C + _COLD_SPREAD_C * _COLD_NODES
    awake = 1 / (1 + np.exp(-(temperature_c[None, :] - limit[:, None]) / 1.2))
    return np.asarray((arrhenius[:, None, :] * awake[None, :, :]).reshape(-1, temperature_c.size))


def warmer(temperature_c: float, by_c: Floats, theta: Floats) -> Floats:
    """How many times as fast it goes where it is warmer than `temperature_c` by `by_c`, by each course's own law."""
    kelvin = temperature_c + 273.15
    energy = (ENERGY_MEAN_KJ_MOL + ENERGY_SD_KJ_MOL * np.clip(theta[:, Parameter.WARMTH], -2.0, 2.0)) * 1000.0
    return np.asarray(np.exp(energy / GAS_J_MOL_K * (1 / kelvin - 1 / (kelvin + by_c))))


def warmth(hours: Floats, temperature_c: Floats, reference_c: float, usual_c: float) -> Warmth:
    """Warmth-weighted time from 0 at `hours[0]`, for temperatures that belong to the grid points."""
    at_points = speeds(temperature_c, reference_c, usual_c)
    between = 0.5 * (at_points[:, 1:] + at_points[:, :-1])
    tau = np.zeros_like(at_points)
    np.cumsum(between * np.diff(hours), axis=1, out=tau[:, 1:])
    return Warmth(hours, tau, at_points[:, -1])
