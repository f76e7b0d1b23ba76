"""The decision: finished, stalled, or neither yet, and the phase it is in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analysis.assessment.forecast import left_at, range_of
from analysis.assessment.refutation import Stood
from analysis.inference import GAIN_SD, HypothesisMixture, Prior, local_rate
from analysis.model import HOLD_H, STEADY_SG, Batch, Creep, Phase, events_of
from analysis.readings import Hold, Series, fall_of_late, moves_again, recent_fall

SURE: Final = 0.7
"""Chance that less than a point is left from which we call it finished, provided that `FAR` is as good as excluded:
a call half a point early does no harm, one with two points to go bursts bottles."""

FAR_SG: Final = 0.002
FAR: Final = 0.07
"""Chance of two points or more left above which it is not called finished."""

LONG_SURE: Final = 0.4
LONG_FAR: Final = 0.1
"""The same for what has held for `HOLD_H`, in the warm, and ends about where it should: what may then still come is a
fraction of a point, and so slow a tail is beyond what a float shows."""

DOUBT: Final = 0.25
DOUBT_FAR: Final = 0.35
"""Once called finished, it takes clear evidence to take it back: the chance below this, or that of two points above."""

STOOD_H: Final = 33.0
"""Hours without movement before a halt is called a stall: shorter plateaus often pass by themselves."""

UNSEEN_H: Final = 40.0
"""Where only the course as a whole says that it stands, the readings of these hours must show no fall beyond its error:
slow plateaus do."""

REFUTED: Final = 0.25
"""Share of the courses that end before a fall of two points was seen from which the inference as a whole is refuted."""

END_WITHIN_H: Final = 24.0
"""The inferred end may lie this much too early: within these hours the last of the fermentation still falls."""

SLOW_SG: Final = 0.0004
SLOW_BEYOND: Final = 1.5
"""What falls within a day by this much and so many times its error is slow and has not stalled."""

LEAST_HOLD_H: Final = ((-1.6, 12.0), (-2.6, 72.0), (-3.2, 120.0))
"""For how long it must have held to be believed, by how many standard deviations the end lies above the expected one
at most. Further above, only a forced test is believed: a stall looks the same for weeks."""

UNLIKELY_SD: Final = LEAST_HOLD_H[0][0]

HALT_DOUBT: Final = 0.1
HALT_DOUBT_SD: Final = -0.6
"""Share of the stories of a lasting halt above which it is not called finished, where the end is further above the
expected one than this: how much is left is anyone's guess there. Nearer, the chance of two points more says enough."""

STILL_FALLING: Final = 0.05
"""Chance of being finished at most while the gravity is seen to fall by two points a day."""

CREEPING_SG: Final = 0.0008
"""Fall after the hops from which the phase is called creeping."""

HALTED: Final = 0.8
"""Chance of a halt from which we call it stalled."""

LONG_HALTED: Final = 0.6
LONG_STOOD_H: Final = 40.0
"""The same for what has held for these hours, and where the last assessment called it stalled: the first advice, a hand
sample, costs less than another day of waiting."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Finished or stalled, and the chances that this rests on."""

    finished: bool
    stalled: bool
    p_finished: float
    p_halted: float
    by_hold: bool = False
    """Whether it is called finished for its long hold, where the chances alone would not do."""
    refuted: NDArray[np.bool_] | None = None
    """Which courses the readings refute, shape (n,): they end before a fall that was seen. None where none counts."""
    taken_back: bool = False
    fell_sg: float = 0.0
    fell_since_h: float | None = None
    """By how much it has fallen since it was called finished, or seemed to be, and when that was."""
    stands_since_h: float | None = None
    """Where it is stalled, since when, going by the course: hours since pitching."""


