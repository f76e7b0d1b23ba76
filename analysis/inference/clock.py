"""Warmth-weighted time with the halts taken out: the clock by which a hypothesis lets the curve run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from analysis.fermentation import Warmth, warmer
from analysis.inference.layout import LastingColumns, Layout, OverColumns
from analysis.inference.setting import Setting
from analysis.model import Floats

_LEAK: Final = 0.02
"""How fast it went on during a halt that is over, against its usual pace."""

_STANDS: Final = 0.001
"""The same for one that lasts, within a factor of twelve either way: many stand quite still, however long (no source).
Were a little movement taken for granted, a halt would seem the less likely the longer it stands."""


@dataclass(frozen=True, slots=True)
class Clock:
    """Warmth-weighted time by one hypothesis.

    `over_h`: when the halt that is over was seen to begin and end; `lasting_h`: when the one that lasts can have begun.
    """

    setting: Setting
    layout: Layout
    over_h: tuple[float, float] | None
    lasting_h: tuple[float, float] | None

    def tau(self, z: Floats, theta: Floats, at: Floats | None = None, later_c: Floats | None = None) -> Floats:
        """Warmth-weighted time at the bins, or at the times `at` (hours, shape (m,)), with the halts taken out.

        From now on it is warmer by `later_c`, shape (n,).
        """
        warm = self.setting.warm
        law = warm.law(theta)
        tau = np.asarray(warm.tau[law][:, self.setting.bins] if at is None else tau_at(warm, at)[law])
        now_h = self.setting.series.now_h
        if at is not None and later_c is not None:
            gain = warm.speed_now[law] * (warmer(self.setting.series.grid_temperature_c[-1], later_c, theta) - 1.0)
            tau = tau + gain[:, None] * np.maximum(at - now_h, 0.0)
        whole = tau
        pace, goes_on = np.ones((1, 1)), np.zeros((1, 1))
        over, lasting = self.layout.over, self.layout.lasting
        if over is not None:
            at_begin, at_end = (_each(warm, law, edge)[:, None] for edge in self._halted_over(z, over))
            goes_on = at_end  # one halt is over before the next begins
            # What comes back comes back at a pace of its own: fewer cells, or warmed, or roused.
            pace = np.exp(-0.2 + 0.5 * z[:, over.pace])[:, None]
            inside = np.clip(whole, at_begin, at_end) - at_begin
            tau = tau - (1.0 - _LEAK) * inside + (pace - 1.0) * np.maximum(whole - at_end, 0.0)
        if lasting is not None:
            at_end = _each(warm, law, np.full(law.size, now_h))[:, None]
            at_begin = np.maximum(_each(warm, law, self._began(z, lasting))[:, None], goes_on)
            leak = np.minimum(_STANDS * np.exp(2.5 * z[:, lasting.leak]), 0.3)[:, None]
            tau = tau - pace * (1.0 - leak) * (np.clip(whole, at_begin, at_end) - at_begin)
        return np.asarray(tau)

    def at_each(self, theta: Floats, hour: float) -> Floats:
        """Warmth-weighted time at one hour by each course's own law, halts included, shape (n,)."""
        law = self.setting.warm.law(theta)
        return _each(self.setting.warm, law, np.full(law.size, hour))

    def halted_from(self, z: Floats) -> Floats:
        """When the halt that lasts began, hours since pitching, shape (n,); infinite where none does."""
        lasting = self.layout.lasting
        return np.full(z.shape[0], np.inf) if lasting is None else self._began(z, lasting)

    def _halted_over(self, z: Floats, over: OverColumns) -> tuple[Floats, Floats]:
        """Begin and end of the halt that is over: the plateau was seen; its edges are uncertain by half a day or so."""
        low, high = self.over_h or (0.0, 0.0)
        begin = np.maximum(low + 9.0 * (z[:, over.begin] - 0.3), 0.0)
        end = np.maximum(high + 9.0 * (z[:, over.end] + 0.3), begin + 4.0)
        return begin, np.minimum(end, self.setting.series.now_h)

    def _began(self, z: Floats, lasting: LastingColumns) -> Floats:
        low, high = self.lasting_h or (0.0, 0.0)
        return np.asarray(low + (high - low) * ndtr(z[:, lasting.begin]))


def tau_at(warm: Warmth, at: Floats) -> Floats:
    """Warmth-weighted time of every law at times that may lie in the future, where the last temperature is kept."""
    last = warm.hours[-1]
    inside = np.minimum(at, last)
    place = np.clip(np.searchsorted(warm.hours, inside, side="right") - 1, 0, warm.hours.size - 2)
    step = warm.hours[place + 1] - warm.hours[place]
    part = (inside - warm.hours[place]) / step
    tau = warm.tau[:, place] * (1 - part) + warm.tau[:, place + 1] * part
    return np.asarray(tau + warm.speed_now[:, None] * np.maximum(at - last, 0.0)[None, :])


def _each(warm: Warmth, law: Floats, at: Floats) -> Floats:
    """Warmth-weighted time of each course's own law at its own time, shape (n,)."""
    place = np.clip(np.searchsorted(warm.hours, at, side="right") - 1, 0, warm.hours.size - 2)
    part = (at - warm.hours[place]) / (warm.hours[place + 1] - warm.hours[place])
    return np.asarray(warm.tau[law, place] * (1 - part) + warm.tau[law, place + 1] * part)
