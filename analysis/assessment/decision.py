"""The decision: finished, stalled, or neither yet, and the phase it is in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.assessment.float_doubts import spoiling
from analysis.assessment.forecast import left_at, range_of
from analysis.assessment.observations import Observations
from analysis.assessment.renewed import NOT_RENEWED, Renewed
from analysis.evidence import EvenFall, slow_swing
from analysis.inference import GAIN_SD, HypothesisMixture, PosteriorDraws, Prior, local_rate
from analysis.model import Batch, Creep, Floats, HandReading, Hysteresis, Phase
from analysis.packaging import forced_end
from analysis.readings import fall_of_late, hours_of, moves_again, moves_off, recent_fall
from analysis.thresholds import (
    CREEPING_SG,
    CULTURE_HOLD_H,
    END_WITHIN_H,
    FAR,
    FAR_SG,
    HALT_DOUBT,
    HALT_DOUBT_SD,
    HALT_ODDS,
    HALTED,
    HAND_AGREES_SG,
    LONG_HALTED,
    LONG_STOOD_H,
    REFUTED,
    SETTLED_H,
    SLOW_BEYOND,
    SLOW_SG,
    SLOWING_DONE,
    SLOWING_RATE,
    STEADY_DONE,
    STEADY_HELD_H,
    STEADY_SG,
    STILL_FALLING,
    STOOD_H,
    TAKEN_BACK,
    UNBELIEVED_SD,
    UNKNOWN_CHANCE,
    UNKNOWN_HOLD_H,
    UNSEEN_H,
    UNSEEN_SHARE,
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Finished or stalled, and the chances that this rests on."""

    finished: bool
    stalled: bool
    p_finished: float
    p_halted: float
    refuted: NDArray[np.bool_] | None = None
    """Which courses the readings refute, shape (n,): they end before a fall that was seen. None where none counts."""
    taken_back: bool = False
    renewed: Renewed = NOT_RENEWED
    unseen: float = 0.0
    """The chance that it goes on, which the float cannot show: by so much less it has finished than the courses say."""
    fell_sg: float = 0.0
    fell_since_h: float | None = None
    """By how much it has fallen since it was called finished, or seemed to be, and when that was."""
    stands_since_h: float | None = None
    """Where it is stalled, since when, going by the course: hours since pitching."""


@dataclass(frozen=True, slots=True)
class Refutation:
    """A fall that was seen and that the courses do not know of.

    `courses` are those that it refutes, shape (n,); None where none counts. `ends_before` are those that end before it.
    """

    courses: NDArray[np.bool_] | None = None
    ends_before: NDArray[np.bool_] | None = None
    taken_back: bool = False
    fell_sg: float = 0.0
    fell_since_h: float | None = None


def decide(
    observed: Observations,
    mixture: HypothesisMixture,
    prior: Prior,
    batch: Batch,
    now: datetime,
    carried: Hysteresis,
    renewed: Renewed = NOT_RENEWED,
) -> Verdict:
    """Weigh a false call against a late one.

    `carried` says what the last assessment called it, where that may carry on; `renewed` how likely it is that it
    ferments anew since it ended.
    """
    posterior, weight = mixture.posterior, mixture.posterior.weight / mixture.posterior.weight.sum()
    # In the cold it is judged by what was left when the chill began: what a chill holds up is not finished.
    judged = posterior.left_now_sg if observed.chill_h is None else left_at(posterior, observed.chill_h)
    p_finished = by_courses = min(float(weight[judged < STEADY_SG].sum()), 1.0)
    p_far = float(weight[judged >= FAR_SG].sum())
    # Whatever the hypotheses say: what fell by two points since yesterday had not ended yesterday.
    falls = observed.falls_again or (observed.held.held_h == 0 and recent_fall(observed.series) > FAR_SG)
    refutation = _refutation(observed, posterior, weight, judged, carried)
    if refutation.courses is not None and refutation.ends_before is not None:
        falls, goes_on = True, float(weight[~refutation.ends_before & (judged < STEADY_SG)].sum())
        p_finished = min(p_finished, goes_on)
    if falls:
        p_finished = min(p_finished, STILL_FALLING)
    p_finished, p_far = renewed.weighed(p_finished, p_far)
    halted = np.isfinite(posterior.halted_from_h) & (posterior.left_now_sg > FAR_SG)
    tested = forced_end(batch, mixture.balance.original_sg, now) is not None
    place, known = 0.0 if tested else place_of_end(mixture, prior), experienced(batch, prior, tested=tested)
    known = known and (tested or not _fed_blindly(mixture))
    paused = 0.0 if known else _chance_of_a_pause(mixture, prior, place)
    p_finished, p_far = min(p_finished, 1.0 - paused), max(p_far, paused)
    least_h = _least_hold(place, mixture.share.get("lasting", 0.0), known=known, lingers=renewed.lingers)
    if hidden := _end_is_hidden(observed, batch):
        p_finished = min(p_finished, UNKNOWN_CHANCE)
    may_have_ended = not falls and not hidden
    finished = may_have_ended and _finished(p_far, observed, least_h, was_finished=carried.finished)
    unseen = 1.0 - p_finished / by_courses if hidden and by_courses > p_finished else 0.0
    p_halted = float(weight[halted].sum())
    p_stood = float(weight[halted & (posterior.halted_from_h <= observed.series.now_h - STOOD_H)].sum())
    began_h = range_of(posterior.halted_from_h[halted], weight[halted]).p50 if halted.any() else None
    was_stalled = carried.stalled and p_halted > p_finished
    stands_from_h = began_h if p_halted >= LONG_HALTED else None
    stalled = not finished and _stalled(observed, p_halted, p_stood, was_stalled, stands_from_h)
    return Verdict(
        finished,
        stalled,
        p_finished,
        p_halted,
        refuted=refutation.courses,
        taken_back=refutation.taken_back,
        renewed=renewed,
        unseen=unseen,
        fell_sg=refutation.fell_sg,
        fell_since_h=refutation.fell_since_h,
        stands_since_h=began_h if stalled else None,
    )


