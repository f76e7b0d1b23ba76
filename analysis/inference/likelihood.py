"""From a series to weighted courses: the likelihood of one variant of the story, and what its courses imply.

A variant says what may have happened besides a plain fermentation: a creep after hops, a halt that still lasts, a
halt that is over. Their weights are their prior odds times their evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.fermentation import Shapes, Warmth, warmer, warmth
from analysis.inference.importance_sampling import WeightedSample, sample
from analysis.inference.observation_error import WANDER_SD_SG, ObservationError, Whitener, local_rate
from analysis.inference.prior import Prior
from analysis.inference.tail_duration import tail_durations
from analysis.model import Floats
from analysis.readings import Series

Halt = Literal["none", "lasting", "over", "again"]
"""No halt, one that still lasts, one that is over, and one that lasts after one that is over."""

SHAPE: Final = 9
WARMTH: Final = 11
WANDER: Final = 11
FIXED: Final = 12
GAIN_SD: Final = 0.025
"""Error of a float's scale: a fall of 50 points may read as 49 or 51 (common practice)."""

FORCED_SD_SG: Final = 0.0015
"""How well a forced test foretells the end in the vessel (common practice: a point or two)."""

_TIMING_H: Final = 1.5
_TIMING_SHARE: Final = 0.03
"""How far the family of courses may miss the true one's timing: hours, and a share of the time since pitching."""

_COUNTS: Final = 1e-5

_LEAK: Final = 0.02
"""How fast it went on during a halt that is over, against its usual pace."""

_STANDS: Final = 0.001
"""The same for one that lasts, within a factor of twelve either way: many stand quite still, however long (no source).
Were a little movement taken for granted, a halt would seem the less likely the longer it stands."""

_OG_SD_SG: Final = 0.001
_OG_UNKNOWN_SD_SG: Final = 0.004


@dataclass(frozen=True, slots=True)
class Addition:
    """A feed (its jump is above zero) or a dilution, which takes a share of everything away."""

    at_h: float
    jump_sg: float
    diluted: float


@dataclass(frozen=True, slots=True)
class Setting:
    """What stays the same for all variants of one assessment."""

    series: Series
    prior: Prior
    warm: Warmth
    original_sg: float
    original_known: bool
    creep_from_h: float | None
    timing_sd_sg: Floats
    bins: NDArray[np.intp]
    additions: tuple[Addition, ...] = ()
    forced_sg: float | None = None

    @classmethod
    def of(
        cls,
        series: Series,
        prior: Prior,
        original_sg: float,
        *,
        original_known: bool,
        creep_from_h: float | None = None,
        additions: tuple[Addition, ...] = (),
        forced_sg: float | None = None,
    ) -> Setting:
        """Prepare the warmth-weighted time and the timing error."""
        warm = warmth(series.grid_hours, series.grid_temperature_c, series.reference_c, series.usual_c)
        return cls(
            series,
            prior,
            warm,
            original_sg,
            original_known,
            creep_from_h,
            np.hypot(_TIMING_H, _TIMING_SHARE * series.hours) * local_rate(series),
            np.searchsorted(series.grid_hours, series.hours).clip(0, series.grid_hours.size - 1),
            additions,
            forced_sg,
        )


