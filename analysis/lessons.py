"""What one finished batch teaches: the likelihood of its features from its readings alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from scipy.special import ndtri

from analysis.cleaning import mark
from analysis.endings import endings, told
from analysis.estimator import GAIN_SD, SHAPE, Setting, Story
from analysis.habits import warmed
from analysis.implications import imply
from analysis.model import STEADY_SG, FinishedBatch, Floats, events_of
from analysis.pooling import STAGES, Lesson
from analysis.priors import Priors, general, lingers, strength
from analysis.sampler import normals
from analysis.series import original_gravity, summarise

_LEAST_BINS = 12
HINDSIGHT_H = 10.0
"""Error of a finish as seen in hindsight, hours: the last point falls too slowly for a float to time it better."""

_MOST_PRECISE = 1e-3
"""No feature is taken for known better than to this share of its general variance."""


def lesson(one: FinishedBatch, priors: Priors) -> tuple[Lesson, Floats] | None:
    """What a batch with all its readings teaches, and the hours at which it reached `STAGES` and its finish.

    `priors` is what is believed meanwhile. None if it cannot teach: too few readings, fed on the way, or never ended.
    """
    newest = one.readings["measured_at"].max() if len(one.readings) else None
    if not isinstance(newest, datetime):
        return None
    now = max(newest, one.batch.pitched_at + timedelta(hours=1))
    readings, batch = one.readings, replace(one.batch, expected_attenuation=None)
    if events_of(batch, "feed", "dilute", until=now):
        return None
    belief = priors.belief(batch)
    marked = mark(readings, batch, now=now)
    series = summarise(marked, batch, now=now)
    if series.hours.size < _LEAST_BINS:
        return None
    original, known = original_gravity(batch, series)
    setting = Setting.of(series, belief, original, original_known=known)
    story = Story(setting)
    cloud = story.run_by_readings()
    size = cloud.extra[0] + cloud.extra[1] * normals(cloud.z.shape[0], 1, 50)[:, 0]
    left = story.left_now(cloud.z) * size
    if float(cloud.weight[left < 2.5 * STEADY_SG].sum()) < 0.5:
        return None
    middle, scale = general(batch)
    features = np.column_stack([story.theta(cloud.z)[:, :SHAPE], story.log_wander(cloud.z), size / (original - 1.0)])
    x = (features - middle) / scale
    mean = cloud.weight @ x
    off = x - mean
    cov = (off * cloud.weight[:, None]).T @ off
    # The float's scale may be off: the fall that it read is not quite the true one.
    cov[-1, -1] += (GAIN_SD * (mean[-1] + middle[-1] / scale[-1])) ** 2
    shrink = cloud.effective / (cloud.effective + x.shape[1])
    cov = shrink * cov + (1 - shrink) * np.diag(np.diag(cov))
    prior_cov = belief.root @ belief.root.T / np.outer(scale, scale)
    precision, pull = without_prior(mean, cov, (belief.mean - middle) / scale, prior_cov)
    courses = imply(story, cloud)
    gravity = np.median(courses.gravity_sg, axis=0)
    share = (gravity[0] - gravity) / float(np.median(courses.fall_sg))
    reached = np.interp(STAGES, share, courses.at_h)
    finish = float(np.median(courses.finish_h))
    tells = series.temperature_known and np.isfinite(finish)
    taught = Lesson.of(
        precision,
        pull,
        yeast=batch.yeast,
        lingers=lingers(batch),
        strength=strength(batch, original),
        ending=told(cloud.weight, endings(story.theta(cloud.z), size), belief.implied_ending(original)),
        warmed=warmed(series.grid_hours, series.grid_temperature_c, reached, finish) if tells else (),
    )
    return taught, np.append(reached, finish)


def replay(one: FinishedBatch, priors: Priors, hours: Floats) -> tuple[float, ...]:
    """By how many normal standard deviations our forecast would have missed at each of `STAGES`.

    Parameters
    ----------
    hours
        When it reached each stage, and last its finish, in hindsight; shape (stages + 1,).
    """
    batch, finish = one.batch, float(hours[-1])
    if not np.isfinite(finish):
        return ()
    belief = priors.belief(batch)
    misses = []
    for hour in hours[:-1]:
        now = batch.pitched_at + timedelta(hours=float(hour))
        events = tuple(e for e in batch.events if e.at <= now)
        series = summarise(mark(one.readings, replace(batch, events=events), now=now), batch, now=now)
        if series.hours.size < 4:
            return ()
        original, known = original_gravity(batch, series)
        story = Story(Setting.of(series, belief, original, original_known=known))
        said = imply(story, story.run()).finish_h
        # Hindsight does not know the finish to the hour either: a miss within its own error is none.
        middle = float(np.median(said))
        off = finish - middle if np.isfinite(middle) else -np.inf
        known_finish = middle + np.sign(off) * max(abs(off) - HINDSIGHT_H, 0.0) if np.isfinite(middle) else finish
        chance = (float((said < known_finish).sum()) + 0.5) / (said.size + 1.0)
        misses.append(round(float(np.clip(ndtri(chance), -2.5, 2.5)), 3))
    return tuple(misses)


def without_prior(mean: Floats, cov: Floats, prior_mean: Floats, prior_cov: Floats) -> tuple[Floats, Floats]:
    """Precision and pull of the readings alone, from a posterior and the prior that went into it.

    Along directions in which the readings say next to nothing the posterior may come out wider than the prior;
    they are taken to say nothing there.
    """
    root = np.linalg.cholesky(prior_cov)
    inverse = np.linalg.inv(root)
    value, vector = np.linalg.eigh(inverse @ cov @ inverse.T)
    gain = np.clip(1.0 / np.clip(value, _MOST_PRECISE, None) - 1.0, 0.0, None)
    gain = np.where(gain < 0.15, 0.0, gain)
    # In these coordinates the prior pulls to zero, so the posterior's pull is the readings' own.
    towards = vector @ (np.where(gain > 0, gain + 1.0, 0.0) * (vector.T @ (inverse @ (mean - prior_mean))))
    precision = inverse.T @ (vector * gain) @ vector.T @ inverse
    return precision, inverse.T @ towards + precision @ prior_mean
