"""Hand samples as anchors: the float in the vessel is shifted so that it agrees with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from analysis.model import MAY_SHIFT_FLOAT, Floats
from ingest.model import EventRecord

WINDOW_H: Final = 6.0
"""How long after a sample, and where needed before it, the float's readings are compared with it, hours."""

_ENOUGH: Final = 4
_TOO_FAR_SG: Final = 0.02
"""A float that differs from a sample by more than this is not shifted: one of the two is wrong (common practice)."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """A hand sample beside the float: `shift_sg` is what the float lacks to agree with it at that moment.

    `used` says whether it is added (see `shifts` for which readings); if not, `why_not` says why.
    """

    sample_id: str
    device_id: str
    at: datetime
    gravity_sg: float
    shift_sg: float
    used: bool
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Sampled:
    """A sample that may anchor."""

    sample_id: str
    at: datetime
    gravity_sg: float


def anchors(device_id: str, times_s: Floats, gravity_sg: Floats, samples: Sequence[Sampled]) -> list[Anchor]:
    """Compare samples with one float.

    Parameters
    ----------
    times_s, gravity_sg : shape (n,)
        The float's readings in time order, seconds since 1970; NaN where a reading has no gravity.
    """
    found = []
    seen = ~np.isnan(gravity_sg)
    times_s, gravity_sg = times_s[seen], gravity_sg[seen]
    for sample in sorted(samples, key=lambda s: s.at):
        said = _said_at(sample.at.timestamp(), times_s, gravity_sg)
        if said is None:
            continue
        shift = sample.gravity_sg - said
        used = abs(shift) <= _TOO_FAR_SG
        why_not = (
            ""
            if used
            else (
                f"The sample says {sample.gravity_sg:.3f} and the float {said:.3f}: too far apart for an offset. "
                "Sample again; look whether the float sticks, or a number is mistyped."
            )
        )
        found.append(Anchor(sample.sample_id, device_id, sample.at, sample.gravity_sg, shift, used, why_not))
    return found


def _said_at(at_s: float, times_s: Floats, gravity_sg: Floats) -> float | None:
    """What the float says at a moment: a robust line through the readings just after it, else around it."""
    after = (times_s >= at_s) & (times_s <= at_s + WINDOW_H * 3600)
    if np.count_nonzero(after) < _ENOUGH:
        after |= (times_s < at_s) & (times_s >= at_s - WINDOW_H * 3600)
    if not np.any(after):
        return None
    hours, gravity = (times_s[after] - at_s) / 3600, gravity_sg[after]
    if hours.size < _ENOUGH or np.ptp(hours) < 0.5:
        return float(np.median(gravity))
    from scipy.stats import theilslopes  # late: it loads for half a second, and no start is to wait for it

    slope, *_ = theilslopes(gravity, hours)
    return float(np.median(gravity - slope * hours))


def shifts(times_s: Floats, used: Sequence[Anchor], events: Sequence[EventRecord]) -> Floats:
    """What to add to each of the float's gravities, shape as `times_s`.

    A shift counts from its sample on, and back to the last event that may have shifted the float: were it to begin at
    the sample, a fall would appear where nothing fell, and a hold would seem to end because someone looked. Before
    that event nothing is added. Between two anchors the shift goes in a straight line from one to the other (the float
    drifts), or, where an event between them may have shifted the float, in one step at the last such event. After the
    last anchor it stays.
    """
    if not used:
        return np.zeros_like(times_s)
    shifting = sorted(e.at.timestamp() for e in events if e.kind in MAY_SHIFT_FLOAT)
    began_s = max((t for t in shifting if t <= used[0].at.timestamp()), default=-np.inf)
    at: list[float] = []
    shift: list[float] = []
    for before, anchor in zip([None, *used], used, strict=False):
        if before is not None:
            between = [t for t in shifting if before.at.timestamp() < t <= anchor.at.timestamp()]
            if between:
                at += [np.nextafter(between[-1], -np.inf), between[-1]]
                shift += [before.shift_sg, anchor.shift_sg]
        at.append(anchor.at.timestamp())
        shift.append(anchor.shift_sg)
    return np.where(times_s < began_s, 0.0, np.interp(times_s, at, shift))
