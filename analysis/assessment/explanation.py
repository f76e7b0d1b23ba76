"""Why we say so, and what to do next, as typed values; `analysis.wording.evidence` says them in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis import evidence as kinds
from analysis.assessment.decision import Verdict
from analysis.assessment.observations import Observations, Snapshot
from analysis.attenuation import attenuation_course, gravity_at_attenuation
from analysis.drinks import USUAL_C
from analysis.evidence import Advice, Evidence
from analysis.inference import HypothesisMixture, Prior
from analysis.model import Creep, Forecast, Phase, Range, events_of
from analysis.thresholds import (
    COLD_FOR_IT_C,
    FAR_SG,
    FLOAT_OFF_SG,
    FORCED_TEST_CHANCE,
    LAG_USUAL_H,
    LAG_WORRY_H,
    LEVEL_H,
    STEADY_SG,
    STOOD_H,
    STORED_DAYS,
    WARMER_C,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimates:
    """What was inferred, as ranges, and the forecast; None where none is given."""

    gravity: Range
    terminal: Range
    left: Range
    falls_sg: tuple[float, ...]
    original: Range
    attenuation: float
    finish: Forecast | None
    creep: Creep | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """What the evidence is taken from.

    `float_off_sg` is by how much the float reads above what is inferred, `later_c` how much warmer earlier batches were
    from here on.
    """

    snapshot: Snapshot
    observed: Observations
    mixture: HypothesisMixture
    prior: Prior
    verdict: Verdict
    estimates: Estimates
    phase: Phase
    float_off_sg: float | None
    later_c: float

    @property
    def now_h(self) -> float:
        """Hours since pitching."""
        return (self.snapshot.now - self.snapshot.batch.pitched_at).total_seconds() / 3600


def explain(grounds: Grounds) -> tuple[Evidence, ...]:
    """The evidence for the verdict."""
    course = (*_of_the_readings(grounds), *_of_the_course(grounds), *_of_a_halt(grounds))
    return (*course, *_of_additions(grounds), *_of_doubt(grounds))


def advise(grounds: Grounds) -> tuple[Advice, ...]:
    """What to do, first things first."""
    verdict, snapshot = grounds.verdict, grounds.snapshot
    if verdict.stalled:
        return (Advice.HAND_SAMPLE, Advice.WARM, Advice.ROUSE, Advice.FORCED_TEST_OF_A_STALL)
    if grounds.observed.doubts:
        return (Advice.HAND_SAMPLE_OF_A_DOUBT,)
    if grounds.observed.began_h is None:
        return _to_begin(grounds)
    tested = events_of(snapshot.batch, "forced test", until=snapshot.now)
    if grounds.observed.falls_again:
        return (Advice.SAMPLE_TWICE,) if tested else (Advice.SAMPLE_TWICE, Advice.FORCED_TEST_OF_AN_END)
    unsure = not verdict.finished and verdict.p_finished > FORCED_TEST_CHANCE
    before, asked_h = grounds.observed.before_hops, snapshot.batch.hold_h
    if before is not None and before.held_h >= asked_h > grounds.observed.held.held_h:
        return ()  # it had held before the hops: the watch that they began tells more than a test, and is under way
    if unsure and grounds.phase == "steady" and not tested:
        return (Advice.FORCED_TEST_OF_AN_END,)
    return ()


def _to_begin(grounds: Grounds) -> tuple[Advice, ...]:
    """What helps a fermentation to begin, the gentlest first; nothing within the hours that most take."""
    if grounds.now_h < LAG_USUAL_H:
        return ()
    warm = (Advice.WARM_TO_BEGIN,) if _cold(grounds) is not None else ()
    if grounds.now_h < LAG_WORRY_H:
        return (*warm, Advice.WAIT_FOR_THE_FALL)
    return (Advice.SAMPLE_BEFORE_THE_FALL, *warm, Advice.PITCH_ANEW)


def _cold(grounds: Grounds) -> kinds.ColdForIt | None:
    """Whether it is colder than is usual for the drink or than where it fermented."""
    now_c, series, drink = grounds.snapshot.temperature_c, grounds.observed.series, grounds.snapshot.batch.drink
    if now_c is None:
        return None
    low_c, high_c = USUAL_C[drink]
    fermented_c = series.usual_c if grounds.observed.began_h is not None and series.temperature_known else None
    if fermented_c is not None and fermented_c - now_c < COLD_FOR_IT_C:
        fermented_c = None
    if low_c - now_c < COLD_FOR_IT_C and fermented_c is None:
        return None
    return kinds.ColdForIt(now_c, low_c, high_c, drink, fermented_c)


def _of_the_readings(grounds: Grounds) -> Iterator[Evidence]:
    held, verdict, asked_h = grounds.observed.held, grounds.verdict, grounds.snapshot.batch.hold_h
    gravity_sg = grounds.estimates.gravity.p50
    yield from grounds.observed.doubts
    if grounds.observed.began_h is None:
        yield kinds.NotBegun(grounds.now_h, _shown(grounds))
    if held.since_h is not None:
        enough = held.held_h >= asked_h
        yield kinds.Moved(int(held.held_h), held.moved_sg, held.moved_se_sg, asked_h, enough, gravity_sg)
    if verdict.fell_since_h is not None:
        yield kinds.FellSince(verdict.fell_sg, grounds.now_h - verdict.fell_since_h, verdict.taken_back, gravity_sg)
    trend, falls = grounds.observed.trend, grounds.observed.falls_again
    if trend is not None and (falls or (verdict.finished and trend.seems_to_fall)):
        stored = trend.fall_sg_day * STORED_DAYS
        yield kinds.SlowFall(
            trend.fall_sg_day, trend.error_sg_day, trend.days, trend.fell_sg, falls, STORED_DAYS, stored, gravity_sg
        )


def _of_the_course(grounds: Grounds) -> Iterator[Evidence]:
    observed, verdict, estimates = grounds.observed, grounds.verdict, grounds.estimates
    left, temperature_c = estimates.left, grounds.snapshot.temperature_c
    if observed.began_h is not None:  # before a fall was seen there is none to speak of
        yield _attenuated(grounds)
    yield kinds.StillToFall(STEADY_SG, verdict.p_finished, left.p10, left.p50, left.p90, estimates.gravity.p50)
    if observed.chill_h is not None and temperature_c is not None:
        yield kinds.TooCold(temperature_c, observed.series.usual_c - temperature_c)
    if estimates.finish is None or verdict.finished:
        return
    ending = grounds.prior.ending
    if ending is not None and ending.batches:
        yield kinds.TailTakes(float(np.exp(ending.usual)), ending.batches)
    if abs(grounds.later_c) >= WARMER_C:
        yield kinds.TemperatureToCome(grounds.later_c)


def _of_a_halt(grounds: Grounds) -> Iterator[Evidence]:
    verdict, estimates, held_h = grounds.verdict, grounds.estimates, grounds.observed.held.held_h
    cold = _cold(grounds)
    stands = verdict.stalled or grounds.observed.began_h is None
    if cold is not None and stands and grounds.observed.chill_h is None:
        yield cold
    if verdict.stalled or (grounds.phase == "chilled" and not verdict.finished and estimates.left.p50 >= FAR_SG):
        end_sg = estimates.terminal.p50
        yield kinds.StoppedShort(estimates.gravity.p50 - end_sg, end_sg, verdict.p_halted)
    if verdict.stands_since_h is not None and held_h < STOOD_H:
        yield kinds.StandsByCurve(grounds.now_h - verdict.stands_since_h, int(held_h))


def _shown(grounds: Grounds) -> float:
    """The newest level of the readings, SG; what is inferred where there is none."""
    series = grounds.observed.series
    recent = series.floats & (series.hours > series.now_h - LEVEL_H)
    return float(np.median(series.gravity_sg[recent])) if recent.any() else grounds.estimates.gravity.p50


def _of_doubt(grounds: Grounds) -> Iterator[Evidence]:
    gravity_sg, creep, off_sg = grounds.estimates.gravity.p50, grounds.estimates.creep, grounds.float_off_sg
    if creep is not None:
        yield kinds.Crept(creep.fall_sg.p50, gravity_sg)
    if off_sg is not None and abs(off_sg) >= FLOAT_OFF_SG:
        yield kinds.FloatOff(off_sg, gravity_sg)


def _of_additions(grounds: Grounds) -> Iterator[Evidence]:
    mixture = grounds.mixture
    balance, gravity_sg = mixture.balance, grounds.estimates.gravity.p50
    if not balance.seen:
        return
    yield kinds.AllExtract(mixture.original_sg, balance.original_sg, balance.spirit_abv_pct)
    for addition, seen_sg in balance.contradicted:
        stated_sg = addition.stated_sg or 0.0
        yield kinds.AdditionDiffers(stated_sg, seen_sg, grounds.now_h - addition.at_h, gravity_sg)
    for addition, seen_sg in balance.seen:
        if addition.lacking:
            yield kinds.AdditionByReadings(addition.lacking, seen_sg, grounds.now_h - addition.at_h, gravity_sg)


def _attenuated(grounds: Grounds) -> kinds.Attenuated:
    # What is believed is a share of the gravity points; beside the attenuation it is told by extract too.
    original_sg, prior = grounds.mixture.balance.original_sg, grounds.prior
    attenuation = grounds.estimates.attenuation
    ends = [gravity_at_attenuation(original_sg, share) for share in prior.attenuation]
    low, high = (float(attenuation_course(max(original_sg, 1.001), end)) for end in ends)
    return kinds.Attenuated(
        attenuation,
        low,
        high,
        "within" if low <= attenuation <= high else "below" if attenuation < low else "above",
        prior.same_yeast,
        prior.same_drink,
        grounds.snapshot.batch.expected_attenuation is not None,
    )
