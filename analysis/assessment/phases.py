"""The phases of a fermentation in the trade's terms, and when each began."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from analysis.assessment.decision import Verdict
from analysis.assessment.observations import Observations
from analysis.inference import PosteriorDraws
from analysis.model import Batch, Floats, Phase, PhaseSpan, events_of
from analysis.readings import hours_of
from analysis.thresholds import ACTIVE_DONE, SLOWING_DONE, STEADY_SG


def spans(
    observed: Observations, posterior: PosteriorDraws, weight: Floats, batch: Batch, verdict: Verdict, phase: Phase
) -> tuple[PhaseSpan, ...]:
    """Phases from pitching to now; the last one is `phase`."""
    series, held = observed.series, observed.held
    at = posterior.at_h
    gravity = weight @ posterior.gravity_sg
    left = weight @ posterior.left_sg
    past = at <= series.now_h + 1e-9
    fall = gravity[0] - gravity
    total = fall + left
    share = fall / np.maximum(total, 1e-9)
    began: list[tuple[Phase, float]] = [("lag", 0.0)]
    limits: tuple[tuple[Phase, float], ...] = (("active", ACTIVE_DONE), ("slowing", SLOWING_DONE))
    for name, limit in limits:
        reached = np.flatnonzero(past & (share >= limit))
        if reached.size:
            began.append((name, float(at[reached[0]])))
    if verdict.finished:
        ended = np.flatnonzero(past & (left < STEADY_SG))
        began.append(("finished", float(at[ended[0]]) if ended.size else series.now_h))
    elif phase == "steady" and observed.before_hops is not None and observed.before_hops.since_h is not None:
        began.append((phase, observed.before_hops.since_h))  # hops start the watch anew, and change nothing before them
    elif phase == "steady" and held.since_h is not None:
        began.append((phase, held.since_h))
    elif verdict.stands_since_h is not None:
        began.append(("stalled", verdict.stands_since_h))
    hops = events_of(batch, "dry hop")
    if phase == "creeping" and hops:
        began.append(("creeping", hours_of(hops[0].at, batch)))
    if observed.chill_h is not None:
        began.append(("chilled", observed.chill_h))
    if began[-1][0] != phase:
        began = [b for b in began if b[0] != phase] if phase in ("lag", "active", "slowing") else began
        last = began[-1][1] if began else 0.0
        began.append((phase, min(max(last, held.since_h or last), series.now_h)))
    times = np.minimum.accumulate([t for _, t in began][::-1])[::-1]
    return tuple(
        PhaseSpan(n, batch.pitched_at + timedelta(hours=float(t))) for (n, _), t in zip(began, times, strict=True)
    )
