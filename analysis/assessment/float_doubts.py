"""What a float shows that no fermentation shows: a drift, a swing, one figure for days, a gravity that cannot be.

None of it is corrected for. It is named, and a hand sample settles it: what the readings leave open stays open until
then.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
import polars as pl
from scipy.optimize import isotonic_regression

from analysis import evidence as kinds
from analysis.model import Batch, Floats, events_of
from analysis.readings import Series, hours_since, medians, moved_by
from analysis.thresholds import (
    ALIKE_SG,
    BEYOND_ORIGINAL_SG,
    DRIFT_ALIKE,
    DRIFT_BEYOND,
    DRIFT_KNOWN,
    DRIFT_LEAST_H,
    DRIFT_LEAST_SG,
    DRIFT_SG_PER_DAY,
    FAR_SG,
    LEVEL_H,
    LEVELS_BEYOND,
    MOST_ATTENUATION,
    SAME_FIGURE_H,
    SAME_FIGURE_LEAST,
    SWING_OVER_H,
    SWING_SG,
)

_SPANS_H: Final = (28 * 24.0, 14 * 24.0, 10 * 24.0, DRIFT_LEAST_H)
"""Spans over which an even fall is looked for, the longest first."""
_ALL: Final = slice(None)

FloatDoubt = kinds.EvenFall | kinds.Swings | kinds.SameFigure | kinds.CannotBe
"""What makes the float itself doubtful."""


def doubts_of(series: Series, marked: pl.DataFrame, batch: Batch, *, until_h: float) -> tuple[FloatDoubt, ...]:
    """What is odd about the float, up to `until_h` (hours since pitching): in the cold it says nothing of a fall."""
    return (
        *_cannot_be(series, batch),
        *_same_figure(marked, batch),
        *_swings(series, marked, batch),
        *_even_fall(series, marked, batch, until_h),
    )


def spoiling(doubts: Iterable[FloatDoubt]) -> tuple[FloatDoubt, ...]:
    """Those with which neither an end, nor a stall, nor a date can be told from the float."""
    return tuple(one for one in doubts if isinstance(one, kinds.EvenFall | kinds.CannotBe))


def _sampled_since(series: Series, hour: float) -> bool:
    return bool((series.by_hand & (series.hours >= hour)).any())


def _cannot_be(series: Series, batch: Batch) -> Iterator[kinds.CannotBe]:
    """A level above what it began with, or below what is left when every sugar is eaten."""
    recent = series.floats & (series.hours > series.now_h - LEVEL_H)
    original_sg = batch.original_gravity_sg
    if original_sg is None or not recent.any():
        return
    level_sg = float(np.median(series.gravity_sg[recent]))
    lowest_sg = 1.0 - (MOST_ATTENUATION - 1.0) * (original_sg - 1.0) - ALIKE_SG
    added = events_of(batch, "feed", "dilute")
    if level_sg > original_sg + BEYOND_ORIGINAL_SG and not added:
        yield kinds.CannotBe(level_sg, original_sg, above=True)
    elif level_sg < lowest_sg and not added:
        yield kinds.CannotBe(level_sg, original_sg, above=False)


def _same_figure(marked: pl.DataFrame, batch: Batch) -> Iterator[kinds.SameFigure]:
    """One figure to the last digit, of a float that shows finer ones, or of which nothing else was ever read."""
    told = marked.filter(~pl.col("by_hand") & pl.col("gravity_sg").is_not_null())
    if len(told) < SAME_FIGURE_LEAST:
        return
    gravity = told["gravity_sg"].to_numpy()
    hours = hours_since(told["measured_at"], batch.pitched_at)
    other = np.flatnonzero(np.abs(gravity - gravity[-1]) > 1e-9)
    first = int(other[-1]) + 1 if other.size else 0
    coarse = other.size > 0 and bool(np.all(np.abs(gravity * 1e3 - np.round(gravity * 1e3)) < 1e-6))
    # A display of whole points says the same for days where nothing moves.
    if gravity.size - first >= SAME_FIGURE_LEAST and hours[-1] - hours[first] >= SAME_FIGURE_H and not coarse:
        yield kinds.SameFigure(float(hours[-1] - hours[first]), float(gravity[-1]))


def _swings(series: Series, marked: pl.DataFrame, batch: Batch) -> Iterator[kinds.Swings]:
    """Up and down by points, again and again: bubbles lift a float and leave it, the liquid only falls."""
    for span_h, width_h, swings in SWING_OVER_H:
        since_h = series.now_h - span_h
        t, g = _medians(marked, batch, width_h, since_h, series.now_h)
        if t.size < 12 or t[-1] - t[0] < 0.75 * span_h or _sampled_since(series, since_h):
            return
        size = _spread(t, g)
        if size >= SWING_SG and float(np.diff(g).clip(min=0.0).sum()) >= swings * size:
            levels = _medians(marked, batch, LEVEL_H, since_h, series.now_h)
            scatters = LEVELS_BEYOND * _level_error(marked, batch, since_h, series.now_h)
            yield kinds.Swings(size, float(t[-1] - t[0]), slowly=_spread(*levels) >= max(FAR_SG, scatters))
            return


def _level_error(marked: pl.DataFrame, batch: Batch, from_h: float, until_h: float) -> float:
    """Standard error of a half-day's level, SG: from what scatters about a line within each, neighbours taken as alike.

    A swing of more than a day is nearly straight within half of one, so that it adds little.
    """
    hours, gravity = _used(marked, batch, from_h, until_h)
    which = np.floor(hours / LEVEL_H)
    rests, sizes = [], []
    for one in np.unique(which):
        t, g = hours[which == one], gravity[which == one]
        if t.size > 3:
            rests.append(g - np.polyval(np.polyfit(t - t[0], g, 1), t - t[0]))
            sizes.append(t.size)
    if not rests:
        return 0.0
    squares = sum(float(rest @ rest) for rest in rests)
    alike = float(np.clip(sum(float(rest[1:] @ rest[:-1]) for rest in rests) / max(squares, 1e-18), 0.0, 0.9))
    variance = squares / (sum(sizes) - 2 * len(sizes))
    return float(np.sqrt(np.pi / 2 * variance / np.median(sizes) * (1 + alike) / (1 - alike)))


def _spread(t: Floats, g: Floats) -> float:
    """How far up and down it goes, SG; neither the straight fall over the span is a swing, nor one that bends.

    About the best course that never rises less is left of a swing at both ends of the span: there more of it counts.
    """
    rest = g - np.polyval(np.polyfit(t - t[0], g, 1), t - t[0])
    bent = g - isotonic_regression(g, increasing=False).x
    return min(_between(g, 0.05), _between(rest, 0.05), _between(bent, 0.025))


def _between(x: Floats, share: float) -> float:
    return float(np.quantile(x, 1.0 - share) - np.quantile(x, share))


def _even_fall(series: Series, marked: pl.DataFrame, batch: Batch, until_h: float) -> Iterator[kinds.EvenFall]:
    """A slow fall that does not slow down: a tail does, the drift of a float does not."""
    for span_h in _SPANS_H:
        t, g = _medians(marked, batch, LEVEL_H, until_h - span_h, until_h)
        if t.size < 10 or t[-1] - t[0] < span_h - 2 * LEVEL_H or _changed(series, t):
            continue
        if _sampled_since(series, float(t[0] + t[-1]) / 2):
            return
        middle = t.size // 2
        whole, first, second = (_per_day(t[part], g[part]) for part in (_ALL, slice(middle), slice(middle, None)))
        days = float(t[-1] - t[0]) / 24.0
        slow = whole[0] * days >= DRIFT_LEAST_SG and whole[0] <= DRIFT_SG_PER_DAY
        seen = all(rate > DRIFT_BEYOND * error for rate, error in (whole, second))
        error = float(np.hypot(first[1], second[1]))
        alike = DRIFT_ALIKE * first[0] - error <= second[0] <= first[0] / DRIFT_ALIKE + error
        if seen and alike and error <= DRIFT_KNOWN * first[0] and slow:
            yield kinds.EvenFall(whole[0], float(t[-1] - t[0]))
            return


def _changed(series: Series, hours: Floats) -> bool:
    """Whether the float may have got a new offset, or its liquid another gravity, within these hours."""
    inside = series.floats & (series.hours >= hours[0]) & (series.hours <= hours[-1])
    return np.unique(series.segment[inside]).size > 1


def _per_day(t: Floats, g: Floats) -> tuple[float, float]:
    """Fall a day by a straight line, and its standard error, SG."""
    moved, error = moved_by(t, g)
    days = float(t[-1] - t[0]) / 24.0
    return moved / days, error / days


def _medians(
    marked: pl.DataFrame, batch: Batch, width_h: float, from_h: float, until_h: float
) -> tuple[Floats, Floats]:
    """Middle hour and median gravity of the float's readings in use, span by span."""
    hours, gravity = _used(marked, batch, from_h, until_h)
    if not hours.size:
        return hours, gravity
    starts = np.flatnonzero(np.diff(np.floor(hours / width_h), prepend=-1.0))
    ends = np.append(starts[1:], hours.size)
    return np.add.reduceat(hours, starts) / (ends - starts), medians(gravity, starts, ends)


def _used(marked: pl.DataFrame, batch: Batch, from_h: float, until_h: float) -> tuple[Floats, Floats]:
    """Hours since pitching and gravity of the float's readings in use."""
    used = marked.filter(~pl.col("by_hand") & pl.col("set_aside").is_null())
    hours, gravity = hours_since(used["measured_at"], batch.pitched_at), used["gravity_sg"].to_numpy()
    near = (hours > from_h) & (hours <= until_h)
    return hours[near], gravity[near]
