"""One gravity after a hand sample: whether what is told goes by it, and the courses moved onto what was read.

What is inferred weighs a sample against the float, the original gravity and what is usual, and may lie a point beside
both. Once a float is set by a sample, both say the same, and it is read: then that is the gravity, in every place.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from analysis.assessment.observations import Observations, Snapshot
from analysis.inference import PosteriorDraws
from analysis.model import MAY_SHIFT_FLOAT, Batch, EventKind, Floats, SetByHand
from analysis.readings import hours_of
from analysis.thresholds import FLOAT_OFF_OVER_H, FLOAT_OFF_SG

_HOPS: Final[frozenset[EventKind]] = frozenset({"dry hop", "hops out"})
"""These may shift a float, and leave the liquid as it was; after the others it is not the one that was sampled."""


def set_by_hand(observed: Observations, snapshot: Snapshot) -> SetByHand | None:
    """The newest hand sample, and whether the gravity goes by it; None without one."""
    samples = snapshot.hand_samples()
    if not samples:
        return None
    newest, batch = samples[-1], snapshot.batch
    at_h = hours_of(newest.at, batch)
    after = [e for e in batch.events if newest.at < e.at <= snapshot.now]
    changed = [e.kind for e in after if e.kind in MAY_SHIFT_FLOAT - _HOPS]
    hops = [e.kind for e in after if e.kind in _HOPS]
    series = observed.series
    hours, gravity = series.hours[series.floats], series.gravity_sg[series.floats]
    said = SetByHand(newest.at, newest.gravity_sg, _since(snapshot, newest.at), hops[-1] if hops else None)
    if changed:
        return replace(said, why_not=changed[-1])
    if not _floats_now(observed, at_h):
        return replace(said, since=None)
    near = np.abs(hours - at_h) <= FLOAT_OFF_OVER_H
    if not near.any():
        return replace(said, why_not="float apart")
    differs = abs(float(np.interp(at_h, hours[near], gravity[near])) - newest.gravity_sg)
    return replace(said, why_not="float apart") if differs > FLOAT_OFF_SG else said


def moved_onto_readings(
    posterior: PosteriorDraws, observed: Observations, batch: Batch, by: SetByHand | None
) -> PosteriorDraws:
    """The courses moved so that their middle runs through what was read of late, where the gravity goes by a sample.

    What was pitched stays: they are moved in proportion to the fall that was done by then. What is still to come, and
    when, does not change.
    """
    if by is None or by.why_not:
        return posterior
    middle = _middle(posterior)
    off_sg = _off(posterior, observed, batch, by, middle)
    now = float(np.interp(observed.series.now_h, posterior.at_h, middle))
    whole = float(middle[0]) - now
    share = np.ones_like(middle) if whole < FLOAT_OFF_SG else np.clip((middle[0] - middle) / whole, 0.0, 1.0)
    return replace(
        posterior, gravity_sg=posterior.gravity_sg + off_sg * share, terminal_sg=posterior.terminal_sg + off_sg
    )


def _off(posterior: PosteriorDraws, observed: Observations, batch: Batch, by: SetByHand, middle: Floats) -> float:
    """By how much the readings of the last hours lie above the middle course, SG: of a float, or the sample's."""
    series, chill_h, sample_h = observed.series, observed.chill_h, hours_of(by.at, batch)
    if not _floats_now(observed, sample_h):
        return by.gravity_sg - float(np.interp(sample_h, posterior.at_h, middle))
    # What a float says in the cold counts only where it was sampled there.
    end_h = chill_h if chill_h is not None and sample_h < chill_h else series.now_h
    recent = series.floats & (series.hours > end_h - FLOAT_OFF_OVER_H) & (series.hours <= end_h)
    shifted_h = max((hours_of(e.at, batch) for e in batch.events if e.kind in MAY_SHIFT_FLOAT), default=0.0)
    if (since := recent & (series.hours >= shifted_h)).any():
        recent = since
    if not recent.any():
        return 0.0
    return float(np.median(series.gravity_sg[recent] - np.interp(series.hours[recent], posterior.at_h, middle)))


def _middle(posterior: PosteriorDraws) -> Floats:
    return np.asarray(
        np.quantile(posterior.gravity_sg, 0.5, axis=0, weights=posterior.weight, method="inverted_cdf"),
        dtype=np.float64,
    )


def _floats_now(observed: Observations, sample_h: float) -> bool:
    """Whether a float was read about when the sample was taken, or since."""
    hours = observed.series.hours[observed.series.floats]
    return bool((hours > sample_h - FLOAT_OFF_OVER_H).any())


def _since(snapshot: Snapshot, at: datetime) -> datetime:
    """Back to when a sample corrects the float: the last thing before it that may have shifted it, else pitching."""
    before = [e.at for e in snapshot.batch.events if e.kind in MAY_SHIFT_FLOAT and e.at <= at]
    return max(before, default=snapshot.batch.pitched_at)
