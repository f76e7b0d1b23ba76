"""The likelihood of one hypothesis over its standardised parameters, and the weighted courses that follow from it.

A hypothesis says what may have happened besides a plain fermentation: a creep after hops, a halt that still lasts, a
halt that is over. Their weights are their prior odds times their evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from analysis.inference.clock import Clock
from analysis.inference.gravity_fall import GravityFall
from analysis.inference.importance_sampling import WeightedSample, sample
from analysis.inference.layout import Layout
from analysis.inference.observation_error import WANDER_SD_SG, ObservationError, Whitener
from analysis.inference.setting import Setting
from analysis.inference.tail_duration import tail_durations
from analysis.model import Floats

Halt = Literal["none", "lasting", "over", "again"]
"""No halt, one that still lasts, one that is over, and one that lasts after one that is over."""

GAIN_SD: Final = 0.025
"""Error of a float's scale: a fall of 50 points may read as 49 or 51 (common practice)."""

FORCED_SD_SG: Final = 0.0015
"""How well a forced test foretells the end in the vessel (common practice: a point or two)."""

_COUNTS: Final = 1e-5

_OG_SD_SG: Final = 0.001
_OG_UNKNOWN_SD_SG: Final = 0.004


@dataclass(slots=True)
class Hypothesis:
    """One hypothesis: its likelihood over standardised parameters, whose columns `layout` names.

    `over_h`: when the halt that is over was seen to begin and end; `lasting_h`: when the one that lasts can have begun.
    """

    setting: Setting
    over_h: tuple[float, float] | None = None
    lasting_h: tuple[float, float] | None = None
    noise: ObservationError = field(default_factory=ObservationError)
    layout: Layout = field(init=False)
    clock: Clock = field(init=False)
    fall: GravityFall = field(init=False)
    whitener: Whitener = field(init=False)
    _white_y: Floats = field(init=False)

    def __post_init__(self) -> None:
        setting = self.setting
        self.layout = Layout.of(
            creeps=setting.creep_from_h is not None,
            fed=setting.fed,
            over=self.over_h is not None,
            lasting=self.lasting_h is not None,
        )
        self.clock = Clock(setting, self.layout, self.over_h, self.lasting_h)
        self.fall = GravityFall(setting, self.layout, self.clock)
        level = _OG_SD_SG if setting.original_known else _OG_UNKNOWN_SD_SG
        self.whitener = Whitener.of(self.noise.covariances(setting.series, setting.timing_sd_sg, level))
        self._white_y = self.whitener.matrices @ (setting.series.gravity_sg - setting.original_sg)

    @property
    def halt(self) -> Halt:
        """Which halts it tells of."""
        if self.lasting_h is None:
            return "none" if self.over_h is None else "over"
        return "lasting" if self.over_h is None else "again"

    @property
    def stands(self) -> bool:
        """Whether by this hypothesis it stands still now."""
        return self.lasting_h is not None

    def log_likelihood(self, z: Floats) -> tuple[Floats, ...]:
        """Log-likelihood with the size of the fall integrated out, and mean and sd of that size (SG).

        With additions their steps are integrated out as well. Beside mean and sd of the size then stand the means of
        all, shape (n, 1 + additions), and the lower root of their covariance, shape (n, 1 + additions, 1 + additions).
        """
        effects = self.fall.effects(z)
        done, crept = effects.done, effects.other
        # What is rounded away is an error that lasts as long as the gravity takes to move by a digit.
        rounding = np.log(max(self.setting.series.rounding_sg, 1e-9))
        level = self.noise.level(np.maximum(self.fall.log_wander(z), rounding))
        white_f = np.empty_like(done)
        white_y = np.empty_like(done)
        for k in range(len(WANDER_SD_SG)):
            rows = level == k
            if rows.any():
                matrix = self.whitener.matrices[k].T
                white_f[rows] = done[rows] @ matrix
                white_y[rows] = self._white_y[k] + (crept[rows] @ matrix if crept.size > 1 else 0.0)
        prior_mean, prior_sd = self._expected_size(z)
        if effects.steps:
            columns = [-white_f, *(self._white(step, level) for step in effects.steps)]
            return self._with_steps(np.stack(columns, axis=2), white_y, level, (prior_mean, prior_sd))
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

    def _white(self, values: Floats, level: Floats) -> Floats:
        white = np.empty_like(values)
        for k in range(len(WANDER_SD_SG)):
            rows = level == k
            if rows.any():
                white[rows] = values[rows] @ self.whitener.matrices[k].T
        return white

    def _with_steps(
        self, design: Floats, white_y: Floats, level: Floats, expected: tuple[Floats, Floats | float]
    ) -> tuple[Floats, ...]:
        """The Gaussian regression on `design`, shape (n, m, 1 + additions): the fall, then each step's excess."""
        mean = np.zeros((white_y.shape[0], design.shape[2]))
        mean[:, 0] = expected[0]
        prior = np.empty_like(mean)
        prior[:, 0] = np.asarray(expected[1]) ** -2.0
        prior[:, 1:] = [addition.jump_sd_sg**-2 for addition in self.setting.additions]
        across = design.transpose(0, 2, 1)
        precision = across @ design
        place = np.arange(mean.shape[1])
        precision[:, place, place] += prior
        pull = prior * mean + (across @ white_y[:, :, None])[:, :, 0]
        covariance = np.linalg.inv(precision)
        found = (covariance @ pull[:, :, None])[:, :, 0]
        log_like = (
            -0.5 * np.square(white_y).sum(axis=1)
            + 0.5 * (pull * found).sum(axis=1)
            - 0.5 * (prior * np.square(mean)).sum(axis=1)
            - 0.5 * (np.linalg.slogdet(precision)[1] - np.log(prior).sum(axis=1))
            - self.whitener.log_determinants[level]
        )
        root = np.linalg.cholesky(0.5 * (covariance + covariance.transpose(0, 2, 1)))
        return np.asarray(log_like), found[:, 0], np.asarray(root[:, 0, 0]), found, np.asarray(root)

    def _expected_size(self, z: Floats) -> tuple[Floats, Floats | float]:
        """Size of the fall that is expected before the readings, and its standard deviation, SG."""
        setting, prior = self.setting, self.setting.prior
        extract = setting.original_sg - 1.0
        mean = self.fall.expected_attenuation(z) * extract
        sd = np.hypot(prior.own_attenuation_sd * extract, GAIN_SD * prior.expected_attenuation * extract)
        if setting.forced_sg is None:
            return mean, sd
        # The side sample's end gravity is an observation of original gravity minus the whole fall.
        its_mean = setting.original_sg - setting.forced_sg
        its_precision = FORCED_SD_SG**-2
        total = sd**-2 + its_precision
        mean = (mean * sd**-2 + its_mean * its_precision) / total
        return mean, np.full_like(mean, total**-0.5)

    def run_by_readings(self) -> WeightedSample:
        """Sample this hypothesis, without what earlier batches say of the ending."""
        return sample(self.log_likelihood, self.layout.size)

    def run(self) -> WeightedSample:
        """Sample this hypothesis."""
        return self.with_ending(self.run_by_readings())

    def with_ending(self, weighted: WeightedSample) -> WeightedSample:
        """Weighed by what earlier batches say of the ending as well."""
        ending = self.setting.prior.ending
        if ending is None:
            return weighted
        log_weight = np.full(weighted.weight.size, -np.inf)
        count = weighted.weight > _COUNTS * weighted.weight.max()
        durations = tail_durations(self.fall.theta(weighted.z[count]), weighted.extra[0][count])
        log_weight[count] = ending.log_weight(durations)
        return weighted.reweighed(log_weight)
