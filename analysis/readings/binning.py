"""A batch as the estimator sees it: a hundred-odd robust means over time, with what is known of their noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from analysis.drinks import DRINK_FACTS
from analysis.model import Batch, Floats
from analysis.readings.cleaning import digit_and_scatter, hours_since
from analysis.readings.robust import SD_PER_MAD, medians
from analysis.thresholds import LEAST_ORIGINAL_SG, PLAUSIBLE_C

FINE_H: Final = 3.0
"""Width of a bin over the last days, hours."""

_FINE_SPAN_H: Final = 96.0
_COARSE_BINS: Final = 40
_OPENS_SEGMENT: Final = ("dry hop", "hops out", "transfer", "float moved")
_OPENS_BIN: Final = (*_OPENS_SEGMENT, "feed", "dilute")
"""No bin reaches across these; what is added moves the gravity, not the float's offset."""
HAND_SD_SG: Final = 0.0007
"""Error of a careful hand reading, SG (common practice: a third of a division to one division)."""


_MOST_BY_HAND: Final = 48
"""So many hand samples stand as bins of their own; of more, as of a float's readings, those of some hours are one bin
(a log kept by a machine and read in as by hand: what it costs must not grow with the third power of its rows)."""
_ALIKE_BY_HAND: Final = 4.0
"""A bin of hand samples counts as no more than so many: one hand errs alike with one hydrometer at one time of day."""


@dataclass(frozen=True, slots=True)
class Series:
    """Bins in time order. All arrays have shape (n,) unless said otherwise.

    `hours` since pitching; `white_sd_sg` is the part of the error that is independent from bin to bin;
    `segment` counts up whenever the float may have got a new offset; hand samples are bins of their own with `by_hand`
    set, or of very many several together. `grid_*` is a time grid from pitching to now with temperatures, for the
    warmth-weighted time.
    """

    hours: Floats
    gravity_sg: Floats
    white_sd_sg: Floats
    count: Floats
    segment: Floats
    by_hand: NDArray[np.bool_]
    grid_hours: Floats
    grid_temperature_c: Floats
    now_h: float
    usual_c: float
    reference_c: float
    temperature_known: bool
    rounding_sg: float = 0.0
    """Error of a float that reports fewer digits than it could: it says the same while the gravity moves on."""

    @property
    def floats(self) -> NDArray[np.bool_]:
        """Mask of the bins that come from a float."""
        return ~self.by_hand


def hours_of(when: datetime, batch: Batch) -> float:
    """Hours from pitching to `when`."""
    return (when - batch.pitched_at).total_seconds() / 3600.0


def summarise(marked: pl.DataFrame, batch: Batch, *, now: datetime) -> Series:
    """Bins of the readings in use.

    Parameters
    ----------
    marked
        Schema `MARKED`.
    """
    now_h = max(hours_of(now, batch), 0.0)
    hours_all = hours_since(marked["measured_at"], batch.pitched_at) if len(marked) else np.zeros(0)
    gravity_all = marked["gravity_sg"].to_numpy()
    hand_all = marked["by_hand"].to_numpy().astype(bool)
    used = marked["set_aside"].is_null().to_numpy()

    happened = [(e.kind, hours_of(e.at, batch)) for e in batch.events if e.at <= now]
    opened = [hour for kind, hour in happened if kind in _OPENS_BIN]
    moved = [hour for kind, hour in happened if kind in _OPENS_SEGMENT]
    float_rows = used & ~hand_all
    h, g = hours_all[float_rows], gravity_all[float_rows]
    digit, scatter = digit_and_scatter(g)
    edges = bin_edges(now_h, h, g, opened)
    edges = np.unique(np.concatenate([edges, np.array([t for t in opened if 0 < t < edges[-1]])]))
    means, centres, white, counts = _bins(h, g, edges)

    hand_rows = used & hand_all
    hand_h, hand_g, hand_sd, hand_count = _by_hand(hours_all[hand_rows], gravity_all[hand_rows], now_h, opened)
    hours = np.concatenate([centres, hand_h])
    order = np.argsort(hours, kind="stable")
    hours = hours[order]
    by_hand = np.concatenate([np.zeros(centres.size, bool), np.ones(hand_h.size, bool)])[order]

    reference_c = DRINK_FACTS[batch.drink].fermentation_c
    grid, temperature, known = _temperature_grid(marked, hours_all, hours, now_h, reference_c)
    gravity = np.concatenate([means, hand_g])[order]
    usual = _usual_temperature(grid, temperature, hours, gravity) if known else reference_c
    return Series(
        hours=hours,
        gravity_sg=gravity,
        white_sd_sg=np.concatenate([white, hand_sd])[order],
        count=np.concatenate([counts, hand_count])[order],
        segment=np.searchsorted(np.array(sorted(moved)), hours, side="right").astype(np.float64),
        by_hand=by_hand,
        grid_hours=grid,
        grid_temperature_c=temperature,
        now_h=now_h,
        usual_c=usual,
        reference_c=reference_c,
        temperature_known=known,
        # Of a display that flickers, the mean is finer than its last digit.
        rounding_sg=digit / np.sqrt(12.0) if scatter <= digit else 0.0,
    )


