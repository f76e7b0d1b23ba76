"""How the gravity falls by one hypothesis: the curve itself, the creep after hops, feeds and dilutions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fermentation import Shapes
from analysis.inference.clock import Clock
from analysis.inference.layout import COURSE, THETA, WANDER, CreepColumns, FeedColumns, Layout
from analysis.inference.prior import ATTENUATION, LOG_WANDER
from analysis.inference.setting import Addition, Setting
from analysis.model import Floats


@dataclass(frozen=True, slots=True)
class GravityFall:
    """From standardised parameters `z`, shape (n, d), to curves."""

    setting: Setting
    layout: Layout
    clock: Clock

    def theta(self, z: Floats) -> Floats:
        """Parameters of the courses, shape (n, 11)."""
        prior = self.setting.prior
        theta = z[:, THETA].copy()
        theta[:, COURSE] = prior.mean[COURSE] + z[:, COURSE] @ prior.root[COURSE, COURSE].T
        return np.asarray(theta)

    def log_wander(self, z: Floats) -> Floats:
        """Logarithm of the size of the float's wandering, shape (n,)."""
        prior = self.setting.prior
        known = z[:, COURSE] @ prior.root[LOG_WANDER, COURSE]
        return np.asarray(prior.mean[LOG_WANDER] + known + z[:, WANDER] * prior.root[LOG_WANDER, LOG_WANDER])

    def expected_attenuation(self, z: Floats) -> Floats:
        """Apparent attenuation that is expected given the other features, a share, shape (n,)."""
        prior = self.setting.prior
        known = np.concatenate([z[:, COURSE], z[:, WANDER : WANDER + 1]], axis=1)
        return np.asarray(prior.mean[ATTENUATION] + known @ prior.root[ATTENUATION, :ATTENUATION])

    def crept_in_the_end(self, z: Floats) -> Floats:
        """Size of the fall after hops, SG, shape (n,); zeros without hops."""
        columns = self.layout.creep
        return np.zeros(z.shape[0]) if columns is None else _creep(z, columns)[0]

    def falls(self, z: Floats, at: Floats | None = None, later_c: Floats | None = None) -> tuple[Floats, Floats]:
        """Fraction of the fall done, and what other causes took away (SG), each of shape (n, m).

        Other causes are creep after hops and feeds, which add first (below zero) and take away more later.
        """
        setting = self.setting
        theta = self.theta(z)
        shapes = Shapes.of(theta)
        tau = self.clock.tau(z, theta, at, later_c)
        done = shapes.fall(tau)
        if setting.creep_from_h is None and not setting.additions:
            return done, np.zeros((1, 1))
        other = np.zeros_like(done)
        if self.layout.creep is not None and setting.creep_from_h is not None:
            since = tau - self.clock.at_each(theta, setting.creep_from_h)[:, None]
            size, slow = _creep(z, self.layout.creep)
            other = other + size[:, None] * -np.expm1(-np.maximum(since, 0.0) / slow[:, None])
        hours = setting.series.hours if at is None else at
        for addition in setting.additions:
            after = hours >= addition.at_h
            if self.layout.feed is not None and addition.jump_sg > 0:
                since = np.maximum(tau - self.clock.at_each(theta, addition.at_h)[:, None], 0.0)
                fed = self._fed(z, self.layout.feed, addition, shapes, since)
                other = other + np.where(after, fed, 0.0)
            else:
                then = done[:, max(int(np.searchsorted(hours, addition.at_h)) - 1, 0)][:, None]
                done = np.where(after, then + (1.0 - addition.diluted) * (done - then), done)
                other = other + np.where(after, -addition.jump_sg, 0.0)
        return done, other

    def _fed(self, z: Floats, columns: FeedColumns, addition: Addition, shapes: Shapes, since: Floats) -> Floats:
        """What a feed took away by warmth-weighted time `since` it, SG: below zero at first."""
        apparent, pace = _feed(z, columns)
        ratio = np.clip((self.setting.original_sg - 1.0) / addition.jump_sg, 1.0, 6.0)
        taken = shapes.fall_after((shapes.rate[:, None] * since * (pace * ratio)[:, None]).astype(np.float32))
        return np.asarray(addition.jump_sg * (apparent[:, None] * taken - 1.0))

    def other_total(self, z: Floats) -> Floats:
        """What other causes take away in the end, SG, shape (n,)."""
        total = np.zeros(z.shape[0])
        if self.layout.creep is not None:
            total = total + _creep(z, self.layout.creep)[0]
        for addition in self.setting.additions:
            if self.layout.feed is not None and addition.jump_sg > 0:
                total = total + addition.jump_sg * (_feed(z, self.layout.feed)[0] - 1.0)
            else:
                total = total + -addition.jump_sg
        return np.asarray(total)

    def left_now(self, z: Floats) -> Floats:
        """Fraction of the fall that is left now, shape (n,)."""
        return np.asarray(1.0 - self.falls(z, np.array([self.setting.series.now_h]))[0][:, 0])


def _creep(z: Floats, columns: CreepColumns) -> tuple[Floats, Floats]:
    """Size (SG) and time constant (warmth-weighted hours) of the fall after hops."""
    size = np.exp(np.log(0.001) + 1.4 * z[:, columns.size])
    return np.minimum(size, 0.02), np.exp(np.log(70.0) + 0.5 * z[:, columns.time])


def _feed(z: Floats, columns: FeedColumns) -> tuple[Floats, Floats]:
    """Apparent fall by one point of added sugar, and how fast it goes against the first sugar, per row."""
    return np.asarray(np.exp(0.14 + 0.1 * z[:, columns.fall])), np.asarray(np.exp(0.5 * z[:, columns.pace]))
