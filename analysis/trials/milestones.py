"""The milestones of one batch, each defined once, with the error that the readings leave.

They are read off every course of the posterior and told as its quantiles. What was added moves the gravity without
fermenting: rates and shares of the fall count what fermented alone. A milestone that lies ahead is not told.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
import polars as pl
from scipy.special import ndtri

from analysis.attenuation import ETHANOL_SG, alcohol_abw_pct, real_extract_plato
from analysis.inference import RIGHT_BEFORE_H, HypothesisMixture, PosteriorDraws, Priors, weigh_hypotheses
from analysis.model import Batch, Floats, events_of
from analysis.readings import Series, mark, summarise
from analysis.thresholds import (
    LEAST_BINS,
    MILESTONE_LEAST_SEEN,
    MILESTONE_MOST_UNCERTAIN,
    MILESTONE_REACHED,
    ORIGINAL_KNOWN_SD_SG,
    ORIGINAL_UNKNOWN_SD_SG,
)
from analysis.trials.definitions import Estimate, Milestones
from analysis.units import sg_to_plato

_CLOSE_H: Final = 24.0 * 14
_STEP_H: Final = 1.0
_LATER_STEP_H: Final = 6.0
"""The course is told every hour in the first two weeks, where beers and ciders fall, and every six hours after."""

_LEAST_SPAN_H: Final = 0.01
"""Over less a rate is the rounding of a difference; such spans lie only beside an addition."""


@dataclass(frozen=True, slots=True)
class Course:
    """Courses of apparent extract, one a draw.

    Parameters
    ----------
    hours : shape (m,)
        Since pitching, ascending.
    extract_plato : shape (n, m)
        Apparent extract of each draw, °P.
    still : shape (m - 1,)
        True of spans over which what was added moved the extract, so that nothing counts as fermented.
    fermented_plato : shape (n,)
        How much ferments in the end, °P; what the course shows until its last hour where None.
    """

    hours: Floats
    extract_plato: Floats
    still: Floats | None = None
    fermented_plato: Floats | None = None

    def fallen(self) -> Floats:
        """What has fermented by each hour, °P, shape (n, m)."""
        fall = -np.diff(self.extract_plato, axis=1)
        if self.still is not None:
            fall = np.where(self.still[None, :], 0.0, fall)
        return np.concatenate([np.zeros((fall.shape[0], 1)), np.cumsum(fall, axis=1)], axis=1)


@dataclass(frozen=True, slots=True)
class CourseMilestones:
    """What can be read off courses alone, each of shape (n,): hours since pitching, and °P a day.

    `greatest_at_h` is where the fall is steepest. A time that a course never reaches is infinite; a lag is NaN where
    its tangent meets the original extract before pitching.
    """

    lag_h: Floats
    greatest_rate_plato_day: Floats
    greatest_at_h: Floats
    tenth_h: Floats
    half_h: Floats
    ninety_h: Floats


def course_milestones(course: Course) -> CourseMilestones:
    """Lag, greatest rate, and the times to half and to 90 % of the fall.

    Extract is linear between the hours of the course. The tangent of the lag is laid at the middle of the steepest
    span. For the logistic of the trade, ``Pe + (Pi - Pe) / (1 + exp(B (t - M)))``, the rate is ``B (Pi - Pe) / 4``,
    half of the fall is done at ``M``, 90 % at ``M + ln(9) / B`` and the lag is ``M - 2 / B``, where the course begins
    at ``Pi``.
    """
    hours, fallen = course.hours, course.fallen()
    whole = fallen[:, -1] if course.fermented_plato is None else course.fermented_plato
    span = np.diff(hours)
    rate = np.where(span >= _LEAST_SPAN_H, np.diff(fallen, axis=1) / span, 0.0)
    steepest = np.argmax(rate, axis=1)
    rows = np.arange(rate.shape[0])
    greatest = rate[rows, steepest]
    middle_h = 0.5 * (hours[steepest] + hours[steepest + 1])
    by_then = 0.5 * (fallen[rows, steepest] + fallen[rows, steepest + 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        lag = middle_h - by_then / greatest
    return CourseMilestones(
        lag_h=np.where(np.isfinite(lag) & (lag >= 0.0), lag, np.nan),
        greatest_rate_plato_day=24.0 * greatest,
        greatest_at_h=middle_h,
        tenth_h=_reached(hours, fallen, 0.1 * whole),
        half_h=_reached(hours, fallen, 0.5 * whole),
        ninety_h=_reached(hours, fallen, 0.9 * whole),
    )


def _reached(hours: Floats, fallen: Floats, level: Floats) -> Floats:
    """When each course has fallen by its level, hours, shape (n,); infinite where it never does."""
    there = fallen >= level[:, None]
    first = np.argmax(there, axis=1)
    rows = np.arange(first.size)
    before = np.maximum(first - 1, 0)
    low, high = fallen[rows, before], fallen[rows, first]
    part = np.clip((level - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
    when = hours[before] + part * (hours[first] - hours[before])
    return np.asarray(np.where(there.any(axis=1), when, np.inf))


def milestones_of(
    readings: pl.DataFrame, batch: Batch, *, now: datetime, finished: bool, priors: Priors | None = None
) -> Milestones:
    """The milestones that a batch has reached by `now`.

    Parameters
    ----------
    readings
        Schema `READINGS`, as for `assess`.
    now
        The assessment's own `now`.
    finished
        Whether the assessment calls it finished: the end, attenuation and alcohol are told only then.
    priors
        What earlier batches taught, see `learn`; without the batch itself.

    Returns
    -------
    Milestones
        Those that lie behind for nine courses in ten; none where too few readings count.
    """
    series = summarise(mark(readings, batch, now=now), batch, now=now)
    if series.hours.size < LEAST_BINS:
        return Milestones()
    close = np.arange(0.0, min(series.now_h, _CLOSE_H), _STEP_H)
    grid = np.concatenate([close, np.arange(_CLOSE_H, series.now_h, _LATER_STEP_H)])
    known = priors or Priors()
    mixture = weigh_hypotheses(series, batch, known.prior(batch), series.now_h, past_h=grid)
    if mixture is None:
        return Milestones()
    return _told(mixture, series, batch, finished=finished)


def _told(mixture: HypothesisMixture, series: Series, batch: Batch, *, finished: bool) -> Milestones:
    posterior, now_h = mixture.posterior, series.now_h
    weight = posterior.weight / posterior.weight.sum()
    pitched_plato = float(sg_to_plato(mixture.original_sg))
    courses = _course_of(posterior)
    read = course_milestones(courses)
    seen = (read.greatest_at_h <= now_h) & _was_seen(read, weight, series)
    fell = _passed(read.tenth_h, weight, now_h) is not None
    rate = estimate_of(np.where(seen, read.greatest_rate_plato_day, np.inf), weight)
    found = dict(_at_the_end(mixture, weight)) if finished else {}
    return Milestones(
        lag_h=estimate_of(np.where(seen, read.lag_h, np.nan), weight),
        greatest_rate_plato_day=rate,
        greatest_rate_per_original_day=None if rate is None else _divided(rate, pitched_plato),
        half_h=_passed(read.half_h, weight, now_h),
        ninety_h=_passed(read.ninety_h, weight, now_h),
        finish_h=_passed(posterior.finish_h, weight, now_h) if finished else None,
        temperature_c=_temperature(courses, series, weight) if series.temperature_known and fell else None,
        hop_creep_sg=_creep(posterior, batch, weight, series, finished=finished),
        **found,
    )


def estimate_of(values: Floats, weight: Floats) -> Estimate | None:
    """From weighted draws, shape (n,); None where too many of them have no value."""
    finite = np.isfinite(values)
    share = float(weight[finite].sum() / weight.sum())
    if share < 1.0 - MILESTONE_MOST_UNCERTAIN:
        return None
    low, p10, p50, p90, high = np.quantile(
        values[finite],
        (0.15865, 0.1, 0.5, 0.9, 0.84135),
        weights=weight[finite],
        method="inverted_cdf",
    )
    return Estimate(float(p50), float(high - low) / 2.0, float(p10), float(p90))


def _passed(hours: Floats, weight: Floats, now_h: float) -> Estimate | None:
    """A time since pitching, shape (n,); None unless it lies behind by nearly all draws."""
    if float(weight[hours <= now_h].sum()) < MILESTONE_REACHED:
        return None
    return estimate_of(hours, weight)


def _was_seen(read: CourseMilestones, weight: Floats, series: Series) -> bool:
    """Whether so many readings lie within the fall that its steepness is theirs, and not that of other batches."""
    first, last = (
        float(np.quantile(hours, 0.5, weights=weight, method="inverted_cdf")) for hours in (read.tenth_h, read.ninety_h)
    )
    return int(((series.hours >= first) & (series.hours <= last)).sum()) >= MILESTONE_LEAST_SEEN


def _course_of(posterior: PosteriorDraws) -> Course:
    """The posterior's courses in °P; over the step of an addition nothing fermented."""
    hours = posterior.at_h
    still = np.zeros(hours.size - 1, dtype=bool)
    for at_h in posterior.jumps_h:
        still |= (hours[1:] >= at_h) & (hours[:-1] < at_h) & (np.diff(hours) <= 2.0 * RIGHT_BEFORE_H)
    return Course(hours, np.asarray(sg_to_plato(posterior.gravity_sg)), still)


