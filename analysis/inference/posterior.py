"""What the weighted courses of one hypothesis imply: when each ends, and the gravity over time."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.inference.gravity_fall import Effects
from analysis.inference.importance_sampling import WeightedSample, normals
from analysis.inference.likelihood import Hypothesis
from analysis.inference.setting import Setting
from analysis.inference.temperature_schedule import risen
from analysis.model import Floats
from analysis.thresholds import STEADY_SG

HORIZON_H: Final = 24.0 * 120


@dataclass(frozen=True, slots=True)
class PosteriorDraws:
    """Equally informed courses of all hypotheses, weighted. Arrays over courses have shape (n,).

    `halted_from_h` is when a halt that lasts began, infinite where none does (hours since pitching).
    `gravity_sg` and `left_sg` have shape (n, m) on `at_h`: true gravity, and what has yet to fall.
    """

    weight: Floats
    fall_sg: Floats
    finish_h: Floats
    left_now_sg: Floats
    crept_sg: Floats
    halted_from_h: Floats
    at_h: Floats
    gravity_sg: Floats
    left_sg: Floats
    terminal_sg: Floats
    done_now: Floats
    effective: float
    jumps_sg: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """By how much each addition moved the gravity, SG, shape (n, additions)."""
    jumps_h: Floats = field(default_factory=lambda: np.zeros(0))
    """When each addition was made, hours since pitching, shape (additions,)."""


DRAWS: Final = 384
RIGHT_BEFORE_H: Final = 0.01
"""So long before an addition the course is told as well, that its step is seen as one."""
RESUMES_H: Final = 72.0
"""Mean time until a halted fermentation moves again by itself or by the brewer's doing (no source)."""


def imply(
    hypothesis: Hypothesis,
    weighted: WeightedSample,
    *,
    draws: int = DRAWS,
    weight: float = 1.0,
    stream: int = 50,
    past_h: Floats | None = None,
) -> PosteriorDraws:
    """What one hypothesis's courses say about the finish and the gravity over time, equally weighted.

    `past_h` are the hours from pitching to now at which the course is told; about forty where None.
    """
    setting = hypothesis.setting
    now_h = setting.series.now_h
    pick = np.searchsorted(np.cumsum(weighted.weight), (np.arange(draws) + 0.5) / draws).clip(
        0, weighted.weight.size - 1
    )
    z = weighted.z[pick]
    draw = normals(draws, 2, stream)
    size = np.maximum(weighted.extra[0][pick] + weighted.extra[1][pick] * np.clip(draw[:, 0], -3, 3), 1e-4)
    past, at = _hours_told(setting, past_h)
    effects = hypothesis.fall.effects(z, at, _later(hypothesis, z, normals(draws, 1, stream + 1)[:, 0]))
    excess = _excess(weighted, pick, draw[:, 0], stream)
    done, other, other_end = effects.done, effects.other, effects.other_end
    for k, (step, step_end) in enumerate(zip(effects.steps, effects.steps_end, strict=True)):
        other, other_end = other - excess[:, k, None] * step, other_end - excess[:, k] * step_end
    gone = size[:, None] * done + other
    whole = size * effects.end + other_end
    left = whole[:, None] - gone
    here = past.size - 1
    finish = first_below(at, left, STEADY_SG)
    if hypothesis.stands:
        # Until something changes it stays where it is: a few days for most, for good for some.
        wait = -RESUMES_H * np.log(1.0 - ndtr(draw[:, 1]))
        finish = np.where(finish > now_h, np.where(wait > 3.0 * RESUMES_H, np.inf, finish + wait), finish)
    crept = np.zeros(draws)
    if setting.creep_from_h is not None:
        crept = (
            np.broadcast_to(other, done.shape)[:, here]
            if not setting.additions
            else hypothesis.fall.crept_in_the_end(z)
        )
    return PosteriorDraws(
        weight=np.full(draws, weight / draws),
        fall_sg=size,
        finish_h=finish,
        left_now_sg=left[:, here],
        crept_sg=crept,
        halted_from_h=hypothesis.clock.halted_from(z),
        at_h=at,
        gravity_sg=setting.original_sg - gone,
        left_sg=left,
        terminal_sg=setting.original_sg - whole,
        done_now=_done(effects, left, size, here),
        effective=weighted.effective,
        jumps_sg=np.array([one.jump_sg for one in setting.additions]) + excess,
        jumps_h=np.array([one.at_h for one in setting.additions]),
    )