def _end_is_hidden(observed: Observations, batch: Batch) -> bool:
    """Before any fall, while it falls evenly on, or swings along, or by a gravity that cannot be, nothing has ended."""
    swings = slow_swing(observed.doubts) is not None and observed.held.held_h < batch.hold_h
    return observed.began_h is None or bool(spoiling(observed.doubts)) or swings


def _refutation(
    observed: Observations, posterior: PosteriorDraws, weight: Floats, judged: Floats, carried: Hysteresis
) -> Refutation:
    """What was observed counts: of a course that ends before the fall, less than a point may come after its end."""
    stood, called_h = observed.stood, carried.called_h
    if stood is None:
        return Refutation()
    ends_before: NDArray[np.bool_] = posterior.finish_h <= stood.last_h - END_WITHIN_H
    taken_back = called_h is not None and called_h <= stood.last_h
    if not taken_back and float(weight[ends_before].sum()) <= REFUTED:
        return Refutation()
    since_h = called_h if taken_back else range_of(posterior.finish_h[ends_before], weight[ends_before]).p50
    return Refutation(
        ends_before | (judged < STEADY_SG), ends_before, taken_back, stood.fallen_since(since_h or 0.0), since_h
    )


def _finished(p_far: float, observed: Observations, least_h: float, *, was_finished: bool) -> bool:
    """The rule: the chance of `FAR_SG` or more to come is small enough for how long it has held.

    What was called so stays so until that chance exceeds `TAKEN_BACK`.
    """
    if was_finished:
        return p_far <= TAKEN_BACK
    held_h, warm = observed.held.held_h, observed.chill_h is None
    (far_at_once, at_once_h), (far_in_time, in_time_h) = FAR
    # Within half a day a fall of a point a day may be missed, within two it is not.
    falls = warm and fall_of_late(observed.series, SETTLED_H)[0] >= STEADY_SG * SETTLED_H / 24.0
    at_once = p_far <= far_at_once and held_h >= at_once_h and not falls
    return held_h >= least_h and (at_once or (warm and p_far <= far_in_time and held_h >= in_time_h))


def _chance_of_a_pause(mixture: HypothesisMixture, prior: Prior, place: float) -> float:
    """The chance that it only pauses, `FAR_SG` or more above its end, where nothing but the drink's habits is known.

    As often as fermentations halt (`HALT_ODDS`), times the chance that such a batch would go on by so much.
    """
    extract = max(mixture.original_sg - 1.0, 1e-6)
    sd = float(np.hypot(prior.attenuation_sd, GAIN_SD * prior.expected_attenuation))
    return HALT_ODDS * float(ndtr(-place - FAR_SG / extract / sd))


