"""What one finished batch teaches: the likelihood of its features from its readings alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import polars as pl

from analysis.cleaning import mark
from analysis.estimator import SHAPE, WANDER, Setting, Story
from analysis.model import STEADY_SG, Batch, Floats, events_of
from analysis.priors import Lesson, Priors
from analysis.sampler import normals
from analysis.series import first_gravity, summarise

_LEAST_BINS = 12
_MOST_PRECISE = 1e-3
"""No feature is taken for known better than to this share of its general variance."""


def lesson(readings: pl.DataFrame, batch: Batch, *, now: datetime) -> Lesson | None:
    """What a batch with all its readings teaches, or None if it cannot: too few readings, or it never ended."""
    batch = replace(batch, expected_attenuation=None)
    if events_of(batch, "feed", "dilute", until=now):
        return None
    belief = Priors().belief(batch)
    marked = mark(readings, batch, now=now)
    series = summarise(marked, batch, now=now)
    if series.hours.size < _LEAST_BINS:
        return None
    known = batch.original_gravity_sg is not None
    original = batch.original_gravity_sg if batch.original_gravity_sg is not None else first_gravity(series)
    setting = Setting.of(series, belief, original, original_known=known)
    story = Story(setting, "none")
    cloud = story.run()
    size = cloud.extra[0] + cloud.extra[1] * normals(cloud.z.shape[0], 1, 50)[:, 0]
    left = story.left_now(cloud.z) * size
    if float(cloud.weight[left < 2.5 * STEADY_SG].sum()) < 0.5:
        return None
    attenuation = (size / (original - 1.0) - belief.mean[-1]) / belief.sd[-1]
    x = np.column_stack([cloud.z[:, :SHAPE], cloud.z[:, WANDER], attenuation])
    mean = cloud.weight @ x
    off = x - mean
    cov = (off * cloud.weight[:, None]).T @ off
    shrink = cloud.effective / (cloud.effective + x.shape[1])
    cov = shrink * cov + (1 - shrink) * np.diag(np.diag(cov))
    precision, pull = without_prior(mean, cov)
    return Lesson.of(batch.yeast, precision, pull)


def without_prior(mean: Floats, cov: Floats) -> tuple[Floats, Floats]:
    """Precision and pull of the readings alone, from a posterior under a unit normal prior.

    Along directions in which the readings say next to nothing the posterior may come out wider than the prior;
    they are taken to say nothing there.
    """
    value, vector = np.linalg.eigh(cov)
    gain = np.clip(1.0 / np.clip(value, _MOST_PRECISE, None) - 1.0, 0.0, None)
    gain = np.where(gain < 0.15, 0.0, gain)
    precision = (vector * gain) @ vector.T
    # Prior pull is zero: the posterior's pull is the readings' own, along the directions they speak of.
    pull = vector @ (np.where(gain > 0, gain + 1.0, 0.0) * (vector.T @ mean))
    return precision, pull