def _usual_temperature(grid: Floats, temperature_c: Floats, hours: Floats, gravity_sg: Floats) -> float:
    """Median temperature while it did four fifths of its fall so far: a long chill afterwards must not become usual."""
    end = float(grid[-1])
    if hours.size >= 8:
        smooth = np.minimum.accumulate(gravity_sg)
        level = smooth[0] - 0.8 * (smooth[0] - smooth[-1])
        end = float(hours[int(np.argmax(smooth <= level))])
    return float(np.median(temperature_c[: max(int(np.searchsorted(grid, end, side="right")), 1)]))


def bin_edges(now_h: float, hours: Floats, gravity_sg: Floats, opened: Sequence[float] = ()) -> Floats:
    """Edges of the bins: fine over the last four days and where the gravity moved, coarse where it stood.

    When and how abruptly it came to a stand tells a halt from an end, however long ago that was. All edges are
    multiples of the fine width, in pairs of pairs, so that one more reading does not move all bins.

    Parameters
    ----------
    hours, gravity_sg
        The float's readings in use, shape (n,).
    opened
        When the float may have got a new offset, or its liquid another gravity, hours.
    """
    if now_h <= _COARSE_BINS * FINE_H + _FINE_SPAN_H:
        return np.arange(0.0, now_h + FINE_H, FINE_H)
    split = np.floor((now_h - _FINE_SPAN_H) / 24.0) * 24.0
    bins = int(split / FINE_H)
    fallen = _fallen(hours, gravity_sg, np.arange(0.0, split + 0.5 * FINE_H, FINE_H), opened)
    keep = np.ones(bins + 1, dtype=np.bool_)
    step = 2
    while FINE_H * step < 2.0 * split / _COARSE_BINS:
        first = np.arange(0, bins - step + 1, step)
        inside: NDArray[np.intp] = np.cumsum(keep)
        halves: NDArray[np.bool_] = inside[first + step - 1] - inside[first] == 1
        slow = (fallen[first + step] - fallen[first]) * _COARSE_BINS < fallen[-1]
        keep[(first + step // 2)[halves & slow]] = False
        step *= 2
    return np.concatenate([np.flatnonzero(keep)[:-1] * FINE_H, np.arange(split, now_h + FINE_H, FINE_H)])


def _fallen(hours: Floats, gravity_sg: Floats, at: Floats, opened: Sequence[float]) -> Floats:
    """How far it had fallen by each edge, by medians over fine bins, SG, shape (m,); it never falls back."""
    which = np.searchsorted(at, hours, side="right") - 1
    inside = (which >= 0) & (which < at.size - 1)
    if not inside.any():
        return np.zeros(at.size)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(which[inside]) != 0]))
    middle = medians(gravity_sg[inside], starts, np.append(starts[1:], inside.sum()))
    place = which[inside][starts]
    smooth = median_filter(middle, 5, mode="nearest")
    segment = np.searchsorted(np.sort(np.array(opened)), at[place] + 0.5 * FINE_H)
    total, fallen = 0.0, np.empty(smooth.size)
    for one in np.unique(segment):
        its = segment == one
        fallen[its] = total + smooth[its][0] - np.minimum.accumulate(smooth[its])
        total = float(fallen[its][-1])
    return np.interp(at, at[place] + 0.5 * FINE_H, fallen)


