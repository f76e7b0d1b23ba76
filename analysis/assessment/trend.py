"""A slow fall since the end: over all readings since then, and over the last of them.

A fall slower than a point a day hides from every hold of a few days, and the offset that is inferred for a float takes
it up. Here only the readings themselves count, in one straight line over days and weeks. A float scatters, wanders and
drifts, comes down with the last of the fermentation, and reads otherwise when it is colder: all that is part of the
error of the line. Hand samples do not drift.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from analysis.inference import LOG_WANDER, NEW_OFFSET_SD_SG, WANDER_SD_SG, PosteriorDraws, Prior, wandering
from analysis.model import Floats, Trend
from analysis.readings import Series
from analysis.thresholds import (
    BY_WARMTH_SG_C,
    LEAST_TREND_BINS,
    LEAST_TREND_H,
    NEWEST_BEYOND,
    SAMPLED_DRIFT_SG_DAY,
    SAMPLED_SHARE,
    STEADY_SG,
    TREND_NEWEST_H,
    TREND_RENEWED_H,
)

_TAILS_H: Final = (12.0, 24.0)
"""Time constants of the last point of an ordinary fermentation."""

_SLOW_SHARE: Final = 0.5
_SLOW_H: Final = 72.0
"""A float also wanders over days, with half the variance of its wandering over hours: without it, one line in forty
through 60 simulated stands lay more than three standard errors off."""

_LAST_PARTS: Final = (1 / 2, 1 / 3)
"""Of the time since the end, over which a stand is looked for that has come after a slow fall."""

_PART: Final = 0.7
"""A stretch that is nearly the whole time is not asked by itself."""

_ANY_LEVEL_SD_SG: Final = 0.05
"""The level itself tells nothing here: float and hand samples each have one of their own."""


def trend_of(
    series: Series, posterior: PosteriorDraws, prior: Prior, *, from_h: float, until_h: float, called_h: float | None
) -> tuple[Trend | None, bool]:
    """The trend that counts since it is said to have ended, and whether it takes that back.

    It is said to have ended since the courses have less than a point left, or since it was called so, if that is
    longer.

    A fall in the newest days counts before one over the whole time. One that is over counts no more: the line over the
    last half or third of the time excludes that it goes on. There is none with too few readings since.

    Parameters
    ----------
    from_h, until_h
        Nothing read before or after counts: another liquid or float, or the cold.
    called_h
        When it was last called finished; None where it never was.
    """
    start_h = max(from_h, min(ended_h(posterior), until_h if called_h is None else called_h))
    span_h = until_h - start_h
    whole = _line(series, prior, start_h, until_h)
    if whole is None:
        return None, False
    for newest_h in TREND_NEWEST_H:
        newest = _line(series, prior, until_h - newest_h, until_h) if newest_h < _PART * span_h else None
        if newest is not None and newest.falls(NEWEST_BEYOND):
            return newest, True
    for part in _LAST_PARTS:
        last = _line(series, prior, until_h - part * span_h, until_h) if part * span_h >= TREND_RENEWED_H else None
        if last is not None and last.excluded:
            return last, False
    return whole, whole.falls()


def ended_h(posterior: PosteriorDraws) -> float:
    """Since when the courses have, on the average, less than a point yet to fall, hours since pitching."""
    left = posterior.weight @ posterior.left_sg / posterior.weight.sum()
    above = np.flatnonzero(left >= STEADY_SG)
    return float(posterior.at_h[min(int(above[-1]) + 1, left.size - 1)]) if above.size else 0.0


def _line(series: Series, prior: Prior, from_h: float, until_h: float) -> Trend | None:
    """Generalised least squares: the slope is free, whatever else moves a float is error."""
    use = (series.hours >= from_h) & (series.hours <= until_h)
    t = series.hours[use]
    if t.size < LEAST_TREND_BINS or t[-1] - t[0] < LEAST_TREND_H:
        return None
    days = (t - t[0]) / 24.0
    fixed = _covariance(series, use)
    floats = (~series.by_hand[use]).astype(np.float64)
    apart_h = np.abs(t[:, None] - t[None, :])
    unit = np.outer(floats, floats) * (wandering(apart_h) + _SLOW_SHARE * np.exp(-apart_h / _SLOW_H))
    odds = -0.5 * np.square((np.log(WANDER_SD_SG) - prior.mean[LOG_WANDER]) / prior.sd[LOG_WANDER])
    fits = np.array([_fit(days, series.gravity_sg[use], fixed + size**2 * unit) for size in WANDER_SD_SG])
    score = fits[:, 2] + odds
    share = np.exp(score - score.max()) / np.exp(score - score.max()).sum()
    slope = float(share @ fits[:, 0])
    variance = float(share @ (np.square(fits[:, 1]) + np.square(fits[:, 0] - slope)))
    return Trend(float(t[0]), float(days[-1]), -slope, variance**0.5)


def _fit(days: Floats, gravity_sg: Floats, cov: Floats) -> tuple[float, float, float]:
    """Slope, its standard error, and the log-likelihood up to a constant."""
    factor = cho_factor(cov, lower=True)
    y = gravity_sg - gravity_sg.mean()
    solved = cho_solve(factor, days)
    precision = float(days @ solved)
    slope = float(y @ solved) / precision
    rest = y - slope * days
    log_like = -0.5 * float(rest @ cho_solve(factor, rest)) - float(np.log(np.diag(factor[0])).sum())
    return slope, precision**-0.5, log_like - 0.5 * np.log(precision)


def _covariance(series: Series, use: NDArray[np.bool_]) -> Floats:
    """Errors of the bins but for wandering: scatter, levels, tail, warmth and fouling, shape (n, n)."""
    t, by_hand, segment = series.hours[use], series.by_hand[use], series.segment[use]
    floats, hand = (~by_hand).astype(np.float64), by_hand.astype(np.float64)
    cov = np.diag(np.square(series.white_sd_sg[use]) + series.rounding_sg**2 + 1e-12)
    for one in (floats, hand):
        cov += _ANY_LEVEL_SD_SG**2 * np.outer(one, one)
    for k in np.unique(segment)[1:]:
        later = floats * (segment >= k)
        cov += NEW_OFFSET_SD_SG**2 * np.outer(later, later)
    for tail_h in _TAILS_H:
        tail = STEADY_SG * np.exp(-(t - t[0]) / tail_h)
        cov += np.outer(tail, tail)
    if series.temperature_known:
        warmth = np.interp(t, series.grid_hours, series.grid_temperature_c)
        off = floats * (warmth - warmth.mean())
        cov += BY_WARMTH_SG_C**2 * np.outer(off, off)
    sampled = t[by_hand]
    # Only samples by hand show that it is the float that drifts: without them a steady fall is none of its doing.
    if sampled.size > 1 and sampled[-1] - sampled[0] >= SAMPLED_SHARE * (t[-1] - t[0]):
        drift = SAMPLED_DRIFT_SG_DAY * floats * (t - t[0]) / 24.0
        cov += np.outer(drift, drift)
    return np.asarray(cov)
