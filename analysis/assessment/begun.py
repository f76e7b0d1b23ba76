"""Whether the fermentation has begun: no hold counts before a fall, and what has not begun has not stalled."""

from __future__ import annotations

import numpy as np

from analysis.inference import PosteriorDraws
from analysis.model import Floats
from analysis.readings import Series, levels, scatter_of
from analysis.thresholds import ACTIVE_DONE, BEGUN_SG, LEVEL_H, MISSED_DONE


def share_done(posterior: PosteriorDraws) -> Floats:
    """The share of the whole fall that is done by each time of the middle course, shape (m,)."""
    weight = posterior.weight / posterior.weight.sum()
    gravity, left = weight @ posterior.gravity_sg, weight @ posterior.left_sg
    fall = gravity[0] - gravity
    return np.asarray(fall / np.maximum(fall + left, 1e-9))


def began_at(series: Series, posterior: PosteriorDraws) -> float | None:
    """When the fall began, hours since pitching; None where none has been seen.

    The course must know of one, and the readings must show it: of a float that stands far from the original gravity and
    never moved, the course can only guess. Where the first reading came after the fall had begun by the course, and
    much of it was done, the begin could not be seen.
    """
    reached = np.flatnonzero((posterior.at_h <= series.now_h + 1e-9) & (share_done(posterior) >= ACTIVE_DONE))
    if not reached.size:
        return None
    course_h = float(posterior.at_h[reached[0]])
    weight = posterior.weight / posterior.weight.sum()
    if float(series.hours[0]) > course_h and float(weight @ posterior.done_now) >= MISSED_DONE:
        return course_h
    seen_h = fall_seen_at(series)
    return None if seen_h is None else max(course_h, seen_h)


def fall_seen_at(series: Series) -> float | None:
    """When the readings first stood below an earlier level of theirs by more than their error, hours since pitching.

    Only levels of one segment are compared: another place, liquid or float is no fall. Hand samples tell where there is
    no float.
    """
    use = series.floats if np.count_nonzero(series.floats) >= 3 else np.ones(series.hours.size, np.bool_)
    found: list[float] = []
    for one in np.unique(series.segment[use]):
        its = use & (series.segment == one)
        t, g = series.hours[its], series.gravity_sg[its]
        level = levels(t, g, LEVEL_H)
        least = max(BEGUN_SG, 2.0 * scatter_of(g))
        fallen = np.flatnonzero(np.maximum.accumulate(level) - level >= least)
        if fallen.size:
            found.append(float(t[fallen[0]]))
    return min(found, default=None)