def _least_hold(place: float, halt: float, *, known: bool, lingers: bool) -> float:
    """For how long it must have held at least to be believed, hours; infinite where only a forced test is.

    `halt` is the chance of a lasting one: where nobody knows how far such a batch goes, it looks like an end.
    """
    if not known and halt > HALT_DOUBT and place < HALT_DOUBT_SD:
        return np.inf
    steps = ((UNBELIEVED_SD, 0.0),) if known else UNKNOWN_HOLD_H
    least_h = next((hold_h for least_sd, hold_h in steps if place > least_sd), np.inf)
    return max(least_h, CULTURE_HOLD_H) if lingers else least_h


def _stalled(
    observed: Observations, p_halted: float, p_stood: float, was_stalled: bool, stands_from_h: float | None
) -> bool:
    """Whether what has not finished has stalled; `stands_from_h` is since when it stands by the course, if it does.

    The readings need not show it level by level: of a float that scatters by points, or was silent, the course tells.
    What has not begun has not stalled, nor has what falls slowly on. Once it is called so it stays so while nothing
    moves, and the longer it has stood, the more it takes to say that it moves.
    """
    series, held = observed.series, observed.held
    if observed.began_h is None or spoiling(observed.doubts):
        return False
    since_h = held.since_h if stands_from_h is None else stands_from_h
    moves = None if since_h is None else moves_off(series, since_h=since_h, until_h=series.now_h)
    fall, error = fall_of_late(series, UNSEEN_H)
    unseen = moves is False or fall < max(UNSEEN_SHARE * STEADY_SG, error)
    surely = p_halted >= HALTED and (held.held_h >= STOOD_H or (p_stood >= HALTED and unseen))
    fall, error = fall_of_late(series, 24.0)
    slow = fall >= max(SLOW_SG, SLOW_BEYOND * error)
    likely = p_halted >= LONG_HALTED and held.held_h >= LONG_STOOD_H
    if moves is None:
        moves = slow or moves_again(series, held)
    return (surely or likely or was_stalled) and not moves and observed.chill_h is None


def place_of_end(mixture: HypothesisMixture, prior: Prior) -> float:
    """Where the attenuation so far lies in what is expected, in standard deviations.

    The float's scale may be off, which widens what is expected.
    """
    posterior = mixture.posterior
    original_sg = mixture.balance.original_sg
    gone = original_sg - posterior.terminal_sg - posterior.left_now_sg
    attenuation = float(np.median(gone)) / max(original_sg - 1.0, 1e-6)
    expected = prior.expected_attenuation
    return (attenuation - expected) / float(np.hypot(prior.attenuation_sd, GAIN_SD * expected))


def experienced(batch: Batch, prior: Prior, *, tested: bool) -> bool:
    """Whether more than the general habits of the drink is known about where this batch will end."""
    return prior.same_drink > 0 or batch.expected_attenuation is not None or tested


def _fed_blindly(mixture: HypothesisMixture) -> bool:
    """Whether something fermentable went in of which neither amount nor gravity was said: that leaves more open."""
    return any(addition.stated_sg is None for addition, _ in mixture.balance.seen if addition.fed_sg > 0.0)


def phase_of(verdict: Verdict, observed: Observations, mixture: HypothesisMixture, creep: Creep | None) -> Phase:
    """The present phase in the trade's terms."""
    series = observed.series
    if observed.began_h is None:
        return "lag"
    if observed.chill_h is not None:
        return "chilled"
    if verdict.finished:
        return "finished"
    if verdict.stalled:
        return "stalled"
    if observed.falls_again:
        return "creeping"
    posterior = mixture.posterior
    done = float(posterior.weight @ posterior.done_now / posterior.weight.sum())
    if creep is not None and creep.fall_sg.p50 > CREEPING_SG:
        return "creeping"
    if any(isinstance(one, EvenFall) for one in observed.doubts) or slow_swing(observed.doubts) is not None:
        return "slowing"  # within a point a day, and yet it falls; or up and down, so that nothing is steady
    if observed.held.held_h >= STEADY_HELD_H or (done > STEADY_DONE and recent_fall(series) < STEADY_SG):
        return "steady"
    rate = local_rate(series)
    return "active" if done < SLOWING_DONE and rate[-1] > SLOWING_RATE * rate.max() else "slowing"


def hand_agrees(observed: Observations, samples: Sequence[HandReading], batch: Batch) -> bool | None:
    """Whether the newest hand sample since it held agrees with the float; None without one."""
    series, held = observed.series, observed.held
    if held.since_h is None:
        return None
    since = [one for one in samples if hours_of(one.at, batch) >= held.since_h]
    level = series.gravity_sg[series.floats & (series.hours >= held.since_h)]
    if not since or level.size == 0:
        return None
    return bool(abs(since[-1].gravity_sg - np.median(level)) <= HAND_AGREES_SG)
