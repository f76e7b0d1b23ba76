"""Where a part of a divided batch comes from: whose course is its own, and how much of what was added is in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ingest.model import BatchRecord, EventRecord, HandSample
from ingest.store.entries import Book

_OF_THE_WHOLE = frozenset({"package"})
"""What ends a batch is not handed on to the parts that were taken before."""


@dataclass(frozen=True, slots=True)
class Span:
    """A batch that was in `record`'s vessel from `since` until `until` (None: still); `share` of its volume went on.

    `share` is None where a volume is not known.
    """

    record: BatchRecord
    since: datetime
    until: datetime | None
    share: float | None


def line_of(book: Book, record: BatchRecord) -> list[Span]:
    """The batch itself and those that it was divided from, the nearest first."""
    line = [Span(record, record.here_from, record.ended_at, 1.0)]
    for parent in book.ancestors(record):
        part = line[-1]
        ends = [t for t in (part.record.divided_at, parent.ended_at) if t is not None]
        whole = _volume_at_division(book, part.record, parent)
        taken = part.record.volume_l
        share = None if part.share is None or not whole or taken is None else part.share * min(taken / whole, 1.0)
        line.append(Span(parent, parent.here_from, min(ends), share))
    return line


def _volume_at_division(book: Book, part: BatchRecord, parent: BatchRecord) -> float | None:
    """What the parent held when the part was taken: its volume, and what was added by volume since."""
    if parent.volume_l is None or part.divided_at is None:
        return None
    added = [e.amount_l or 0.0 for e in book.all(EventRecord, batch_id=parent.batch_id) if e.at <= part.divided_at]
    return parent.volume_l + sum(added)


def pitched_volume_l(line: Sequence[Span]) -> float | None:
    """The share of the part in what was pitched, litres; None where a volume is not known."""
    first = line[-1]
    if first.record.volume_l is None or first.share is None:
        return None
    return first.record.volume_l * first.share


def events_of(book: Book, line: Sequence[Span]) -> list[EventRecord]:
    """What was done to the batch and, before the division, to those that it comes from; amounts by its share."""
    found = list(book.all(EventRecord, batch_id=line[0].record.batch_id))
    for span in line[1:]:
        for event in book.all(EventRecord, batch_id=span.record.batch_id):
            if event.kind not in _OF_THE_WHOLE and (span.until is None or event.at < span.until):
                found.append(_shared(event, span.share))
    return found


def samples_of(book: Book, line: Sequence[Span]) -> list[HandSample]:
    """Hand samples of the batch and, up to the division, of those that it comes from."""
    found = list(book.all(HandSample, batch_id=line[0].record.batch_id))
    for span in line[1:]:
        samples = book.all(HandSample, batch_id=span.record.batch_id)
        found += [s for s in samples if span.until is None or s.at <= span.until]
    return found


def _shared(event: EventRecord, share: float | None) -> EventRecord:
    def part(amount: float | None) -> float | None:
        return None if amount is None or share is None else amount * share

    return replace(event, amount_g=part(event.amount_g), amount_l=part(event.amount_l))
