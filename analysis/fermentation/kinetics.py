"""The family of fermentation courses: growth with a lag, two sugars, an activity that fades, and a warmth law.

The fall so far is ``A * F``. `F` runs from 0 to 1 in the *work* ``L`` that the yeast has done:

* yeast grows logistically in warmth-weighted time ``tau`` (hours at the reference temperature), so that
  ``L0 = log(1 + (exp(g tau / lag) - 1) exp(-g)) lag / g``: nothing until about `lag`, then one a reference hour;
* its activity fades hyperbolically with the work done (ageing, flocculation, want of nitrogen):
  ``L = log(1 + fade rate L0) / fade``;
* an easy sugar is taken up at ``dS1/dL = -c (1 + K) S1 / (K + S1) (1 - h (1 - S1))``: Monod, with an inhibition
  that grows with the alcohol made; `c` makes one unit of work take up half of it;
* a slow one (maltotriose, fructose, whatever the yeast leaves for last) is taken up at
  ``dS2/dL = -rho (1 + K2) S2 / (K2 + S2) / (1 + S1 / 0.25)``, held back while the easy one lasts;
* ``F = 1 - (1 - w) S1 - w S2``.

The sugar curves are computed once by Runge-Kutta and looked up after that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analysis.fermentation.parameters import Parameter
from analysis.model import Floats

_MONOD: Final = np.exp(np.linspace(np.log(0.02), np.log(1.5), 13))
_INHIBITION: Final = np.array([0.0, 0.18, 0.35, 0.48, 0.6, 0.7, 0.78, 0.85, 0.9, 0.935, 0.96])
_RHO: Final = np.exp(np.linspace(np.log(0.05), np.log(3.0), 16))
_SLOW_MONOD: Final = np.exp(np.log(0.06) + np.log(4.0) * np.arange(5))
"""The last one stands for a slow sugar that is many: its tail is heavier than an exponential."""
_INHIBITION_EDGES: Final = 0.5 * (_INHIBITION[1:] + _INHIBITION[:-1])
_MANY_SUGARS: Final = 8.0
_REPRESSION: Final = 0.25
_WORK_MAX: Final = 80.0
_GRID: Final = 256
_SPREAD: Final = 6.0
_SCALE: Final = (_GRID - 1) / np.log1p(_SPREAD * _WORK_MAX)


Floats32 = NDArray[np.float32]
_LONG: Final = np.float32(40.0)


@dataclass(frozen=True, slots=True)
class SugarTable:
    """Sugar left against work done, on a grid that is fine at first and coarse in the tail."""

    easy: NDArray[np.complex64]  # (monod * inhibition, grid), flat
    slow: NDArray[np.complex64]  # (monod * inhibition * rho * slow monod, grid), flat


@lru_cache(maxsize=1)
def sugar_table() -> SugarTable:
    """The table of both sugars for every stored Monod constant, inhibition and slow rate."""
    work = np.expm1(np.arange(_GRID) / _SCALE) / _SPREAD
    monod, inhibition = (a.reshape(-1, 1) for a in np.meshgrid(_MONOD, _INHIBITION, indexing="ij"))

    # One unit of work is what takes up half of the easy sugar, whatever the law.
    between = np.linspace(0.5, 1.0, 201)
    pace = np.trapezoid((monod + between) / ((1 + monod) * between * (1 - inhibition * (1 - between))), between, axis=1)

    def uptake(s: Floats) -> Floats:
        s = np.maximum(s, 0.0)
        return np.asarray(-pace[:, None] * (1 + monod) * s / (monod + s) * (1 - inhibition * (1 - s)))

    easy = np.ones((monod.size, _GRID))
    log_slow = np.zeros((monod.size, _GRID))
    s = np.ones((monod.size, 1))
    for i in range(1, _GRID):
        span = work[i] - work[i - 1]
        pieces = min(max(1, int(np.ceil(span / 0.03))), 8)
        h = span / pieces
        passed = np.zeros_like(s)
        for _ in range(pieces):
            before = s
            k1 = uptake(s)
            k2 = uptake(s + h / 2 * k1)
            k3 = uptake(s + h / 2 * k2)
            k4 = uptake(s + h * k3)
            s = np.maximum(s + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), 0)
            passed = passed + h / 2 * (1 / (1 + before / _REPRESSION) + 1 / (1 + s / _REPRESSION))
        easy[:, i] = s[:, 0]
        log_slow[:, i] = log_slow[:, i - 1] + passed[:, 0]
    spent = _RHO[None, :, None] * log_slow[:, None, :]
    slow = np.stack([_monod_decay(spent, k) for k in _SLOW_MONOD], axis=2)
    return SugarTable(_flat(easy), _flat(slow.reshape(-1, _GRID)))


def _flat(table: Floats) -> NDArray[np.complex64]:
    """Value as the real part and the step to the next grid point as the imaginary one: one look-up fetches both."""
    step = np.diff(table, axis=1, append=table[:, -1:])
    return (table + 1j * step).astype(np.complex64).ravel()


def _monod_decay(spent: Floats, constant: float) -> Floats:
    """Sugar left when ``dS/dx = -(1 + K) S / (K + S)`` from 1; ``x (1 + K) = K log(1 / S) + 1 - S`` turned round."""
    if constant > _MANY_SUGARS:
        # Rates spread as a gamma distribution of shape 3 about their mean: a mixture of exponentials.
        return np.asarray((1.0 + spent / 3.0) ** -3.0)
    left = np.concatenate([np.linspace(1.0, 0.02, 400), np.geomspace(0.0199, 1e-12, 400)])
    at = (1.0 - left - constant * np.log(left)) / (1.0 + constant)
    return np.asarray(np.interp(spent, at, left))


@dataclass(frozen=True, slots=True)
class Shapes:
    """Many courses at once, one row of parameters each, on their natural scales."""

    rate: Floats
    lag: Floats
    growth: Floats
    fade: Floats
    slow_share: Floats
    easy_row: NDArray[np.intp]
    slow_row: NDArray[np.intp]
    slow_part: NDArray[np.float32]

    @classmethod
    def of(cls, theta: Floats) -> Shapes:
        """From parameters, shape (n, 11).

        The slow rate lies between two stored ones, the other parameters of the table go to the nearest.
        """
        monod = _nearest(theta[:, Parameter.LOG_MONOD], np.log(_MONOD[0]), np.log(_MONOD[1]), _MONOD.size)
        place = (theta[:, Parameter.LOG_RHO] - np.log(_RHO[0])) / np.log(_RHO[1] / _RHO[0])
        rho = np.clip(np.floor(place), 0, _RHO.size - 2).astype(np.intp)
        inhibition = np.searchsorted(_INHIBITION_EDGES, 1 / (1 + np.exp(-theta[:, Parameter.LOGIT_INHIBITION])))
        row = monod * _INHIBITION.size + inhibition
        slow_monod = _nearest(
            theta[:, Parameter.LOG_SLOW_MONOD], np.log(_SLOW_MONOD[0]), np.log(_SLOW_MONOD[1]), _SLOW_MONOD.size
        )
        return cls(
            rate=np.exp(np.clip(theta[:, Parameter.LOG_RATE], -9, 1)),
            lag=np.exp(np.clip(theta[:, Parameter.LOG_LAG], -2, 6)),
            growth=np.exp(np.clip(theta[:, Parameter.LOG_GROWTH], -0.5, 3)),
            fade=np.exp(np.clip(theta[:, Parameter.LOG_FADE], -7, 1.5)),
            slow_share=1 / (1 + np.exp(-theta[:, Parameter.LOGIT_SLOW])),
            easy_row=row,
            slow_row=(row * _RHO.size + rho) * _SLOW_MONOD.size + slow_monod,
            slow_part=np.clip(place - rho, 0.0, 1.0).astype(np.float32),
        )

    def fall(self, tau: Floats) -> Floats:
        """Fraction of the fall that is done by warmth-weighted time `tau` (hours), shape (n, m) as `tau`."""
        return self.fall_after(self.work(tau))

    def work(self, tau: Floats) -> Floats32:
        """Work done by warmth-weighted time `tau`, shape (n, m). Single precision: a tenth of a second in a month."""
        per_hour = (self.growth / self.lag).astype(np.float32)[:, None]
        x = tau.astype(np.float32) * per_hour
        growth = self.growth.astype(np.float32)[:, None]
        # For long times the growth curve is a straight line; the exponential would overflow there.
        grown = np.log1p(np.expm1(np.minimum(x, _LONG)) * np.exp(-growth)) + np.maximum(x - _LONG, np.float32(0.0))
        fade = self.fade.astype(np.float32)[:, None]
        grown *= fade * self.rate.astype(np.float32)[:, None] / per_hour
        return np.asarray(np.log1p(grown) / fade)

    def fall_after(self, work: Floats32) -> Floats:
        """Fraction of the fall that is done after `work`, shape (n, m)."""
        table = sugar_table()
        place = np.minimum(np.log1p(np.float32(_SPREAD) * work) * np.float32(_SCALE), np.float32(_GRID - 1.001))
        index = place.astype(np.intp)
        part = place - index.astype(np.float32)
        easy_at = table.easy.take(index + (self.easy_row * _GRID)[:, None], mode="clip")
        index += (self.slow_row * _GRID)[:, None]
        slow_at = table.slow.take(index, mode="clip")
        index += _SLOW_MONOD.size * _GRID
        slow_at += self.slow_part[:, None] * (table.slow.take(index, mode="clip") - slow_at)
        easy = easy_at.real + part * easy_at.imag
        slow = slow_at.real + part * slow_at.imag
        w = self.slow_share.astype(np.float32)[:, None]
        return np.asarray(1.0 - (easy + w * (slow - easy)), dtype=np.float64)


def _nearest(value: Floats, first: float, second: float, size: int) -> NDArray[np.intp]:
    return np.asarray(np.clip(np.rint((value - first) / (second - first)), 0, size - 1).astype(np.intp))