@dataclass(slots=True)
class Hypothesis:
    """One variant: its likelihood over standardised parameters.

    `over_h`: when the halt that is over was seen to begin and end; `lasting_h`: when the one that lasts can have begun.
    """

    setting: Setting
    over_h: tuple[float, float] | None = None
    lasting_h: tuple[float, float] | None = None
    noise: ObservationError = field(default_factory=ObservationError)
    whitener: Whitener = field(init=False)
    _white_y: Floats = field(init=False)

    def __post_init__(self) -> None:
        level = _OG_SD_SG if self.setting.original_known else _OG_UNKNOWN_SD_SG
        series = self.setting.series
        self.whitener = Whitener.of(self.noise.covariances(series, self.setting.timing_sd_sg, level))
        self._white_y = self.whitener.matrices @ (series.gravity_sg - self.setting.original_sg)

    @property
    def halt(self) -> Halt:
        """Which halts it tells of."""
        if self.lasting_h is None:
            return "none" if self.over_h is None else "over"
        return "lasting" if self.over_h is None else "again"

    @property
    def stands(self) -> bool:
        """Whether by this story it stands still now."""
        return self.lasting_h is not None

    @property
    def dimensions(self) -> int:
        """Number of parameters."""
        creep = 2 if self.setting.creep_from_h is not None else 0
        feeds = 2 if any(a.jump_sg > 0 for a in self.setting.additions) else 0
        return FIXED + creep + feeds + 3 * (self.over_h is not None) + 2 * (self.lasting_h is not None)

    def theta(self, z: Floats) -> Floats:
        """Parameters of the courses, shape (n, 11)."""
        prior = self.setting.prior
        theta = z[:, :WARMTH].copy()
        theta[:, :SHAPE] = prior.mean[:SHAPE] + z[:, :SHAPE] @ prior.root[:SHAPE, :SHAPE].T
        return np.asarray(theta)

    def log_wander(self, z: Floats) -> Floats:
        """Logarithm of the size of the float's wandering, shape (n,)."""
        prior = self.setting.prior
        known = z[:, :SHAPE] @ prior.root[SHAPE, :SHAPE]
        return np.asarray(prior.mean[SHAPE] + known + z[:, WANDER] * prior.root[SHAPE, SHAPE])

    def creep(self, z: Floats) -> tuple[Floats, Floats]:
        """Size (SG) and time constant (warmth-weighted hours) of the fall after hops."""
        size = np.exp(np.log(0.001) + 1.4 * z[:, FIXED])
        return np.minimum(size, 0.02), np.exp(np.log(70.0) + 0.5 * z[:, FIXED + 1])

    def feed(self, z: Floats) -> tuple[Floats, Floats]:
        """Apparent fall by one point of added sugar, and how fast it goes against the first sugar, per row."""
        k = FIXED + (2 if self.setting.creep_from_h is not None else 0)
        return np.asarray(np.exp(0.14 + 0.1 * z[:, k])), np.asarray(np.exp(0.5 * z[:, k + 1]))

    def tau(self, z: Floats, theta: Floats, at: Floats | None = None, later_c: Floats | None = None) -> Floats:
        """Warmth-weighted time at the bins, or at the times `at` (hours, shape (m,)), with the halts taken out.

        From now on it is warmer by `later_c`, shape (n,).
        """
        warm = self.setting.warm
        law = warm.law(theta)
        tau = np.asarray(warm.tau[law][:, self.setting.bins] if at is None else tau_at(warm, at)[law])
        now_h = self.setting.series.now_h
        if at is not None and later_c is not None:
            gain = warm.speed_now[law] * (warmer(self.setting.series.grid_temperature_c[-1], later_c, theta) - 1.0)
            tau = tau + gain[:, None] * np.maximum(at - now_h, 0.0)
        whole = tau
        pace, goes_on = np.ones((1, 1)), np.zeros((1, 1))
        if self.over_h is not None:
            # The plateau was seen; its edges are uncertain by half a day or so.
            k = self.dimensions - 3 - 2 * self.stands
            low, high = self.over_h
            begin = np.maximum(low + 9.0 * (z[:, k] - 0.3), 0.0)
            end = np.minimum(np.maximum(high + 9.0 * (z[:, k + 1] + 0.3), begin + 4.0), now_h)
            at_begin, at_end = (_tau_each(warm, law, edge)[:, None] for edge in (begin, end))
            goes_on = at_end  # one halt is over before the next begins
            # What comes back comes back at a pace of its own: fewer cells, or warmed, or roused.
            pace = np.exp(-0.2 + 0.5 * z[:, k + 2])[:, None]
            inside = np.clip(whole, at_begin, at_end) - at_begin
            tau = tau - (1.0 - _LEAK) * inside + (pace - 1.0) * np.maximum(whole - at_end, 0.0)
        if self.lasting_h is not None:
            at_end = _tau_each(warm, law, np.full(law.size, now_h))[:, None]
            at_begin = np.maximum(_tau_each(warm, law, self.halted_from(z))[:, None], goes_on)
            leak = np.minimum(_STANDS * np.exp(2.5 * z[:, -1]), 0.3)[:, None]
            tau = tau - pace * (1.0 - leak) * (np.clip(whole, at_begin, at_end) - at_begin)
        return np.asarray(tau)

    def halted_from(self, z: Floats) -> Floats:
        """When the halt that lasts began, hours since pitching, shape (n,); infinite where none does."""
        if self.lasting_h is None:
            return np.full(z.shape[0], np.inf)
        low, high = self.lasting_h
        return np.asarray(low + (high - low) * ndtr(z[:, -2]))

    def falls(self, z: Floats, at: Floats | None = None, later_c: Floats | None = None) -> tuple[Floats, Floats]:
        """Fraction of the fall done, and what other causes took away (SG), each of shape (n, m).

        Other causes are creep after hops and feeds, which add first (below zero) and take away more later.
        """
        setting = self.setting
        theta = self.theta(z)
        shapes = Shapes.of(theta)
        tau = self.tau(z, theta, at, later_c)
        done = shapes.fall(tau)
        if setting.creep_from_h is None and not setting.additions:
            return done, np.zeros((1, 1))
        law = setting.warm.law(theta)
        other = np.zeros_like(done)
        if setting.creep_from_h is not None:
            since = tau - _tau_each(setting.warm, law, np.full(law.size, setting.creep_from_h))[:, None]
            size, slow = self.creep(z)
            other = other + size[:, None] * -np.expm1(-np.maximum(since, 0.0) / slow[:, None])
        hours = setting.series.hours if at is None else at
        for addition in setting.additions:
            after = hours >= addition.at_h
            if addition.jump_sg > 0:
                apparent, pace = self.feed(z)
                since = np.maximum(tau - _tau_each(setting.warm, law, np.full(law.size, addition.at_h))[:, None], 0.0)
                ratio = np.clip((setting.original_sg - 1.0) / addition.jump_sg, 1.0, 6.0)
                taken = shapes.fall_after((shapes.rate[:, None] * since * (pace * ratio)[:, None]).astype(np.float32))
                other = other + np.where(after, addition.jump_sg * (apparent[:, None] * taken - 1.0), 0.0)
            else:
                then = done[:, max(int(np.searchsorted(hours, addition.at_h)) - 1, 0)][:, None]
                done = np.where(after, then + (1.0 - addition.diluted) * (done - then), done)
                other = other + np.where(after, -addition.jump_sg, 0.0)
        return done, other

    def other_total(self, z: Floats) -> Floats:
        """What other causes take away in the end, SG, shape (n,)."""
        total = np.zeros(z.shape[0])
        if self.setting.creep_from_h is not None:
            total = total + self.creep(z)[0]
        for addition in self.setting.additions:
            total = total + (addition.jump_sg * (self.feed(z)[0] - 1.0) if addition.jump_sg > 0 else -addition.jump_sg)
        return np.asarray(total)

    def log_likelihood(self, z: Floats) -> tuple[Floats, ...]:
        """Log-likelihood with the size of the fall integrated out, and mean and sd of that size (SG)."""
        done, crept = self.falls(z)
        prior = self.setting.prior
        known = np.concatenate([z[:, :SHAPE], z[:, WANDER : WANDER + 1]], axis=1)
        # What is rounded away is an error that lasts as long as the gravity takes to move by a digit.
        rounding = np.log(max(self.setting.series.rounding_sg, 1e-9))
        level = self.noise.level(np.maximum(self.log_wander(z), rounding))
        white_f = np.empty_like(done)
        white_y = np.empty_like(done)
        for k in range(len(WANDER_SD_SG)):
            rows = level == k
            if rows.any():
                matrix = self.whitener.matrices[k].T
                white_f[rows] = done[rows] @ matrix
                white_y[rows] = self._white_y[k] + (crept[rows] @ matrix if crept.size > 1 else 0.0)
        extract = self.setting.original_sg - 1.0
        prior_mean = (prior.mean[-1] + known @ prior.root[-1, :-1]) * extract
        prior_sd = np.hypot(prior.root[-1, -1] * extract, GAIN_SD * prior.mean[-1] * extract)
        if self.setting.forced_sg is not None:
            # The side sample's end gravity is an observation of original gravity minus the whole fall.
            its_mean = self.setting.original_sg - self.setting.forced_sg
            its_precision = FORCED_SD_SG**-2
            total = prior_sd**-2 + its_precision
            prior_mean = (prior_mean * prior_sd**-2 + its_mean * its_precision) / total
            prior_sd = np.full_like(prior_mean, total**-0.5)
        precision = prior_sd**-2 + np.square(white_f).sum(axis=1)
        pull = prior_mean / prior_sd**2 - (white_f * white_y).sum(axis=1)
        size = pull / precision
        log_like = (
            -0.5 * np.square(white_y).sum(axis=1)
            + 0.5 * pull**2 / precision
            - 0.5 * (prior_mean / prior_sd) ** 2
            - 0.5 * np.log(precision * prior_sd**2)
            - self.whitener.log_determinants[level]
        )
        return log_like, size, precision**-0.5

    def left_now(self, z: Floats) -> Floats:
        """Fraction of the fall that is left now, shape (n,)."""
        return np.asarray(1.0 - self.falls(z, np.array([self.setting.series.now_h]))[0][:, 0])

    def run_by_readings(self) -> WeightedSample:
        """Sample this variant, without what earlier batches say of the ending."""
        return sample(self.log_likelihood, self.dimensions)

    def run(self) -> WeightedSample:
        """Sample this variant."""
        return self.with_ending(self.run_by_readings())

    def with_ending(self, weighted: WeightedSample) -> WeightedSample:
        """Weighed by what earlier batches say of the ending as well."""
        ending = self.setting.prior.ending
        if ending is None:
            return weighted
        log_weight = np.full(weighted.weight.size, -np.inf)
        count = weighted.weight > _COUNTS * weighted.weight.max()
        log_weight[count] = ending.log_weight(tail_durations(self.theta(weighted.z[count]), weighted.extra[0][count]))
        return weighted.reweighed(log_weight)


def tau_at(warm: Warmth, at: Floats) -> Floats:
    """Warmth-weighted time of every law at times that may lie in the future, where the last temperature is kept."""
    last = warm.hours[-1]
    inside = np.minimum(at, last)
    place = np.clip(np.searchsorted(warm.hours, inside, side="right") - 1, 0, warm.hours.size - 2)
    step = warm.hours[place + 1] - warm.hours[place]
    part = (inside - warm.hours[place]) / step
    tau = warm.tau[:, place] * (1 - part) + warm.tau[:, place + 1] * part
    return np.asarray(tau + warm.speed_now[:, None] * np.maximum(at - last, 0.0)[None, :])


def _tau_each(warm: Warmth, law: Floats, at: Floats) -> Floats:
    """Warmth-weighted time of each course's own law at its own time, shape (n,)."""
    place = np.clip(np.searchsorted(warm.hours, at, side="right") - 1, 0, warm.hours.size - 2)
    part = (at - warm.hours[place]) / (warm.hours[place + 1] - warm.hours[place])
    return np.asarray(warm.tau[law, place] * (1 - part) + warm.tau[law, place + 1] * part)