def decide(
    series: Series,
    mixture: HypothesisMixture,
    prior: Prior,
    batch: Batch,
    now: datetime,
    *,
    held: Hold,
    chill_h: float | None,
    was_finished: bool,
    was_stalled: bool = False,
    called_h: float | None = None,
    stood: Stood | None = None,
) -> Verdict:
    """Weigh a false call against a late one.

    `was_finished` and `was_stalled` say what the last assessment called it, where that may carry on; `called_h` when it
    was last called finished, hours since pitching. `stood` tells of a fall that has not been followed by a new hold.
    """
    posterior = mixture.posterior
    weight = posterior.weight / posterior.weight.sum()
    # In the cold it is judged by what was left when the chill began: what a chill holds up is not finished.
    judged = posterior.left_now_sg if chill_h is None else left_at(posterior, chill_h)
    p_finished = min(float(weight[judged < STEADY_SG].sum()), 1.0)
    if held.held_h == 0 and recent_fall(series) > FAR_SG:
        # Whatever the stories say: what fell by two points since yesterday had not ended yesterday.
        p_finished = min(p_finished, STILL_FALLING)
    p_far = float(weight[judged >= FAR_SG].sum())
    refuted, taken_back, fell_sg, fell_since_h = None, False, 0.0, None
    if stood is not None:
        # What was observed counts: of a course that ends before the fall, less than a point may come after its end.
        ends_before = posterior.finish_h <= stood.last_h - END_WITHIN_H
        taken_back = called_h is not None and called_h <= stood.last_h
        if taken_back or float(weight[ends_before].sum()) > REFUTED:
            refuted = ends_before | (judged < STEADY_SG)
            p_finished = min(p_finished, STILL_FALLING, float(weight[~ends_before & (judged < STEADY_SG)].sum()))
            was_finished = False
            fell_since_h = (
                called_h if taken_back else range_of(posterior.finish_h[ends_before], weight[ends_before]).p50
            )
            fell_sg = stood.fallen_since(fell_since_h or 0.0)
    halted = np.isfinite(posterior.halted_from_h) & (posterior.left_now_sg > FAR_SG)
    p_halted = float(weight[halted].sum())
    place = place_of_end(mixture, prior, batch, now)
    strict = 0.5 if chill_h is not None else 1.0
    sure = p_finished >= SURE and p_far <= FAR * strict
    long = chill_h is None and held.held_h >= HOLD_H and place > UNLIKELY_SD
    long = long and p_finished >= LONG_SURE and p_far <= LONG_FAR
    if was_finished:
        finished = p_finished >= DOUBT and p_far <= DOUBT_FAR
    else:
        least_h = next((hold_h for least_sd, hold_h in LEAST_HOLD_H if place > least_sd), np.inf)
        lasts = mixture.share.get("lasting", 0.0) + mixture.share.get("again", 0.0)
        halted_instead = lasts > HALT_DOUBT and place < HALT_DOUBT_SD
        finished = (sure or long) and held.held_h >= least_h and not halted_instead
    # The readings need not show it level by level: of a float that scatters by points, or was silent, the course tells.
    p_stood = float(weight[halted & (posterior.halted_from_h <= series.now_h - STOOD_H)].sum())
    fall, error = fall_of_late(series, UNSEEN_H)
    surely = p_halted >= HALTED and (
        held.held_h >= STOOD_H or (p_stood >= HALTED and fall < max(0.5 * STEADY_SG, error))
    )
    fall, error = fall_of_late(series, 24.0)
    slow = fall >= max(SLOW_SG, SLOW_BEYOND * error)
    likely = p_halted >= LONG_HALTED and (held.held_h >= LONG_STOOD_H or was_stalled)
    moves = slow or chill_h is not None or moves_again(series, held)
    stalled = (surely or likely) and not finished and not moves
    return Verdict(
        finished, stalled, p_finished, p_halted,
        by_hold=finished and long and not sure,
        refuted=refuted, taken_back=taken_back, fell_sg=fell_sg, fell_since_h=fell_since_h,
        stands_since_h=range_of(posterior.halted_from_h[halted], weight[halted]).p50 if stalled else None,
    )  # fmt: skip


def place_of_end(mixture: HypothesisMixture, prior: Prior, batch: Batch, now: datetime) -> float:
    """Where the attenuation so far lies in what is expected, in standard deviations; 0 where a forced test tells.

    The float's scale may be off, which widens what is expected.
    """
    if any(e.gravity_sg is not None for e in events_of(batch, "forced test", until=now)):
        return 0.0
    posterior = mixture.posterior
    gone = mixture.original_sg - posterior.terminal_sg - posterior.left_now_sg
    attenuation = float(np.median(gone)) / max(mixture.original_sg - 1.0, 1e-6)
    expected = float(prior.mean[-1])
    return (attenuation - expected) / float(np.hypot(prior.sd[-1], GAIN_SD * expected))


def experienced(batch: Batch, prior: Prior, now: datetime) -> bool:
    """Whether more than the general habits of the drink is known about where this batch will end."""
    tested = any(e.gravity_sg is not None for e in events_of(batch, "forced test", until=now))
    return prior.same_drink > 0 or batch.expected_attenuation is not None or tested


def phase_of(
    verdict: Verdict,
    series: Series,
    mixture: HypothesisMixture,
    *,
    chill_h: float | None,
    held: Hold,
    creep: Creep | None,
) -> Phase:
    """The present phase in the trade's terms."""
    if chill_h is not None:
        return "chilled"
    if verdict.finished:
        return "finished"
    if verdict.stalled:
        return "stalled"
    posterior = mixture.posterior
    done = float(posterior.weight @ posterior.done_now / posterior.weight.sum())
    if creep is not None and creep.fall_sg.p50 > CREEPING_SG:
        return "creeping"
    if done < 0.03:
        return "lag"
    if held.held_h >= 24.0 or (done > 0.95 and recent_fall(series) < STEADY_SG):
        return "steady"
    rate = local_rate(series)
    return "active" if done < 0.75 and rate[-1] > 0.25 * rate.max() else "slowing"


def hand_agrees(series: Series, held: Hold) -> bool | None:
    """Whether the newest hand sample since it held agrees with the float; None without one."""
    if held.since_h is None:
        return None
    hand = (~series.floats) & (series.hours >= held.since_h)
    level = series.gravity_sg[series.floats & (series.hours >= held.since_h)]
    if not hand.any() or level.size == 0:
        return None
    return bool(abs(series.gravity_sg[hand][-1] - np.median(level)) <= 0.003)
