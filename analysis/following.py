"""A batch without a float of its own beside siblings of the same wort and yeast: what they let one expect of it.

It is an expectation, not a measurement: wider than what is known of the siblings, and no verdict rests on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from analysis.model import Assessment, HandReading, Range
from analysis.thresholds import (
    ALIKE_WARM_C,
    FOLLOWS_PACE_SPREAD,
    FOLLOWS_SD_SG,
    FOLLOWS_UNKNOWN_PACE_SPREAD,
    SAMPLE_AT_END_H,
    SAMPLE_EVERY_DAYS,
)

_P90: Final = 1.2816
"""The 90th percentile of a standard normal."""


@dataclass(frozen=True, slots=True)
class Sibling:
    """A batch of the same wort and yeast that has a float; `like_warm` where both are known to stand alike warm."""

    name: str
    pitched_at: datetime
    assessment: Assessment
    like_warm: bool


@dataclass(frozen=True, slots=True)
class Following:
    """What the siblings let one expect: gravity now, and when it likely finishes (10th, 50th, 90th percentile).

    `finish` is None while no sibling tells a date. `shift_sg` is by how much the batch's own last sample lay above
    them, which is added; `agrees` is False where that sample lies outside what they told of its moment, None without
    one. `like_warm` is False where it is not known whether all stand alike warm: then everything is wider.
    """

    names: tuple[str, ...]
    gravity_sg: Range
    finish: tuple[datetime, datetime, datetime] | None
    like_warm: bool
    shift_sg: float = 0.0
    agrees: bool | None = None


def follow(
    siblings: Sequence[Sibling], pitched_at: datetime, samples: Sequence[HandReading], now: datetime
) -> Following | None:
    """What the siblings let one expect of a batch that was pitched with the same wort; None where none tells anything.

    Parameters
    ----------
    samples
        The batch's own hand samples, in time order.
    """
    told = [s for s in siblings if s.assessment.gravity_sg is not None and not s.assessment.course.is_empty()]
    gravity = _envelope(told, pitched_at, now)
    if gravity is None:
        return None
    shift, agrees = 0.0, None
    if samples:
        then = _envelope(told, pitched_at, samples[-1].at)
        if then is not None:
            shift = samples[-1].gravity_sg - then.p50
            agrees = then.p10 <= samples[-1].gravity_sg <= then.p90
    return Following(
        names=tuple(s.name for s in told),
        gravity_sg=Range(gravity.p10 + shift, gravity.p50 + shift, gravity.p90 + shift),
        finish=_finish(told, pitched_at),
        like_warm=all(s.like_warm for s in told),
        shift_sg=shift,
        agrees=agrees,
    )


def _pace_sd(sibling: Sibling) -> float:
    return FOLLOWS_PACE_SPREAD if sibling.like_warm else FOLLOWS_UNKNOWN_PACE_SPREAD


def _envelope(siblings: Sequence[Sibling], pitched_at: datetime, at: datetime) -> Range | None:
    """The widest that any sibling's course says of the same hour since pitching, a little sooner or later."""
    hours = (at - pitched_at).total_seconds() / 3600.0
    found = []
    for sibling in siblings:
        course = sibling.assessment.course.drop_nulls()
        if course.is_empty():
            continue
        since = (course["at"] - sibling.pitched_at).dt.total_seconds().to_numpy() / 3600.0
        slow = max(1.0 - _P90 * _pace_sd(sibling), 0.0)
        quick = 1.0 + _P90 * _pace_sd(sibling)
        low = float(np.interp(hours * quick, since, course["gravity_p10_sg"].to_numpy()))
        middle = float(np.interp(hours, since, course["gravity_p50_sg"].to_numpy()))
        high = float(np.interp(hours * slow, since, course["gravity_p90_sg"].to_numpy()))
        half = _P90 * FOLLOWS_SD_SG
        found.append(Range(min(low, middle) - half, middle, max(high, middle) + half))
    if not found:
        return None
    middle = float(np.median([each.p50 for each in found]))
    return Range(min(each.p10 for each in found), middle, max(each.p90 for each in found))


def _finish(siblings: Sequence[Sibling], pitched_at: datetime) -> tuple[datetime, datetime, datetime] | None:
    early, middle, late = [], [], []
    for sibling in siblings:
        forecast = sibling.assessment.finish
        if forecast is None:
            continue
        stretch = _P90 * _pace_sd(sibling)
        early.append((forecast.p10 - sibling.pitched_at) * max(1.0 - stretch, 0.0))
        middle.append(forecast.p50 - sibling.pitched_at)
        if forecast.p90 is not None:
            late.append((forecast.p90 - sibling.pitched_at) * (1.0 + stretch))
    if len(late) < len(siblings):
        return None  # one that stands still, or of which nothing can be said yet, may be what this one does
    return pitched_at + min(early), pitched_at + sorted(middle)[len(middle) // 2], pitched_at + max(late)


def sample_due(following: Following | None, sampled_at: datetime | None, pitched_at: datetime, now: datetime) -> bool:
    """Whether a batch without a float should be sampled by hand now.

    Every few days, and once more as soon as its siblings may have finished.
    """
    if now - (sampled_at or pitched_at) >= timedelta(days=SAMPLE_EVERY_DAYS):
        return True
    if following is None or following.finish is None or now < following.finish[1]:
        return False
    return sampled_at is None or now - sampled_at >= timedelta(hours=SAMPLE_AT_END_H)


def alike_warm(one_c: float | None, other_c: float | None) -> bool:
    """Whether two batches are known to stand alike warm, °C; what is not known is not alike."""
    return one_c is not None and other_c is not None and abs(one_c - other_c) <= ALIKE_WARM_C


def too_far_apart(one_c: float | None, other_c: float | None) -> bool:
    """Whether two batches are known to stand so differently warm that one tells nothing of the other."""
    return one_c is not None and other_c is not None and not alike_warm(one_c, other_c)


def undecided(assessment: Assessment) -> Assessment:
    """The assessment of a part that was not measured since it was divided off: its course ended then, undecided.

    What happened in its new vessel nobody has seen, so that it has not finished, held or stalled.
    """
    quiet = assessment.phase in ("finished", "stalled", "chilled")
    return replace(
        assessment,
        finished=False,
        stalled=False,
        hold_met=False,
        p_finished=None,
        held_since=None,
        held_h=0.0,
        held_sg=None,
        phase="steady" if quiet else assessment.phase,
    )
