"""`assess`: clean, weigh the courses, decide, and say why."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np
import polars as pl

from analysis.assessment.begun import began_at
from analysis.assessment.by_hand import moved_onto_readings, set_by_hand
from analysis.assessment.decision import Verdict, decide, experienced, hand_agrees, phase_of
from analysis.assessment.explanation import Estimates, Grounds, advise, explain
from analysis.assessment.float_doubts import spoiling
from analysis.assessment.forecast import course, creep_of, forecast, quantiles, range_of, too_vague
from analysis.assessment.hysteresis import carry_on, counted_as_finished
from analysis.assessment.observations import Observations, Snapshot
from analysis.assessment.phases import spans
from analysis.assessment.renewed import Renewed
from analysis.attenuation import attenuation_course, gravity_at_attenuation
from analysis.evidence import FloatOff, NothingYet, Silent, slow_swing
from analysis.inference import Correction, HypothesisMixture, PosteriorDraws, Prior, Priors, risen, weigh_hypotheses
from analysis.model import (
    Assessment,
    Batch,
    BeforeHops,
    Floats,
    Forecast,
    Hysteresis,
    PhaseSpan,
    Range,
    SetByHand,
    as_utc,
    events_of,
)
from analysis.packaging import forced_end, forced_test_agrees
from analysis.readings import Series, summarise
from analysis.thresholds import (
    FLOAT_OFF_OVER_H,
    FORCED_TEST_ERROR_SG,
    LAG_WORRY_H,
    LEAST_BELIEVED,
    LEAST_BINS,
    ORIGINAL_KNOWN_SD_SG,
    ORIGINAL_UNKNOWN_SD_SG,
    SILENCE_H,
)

FALLS: Final = 40
"""Equally likely values that tell the whole posterior of what may still fall; more would say no more."""


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
    now
        Of when it is asked. After a silence of more than `SILENCE_H` it is judged as of the last reading, or event,
        and the assessment says so: its own `now` is then.
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
    asked = now = as_utc(now, "now")
    snapshot = Snapshot.of(readings, batch, now)
    if (heard := _last_heard(snapshot)) is not None:
        now, snapshot = heard, Snapshot.of(readings, batch, heard)
    series = summarise(snapshot.marked, batch, now=now)
    known = priors or Priors()
    prior = known.prior(batch)
    if series.hours.size < LEAST_BINS:
        return _too_early(snapshot)
    mixture = weigh_hypotheses(series, batch, prior, series.now_h)
    if mixture is None:
        return _too_early(snapshot)
    carried = carry_on(previous, snapshot.marked, batch, now)
    observed = Observations.of(series, snapshot, began_at(series, mixture.posterior))
    observed = observed.with_trend(mixture.posterior, prior, carried.called_h)
    if observed.before_hops is not None and carried.before_hops is None:
        carried = replace(carried, before_hops=_was_finished(readings, batch, known, now))
    said = _judged(snapshot, observed, mixture, prior, known.correction(batch.drink), carried)
    silent_h = (asked - now).total_seconds() / 3600.0
    return replace(said, evidence=(Silent(silent_h), *said.evidence)) if silent_h > 0.0 else said


def _was_finished(readings: pl.DataFrame, batch: Batch, priors: Priors, now: datetime) -> bool:
    """Whether it counted as finished when the last hops went in: judged at that moment, by what was read until then.

    A hand sample sets the float back to pitching and hops are logged late: what was said then rests on other readings
    or is not there, and a restart forgets it. So it is worked out anew, once for the same readings and entries.
    """
    hopped_at = events_of(batch, "dry hop", until=now)[-1].at
    before = replace(batch, events=tuple(e for e in batch.events if e.at < hopped_at))
    return counted_as_finished(assess(readings, before, now=hopped_at, priors=priors))


def _last_heard(snapshot: Snapshot) -> datetime | None:
    """Where it has been silent for long, the last moment of which something is known; None where it has not been.

    What happened in a silence nobody knows: a fall that would have gone on, or a stall. It is judged as it stood.
    """
    newest, now = snapshot.newest_at, snapshot.now
    if newest is None:
        return None
    heard = max([newest, *(e.at for e in snapshot.batch.events if e.at <= now)])
    return heard if now - heard > timedelta(hours=SILENCE_H) else None


def _judged(
    snapshot: Snapshot,
    observed: Observations,
    mixture: HypothesisMixture,
    prior: Prior,
    correction: Correction,
    carried: Hysteresis,
) -> Assessment:
    batch, now, series = snapshot.batch, snapshot.now, observed.series
    posterior, weight = mixture.posterior, mixture.posterior.weight / mixture.posterior.weight.sum()
    original_sg = mixture.balance.original_sg
    agrees = forced_test_agrees(batch, original_sg, observed.held_sg, now)
    lingers = (batch.diastatic or batch.mixed_culture) and not agrees
    renewed = Renewed.of(observed.trend, lingers=lingers, falls_again=observed.falls_again)
    verdict = decide(observed, mixture, prior, batch, now, carried, renewed)
    by_hand = set_by_hand(observed, snapshot)
    told = replace(mixture, posterior=moved_onto_readings(posterior, observed, batch, by_hand))
    estimates = _estimates(snapshot, observed, told, prior, correction, verdict, dated=carried.dated)
    phase = phase_of(verdict, observed, mixture, estimates.creep)
    done = float(weight @ posterior.done_now)
    grounds = Grounds(
        snapshot=snapshot,
        observed=observed,
        mixture=mixture,
        prior=prior,
        verdict=verdict,
        estimates=estimates,
        phase=phase,
        float_off_sg=_float_off(series, told.posterior),
        later_c=_later(series, prior, done) if observed.chill_h is None else 0.0,
    )
    said = _told(grounds, weight, carried)
    if by_hand is not None and not by_hand.why_not:  # the sample has settled how far the float is off
        said = replace(said, evidence=tuple(one for one in said.evidence if not isinstance(one, FloatOff)))
    return replace(
        said,
        by_hand=by_hand,
        beside_sg=_beside(series, told.posterior, _set_since_h(by_hand, batch)),
        course=course(batch, told.posterior, weight, estimates.finish, series.now_h),
    )


def _told(grounds: Grounds, weight: Floats, carried: Hysteresis) -> Assessment:
    """The assessment as its parts say."""
    snapshot, observed, mixture = grounds.snapshot, grounds.observed, grounds.mixture
    batch, verdict, estimates, phase = snapshot.batch, grounds.verdict, grounds.estimates, grounds.phase
    now, series, held, posterior = snapshot.now, observed.series, observed.held, mixture.posterior
    samples, balance = snapshot.hand_samples(), mixture.balance
    return Assessment(
        now=now,
        phase=phase,
        finished=verdict.finished,
        stalled=verdict.stalled,
        p_finished=verdict.p_finished,
        finish=estimates.finish,
        held_since=None if held.since_h is None else batch.pitched_at + timedelta(hours=held.since_h),
        held_h=held.held_h,
        hold_met=held.held_h >= batch.hold_h,
        gravity_sg=estimates.gravity,
        terminal_gravity_sg=estimates.terminal,
        remaining_fall_sg=estimates.left,
        remaining_falls_sg=estimates.falls_sg,
        renewed=verdict.renewed.chance,
        original_gravity_sg=estimates.original,
        apparent_attenuation=estimates.attenuation,
        temperature_c=snapshot.temperature_c,
        evidence=explain(grounds),
        advice=advise(grounds),
        phases=spans(observed, posterior, weight, batch, verdict, phase),
        creep=estimates.creep,
        newest_reading_at=snapshot.newest_at,
        volume_l=balance.volume_l if balance.seen else None,
        spirit_abv_pct=balance.spirit_abv_pct,
        held_sg=observed.held_sg,
        hand_sample_agrees=hand_agrees(observed, samples, batch),
        hand_samples=samples,
        followed_by_hand=observed.followed_by_hand,
        before_hops=_before_hops(observed, carried, batch),
        trend=observed.trend,
        falls_again=observed.falls_again,
        marked=snapshot.marked,
        fingerprint=snapshot.fingerprint,
        hysteresis=_remembered(verdict, carried, series.now_h, dated=estimates.finish is not None),
    )


def _before_hops(observed: Observations, carried: Hysteresis, batch: Batch) -> BeforeHops | None:
    """The hold that the last hops ended."""
    before, hopped_h = observed.before_hops, observed.hopped_h
    if before is None or before.since_h is None or hopped_h is None:
        return None

    def instant(hours: float) -> datetime:
        return batch.pitched_at + timedelta(hours=hours)

    return BeforeHops(instant(hopped_h), instant(before.since_h), before.held_h, bool(carried.before_hops))


def _remembered(verdict: Verdict, carried: Hysteresis, now_h: float, *, dated: bool) -> Hysteresis:
    called_h = carried.called_h
    if verdict.finished and (called_h is None or not carried.finished):
        called_h = now_h
    return Hysteresis(verdict.finished, verdict.stalled, called_h, dated, carried.before_hops)


def _estimates(
    snapshot: Snapshot,
    observed: Observations,
    mixture: HypothesisMixture,
    prior: Prior,
    correction: Correction,
    verdict: Verdict,
    *,
    dated: bool,
) -> Estimates:
    """Ranges and forecast, from the courses that the readings do not refute."""
    batch, now, posterior = snapshot.batch, snapshot.now, mixture.posterior
    weight = posterior.weight / posterior.weight.sum()
    finish, believed = None, weight
    tested_sg = forced_end(batch, mixture.balance.original_sg, now)
    if verdict.refuted is not None:
        share = float(weight[~verdict.refuted].sum())
        believed = np.where(verdict.refuted, 0.0, weight) / share if share >= LEAST_BELIEVED else weight
    # What stands still has no date until it moves again, nor has one whose courses the readings refute, nor one whose
    # float shows what no fermentation shows.
    doubted = bool(spoiling(observed.doubts) or slow_swing(observed.doubts)) and not verdict.finished
    if (
        not verdict.stalled
        and not observed.falls_again
        and not doubted
        and (verdict.refuted is None or believed is not weight)
    ):
        known = experienced(batch, prior, tested=tested_sg is not None)
        finish = forecast(batch, posterior, believed, correction, verdict.p_finished, experienced=known, dated=dated)
        if finish is not None and not verdict.finished:
            early = _too_early_for(finish, observed, posterior, now, experienced=known, dated=dated)
            finish = None if early else finish
    gravity = range_of(posterior.gravity_sg[:, int(np.searchsorted(posterior.at_h, observed.series.now_h))], weight)
    if observed.trend is not None and observed.falls_again:
        # What was read counts, whatever offset was inferred.
        level = observed.newest_level_sg
        gravity = Range(level + gravity.p10 - gravity.p50, level, level + gravity.p90 - gravity.p50)
    left, falls = _left(observed, mixture, prior, (posterior.left_now_sg, believed), verdict, tested_sg)
    pitched_sd = ORIGINAL_KNOWN_SD_SG if mixture.original_known else ORIGINAL_UNKNOWN_SD_SG
    original_sg, half = mixture.balance.original_sg, 1.2816 * float(np.hypot(pitched_sd, mixture.balance.sd_sg))
    return Estimates(
        gravity=gravity,
        terminal=range_of(posterior.terminal_sg, believed),
        left=left,
        falls_sg=falls,
        original=Range(original_sg - half, original_sg, original_sg + half),
        attenuation=float(attenuation_course(max(original_sg, 1.001), gravity.p50)),
        finish=finish,
        creep=creep_of(batch, posterior, weight, now),
    )


def _left(
    observed: Observations,
    mixture: HypothesisMixture,
    prior: Prior,
    courses: tuple[Floats, Floats],
    verdict: Verdict,
    tested_sg: float | None,
) -> tuple[Range, tuple[float, ...]]:
    """What may still fall, as a range and as equally likely values: the courses, and that it goes on or anew.

    `courses` are what is left by each and its weight, shape (n,). `tested_sg` is where a forced test ended: no renewed
    fermentation goes much further.
    """
    level, renewed = observed.newest_level_sg, verdict.renewed
    lowest = gravity_at_attenuation(mixture.balance.original_sg, prior.attenuation[1])
    if tested_sg is not None:
        lowest = max(lowest, tested_sg - FORCED_TEST_ERROR_SG)
    anew, chance = renewed.left_sg(level - lowest), max(renewed.chance, verdict.unseen)
    left_sg, weight = courses
    values = np.concatenate([left_sg, anew])
    shares = np.concatenate([weight * (1.0 - chance), np.full(anew.size, chance * weight.sum() / anew.size)])
    left = range_of(values, shares)
    chances = (np.arange(FALLS) + 0.5) / FALLS
    falls = np.maximum(quantiles(values[:, None], shares, list(chances))[:, 0], 0.0)
    if verdict.refuted is not None and observed.stood is not None:
        furthest = observed.stood.now_sg - lowest
        left = Range(left.p10, left.p50, max(left.p90, furthest))
        falls = np.where(chances >= 0.9, np.maximum(falls, furthest), falls)
    return left, tuple(float(each) for each in falls)


def _too_early_for(
    finish: Forecast,
    observed: Observations,
    posterior: PosteriorDraws,
    now: datetime,
    *,
    experienced: bool,
    dated: bool,
) -> bool:
    """Whether no date is to be given yet; before any fall only earlier batches, or what was said, can tell one."""
    late = observed.series.now_h >= LAG_WORRY_H
    if observed.began_h is None and (late or not experienced):
        return True
    return too_vague(finish, now, float(posterior.weight @ posterior.done_now / posterior.weight.sum()), dated=dated)


def _float_off(series: Series, posterior: PosteriorDraws) -> float | None:
    """By how much the float's last half day lies above the middle course, SG; None without a float by then."""
    above = _above_course(series, posterior)
    return float(np.median(above)) if above.size else None