def _hours_told(setting: Setting, past_h: Floats | None) -> tuple[Floats, Floats]:
    """The hours up to now at which courses are told, now the last of them, and these with the ones to come."""
    now_h = setting.series.now_h
    steps_h = [hour for one in setting.additions for hour in (one.at_h - RIGHT_BEFORE_H, one.at_h) if hour > 0.0]
    asked_h = np.arange(0.0, now_h, max(4.0, now_h / 40)) if past_h is None else past_h[past_h < now_h]
    past = np.unique(np.concatenate([asked_h, steps_h, [now_h]]))
    future = now_h + np.concatenate([np.arange(4.0, 72.1, 4.0), np.geomspace(80.0, HORIZON_H, 22)])
    return past, np.concatenate([past, future])


def _excess(weighted: WeightedSample, pick: NDArray[np.intp], first: Floats, stream: int) -> Floats:
    """By how much each addition's step is greater than reckoned, SG, shape (n, additions).

    `first`, shape (n,), is the normal by which the size of the fall was drawn: sizes and steps hang together.
    """
    if len(weighted.extra) < 4:
        return np.zeros((pick.size, 0))
    mean, root = weighted.extra[2][pick], weighted.extra[3][pick]
    others = normals(pick.size, mean.shape[1] - 1, stream + 2)
    draw = np.clip(np.column_stack([first, others]), -3, 3)
    return np.asarray(mean[:, 1:] + (root @ draw[:, :, None])[:, 1:, 0])


def _done(effects: Effects, left_sg: Floats, size_sg: Floats, here: int) -> Floats:
    """Which fraction of all that ferments has fermented by now, what was fed included, shape (n,)."""
    if effects.fed_end is None:
        return effects.done[:, here]
    whole = size_sg * effects.end + effects.fed_end
    return np.asarray(np.clip(1.0 - left_sg[:, here] / np.maximum(whole, 1e-6), 0.0, 1.0))


def _later(hypothesis: Hypothesis, z: Floats, normal: Floats) -> Floats | None:
    """How much warmer it gets from now on by what was done with earlier batches, shape (n,); None where unknown."""
    setting, series = hypothesis.setting, hypothesis.setting.series
    schedule = setting.prior.schedule
    if schedule is None or not series.temperature_known:
        return None
    share = float(np.median(1.0 - hypothesis.fall.left_now(z)))
    return schedule.draws(share, risen(series.grid_hours, series.grid_temperature_c, series.now_h), normal)


def first_below(at: Floats, left_sg: Floats, limit_sg: float) -> Floats:
    """When each course has less than `limit_sg` left for good, shape (n,); infinite where not within the horizon."""
    above = left_sg >= limit_sg
    last = left_sg.shape[1] - 1 - np.argmax(above[:, ::-1], axis=1)
    never = above[:, -1]
    none = ~above.any(axis=1)
    i = np.clip(last, 0, left_sg.shape[1] - 2)
    rows = np.arange(i.size)
    high, low = np.log(np.maximum(left_sg[rows, i], 1e-9)), np.log(np.maximum(left_sg[rows, i + 1], 1e-9))
    part = np.clip((high - np.log(limit_sg)) / np.maximum(high - low, 1e-12), 0, 1)
    when = at[i] + part * (at[i + 1] - at[i])
    when = np.where(none, 0.0, when)
    return np.where(never, np.inf, when)
