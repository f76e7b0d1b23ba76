"""Has the gravity been seen to hold? The steady rule of the trade, on robust means, and the chill that voids it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.model import Floats
from analysis.readings.binning import HAND_SD_SG, Series
from analysis.readings.robust import SD_PER_MAD, medians
from analysis.thresholds import (
    CHILL_BEGINS_C,
    CHILL_C,
    HAND_APART_H,
    HAND_RISE_SG,
    HAND_STRAY_SG,
    LEAST_HOLD_SEEN_H,
    LEVEL_H,
    MOVED_SG,
    MOVES_BEYOND,
    MOVES_SG,
    NEWEST_H,
    SILENCE_H,
    SILENCE_INTERVALS,
    STAND_BEYOND,
    STAND_KNOWN_H,
    STEADY_SG,
)

_SAME_H: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Hold:
    """For how long the gravity has moved by less than a point, up to the last reading that counts.

    `since_h` and `until_h` are hours since pitching; `moved_sg` the change of level over that span, with its
    standard error.
    """

    since_h: float | None
    until_h: float
    held_h: float
    moved_sg: float
    moved_se_sg: float


def hold(series: Series, *, until_h: float, from_h: float = 0.0, limit_sg: float = STEADY_SG) -> Hold:
    """Longest span up to `until_h` over which half-day levels stay within `limit_sg` of the newest level.

    Parameters
    ----------
    from_h
        Nothing before this counts: a feed, a dilution or a dry hop starts the watch anew.
    """
    use = series.floats & (series.hours <= until_h) & (series.hours >= from_h)
    if use.sum() < 3:
        use = (series.hours <= until_h) & (series.hours >= from_h)
    t, g = series.hours[use], series.gravity_sg[use]
    if t.size < 2:
        return Hold(None, until_h, 0.0, 0.0, 0.0)
    if not (use & series.floats).any():
        return _hold_by_hand(t, g, limit_sg)
    level = levels(t, g, LEVEL_H)
    away = np.abs(level - level[-1]) >= limit_sg
    first = int(np.flatnonzero(away)[-1]) + 1 if away.any() else 0
    # A falling batch is always within a point of where it was an hour ago: the straight line over the span must
    # have moved by less than a point too.
    moved, error = limit_sg, 0.0
    while first < t.size - 2 and t[-1] - t[first] >= LEAST_HOLD_SEEN_H:
        moved, error = moved_by(t[first:], g[first:])
        if moved < limit_sg:
            break
        first += 1
    held = float(np.floor(t[-1] - t[first]))
    if moved >= limit_sg or held < LEAST_HOLD_SEEN_H:
        return Hold(None, float(t[-1]), 0.0, 0.0, 0.0)
    return Hold(float(t[first]), float(t[-1]), held, moved, error)


def _hold_by_hand(t: Floats, g: Floats, limit_sg: float) -> Hold:
    """The hold as a person sees it in a notebook: two samples or more, days apart, that agree as far as they can.

    A hydrometer is read to about a point, so that samples of one gravity differ by as much, up or down. It holds where
    the line through them (the fall between two) has fallen by less than the limit, and none strays from their middle
    by more than reading errors; a rise beyond those is an odd sample and no hold.
    """
    for first in range(t.size - 1):
        if t[-1] - t[first] < HAND_APART_H:
            break
        its = g[first:]
        moved, error = moved_by(t[first:], its) if its.size > 2 else (float(its[0] - its[1]), HAND_SD_SG * 2**0.5)
        strays = float(np.abs(its - np.median(its)).max())
        if -HAND_RISE_SG <= moved < limit_sg and strays <= HAND_STRAY_SG:
            return Hold(float(t[first]), float(t[-1]), float(np.floor(t[-1] - t[first])), moved, error)
    return Hold(None, float(t[-1]), 0.0, 0.0, 0.0)


def without_silence(held: Hold, floats_h: Floats) -> Hold:
    """The hold without what nobody watched: a long silence of the floats adds nothing to it.

    A gravity that is followed by hand is read every few days, and what agrees over days has held: only where floats
    tell the hold does their silence count.

    Parameters
    ----------
    floats_h
        When the floats' readings in use were made, hours since pitching, in time order.
    """
    if held.since_h is None:
        return held
    since_h, until_h = held.since_h, held.until_h
    inside = floats_h[(floats_h >= since_h - _SAME_H) & (floats_h <= until_h + _SAME_H)]
    if inside.size < 2:
        return held
    gaps = np.diff(inside)
    longest_h = max(SILENCE_H, SILENCE_INTERVALS * float(np.median(np.diff(floats_h))))
    silent_h = float(gaps[gaps > longest_h].sum())
    if silent_h == 0.0:
        return held
    held_h = float(np.floor(max(held.held_h - silent_h, 0.0)))
    if held_h < LEAST_HOLD_SEEN_H:
        return Hold(None, until_h, 0.0, 0.0, 0.0)
    return replace(held, since_h=until_h - held_h, held_h=held_h)


def recent_fall(series: Series, span_h: float = 24.0) -> float:
    """Fall of the level over the last `span_h` hours, SG; 0 with too few readings."""
    use = series.floats
    t, g = series.hours[use], series.gravity_sg[use]
    if t.size < 4 or t[-1] - t[0] < span_h:
        return 0.0
    half = 0.375 * span_h
    now, then = t > t[-1] - half, (t > t[-1] - span_h - half) & (t <= t[-1] - span_h + half)
    if not now.any() or not then.any():
        return 0.0
    return float(np.median(g[then]) - np.median(g[now]))


def fall_of_late(series: Series, span_h: float) -> tuple[float, float]:
    """Fall over the last `span_h` hours by a straight line, and its standard error, SG; no error with too few bins."""
    use = series.floats & (series.hours > series.hours[-1] - span_h)
    if np.count_nonzero(use) < 4:
        return 0.0, 0.0
    return moved_by(series.hours[use], series.gravity_sg[use])


def scatter_of(gravity_sg: Floats) -> float:
    """Standard deviation of the bins' own errors, from their steps: a fall adds nothing to it. 0 of too few."""
    if gravity_sg.size < 4:
        return 0.0
    steps = np.diff(gravity_sg)
    return float(SD_PER_MAD * np.median(np.abs(steps - np.median(steps))) / np.sqrt(2.0))