def _set_since_h(by_hand: SetByHand | None, batch: Batch) -> float | None:
    """Since when a hand sample sets the float, in hours since pitching; None where none does."""
    if by_hand is None or by_hand.why_not or by_hand.since is None:
        return None
    return (by_hand.since - batch.pitched_at).total_seconds() / 3600


def _beside(series: Series, posterior: PosteriorDraws, set_since_h: float | None) -> float | None:
    """The same where three in four of the readings lie on one side, so that it is seen; else None.

    Where a hand sample sets the float, it is told of the half day before that.
    """
    above = _above_course(series, posterior, set_since_h)
    if not above.size:
        return None
    low, middle, high = np.quantile(above, (0.25, 0.5, 0.75))
    return float(middle) if low > 0 or high < 0 else None


def _above_course(series: Series, posterior: PosteriorDraws, until_h: float | None = None) -> Floats:
    """How far the float's readings of the last half day, or of that before `until_h`, lie above the course, SG."""
    end_h = series.now_h if until_h is None else until_h
    recent = series.floats & (series.hours > end_h - FLOAT_OFF_OVER_H)
    if until_h is not None:
        recent &= series.hours < until_h
    middle = quantiles(posterior.gravity_sg, posterior.weight, (0.5,))[0]
    above: Floats = series.gravity_sg[recent] - np.interp(series.hours[recent], posterior.at_h, middle)
    return above


