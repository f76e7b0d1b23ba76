"""The plan of a batch: the cellar's wishes with its own laid over them, and what came of them by now."""

from __future__ import annotations

from dataclasses import asdict, fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from analysis.model import Assessment, Batch, events_of
from analysis.planning import Constraints, Ended, Plan, steady_plan
from ingest.decoding import AHEAD_S
from ingest.model import BatchRecord, Preferences, usable_hold_h


def constraints_of(record: BatchRecord, preferences: Preferences) -> Constraints:
    """The cellar's wishes with this batch's own laid over them."""
    known = {f.name for f in fields(Constraints)}
    values: dict[str, Any] = {k: v for k, v in asdict(preferences).items() if k in known}
    values |= {k: v for k, v in record.plan.items() if k in known and v is not None}
    for name in ("hold_h", "contact_days"):
        if (own := getattr(record, name)) is not None:
            values[name] = own
    values["hold_h"], _ = usable_hold_h(record, preferences)
    for name, value in values.items():
        if isinstance(value, list):
            values[name] = tuple(value)
    return Constraints(**values)


def plan_of(
    record: BatchRecord,
    assessment: Assessment,
    batch: Batch,
    constraints: Constraints,
    now: datetime,
    said: tuple[date | None, date | None] | None,
) -> Plan:
    """The plan; a batch that has ended, with no packaging logged, has none.

    A look at the whole cellar takes a while: what was logged meanwhile has happened, though `now` is the look's start.
    A device's clock may run ahead by as much as is taken for drift: its reading is not from the future then.
    """
    clock = datetime.now(UTC)
    now = max([now, *(e.at for e in batch.events if e.at <= clock)])
    newest = assessment.newest_reading_at
    if newest is not None and now < newest <= now + timedelta(seconds=AHEAD_S):
        now = newest
    if record.ended_at is not None and record.ended_at <= now and not events_of(batch, "package", until=now):
        over = Ended(constraints.local_day(record.ended_at))
        return Plan(made_at=now, reason=over, blocked_by=over)
    return steady_plan(assessment, batch, constraints, now=now, said=said)


def unconfirmed(plan: Plan) -> Plan:
    """The plan of readings that have not yet been judged in the light of what was entered: it clears nothing."""
    return replace(plan, release=None)
