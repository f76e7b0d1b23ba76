"""From weighted courses to what is told: ranges, the finish as a distribution, the course over time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

import numpy as np
import polars as pl
from scipy.special import ndtr, ndtri

from analysis.inference import Correction, PosteriorDraws
from analysis.model import Batch, Creep, Floats, Forecast, Range, events_of
from analysis.readings import hours_of
from analysis.schemas import COURSE
from analysis.thresholds import (
    LEAST_CREEP_SG,
    LEAST_FINISHING,
    VAGUE_H,
    VAGUE_RATIO,
    VAGUE_SG,
    VAGUE_SLACK,
    VAGUE_UNTIL,
)

_CHANCES: Final = np.concatenate([[0.005, 0.02], np.arange(0.05, 0.96, 0.05), [0.98, 0.995]])


def forecast(
    batch: Batch,
    posterior: PosteriorDraws,
    weight: Floats,
    correction: Correction,
    p_passed: float,
    *,
    experienced: bool,
    dated: bool = False,
) -> Forecast | None:
    """The finish as a distribution, shifted and widened by how our forecasts of this drink have missed.

    With `u` the normal score of the raw chance, misses of mean `b` and spread `s` turn it into ``(u - b) / s``.
    Once the finish has likely passed, the correction fades: it was learnt looking ahead. Where a date was given before
    (`dated`), it takes more for there to be none: a date that comes and goes tells nobody anything.
    """
    slack = VAGUE_SLACK if dated else 1.0
    finite = np.isfinite(posterior.finish_h)
    if not experienced and float(weight @ posterior.done_now) < VAGUE_UNTIL:
        # Nothing but general habits of the drink to go by: an end unknown by ten points and ten days is no forecast.
        left = quantiles(posterior.left_now_sg[:, None], weight, (0.1, 0.9))[:, 0]
        when = quantiles(posterior.finish_h[:, None], weight, (0.1, 0.9))[:, 0]
        if left[1] - left[0] > slack * VAGUE_SG and (np.isinf(when[1]) or when[1] - when[0] > slack * VAGUE_H):
            return None
    total = float(weight[finite].sum())
    if total < LEAST_FINISHING:
        return None
    order = np.argsort(posterior.finish_h[finite])
    when = posterior.finish_h[finite][order]
    cumulative = np.cumsum(weight[finite][order]) - 0.5 * weight[finite][order]
    bias, spread = correction.at(float(weight @ posterior.done_now))
    bias, spread = bias * (1 - p_passed), spread ** (1 - p_passed)
    raw = ndtr(ndtri(_CHANCES) * spread + bias)
    keep = raw < min(total, cumulative[-1])
    hours = np.maximum.accumulate(np.interp(raw[keep], cumulative, when))
    if keep.sum() < 2 or _CHANCES[keep][-1] < LEAST_FINISHING:
        return None
    start = batch.pitched_at.timestamp()
    return Forecast(tuple(float(start + 3600 * h) for h in hours), tuple(float(c) for c in _CHANCES[keep]))


def too_vague(finish: Forecast, now: datetime, done: float, *, dated: bool = False) -> bool:
    """Whether a date would be a guess: its range is wide, also beside the time until its middle, and much is to come.

    `done` is the share of the fall that is done; `dated` says whether a date was given before.
    """
    slack = VAGUE_SLACK if dated else 1.0
    wide = ((finish.p90 or finish.last) - finish.p10).total_seconds() / 3600
    ahead = (finish.p50 - now).total_seconds() / 3600
    return done < VAGUE_UNTIL and wide > slack * max(VAGUE_H, VAGUE_RATIO * ahead)


def course(
    batch: Batch, posterior: PosteriorDraws, weight: Floats, finish: Forecast | None, now_h: float
) -> pl.DataFrame:
    """True gravity from pitching to two days past the likely finish, and to now (`now_h`) at least; schema `COURSE`."""
    end_h = posterior.at_h[-1] if finish is None else max(hours_of(finish.p90 or finish.last, batch) + 48.0, now_h)
    keep = posterior.at_h <= max(end_h, posterior.at_h[2])
    bands = quantiles(posterior.gravity_sg[:, keep], weight, (0.1, 0.5, 0.9))
    start = batch.pitched_at
    return pl.DataFrame(
        {
            "at": [start + timedelta(hours=float(h)) for h in posterior.at_h[keep]],
            "gravity_p10_sg": bands[0],
            "gravity_p50_sg": bands[1],
            "gravity_p90_sg": bands[2],
        },
        schema=COURSE,
    )


def creep_of(batch: Batch, posterior: PosteriorDraws, weight: Floats, now: datetime) -> Creep | None:
    """The fall since the dry hop beyond the fermentation itself, None without one worth the name."""
    hops = events_of(batch, "dry hop", until=now)
    if not hops or not posterior.crept_sg.any():
        return None
    fall = range_of(posterior.crept_sg, weight)
    return Creep(fall, hops[0].at) if fall.p50 > LEAST_CREEP_SG else None


def range_of(values: Floats, weight: Floats) -> Range:
    """10th, 50th and 90th percentile of weighted values."""
    low, middle, high = quantiles(values[:, None], weight, (0.1, 0.5, 0.9))[:, 0]
    return Range(float(low), float(middle), float(high))


def quantiles(values: Floats, weight: Floats, chances: Sequence[float]) -> Floats:
    """Weighted quantiles down the columns, shape (len(chances), m)."""
    found: Floats = np.quantile(values, chances, axis=0, weights=weight, method="inverted_cdf")
    return found


def left_at(posterior: PosteriorDraws, hour: float) -> Floats:
    """What was yet to fall at `hour`, shape (n,)."""
    at = posterior.at_h
    i = int(np.clip(np.searchsorted(at, hour) - 1, 0, at.size - 2))
    part = float(np.clip((hour - at[i]) / (at[i + 1] - at[i]), 0.0, 1.0))
    return np.asarray((1.0 - part) * posterior.left_sg[:, i] + part * posterior.left_sg[:, i + 1])
