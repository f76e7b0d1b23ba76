"""Why we say so, and what to do next, as typed values; `analysis.wording.evidence` says them in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis import evidence as kinds
from analysis.assessment.decision import Verdict
from analysis.assessment.observations import Observations, Snapshot
from analysis.attenuation import attenuation_course, gravity_at_attenuation
from analysis.evidence import Advice, Evidence
from analysis.inference import HypothesisMixture, Prior
from analysis.model import Creep, Forecast, Phase, Range, events_of
from analysis.thresholds import FLOAT_OFF_SG, FORCED_TEST_CHANCE, HOLD_H, STEADY_SG, STOOD_H, WARMER_C


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimates:
    """What was inferred, as ranges, and the forecast; None where none is given."""

    gravity: Range
    terminal: Range
    left: Range
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
    return (*_of_the_readings(grounds), *_of_the_course(grounds), *_of_a_halt(grounds), *_of_doubt(grounds))


def advise(grounds: Grounds) -> tuple[Advice, ...]:
    """What to do, first things first."""
    verdict, snapshot = grounds.verdict, grounds.snapshot
    if verdict.stalled:
        return (Advice.HAND_SAMPLE, Advice.WARM, Advice.ROUSE, Advice.FORCED_TEST_OF_A_STALL)
    tested = events_of(snapshot.batch, "forced test", until=snapshot.now)
    unsure = not verdict.finished and verdict.p_finished > FORCED_TEST_CHANCE
    if unsure and grounds.phase == "steady" and not tested:
        return (Advice.FORCED_TEST_OF_AN_END,)
    return ()


def _of_the_readings(grounds: Grounds) -> Iterator[Evidence]:
    held, verdict, asked_h = grounds.observed.held, grounds.verdict, grounds.snapshot.batch.hold_h
    gravity_sg = grounds.estimates.gravity.p50
    if held.since_h is not None:
        enough = held.held_h >= asked_h
        yield kinds.Moved(int(held.held_h), held.moved_sg, held.moved_se_sg, asked_h, enough, gravity_sg)
    if verdict.fell_since_h is not None:
        yield kinds.FellSince(verdict.fell_sg, grounds.now_h - verdict.fell_since_h, verdict.taken_back, gravity_sg)


def _of_the_course(grounds: Grounds) -> Iterator[Evidence]:
    observed, verdict, estimates = grounds.observed, grounds.verdict, grounds.estimates
    left, temperature_c = estimates.left, grounds.snapshot.temperature_c
    yield _attenuated(grounds)
    yield kinds.StillToFall(STEADY_SG, verdict.p_finished, left.p10, left.p50, left.p90, estimates.gravity.p50)
    if verdict.by_hold:
        yield kinds.HeldByPractice(HOLD_H)
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
    if verdict.stalled:
        yield kinds.StoppedShort(estimates.left.p50, estimates.terminal.p50, verdict.p_halted)
    if verdict.stands_since_h is not None and held_h < STOOD_H:
        yield kinds.StandsByCurve(grounds.now_h - verdict.stands_since_h, int(held_h))


def _of_doubt(grounds: Grounds) -> Iterator[Evidence]:
    gravity_sg, creep, off_sg = grounds.estimates.gravity.p50, grounds.estimates.creep, grounds.float_off_sg
    if creep is not None:
        yield kinds.Crept(creep.fall_sg.p50, gravity_sg)
    if off_sg is not None and abs(off_sg) >= FLOAT_OFF_SG:
        yield kinds.FloatOff(off_sg, gravity_sg)


def _attenuated(grounds: Grounds) -> kinds.Attenuated:
    # What is believed is a share of the gravity points; beside the attenuation it is told by extract too.
    original_sg, prior, attenuation = grounds.mixture.original_sg, grounds.prior, grounds.estimates.attenuation
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
