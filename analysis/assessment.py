"""`assess`: clean, weigh the courses, decide, and say why."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

import numpy as np
import polars as pl
from scipy.special import ndtr, ndtri

from analysis import evidence
from analysis.cleaning import mark
from analysis.estimator import Courses
from analysis.model import (
    COURSE,
    STEADY_SG,
    Assessment,
    Batch,
    Creep,
    Floats,
    Forecast,
    Phase,
    PhaseSpan,
    Range,
    as_utc,
    events_of,
)
from analysis.noise import local_rate
from analysis.phases import spans
from analysis.pooling import Correction
from analysis.priors import Belief, Priors
from analysis.series import Series, hours_of, summarise
from analysis.steadiness import Hold, chilled_from, hold, recent_fall
from analysis.stories import Look, look_at

SURE: Final = 0.65
"""Chance that less than a point is left from which we call it finished, provided that `FAR` is as good as excluded:
a call half a point early does no harm, one with two points to go bursts bottles."""

FAR_SG: Final = 0.002
FAR: Final = 0.06
"""Chance of two points or more left above which it is not called finished."""

DOUBT: Final = 0.25
DOUBT_FAR: Final = 0.35
"""Once called finished, it takes clear evidence to take it back: the chance below this, or that of two points above."""

STOOD_H: Final = 33.0
"""Hours without movement before a halt is called a stall: shorter plateaus often pass by themselves."""

UNLIKELY_SD: Final = -2.5
UNLIKELY_HOLD_H: Final = 120.0
"""An end further above the expected one than this many standard deviations must hold this long to be believed."""

STILL_FALLING: Final = 0.05
"""Chance of being finished at most while the gravity is seen to fall by two points a day."""

VAGUE_SG: Final = 0.010
VAGUE_H: Final = 240.0
"""Without earlier batches and expectation, a wider end than this (10 to 90 %) is not given as a forecast."""

HALTED: Final = 0.6
"""Chance of a halt from which we call it stalled."""

_CHANCES: Final = np.concatenate([[0.005, 0.02], np.arange(0.05, 0.96, 0.05), [0.98, 0.995]])
_LEAST_BINS: Final = 3


def assess(
    readings: pl.DataFrame,
    batch: Batch,
    *,
    now: datetime,
    priors: Priors | None = None,
    previous: Assessment | None = None,
) -> Assessment:
    """What the readings up to `now` say about one batch.

    Parameters
    ----------
    readings
        Schema `READINGS` (`by_hand` and `temperature_c` may be missing), any order, duplicates allowed. Gravity is
        calibrated and temperature-corrected. Rows after `now` are ignored.
    priors
        What earlier batches taught, see `learn`.
    previous
        The last assessment of this batch, which steadies the verdict; it is dropped when its inputs have changed.

    Raises
    ------
    ReadingsError
        If a column is missing or has the wrong type.
    ValueError
        If `now` has no time zone.
    """
    now = as_utc(now, "now")
    marked = mark(readings, batch, now=now)
    fingerprint = fingerprint_of(marked, batch, now)
    series = summarise(marked, batch, now=now)
    known = priors or Priors()
    belief = known.belief(batch)
    newest = marked.filter(pl.col("set_aside").is_null())["measured_at"].max() if len(marked) else None
    newest_at = newest if isinstance(newest, datetime) else None
    temperature = _last_temperature(marked)
    if series.hours.size < _LEAST_BINS:
        return _too_early(now, batch, marked, newest_at, temperature, fingerprint)

    chill_h = chilled_from(series)
    look = look_at(series, batch, belief, series.now_h)
    if look is None:
        return _too_early(now, batch, marked, newest_at, temperature, fingerprint)
    steady_from = max(
        (
            hours_of(e.at, batch)
            for e in events_of(batch, "feed", "dilute", "dry hop", "transfer", "float moved", until=now)
        ),
        default=0.0,
    )
    held = hold(series, until_h=chill_h if chill_h is not None else series.now_h, from_h=steady_from)
    return _verdict(
        batch,
        now,
        marked,
        series,
        belief,
        look,
        known.correction(batch.drink),
        held,
        chill_h,
        newest_at,
        temperature,
        fingerprint,
        previous,
    )


def _verdict(
    batch: Batch,
    now: datetime,
    marked: pl.DataFrame,
    series: Series,
    belief: Belief,
    look: Look,
    correction: Correction,
    held: Hold,
    chill_h: float | None,
    newest_at: datetime | None,
    temperature: float | None,
    fingerprint: str,
    previous: Assessment | None,
) -> Assessment:
    courses = look.courses
    weight = courses.weight / courses.weight.sum()
    # In the cold it is judged by what was left when the chill began: what a chill holds up is not finished.
    judged = courses.left_now_sg if chill_h is None else _left_at(courses, chill_h)
    p_finished = float(weight[judged < STEADY_SG].sum())
    if held.held_h == 0 and recent_fall(series) > FAR_SG:
        # Whatever the stories say: what fell by two points since yesterday had not ended yesterday.
        p_finished = min(p_finished, STILL_FALLING)
    p_far = float(weight[judged >= FAR_SG].sum())
    p_halted = float(weight[courses.halted.astype(bool) & (courses.left_now_sg > 0.003)].sum())
    carried = carry_on(previous, marked, batch, now)
    was_finished = bool(carried.get("finished", False))
    if was_finished:
        finished = p_finished >= DOUBT and p_far <= DOUBT_FAR
    else:
        strict = 0.5 if chill_h is not None else 1.0
        least_h = 12.0 if likely_end(look, belief, batch, now) else UNLIKELY_HOLD_H
        finished = p_finished >= SURE and p_far <= FAR * strict and held.held_h >= least_h
    stalled = not finished and p_halted >= HALTED and held.held_h >= STOOD_H and chill_h is None
    creep = _creep(batch, courses, weight, now)
    phase = _phase(series, courses, weight, finished, stalled, chill_h, held, creep)
    known = experienced(batch, belief, now)
    # What stands still has no date until it moves again.
    forecast = None if stalled else _forecast(batch, courses, weight, correction, p_finished, experienced=known)
    gravity = _range(courses.gravity_sg[:, int(np.searchsorted(courses.at_h, series.now_h))], weight)
    terminal = _range(courses.terminal_sg, weight)
    left = _range(courses.left_now_sg, weight)
    original = _original(look)
    attenuation = (look.original_sg - gravity.p50) / max(look.original_sg - 1.0, 1e-6)
    facts = evidence.Facts(
        batch=batch, now=now, held=held, p_finished=p_finished, p_halted=p_halted, finished=finished, stalled=stalled,
        phase=phase, belief=belief, attenuation=attenuation, gravity=gravity, terminal=terminal, left=left,
        forecast=forecast, chill_h=chill_h, usual_c=series.usual_c, temperature_c=temperature, creep=creep,
    )  # fmt: skip
    began = spans(series, courses, weight, batch, phase=phase, held=held, chill_h=chill_h, finished=finished)
    return Assessment(
        now=now,
        phase=phase,
        finished=finished,
        stalled=stalled,
        p_finished=p_finished,
        finish=forecast,
        held_since=batch.pitched_at + timedelta(hours=held.since_h) if held.since_h is not None else None,
        held_h=held.held_h,
        hold_met=held.held_h >= batch.hold_h,
        gravity_sg=gravity,
        terminal_gravity_sg=terminal,
        remaining_fall_sg=left,
        original_gravity_sg=original,
        apparent_attenuation=attenuation,
        temperature_c=temperature,
        evidence=evidence.sentences(facts),
        advice=evidence.advice(facts),
        phases=began,
        creep=creep,
        newest_reading_at=newest_at,
        hand_sample_agrees=_hand_agrees(series, held),
        marked=marked,
        course=_course(batch, courses, weight, forecast),
        fingerprint=fingerprint,
        memory={"finished": finished, "rows": len(marked), "prefix": fingerprint, "stalled": stalled},
    )


def likely_end(look: Look, belief: Belief, batch: Batch, now: datetime) -> bool:
    """Whether it ends where such batches end, or a forced test says where: far above that, a stand is suspect."""
    if any(e.gravity_sg is not None for e in events_of(batch, "forced test", until=now)):
        return True
    attenuation = float(np.median(look.courses.fall_sg)) / max(look.original_sg - 1.0, 1e-6)
    return (attenuation - float(belief.mean[-1])) / float(belief.sd[-1]) > UNLIKELY_SD


def experienced(batch: Batch, belief: Belief, now: datetime) -> bool:
    """Whether more than the general habits of the drink is known about where this batch will end."""
    tested = any(e.gravity_sg is not None for e in events_of(batch, "forced test", until=now))
    return belief.same_drink > 0 or batch.expected_attenuation is not None or tested


def _phase(
    series: Series,
    courses: Courses,
    weight: Floats,
    finished: bool,
    stalled: bool,
    chill_h: float | None,
    held: Hold,
    creep: Creep | None,
) -> Phase:
    if chill_h is not None:
        return "chilled"
    if finished:
        return "finished"
    if stalled:
        return "stalled"
    done = float(weight @ courses.done_now)
    if creep is not None and creep.fall_sg.p50 > 0.0008:
        return "creeping"
    if done < 0.03:
        return "lag"
    if held.held_h >= 24.0:
        return "steady"
    rate = local_rate(series)
    return "active" if done < 0.75 and rate[-1] > 0.25 * rate.max() else "slowing"


def _creep(batch: Batch, courses: Courses, weight: Floats, now: datetime) -> Creep | None:
    hops = events_of(batch, "dry hop", until=now)
    if not hops or not courses.crept_sg.any():
        return None
    fall = _range(courses.crept_sg, weight)
    return Creep(fall, hops[0].at) if fall.p50 > 0.0003 else None


def _forecast(
    batch: Batch, courses: Courses, weight: Floats, correction: Correction, p_passed: float, *, experienced: bool
) -> Forecast | None:
    """The finish as a distribution, shifted and widened by how our forecasts of this drink have missed.

    With `u` the normal score of the raw chance, misses of mean `b` and spread `s` turn it into ``(u - b) / s``.
    Once the finish has likely passed, the correction fades: it was learnt looking ahead.
    """
    finite = np.isfinite(courses.finish_h)
    if not experienced:
        # Nothing but general habits of the drink to go by: an end unknown by ten points and ten days is no forecast.
        left = quantiles(courses.left_now_sg[:, None], weight, (0.1, 0.9))[:, 0]
        when = quantiles(courses.finish_h[:, None], weight, (0.1, 0.9))[:, 0]
        if left[1] - left[0] > VAGUE_SG and when[1] - when[0] > VAGUE_H:
            return None
    total = float(weight[finite].sum())
    if total < 0.5:
        return None
    order = np.argsort(courses.finish_h[finite])
    when = courses.finish_h[finite][order]
    cumulative = np.cumsum(weight[finite][order]) - 0.5 * weight[finite][order]
    bias, spread = correction.at(float(weight @ courses.done_now))
    bias, spread = bias * (1 - p_passed), spread ** (1 - p_passed)
    raw = ndtr(ndtri(_CHANCES) * spread + bias)
    keep = raw < min(total, cumulative[-1])
    hours = np.maximum.accumulate(np.interp(raw[keep], cumulative, when))
    if keep.sum() < 2:
        return None
    start = batch.pitched_at.timestamp()
    return Forecast(tuple(float(start + 3600 * h) for h in hours), tuple(float(c) for c in _CHANCES[keep]))


def _course(batch: Batch, courses: Courses, weight: Floats, forecast: Forecast | None) -> pl.DataFrame:
    end_h = courses.at_h[-1] if forecast is None else hours_of(forecast.when(0.9), batch) + 48.0
    keep = courses.at_h <= max(end_h, courses.at_h[2])
    bands = quantiles(courses.gravity_sg[:, keep], weight, (0.1, 0.5, 0.9))
    start = batch.pitched_at
    return pl.DataFrame(
        {
            "at": [start + timedelta(hours=float(h)) for h in courses.at_h[keep]],
            "gravity_p10_sg": bands[0],
            "gravity_p50_sg": bands[1],
            "gravity_p90_sg": bands[2],
        },
        schema=COURSE,
    )


def quantiles(values: Floats, weight: Floats, chances: Sequence[float]) -> Floats:
    """Weighted quantiles down the columns, shape (len(chances), m)."""
    order = np.argsort(values, axis=0)
    ordered = np.take_along_axis(values, order, axis=0)
    cumulative = np.cumsum(weight[order], axis=0)
    cumulative /= cumulative[-1]
    columns = np.arange(values.shape[1])
    return np.array([ordered[np.argmax(cumulative >= c, axis=0), columns] for c in chances])


def _left_at(courses: Courses, hour: float) -> Floats:
    """What was yet to fall at `hour`, shape (n,)."""
    at = courses.at_h
    i = int(np.clip(np.searchsorted(at, hour) - 1, 0, at.size - 2))
    part = float(np.clip((hour - at[i]) / (at[i + 1] - at[i]), 0.0, 1.0))
    return np.asarray((1.0 - part) * courses.left_sg[:, i] + part * courses.left_sg[:, i + 1])


def _range(values: Floats, weight: Floats) -> Range:
    low, middle, high = quantiles(values[:, None], weight, (0.1, 0.5, 0.9))[:, 0]
    return Range(float(low), float(middle), float(high))


def _original(look: Look) -> Range:
    half = 1.28 * (0.001 if look.original_known else 0.003)
    return Range(look.original_sg - half, look.original_sg, look.original_sg + half)


def _hand_agrees(series: Series, held: Hold) -> bool | None:
    if held.since_h is None:
        return None
    hand = (~series.floats) & (series.hours >= held.since_h)
    level = series.gravity_sg[series.floats & (series.hours >= held.since_h)]
    if not hand.any() or level.size == 0:
        return None
    return bool(abs(series.gravity_sg[hand][-1] - np.median(level)) <= 0.003)


def _last_temperature(marked: pl.DataFrame) -> float | None:
    known = marked["temperature_c"].drop_nulls()
    return float(known[-1]) if len(known) else None


def fingerprint_of(marked: pl.DataFrame, batch: Batch, now: datetime) -> str:
    """Identifies readings and batch facts up to `now`."""
    digest = hashlib.blake2b(digest_size=16)
    digest.update(marked["measured_at"].to_physical().to_numpy().tobytes())
    digest.update(np.nan_to_num(marked["gravity_sg"].to_numpy(), nan=-1.0).tobytes())
    digest.update(np.nan_to_num(marked["temperature_c"].to_numpy(), nan=-99.0).tobytes())
    digest.update(marked["by_hand"].to_numpy().tobytes())
    events = tuple(e for e in batch.events if e.at <= now)
    facts = (batch.pitched_at, batch.original_gravity_sg, batch.yeast, batch.drink, batch.expected_attenuation, events)
    digest.update(repr(facts).encode())
    return digest.hexdigest()


def carry_on(previous: Assessment | None, marked: pl.DataFrame, batch: Batch, now: datetime) -> dict[str, object]:
    """What `previous` remembers, or nothing if it was made from other readings than the first of these."""
    if previous is None or not previous.memory:
        return {}
    if any(previous.now < e.at for e in events_of(batch, "dry hop", "feed", "dilute", until=now)):
        # What was done since may set it going again: judge afresh.
        return {}
    seen = marked.filter(pl.col("measured_at") <= previous.now)
    if len(seen) != len(previous.marked) or fingerprint_of(seen, batch, previous.now) != previous.fingerprint:
        return {}
    return previous.memory


def _too_early(
    now: datetime,
    batch: Batch,
    marked: pl.DataFrame,
    newest_at: datetime | None,
    temperature: float | None,
    fingerprint: str,
) -> Assessment:
    original = batch.original_gravity_sg
    return Assessment(
        now=now, phase="lag", finished=False, stalled=False, p_finished=None, finish=None, held_since=None, held_h=0.0,
        hold_met=False, gravity_sg=None, terminal_gravity_sg=None, remaining_fall_sg=None,
        original_gravity_sg=Range(original - 0.00128, original, original + 0.00128) if original else None,
        apparent_attenuation=None, temperature_c=temperature,
        evidence=("Too early to say anything: there are fewer than six hours of gravity readings.",),
        phases=(PhaseSpan("lag", batch.pitched_at),), newest_reading_at=newest_at, marked=marked,
        fingerprint=fingerprint,
    )  # fmt: skip