def moves_again(series: Series, held: Hold) -> bool:
    """Whether what has held so far moves again: seen by the newest readings well before it is seen by half-days.

    The median of the last hours lies below that of the day before them by more than the float scatters.
    """
    t, g = series.hours[series.floats], series.gravity_sg[series.floats]
    if t.size == 0:
        return False
    if recent_fall(series, 12.0) > max(MOVED_SG, MOVES_BEYOND * scatter_of(g[t > t[-1] - 11 * NEWEST_H])):
        return True
    since = -np.inf if held.since_h is None else held.since_h - NEWEST_H
    now = t > t[-1] - NEWEST_H
    before = (t <= t[-1] - 3 * NEWEST_H) & (t > t[-1] - 11 * NEWEST_H) & (t >= since)
    if np.count_nonzero(before) < 3:
        return False
    level = float(np.median(g[before]))
    scatter = SD_PER_MAD * float(np.median(np.abs(g[before] - level)))
    return level - float(np.median(g[now])) > max(MOVES_SG, MOVES_BEYOND * scatter)


def moves_off(series: Series, *, since_h: float, until_h: float) -> bool | None:
    """Whether a long stand moves: its newest half-day, or quarter of a day, lies below those before it.

    And so by more than those wander: a float does by itself, over weeks now and then by a point in a day. What falls
    by a point over the stand as a whole moves too. None where the stand is too short to show by how much it wanders.
    """
    use = series.floats & (series.hours >= since_h) & (series.hours <= until_h)
    t, g = series.hours[use], series.gravity_sg[use]
    if t.size < 5 or t[-1] - t[0] < STAND_KNOWN_H:
        return None
    below = [_newest_below(t, g, width_h) for width_h in (LEVEL_H, LEVEL_H / 2)]
    if below[0] is None:
        return None
    moved, error = moved_by(t, g)
    return any(below) or moved > max(STEADY_SG, STAND_BEYOND * error)


def _newest_below(t: Floats, g: Floats, width_h: float) -> bool | None:
    """Whether the newest level of this width lies below those of before the last half-day by more than these wander.

    A narrow one sees sooner that it moves, a wide one what the float scatters. None with too few levels.
    """
    which = np.floor((t[-1] - t) / width_h)
    age = np.unique(which)
    level = np.array([np.median(g[which == one]) for one in age])
    before = level[age * width_h >= LEVEL_H]
    if before.size < 4:
        return None
    wanders = float(np.std(before, ddof=1)) * np.sqrt(1.0 + 1.0 / before.size)
    return bool(before.mean() - level[0] > max(MOVED_SG, STAND_BEYOND * wanders))


def levels(hours: Floats, gravity_sg: Floats, width_h: float) -> Floats:
    """Median gravity within `width_h` around each point, shape (n,)."""
    low = np.searchsorted(hours, hours - width_h / 2)
    high = np.searchsorted(hours, hours + width_h / 2, side="right")
    return medians(gravity_sg, low, high)


def moved_by(t: Floats, g: Floats) -> tuple[float, float]:
    """Fall over the span by a straight line, and its standard error with neighbours' errors taken as alike."""
    span = float(t[-1] - t[0])
    x = (t - t.mean()) / max(span, 1e-9)
    sxx = float(np.square(x).sum())
    if sxx <= 0 or t.size < 3:
        return float(g[0] - g[-1]), float(np.std(g))
    slope = float(x @ g / sxx)
    rest = g - g.mean() - slope * x
    alike = float(np.clip((rest[1:] * rest[:-1]).sum() / max(np.square(rest).sum(), 1e-18), 0.0, 0.9))
    variance = float(np.square(rest).sum()) / max(t.size - 2, 1) * (1 + alike) / (1 - alike)
    return -slope, float(np.sqrt(variance / sxx))


def chilled_from(series: Series) -> float | None:
    """Hours since pitching at which the present chill began, None where it is not chilled now."""
    if not series.temperature_known:
        return None
    cold = series.grid_temperature_c < series.usual_c - CHILL_C
    if not cold[-1]:
        return None
    warm = np.flatnonzero(~cold)
    if warm.size == 0:
        return None
    # Cooling began before the limit was crossed: go back while the temperature was still coming down.
    i = int(warm[-1])
    while i > 0 and series.grid_temperature_c[i] < series.usual_c - CHILL_BEGINS_C:
        i -= 1
    return float(series.grid_hours[i])
