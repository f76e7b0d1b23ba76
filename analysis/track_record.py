"""How earlier forecasts fared: what was said some days ahead, against what happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from analysis.thresholds import AHEAD_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One forecast as it was made; `packaging_at` is when the packaging day then named would have begun.

    `finish_p90` is None where the chance that it would ever come was less.
    """

    made_at: datetime
    finish_p10: datetime
    finish_p50: datetime
    finish_p90: datetime | None
    packaging_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """A batch that has finished: when it truly did, for how long its gravity was to be held, and what had been said."""

    finished_at: datetime
    hold_h: float
    said: Sequence[Said]


@dataclass(frozen=True, slots=True)
class TrackRecord:
    """Counts over batches: of `dates` named ahead `dates_held` were not too early; `ranges_held` of `ranges` held.

    `miss_days` is the median distance of the middle of the range from the truth, in days; None without one.
    """

    dates: int
    dates_held: int
    ranges: int
    ranges_held: int
    miss_days: float | None


def track_record(batches: Sequence[Ended], *, ahead_days: float = AHEAD_DAYS) -> TrackRecord:
    """Judge for each batch the last forecast made at least `ahead_days` before it finished.

    A packaging day held if by then the batch had finished and its gravity had held for the time that was asked; a
    range (80 %) held if the finish lay within it. A batch without a forecast that early does not count.
    """
    judged = [(b, s) for b in batches if (s := _last_before(b, ahead_days)) is not None]
    dated = [(b, s) for b, s in judged if s.packaging_at is not None]
    held = [b.finished_at + timedelta(hours=b.hold_h) <= s.packaging_at for b, s in dated if s.packaging_at is not None]
    inside = [
        s.finish_p10 <= b.finished_at and (s.finish_p90 is None or b.finished_at <= s.finish_p90) for b, s in judged
    ]
    misses = sorted(abs((s.finish_p50 - b.finished_at).total_seconds()) / 86_400 for b, s in judged)
    middle = None
    if misses:
        half = len(misses) // 2
        middle = misses[half] if len(misses) % 2 else (misses[half - 1] + misses[half]) / 2
    return TrackRecord(len(held), sum(held), len(inside), sum(inside), middle)


def _last_before(batch: Ended, ahead_days: float) -> Said | None:
    limit = batch.finished_at - timedelta(days=ahead_days)
    early = [s for s in batch.said if s.made_at <= limit]
    return max(early, key=lambda s: s.made_at, default=None)