def _divided(estimate: Estimate, by: float) -> Estimate:
    return Estimate(estimate.value / by, estimate.standard_error / by, estimate.p10 / by, estimate.p90 / by)


def _temperature(course: Course, series: Series, weight: Floats) -> Estimate | None:
    """The mean temperature up to now, weighted by how fast the extract fell."""
    behind = course.hours[1:] <= series.now_h + 1e-9
    fall = np.maximum(np.diff(course.fallen(), axis=1)[:, behind], 0.0)
    middle_h = 0.5 * (course.hours[1:] + course.hours[:-1])[behind]
    warm_c = np.interp(middle_h, series.grid_hours, series.grid_temperature_c)
    whole = fall.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return estimate_of((fall @ warm_c) / whole, weight)


def _at_the_end(mixture: HypothesisMixture, weight: Floats) -> dict[str, Estimate | None]:
    """Terminal gravity and what follows from it; the error of the original gravity is theirs as well."""
    end_sg, balance = mixture.posterior.terminal_sg, mixture.balance
    pitched_sd = ORIGINAL_KNOWN_SD_SG if mixture.original_known else ORIGINAL_UNKNOWN_SD_SG
    sd = float(np.hypot(pitched_sd, balance.sd_sg))
    # Original and end err independently; spread evenly over the draws in an order that has nothing to do with them.
    even = np.random.default_rng(end_sg.size).permutation(end_sg.size)
    original_sg = balance.original_sg + sd * ndtri((even + 0.5) / end_sg.size)
    original = np.asarray(sg_to_plato(original_sg))
    end = np.asarray(sg_to_plato(end_sg))
    alcohol = alcohol_abw_pct(original, end) * end_sg / ETHANOL_SG + balance.spirit_abv_pct
    return {
        "terminal_gravity_sg": estimate_of(end_sg, weight),
        "apparent_attenuation": estimate_of(1.0 - end / original, weight),
        "real_attenuation": estimate_of(1.0 - real_extract_plato(original, end) / original, weight),
        "alcohol_abv_pct": estimate_of(alcohol, weight),
    }


def _creep(
    posterior: PosteriorDraws, batch: Batch, weight: Floats, series: Series, *, finished: bool
) -> Estimate | None:
    """The fall after dry hops, once it has ended; None without hops."""
    hopped = [e for e in events_of(batch, "dry hop") if (e.at - batch.pitched_at).total_seconds() / 3600 < series.now_h]
    if not hopped or not finished:
        return None
    return estimate_of(posterior.crept_sg, weight)
