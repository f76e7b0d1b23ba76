"""How the gravity falls by one hypothesis: the curve itself, the creep after hops, feeds and dilutions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fermentation import Shapes
from analysis.inference.clock import Clock
from analysis.inference.layout import COURSE, THETA, WANDER, CreepColumns, FeedColumns, Layout
from analysis.inference.prior import ATTENUATION, LOG_WANDER
from analysis.inference.setting import Setting
from analysis.model import Floats


@dataclass(frozen=True, slots=True)
class Effects:
    """What happens by a course: n rows of parameters, m times.

    `done` (n, m) is the fraction of the fall done, of which `end` (n,) is done in the end: less than one where
    something was diluted. `other` (n, m) is what other causes took away, SG, and `other_end` (n,) what they will have
    taken; `fed_end` (n,) how much of what was fed will be fermented. `steps` tell by how much the gravity changes for
    each SG by which an addition's step is greater than reckoned, (n, m) each, and `steps_end` (n,) likewise at last.
    """

    done: Floats
    other: Floats
    end: Floats
    other_end: Floats
    fed_end: Floats | None = None
    steps: tuple[Floats, ...] = ()
    steps_end: tuple[Floats, ...] = ()


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
        effects = self.effects(z, at, later_c)
        return effects.done, effects.other

    def effects(self, z: Floats, at: Floats | None = None, later_c: Floats | None = None) -> Effects:
        """The same, with what comes in the end and what each addition does."""
        setting = self.setting
        theta = self.theta(z)
        shapes = Shapes.of(theta)
        tau = self.clock.tau(z, theta, at, later_c)
        done = shapes.fall(tau)
        one, none = np.ones(z.shape[0]), np.zeros(z.shape[0])
        if setting.creep_from_h is None and not setting.additions:
            return Effects(done, np.zeros((1, 1)), one, none)
        other, in_the_end = np.zeros_like(done), none
        if self.layout.creep is not None and setting.creep_from_h is not None:
            since = tau - self.clock.at_each(theta, setting.creep_from_h)[:, None]
            size, slow = _creep(z, self.layout.creep)
            other = other + size[:, None] * -np.expm1(-np.maximum(since, 0.0) / slow[:, None])
            in_the_end = in_the_end + size
        if not setting.additions:
            return Effects(done, other, one, in_the_end)
        return self._with_additions(z, (theta, shapes, tau), Effects(done, other, one, in_the_end), at)

    def _with_additions(
        self, z: Floats, course: tuple[Floats, Shapes, Floats], plain: Effects, at: Floats | None
    ) -> Effects:
        """What additions make of a course: each moves it at once, thins what was to ferment, and is fermented."""
        theta, shapes, tau = course
        hours = self.setting.series.hours if at is None else at
        whole, done, other, end, other_end = plain.done, plain.done, plain.other, plain.end, plain.other_end
        steps, steps_end, fed_end = [], [], np.zeros(z.shape[0])
        then = start = np.zeros((z.shape[0], 1))
        kept = 1.0
        for addition in self.setting.additions:
            after = (hours >= addition.at_h)[None, :]
            tau_then = self.clock.tau(z, theta, np.array([addition.at_h]))
            # What is done by then stays done; of the rest only so much is still there in a litre.
            by_then = shapes.fall(tau_then)
            then, start = by_then, start + kept * (by_then - then)
            kept *= 1.0 - addition.diluted
            done = np.where(after, start + kept * (whole - then), done)
            end = (start + kept * (1.0 - then))[:, 0]
            step, step_end = np.broadcast_to(1.0 * after, done.shape), np.ones(z.shape[0])
            other, other_end = other - addition.jump_sg * after, other_end - addition.jump_sg
            if self.layout.feed is not None and addition.fed_sg > 0:
                apparent, pace = _feed(z, self.layout.feed)
                since = np.maximum(tau - tau_then, 0.0)
                ratio = np.clip((self.setting.original_sg - 1.0) / addition.fed_sg, 1.0, 6.0)
                taken = shapes.fall_after((shapes.rate[:, None] * since * (pace * ratio)[:, None]).astype(np.float32))
                taken = after * apparent[:, None] * taken
                other, other_end = other + addition.fed_sg * taken, other_end + addition.fed_sg * apparent
                fed_end = fed_end + addition.fed_sg * apparent
                # Of a greater step than was reckoned with, as great a part ferments.
                part = min(addition.fed_sg / max(abs(addition.jump_sg), addition.fed_sg), 1.0)
                step, step_end = step - part * taken, step_end - part * apparent
            steps.append(step)
            steps_end.append(step_end)
        return Effects(done, other, end, other_end, fed_end, tuple(steps), tuple(steps_end))

    def left_now_sg(self, z: Floats, size_sg: Floats) -> Floats:
        """What is left of the fall now, SG, shape (n,), of courses that fall by `size_sg` in all; creep left out."""
        effects = self.effects(z, np.array([self.setting.series.now_h]))
        left = (effects.end - effects.done[:, 0]) * size_sg
        if self.setting.additions and self.layout.creep is None:
            left = left + effects.other_end - effects.other[:, 0]
        return np.asarray(left)

    def left_now(self, z: Floats) -> Floats:
        """Fraction of the fall that is left now, shape (n,)."""
        effects = self.effects(z, np.array([self.setting.series.now_h]))
        return np.asarray(effects.end - effects.done[:, 0])


def _creep(z: Floats, columns: CreepColumns) -> tuple[Floats, Floats]:
    """Size (SG) and time constant (warmth-weighted hours) of the fall after hops."""
    size = np.exp(np.log(0.001) + 1.4 * z[:, columns.size])
    return np.minimum(size, 0.02), np.exp(np.log(70.0) + 0.5 * z[:, columns.time])


def _feed(z: Floats, columns: FeedColumns) -> tuple[Floats, Floats]:
    """Apparent fall by one point of added sugar, and how fast it goes against the first sugar, per row."""
    return np.asarray(np.exp(0.14 + 0.1 * z[:, columns.fall])), np.asarray(np.exp(0.5 * z[:, columns.pace]))
