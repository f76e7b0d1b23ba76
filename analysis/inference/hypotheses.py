"""Which hypotheses are weighed for a batch, and what each weighs.

A plain fermentation is always told. A halt that still lasts is told where the gravity has hardly moved of late, a
halt that is over where the record shows a plateau with a fall after it, and both where both are so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

import numpy as np
from scipy.special import ndtr

from analysis.inference.balance import Balance, balanced
from analysis.inference.importance_sampling import WeightedSample
from analysis.inference.likelihood import FORCED_SD_SG, GAIN_SD, Halt, Hypothesis
from analysis.inference.observation_error import local_rate
from analysis.inference.posterior import DRAWS, PosteriorDraws, imply
from analysis.inference.prior import Prior
from analysis.inference.setting import Original, Setting
from analysis.inference.steps import additions_of
from analysis.model import Batch, Floats, events_of
from analysis.packaging import forced_end
from analysis.readings import Series, fall_of_late, hold, hours_of, levels, original_gravity
from analysis.thresholds import (
    CHILL_C,
    ENDED,
    ENDED_FEW,
    ENDED_FURTHER_SG,
    FLAT_BEYOND,
    FLAT_FROM_H,
    FLAT_H,
    FLAT_HELD_H,
    FLAT_LEAST_RATE_SG_H,
    FLAT_SHARE,
    FLAT_UNSEEN_H,
    HALT_BEGAN_BEFORE,
    HALT_ODDS,
    LEAST_BINS,
    LEVEL_H,
    STAND_BEFORE_SG,
    STAND_ENDED_WITHIN_H,
    STAND_GOES_ON_SG,
    STAND_H,
    STAND_SG,
    STAND_SLOWER,
    STEADY_SG,
)

_FEW_DRAWS: Final = 64


@dataclass(frozen=True, slots=True)
class HypothesisMixture:
    """The weighted courses, and how much of the weight each hypothesis carries."""

    posterior: PosteriorDraws
    original_sg: float
    original_known: bool
    share: dict[Halt, float]
    added: Balance | None = None
    """With what was added; None where that is not told."""

    @property
    def balance(self) -> Balance:
        """What the batch holds; that of its must where nothing was added."""
        return self.added or Balance(self.original_sg)


@dataclass(frozen=True, slots=True)
class _Weighed:
    """A hypothesis with its prior odds and its courses."""

    odds: float
    hypothesis: Hypothesis
    weighted: WeightedSample

    @classmethod
    def of(cls, odds: float, hypothesis: Hypothesis) -> _Weighed:
        return cls(odds, hypothesis, hypothesis.run())

    @property
    def score(self) -> float:
        """Logarithm of odds times evidence."""
        return float(np.log(self.odds) + self.weighted.log_evidence)


def weigh_hypotheses(
    series: Series, batch: Batch, prior: Prior, now_h: float, *, past_h: Floats | None = None
) -> HypothesisMixture | None:
    """Weigh the hypotheses that fit the series; None where too few readings were taken in the warm.

    `past_h` are the hours at which the courses are told up to now, see `imply`.
    """
    warm = without_cold(series)
    if warm.hours.size < LEAST_BINS:
        return None
    original = Original(*original_gravity(batch, warm))
    added = additions_of(warm, batch, original.gravity_sg, now_h)
    hops = [hours_of(e.at, batch) for e in events_of(batch, "dry hop") if hours_of(e.at, batch) <= now_h]
    setting = Setting.of(
        warm,
        prior,
        original,
        creep_from_h=hops[0] if hops else None,
        additions=added,
        forced_sg=forced_end(batch, original.gravity_sg, batch.pitched_at + timedelta(hours=now_h)),
    )
    weighed = _told(setting)
    score = np.array([one.score for one in weighed])
    share = np.exp(score - score.max())
    share /= share.sum()
    parts = []
    for part, one in zip(share, weighed, strict=True):
        draws = int(np.ceil(part * DRAWS))
        if part > 1e-3:
            how_many = max(draws, 24)
            parts.append(imply(one.hypothesis, one.weighted, draws=how_many, weight=float(part), past_h=past_h))
    halts: dict[Halt, float] = {one.hypothesis.halt: float(part) for part, one in zip(share, weighed, strict=True)}
    joined = _joined(parts)
    balance = balanced(added, joined, batch, original, now_h)
    return HypothesisMixture(joined, original.gravity_sg, original.known, halts, balance)


def _told(setting: Setting) -> list[_Weighed]:
    """Those that the readings call for: no halt, and a lasting one, one that is over, or one after the other."""
    warm = setting.series
    plain = _Weighed.of(1.0 - HALT_ODDS, Hypothesis(setting))
    weighed = [plain]
    rate = local_rate(warm)
    flat = flat_of_late(warm, rate)
    stands = halt_that_lasts(plain.hypothesis, plain.weighted)
    if stands is not None:
        weighed.append(_Weighed.of(HALT_ODDS, stands))
    plateau = plateau_in(warm, rate) or (None if stands is not None else stood_until_lately(warm, rate))
    if plateau is None:
        return weighed
    over = _Weighed.of(HALT_ODDS, Hypothesis(setting, over_h=plateau))
    weighed.append(over)
    long_since = float(warm.hours[-1]) - plateau[1] > FLAT_H
    if flat and long_since and not ended_as_expected(over.hypothesis, over.weighted):
        # One stand explains another away, be it a float that stuck: it may have halted since.
        began = _window(can_halt_from(warm, rate, plateau[1]), over)
        weighed.append(_Weighed.of(HALT_ODDS**2, Hypothesis(setting, over_h=plateau, lasting_h=began)))
    return weighed


def halt_that_lasts(without: Hypothesis, weighted: WeightedSample) -> Hypothesis | None:
    """That it stands short of its end; None where it does not stand, or has ended as was expected `without` it."""
    warm = without.setting.series
    rate = local_rate(warm)
    if not flat_of_late(warm, rate) or ended_as_expected(without, weighted):
        return None
    began = _window(can_halt_from(warm, rate, 0.0), _Weighed(1.0, without, weighted))
    return Hypothesis(without.setting, lasting_h=began)


def ended_as_expected(hypothesis: Hypothesis, weighted: WeightedSample) -> bool:
    """Whether by this hypothesis it has as good as surely ended, where few such batches would go two points further.

    A halt would then be one of little consequence: it is not worth telling.
    """
    size = weighted.extra[0]
    if float(weighted.weight[hypothesis.fall.left_now_sg(weighted.z, size) < STEADY_SG].sum()) < ENDED:
        return False
    setting = hypothesis.setting
    extract = setting.original_sg - 1.0
    expected = setting.prior.expected_attenuation * extract
    sd = float(np.hypot(setting.prior.attenuation_sd, GAIN_SD)) * extract
    if setting.forced_sg is not None:
        expected, sd = setting.original_sg - setting.forced_sg, FORCED_SD_SG
    return bool(ndtr((expected - float(weighted.weight @ size) - ENDED_FURTHER_SG) / sd) < ENDED_FEW)


def without_cold(series: Series) -> Series:
    """The series without what was read in the cold: a plateau there says nothing, and a float errs more."""
    if not series.temperature_known:
        return series
    at_bins = np.interp(series.hours, series.grid_hours, series.grid_temperature_c)
    keep = at_bins >= series.usual_c - CHILL_C
    if keep.all():
        return series
    return replace(
        series,
        hours=series.hours[keep],
        gravity_sg=series.gravity_sg[keep],
        white_sd_sg=series.white_sd_sg[keep],
        count=series.count[keep],
        segment=series.segment[keep],
        by_hand=series.by_hand[keep],
    )


def flat_of_late(series: Series, rate: Floats) -> bool:
    """Whether it has hardly moved over the last hours, after having moved."""
    if series.hours[-1] < FLAT_FROM_H or rate.max() < FLAT_LEAST_RATE_SG_H:
        return False
    # After a gap the last hours hold few bins: a halt must not go untold for want of readings.
    first = min(int(np.searchsorted(series.hours, series.hours[-1] - FLAT_H, side="right")), series.hours.size - 3)
    if np.median(rate[first:]) < FLAT_SHARE * rate.max():
        return True
    # One odd bin at the end makes all the last rates odd, but not the levels of half a day.
    if hold(series, until_h=float(series.hours[-1])).held_h >= FLAT_HELD_H:
        return True
    # Of a float that scatters by points, neither tells.
    return any(fall < FLAT_BEYOND * error for fall, error in (fall_of_late(series, span_h) for span_h in FLAT_UNSEEN_H))


def _window(from_h: float, without: _Weighed) -> tuple[float, float]:
    """When a halt that lasts can have begun: while by the hypothesis without it there was something left to ferment.

    Were it as likely to have begun at any time of a stand, it would seem the less likely the longer that lasts.
    """
    newest_h = float(without.hypothesis.setting.series.hours[-1])
    ended = np.minimum(imply(without.hypothesis, without.weighted, draws=_FEW_DRAWS).finish_h, newest_h)
    return from_h, float(min(max(np.quantile(ended, HALT_BEGAN_BEFORE), from_h) + FLAT_H, newest_h))


def can_halt_from(series: Series, rate: Floats, from_h: float) -> float:
    """From when on a halt can have begun: it was quick before, or half of the fall since `from_h` was done.

    The quickest rate alone may be the noise of a float, in the middle of the stand.
    """
    since = series.hours >= from_h
    t, g = series.hours[since], series.gravity_sg[since]
    quickest = float(t[int(np.argmax(rate[since]))])
    level = levels(t, g, LEVEL_H)
    half = float(t[int(np.argmax(level <= 0.5 * (level[0] + level[-1])))])
    return min(quickest, half)


def plateau_in(series: Series, rate: Floats) -> tuple[float, float] | None:
    """Begin and end (hours) of the longest stand that has a clear fall before and after it, None without one.

    A stand is a span over which half-day levels fall by less than a point and a half, much slower than what came
    before and what came after; a tail that only slows down has nothing faster after it.
    """
    t = series.hours
    if t.size < 12:
        return None
    level = np.minimum.accumulate(levels(t, series.gravity_sg, LEVEL_H))
    end = np.searchsorted(-level, -(level - STAND_SG), side="left") - 1
    span = np.where(level[end] - level[-1] > STAND_GOES_ON_SG, t[end] - t, 0.0)
    for i in np.argsort(span)[::-1][:8]:
        j = int(end[i])
        if span[i] < STAND_H or j >= t.size - 2:
            continue
        inside = (level[i] - level[j]) / span[i]
        quicker, goes_on = STAND_SLOWER
        after = float(np.max(rate[j:], initial=0.0))
        before = float(np.max(rate[: i + 1], initial=0.0))
        if level[0] - level[i] > STAND_BEFORE_SG and after > goes_on * inside and before > quicker * inside:
            # A step of the float or a gap may have cut the stand in two: go back while it hardly moved.
            first = int(i)
            while first > 1 and level[first - 1] - level[first] < FLAT_SHARE * before * (t[first] - t[first - 1]):
                first -= 1
            return float(t[first]) + 3.0, float(t[j]) - 3.0
    return None


def stood_until_lately(series: Series, rate: Floats) -> tuple[float, float] | None:
    """Begin and end of a stand from which it has moved again only during the last day, too little to see by level."""
    t = series.hours
    low = rate < FLAT_SHARE * rate.max()
    if t.size < 12 or low[-1] or not low[t > t[-1] - STAND_ENDED_WITHIN_H].any():
        return None
    end = int(np.flatnonzero(low)[-1])
    begin = end - int(np.argmin(low[end::-1])) + 1 if not low[: end + 1].all() else 0
    if t[end] - t[begin] < 0.5 * FLAT_H or begin == 0:
        return None
    return float(t[begin]), float(t[end])


def _joined(parts: Sequence[PosteriorDraws]) -> PosteriorDraws:
    def join(name: str) -> Floats:
        return np.concatenate([getattr(c, name) for c in parts])

    weight = join("weight")
    return PosteriorDraws(
        weight=weight / weight.sum(),
        fall_sg=join("fall_sg"),
        finish_h=join("finish_h"),
        left_now_sg=join("left_now_sg"),
        crept_sg=join("crept_sg"),
        halted_from_h=join("halted_from_h"),
        at_h=parts[0].at_h,
        gravity_sg=join("gravity_sg"),
        left_sg=join("left_sg"),
        terminal_sg=join("terminal_sg"),
        done_now=join("done_now"),
        jumps_sg=join("jumps_sg"),
        jumps_h=parts[0].jumps_h,
        effective=float(sum(c.effective for c in parts)),
    )