def _later(series: Series, prior: Prior, share: float) -> float:
    if prior.schedule is None or not series.temperature_known:
        return 0.0
    return prior.schedule.expected(share, risen(series.grid_hours, series.grid_temperature_c, series.now_h))


def _too_early(snapshot: Snapshot) -> Assessment:
    usable = int(snapshot.marked["set_aside"].null_count()) if len(snapshot.marked) else 0
    marked, original = snapshot.marked, snapshot.batch.original_gravity_sg
    return Assessment(
        now=snapshot.now,
        phase="lag",
        finished=False,
        stalled=False,
        p_finished=None,
        finish=None,
        held_since=None,
        held_h=0.0,
        hold_met=False,
        gravity_sg=None,
        terminal_gravity_sg=None,
        remaining_fall_sg=None,
        original_gravity_sg=Range(original - 0.00128, original, original + 0.00128) if original else None,
        apparent_attenuation=None,
        temperature_c=snapshot.temperature_c,
        evidence=(NothingYet(usable),),
        advice=(),
        phases=(PhaseSpan("lag", snapshot.batch.pitched_at),),
        newest_reading_at=snapshot.newest_at,
        hand_samples=snapshot.hand_samples(),
        marked=marked,
        fingerprint=snapshot.fingerprint,
    )
