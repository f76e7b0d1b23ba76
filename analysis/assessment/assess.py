"""`assess`: clean, weigh the courses, decide, and say why."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import numpy as np
import polars as pl

from analysis.assessment import explanation
from analysis.assessment.decision import decide, experienced, hand_agrees, phase_of
from analysis.assessment.forecast import course, creep_of, forecast, quantiles, range_of
from analysis.assessment.hysteresis import carry_on, fingerprint_of
from analysis.assessment.phases import spans
from analysis.assessment.refutation import Stood, stands_anew, stood_above
from analysis.attenuation import attenuation_course, gravity_at_attenuation
from analysis.inference import Correction, HypothesisMixture, PosteriorDraws, Prior, Priors, risen, weigh_hypotheses
from analysis.model import Assessment, Batch, PhaseSpan, Range, as_utc, events_of
from analysis.readings import Hold, Series, chilled_from, hold, hours_of, mark, summarise

_LEAST_BINS: Final = 3
_LEAST_SHARE: Final = 0.1
"""Share of the courses that the readings do not refute from which they alone tell what is to come."""


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
    prior = known.prior(batch)
    newest = marked.filter(pl.col("set_aside").is_null())["measured_at"].max() if len(marked) else None
    newest_at = newest if isinstance(newest, datetime) else None
    temperature = _last_temperature(marked)
    if series.hours.size < _LEAST_BINS:
        return _too_early(now, batch, marked, newest_at, temperature, fingerprint)

    chill_h = chilled_from(series)
    mixture = weigh_hypotheses(series, batch, prior, series.now_h)
    if mixture is None:
        return _too_early(now, batch, marked, newest_at, temperature, fingerprint)
    other = events_of(batch, "feed", "dilute", "transfer", "float moved", until=now)
    same_from = max((hours_of(e.at, batch) for e in other), default=0.0)
    hopped = events_of(batch, "dry hop", until=now)
    steady_from = max(same_from, hours_of(hopped[-1].at, batch)) if hopped else same_from
    until_h = chill_h if chill_h is not None else series.now_h
    stood = stood_above(series, until_h=until_h, from_h=same_from)
    if stood is not None:
        steady_from = max(steady_from, stood.last_h)
    held = hold(series, until_h=until_h, from_h=steady_from)
    if stood is not None and stands_anew(series, stood, held_h=held.held_h, until_h=until_h):
        stood = None
    return _verdict(
        batch,
        now,
        marked,
        series,
        prior,
        mixture,
        known.correction(batch.drink),
        held,
        stood,
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
    prior: Prior,
    mixture: HypothesisMixture,
    correction: Correction,
    held: Hold,
    stood: Stood | None,
    chill_h: float | None,
    newest_at: datetime | None,
    temperature: float | None,
    fingerprint: str,
    previous: Assessment | None,
) -> Assessment:
    posterior = mixture.posterior
    weight = posterior.weight / posterior.weight.sum()
    carried = carry_on(previous, marked, batch, now)
    was = carried.get("called_h")
    called_h = was if isinstance(was, float) else None
    verdict = decide(
        series, mixture, prior, batch, now,
        held=held, chill_h=chill_h, was_finished=bool(carried.get("finished", False)),
        was_stalled=bool(carried.get("stalled", False)), called_h=called_h, stood=stood,
    )  # fmt: skip
    finished, stalled = verdict.finished, verdict.stalled
    if finished and (called_h is None or not carried.get("finished", False)):
        called_h = series.now_h
    creep = creep_of(batch, posterior, weight, now)
    phase = phase_of(verdict, series, mixture, chill_h=chill_h, held=held, creep=creep)
    finish = None
    believed = weight
    if verdict.refuted is not None:
        share = float(weight[~verdict.refuted].sum())
        believed = np.where(verdict.refuted, 0.0, weight) / share if share >= _LEAST_SHARE else weight
    # What stands still has no date until it moves again, nor has one whose courses the readings refute.
    if not stalled and (verdict.refuted is None or believed is not weight):
        known = experienced(batch, prior, now)
        finish = forecast(batch, posterior, believed, correction, verdict.p_finished, experienced=known)
    gravity = range_of(posterior.gravity_sg[:, int(np.searchsorted(posterior.at_h, series.now_h))], weight)
    terminal = range_of(posterior.terminal_sg, believed)
    left = range_of(posterior.left_now_sg, believed)
    if verdict.refuted is not None and stood is not None:
        lowest = gravity_at_attenuation(mixture.original_sg, prior.attenuation[1])
        left = Range(left.p10, left.p50, max(left.p90, stood.now_sg - lowest))
    half = 1.2816 * (0.001 if mixture.original_known else 0.003)
    original = Range(mixture.original_sg - half, mixture.original_sg, mixture.original_sg + half)
    attenuation = float(attenuation_course(max(mixture.original_sg, 1.001), gravity.p50))
    facts = explanation.Facts(
        batch=batch, now=now, held=held, p_finished=verdict.p_finished, p_halted=verdict.p_halted,
        finished=finished, by_hold=verdict.by_hold, stalled=stalled, called=verdict.taken_back,
        fell_sg=verdict.fell_sg, fell_since_h=verdict.fell_since_h, stands_since_h=verdict.stands_since_h,
        phase=phase, prior=prior, attenuation=attenuation, original_sg=mixture.original_sg, gravity=gravity,
        terminal=terminal, left=left, forecast=finish, chill_h=chill_h, usual_c=series.usual_c,
        temperature_c=temperature, creep=creep, float_off_sg=_float_off(series, posterior),
        later_c=_later(series, prior, float(weight @ posterior.done_now)) if chill_h is None else 0.0,
    )  # fmt: skip
    began = spans(
        series, posterior, weight, batch, phase=phase, held=held, chill_h=chill_h, finished=finished,
        stalled_from_h=verdict.stands_since_h,
    )  # fmt: skip
    return Assessment(
        now=now,
        phase=phase,
        finished=finished,
        by_hold=verdict.by_hold,
        stalled=stalled,
        p_finished=verdict.p_finished,
        finish=finish,
        held_since=batch.pitched_at + timedelta(hours=held.since_h) if held.since_h is not None else None,
        held_h=held.held_h,
        hold_met=held.held_h >= batch.hold_h,
        gravity_sg=gravity,
        terminal_gravity_sg=terminal,
        remaining_fall_sg=left,
        original_gravity_sg=original,
        apparent_attenuation=attenuation,
        temperature_c=temperature,
        evidence=explanation.sentences(facts),
        advice=explanation.advice(facts),
        phases=began,
        creep=creep,
        newest_reading_at=newest_at,
        hand_sample_agrees=hand_agrees(series, held),
        marked=marked,
        course=course(batch, posterior, weight, finish),
        fingerprint=fingerprint,
        hysteresis={
            "finished": finished,
            "rows": len(marked),
            "prefix": fingerprint,
            "stalled": stalled,
            "called_h": called_h,
        },
    )


def _float_off(series: Series, posterior: PosteriorDraws) -> float | None:
    """By how much the float's last half day lies above the middle course, SG; None without a float by then."""
    recent = series.floats & (series.hours > series.now_h - 12.0)
    if not recent.any():
        return None
    middle = quantiles(posterior.gravity_sg, posterior.weight, (0.5,))[0]
    return float(np.median(series.gravity_sg[recent] - np.interp(series.hours[recent], posterior.at_h, middle)))


def _later(series: Series, prior: Prior, share: float) -> float:
    if prior.schedule is None or not series.temperature_known:
        return 0.0
    return prior.schedule.expected(share, risen(series.grid_hours, series.grid_temperature_c, series.now_h))


def _last_temperature(marked: pl.DataFrame) -> float | None:
    known = marked["temperature_c"].drop_nulls()
    return float(known[-1]) if len(known) else None


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
        evidence=(_nothing_yet(marked),),
        phases=(PhaseSpan("lag", batch.pitched_at),), newest_reading_at=newest_at, marked=marked,
        fingerprint=fingerprint,
    )  # fmt: skip


def _nothing_yet(marked: pl.DataFrame) -> str:
    usable = int(marked["set_aside"].null_count()) if len(marked) else 0
    many = (
        "no gravity reading" if usable == 0 else "one gravity reading" if usable == 1 else f"{usable} gravity readings"
    )
    return f"Too early to say anything: so far there {'are' if usable > 1 else 'is'} {many} to go by."