def _by_hand(
    hours: Floats, gravity_sg: Floats, now_h: float, opened: Sequence[float]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Hand samples as bins: hours, levels, errors and counts, shape (m,) each."""
    if hours.size <= _MOST_BY_HAND:
        return hours, gravity_sg, np.full(hours.size, HAND_SD_SG), np.ones(hours.size)
    inside = hours >= 0.0
    edges = bin_edges(now_h, hours[inside], gravity_sg[inside], opened)
    edges = np.unique(np.concatenate([edges, np.array([t for t in opened if 0 < t < edges[-1]])]))
    level, centre, scatter, count = _bins(hours[inside], gravity_sg[inside], edges)
    error = HAND_SD_SG / np.sqrt(np.minimum(count, _ALIKE_BY_HAND))
    return centre, level, np.maximum(error, scatter), count


def _bins(hours: Floats, gravity_sg: Floats, edges: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    if hours.size == 0:
        empty = np.zeros(0)
        return empty, empty, empty, empty
    which = np.clip(np.searchsorted(edges, hours, side="right") - 1, 0, edges.size - 1)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(which) != 0]))
    counts = np.diff(np.append(starts, hours.size)).astype(np.float64)
    # A running line is taken out first, so that a steep fall within a bin is not taken for noise.
    mean_h = np.add.reduceat(hours, starts) / counts
    mean_g = np.add.reduceat(gravity_sg, starts) / counts
    group = np.repeat(np.arange(starts.size), counts.astype(np.intp))
    slope = np.gradient(mean_g, mean_h) if starts.size > 1 else np.zeros(1)
    residual = gravity_sg - mean_g[group] - slope[group] * (hours - mean_h[group])
    steps = np.abs(np.diff(residual))[np.diff(group) == 0]
    scale = max(SD_PER_MAD * float(np.median(steps)) / np.sqrt(2.0) if steps.size else 0.0, 5e-5)
    # One step of Huber's mean: readings far from their bin's middle pull with a bounded force.
    bound = 2.0 * max(scale, 1e-4)
    weight = np.minimum(1.0, bound / np.maximum(np.abs(residual), 1e-12))
    total = np.add.reduceat(weight, starts)
    mean_g = mean_g + np.add.reduceat(weight * residual, starts) / total
    spread = np.sqrt(np.add.reduceat(weight * residual**2, starts) / total)
    white = np.maximum(scale, 0.5 * spread) / np.sqrt(np.minimum(counts, 24.0))
    return mean_g, mean_h, np.maximum(white, 3e-5), counts


def _temperature_grid(
    marked: pl.DataFrame, hours_all: Floats, hours: Floats, now_h: float, reference_c: float
) -> tuple[Floats, Floats, bool]:
    grid = np.unique(np.concatenate([[0.0], hours[(hours > 0) & (hours < now_h)], [now_h]]))
    if grid.size == 1:
        grid = np.array([0.0, max(now_h, 1e-3)])
    temperature = marked["temperature_c"].to_numpy()
    known = (
        np.isfinite(temperature) & (hours_all >= 0) & (temperature > PLAUSIBLE_C[0]) & (temperature < PLAUSIBLE_C[1])
    )
    if not known.any():
        return grid, np.full(grid.size, reference_c), False
    h, t = hours_all[known], temperature[known]
    which = np.searchsorted(0.5 * (grid[1:] + grid[:-1]), h)
    count = np.bincount(which, minlength=grid.size)
    total = np.bincount(which, weights=t, minlength=grid.size)
    at_grid = total / np.maximum(count, 1)
    filled = count > 0
    return grid, np.interp(grid, grid[filled], at_grid[filled]), True


def original_gravity(batch: Batch, series: Series) -> tuple[float, bool]:
    """Original gravity and whether it was measured: the readings of the first hours stand in where it was not.

    A measured one without extract to speak of is taken for a mistyped one.
    """
    if batch.original_gravity_sg is not None and batch.original_gravity_sg > LEAST_ORIGINAL_SG:
        return batch.original_gravity_sg, True
    early = series.gravity_sg[series.hours <= max(6.0, float(series.hours[0]) + 4.0)]
    return float(max(np.median(early), LEAST_ORIGINAL_SG)), False
