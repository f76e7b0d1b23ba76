"""What one assessment may carry on from the last, and how we know that nothing under it has changed."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import datetime

import numpy as np
import polars as pl

from analysis.model import Assessment, Batch, Hysteresis, events_of


def fingerprint_of(marked: pl.DataFrame, batch: Batch, now: datetime) -> str:
    """Identifies readings and batch facts up to `now`."""
    digest = hashlib.blake2b(digest_size=16)
    digest.update(marked["measured_at"].to_physical().to_numpy().tobytes())
    digest.update(np.nan_to_num(marked["gravity_sg"].to_numpy(), nan=-1.0).tobytes())
    digest.update(np.nan_to_num(marked["temperature_c"].to_numpy(), nan=-99.0).tobytes())
    digest.update(marked["by_hand"].to_numpy().tobytes())
    events = tuple(e for e in batch.events if e.at <= now)
    facts = (batch.pitched_at, batch.original_gravity_sg, batch.yeast, batch.drink, batch.expected_attenuation, events)
    culture = (batch.diastatic, batch.mixed_culture)
    digest.update(repr((*facts, culture, batch.volume_l)).encode())
    return digest.hexdigest()


def carry_on(previous: Assessment | None, marked: pl.DataFrame, batch: Batch, now: datetime) -> Hysteresis:
    """What `previous` remembers, or nothing if it was made from readings that are not among these.

    Readings that came late take no verdict back: what they show is weighed as any that came in time. Only since when
    it was called so is told anew, from a record that has changed.
    """
    if previous is None or previous.hysteresis == Hysteresis():
        return Hysteresis()
    seen = marked.filter(pl.col("measured_at") <= previous.now)
    same = len(seen) == len(previous.marked) and fingerprint_of(seen, batch, previous.now) == previous.fingerprint
    if not same and not _only_added_to(seen, previous, batch):
        return Hysteresis()
    if any(previous.now < e.at for e in events_of(batch, "feed", "dilute", until=now)):
        # What was done since may set it going again: judge afresh.
        return Hysteresis()
    if any(previous.now < e.at for e in events_of(batch, "dry hop", until=now)):
        # So may hops; yet they leave the liquid as it was, and a fall since it was called finished is still one.
        return Hysteresis(called_h=previous.hysteresis.called_h, before_hops=counted_as_finished(previous))
    return previous.hysteresis if same else replace(previous.hysteresis, called_h=None)


def _only_added_to(seen: pl.DataFrame, previous: Assessment, batch: Batch) -> bool:
    """Whether all that `previous` was made from is still so, and some readings of before then came in later."""
    if len(seen) < len(previous.marked) or fingerprint_of(previous.marked, batch, previous.now) != previous.fingerprint:
        return False
    of_a_reading = ["measured_at", "gravity_sg", "temperature_c", "by_hand"]
    missing = previous.marked.join(seen, on=of_a_reading, how="anti", nulls_equal=True)
    return missing.is_empty()


def counted_as_finished(said: Assessment) -> bool:
    """Whether it was finished when that was said, or before hops that had changed nothing by then."""
    before = said.before_hops
    return said.finished or (before is not None and before.finished and said.phase == "steady")
