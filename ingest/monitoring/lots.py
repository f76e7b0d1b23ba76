"""Which packages are in doubt once one of them has gushed or burst: those of the same lot, wort or yeast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from analysis.packaging import DANGEROUS, FollowUp
from ingest.model import BatchRecord

Share = Literal["wort", "yeast"]

KEPT_AS: Final = "follow_up"
"""Where a batch keeps what its newest test bottle showed, among its plan."""
_BEFORE: Final = "follow_up_before"
"""Where it keeps what earlier ones showed: a good bottle does not take back a bad one."""
_LOOKED_AFTER: Final = "follow_up_looked_after"
"""Where it keeps that somebody has found all packages in doubt."""


@dataclass(frozen=True, slots=True)
class Related:
    """A batch whose packages are in doubt, and what it shares with the one that gushed or burst."""

    record: BatchRecord
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class LotWarning:
    """A lot that gushed or burst, and the others in doubt; `looked_after` once somebody has said so."""

    record: BatchRecord
    found: FollowUp
    related: tuple[Related, ...]
    looked_after: bool

    @property
    def sentence(self) -> str:
        """What happened, without the day."""
        did = "burst" if self.found.result == "burst" else "gushed"
        return f"A bottle of {self.record.name} {did}."


def follow_up_of(record: BatchRecord) -> FollowUp | None:
    """What the batch's newest test bottle showed."""
    return FollowUp.from_dict(record.plan.get(KEPT_AS))


def follow_ups(record: BatchRecord) -> tuple[FollowUp, ...]:
    """What all its test bottles showed, the newest last."""
    before = record.plan.get(_BEFORE)
    kept = [*(before if isinstance(before, list) else ()), record.plan.get(KEPT_AS)]
    return tuple(found for found in map(FollowUp.from_dict, kept) if found is not None)


def with_follow_up(record: BatchRecord, found: FollowUp) -> dict[str, Any]:
    """The batch's plan with one more test bottle; a bad one is to be looked after anew."""
    plan = set_aside(record) | {KEPT_AS: found.as_dict()}
    return {k: v for k, v in plan.items() if k != _LOOKED_AFTER or found.result not in DANGEROUS}


def set_aside(record: BatchRecord) -> dict[str, Any]:
    """The batch's plan ready for another test bottle: what the last one showed stands among the earlier ones."""
    plan = {k: v for k, v in record.plan.items() if k != KEPT_AS}
    earlier = [found.as_dict() for found in follow_ups(record)]
    return plan | {_BEFORE: earlier} if earlier else plan


def looked_after(record: BatchRecord) -> dict[str, Any]:
    """The batch's plan once all packages in doubt are found."""
    return record.plan | {_LOOKED_AFTER: True}


def lot_warnings(records: Sequence[BatchRecord]) -> tuple[LotWarning, ...]:
    """Every lot that gushed or burst, the newest first, with the batches that share its wort or yeast."""
    found = []
    for record in records:
        bad = [f for f in follow_ups(record) if f.result in DANGEROUS]
        if bad:
            worst = max(bad, key=lambda f: (f.result == "burst", f.at))
            told = bool(record.plan.get(_LOOKED_AFTER))
            found.append(LotWarning(record, worst, related_to(record, records), told))
    return tuple(sorted(found, key=lambda w: w.found.at, reverse=True))


def related_to(record: BatchRecord, records: Sequence[BatchRecord]) -> tuple[Related, ...]:
    """The batches that share its wort or its yeast, those nearest in time first."""
    others = [Related(other, _shared(record, other)) for other in records if other.batch_id != record.batch_id]
    return tuple(
        sorted((r for r in others if r.shares), key=lambda r: abs(r.record.pitched_at - record.pitched_at)),
    )


def warnings_for(record: BatchRecord, warnings: Sequence[LotWarning]) -> tuple[LotWarning, ...]:
    """Those that put this batch's own packages in doubt, of another lot or its own."""
    return tuple(
        w
        for w in warnings
        if w.record.batch_id == record.batch_id or any(r.record.batch_id == record.batch_id for r in w.related)
    )


def _shared(one: BatchRecord, other: BatchRecord) -> tuple[Share, ...]:
    pairs: tuple[tuple[Share, str | None, str | None], ...] = (
        ("wort", one.split_of, other.split_of),
        ("yeast", one.yeast, other.yeast),
    )
    return tuple(share for share, a, b in pairs if a and b and _plain(a) == _plain(b))


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())
