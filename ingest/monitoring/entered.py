"""What was entered of a batch, as comparisons with others take it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from ingest.model import BatchRecord, EventRecord
from ingest.store import Store


@dataclass(frozen=True, slots=True)
class DryHops:
    """All dry hops of a batch together: texts are "none" without any, None is what was not written down."""

    variety: str | None
    form: str | None
    grams_per_l: float | None
    first_day: float | None
    contact_days: float | None


def hops_of(store: Store, record: BatchRecord) -> DryHops:
    """The dry hops of a batch as they were entered; of a part, with those of the whole before it was divided."""
    events = events_of(store, record)
    hops = [e for e in events if e.kind == "dry hop"]
    return DryHops(
        together([e.hop_variety for e in hops]),
        together([e.hop_form for e in hops]),
        _per_litre(hops, record.volume_l),
        (hops[0].at - record.pitched_at) / timedelta(days=1) if hops else None,
        _contact(hops, [e.at for e in events if e.kind == "hops out"]),
    )


def events_of(store: Store, record: BatchRecord) -> list[EventRecord]:
    """The events of a batch in time order; of a part, with those of the whole before it was divided."""
    found = list(store.all(EventRecord, batch_id=record.batch_id))
    parent = store.get(BatchRecord, record.divided_from or "")
    if parent is not None and record.divided_at is not None:
        found += [e for e in events_of(store, parent) if e.at <= record.divided_at]
    return sorted(found, key=lambda e: e.at)


def together(said: Sequence[str | None]) -> str | None:
    """What several events had, in the order of their names; "none" without any, None where one does not say."""
    if not said:
        return "none"
    return None if any(not each for each in said) else " + ".join(sorted(str(each) for each in said))


def _per_litre(hops: Sequence[EventRecord], volume_l: float | None) -> float | None:
    if not hops:
        return 0.0
    grams = [e.amount_g for e in hops]
    if volume_l is None or any(g is None for g in grams):
        return None
    return sum(g for g in grams if g is not None) / volume_l


def _contact(hops: Sequence[EventRecord], out: Sequence[datetime]) -> float | None:
    if not hops:
        return None
    after = [at for at in out if at >= hops[-1].at]
    return (after[0] - hops[0].at) / timedelta(days=1) if after else hops[0].contact_days
