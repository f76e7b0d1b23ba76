"""What was made of a trial: the batches that came after it, what changed, and whether it got better."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from analysis.trials import SCALES, Conclusion, Design, MilestoneName, compare_groups, conclude, design_of
from ingest.model import BatchRecord, TrialRecord
from ingest.monitoring.trials import ArmFindings, Look, arm_batch, measured
from ingest.store import Store

_FROM_TRIAL: Final = "from_trial"
_MADE_LIKE: Final = "made_like"
"""Under these keys of a batch's plan stand the trial that it came from, and the batch of it that it was made like."""

BEFORE: Final = "the one before"
AFTER: Final = "the new one"

_ALWAYS: Final = frozenset({"wort", "pitching day"})
"""What differs between any two batches that were not made together."""


@dataclass(frozen=True, slots=True)
class Successor:
    """A batch that came of a trial: beside the one it was made like, what changed and what came of that.

    `conclusion` is None where a tasting decides; then two glasses say which is better.
    """

    record: BatchRecord
    before: BatchRecord
    changed: tuple[str, ...]
    design: Design
    conclusion: Conclusion | None


def origin(trial: TrialRecord | None, like: BatchRecord | None) -> dict[str, Any]:
    """What a plan keeps of the trial that a batch came from; empty where it came from none."""
    if trial is None or like is None:
        return {}
    return {_FROM_TRIAL: trial.trial_id, _MADE_LIKE: like.batch_id}


def without_origin(plan: Mapping[str, Any]) -> dict[str, Any]:
    """A plan to copy: where its own batch came from is not where the next one does."""
    return {key: value for key, value in plan.items() if key not in (_FROM_TRIAL, _MADE_LIKE)}


def trial_of(store: Store, record: BatchRecord) -> TrialRecord | None:
    """The trial that a batch came from; None where it came from none, or that was removed."""
    return store.get(TrialRecord, str(record.plan.get(_FROM_TRIAL, "")))


def successors(store: Store, trial: TrialRecord, look: Look) -> list[Successor]:
    """The batches that came of a trial, each beside the one that it was made like."""
    found = []
    for record in store.all(BatchRecord):
        before = store.get(BatchRecord, str(record.plan.get(_MADE_LIKE, "")))
        if record.plan.get(_FROM_TRIAL) != trial.trial_id or before is None:
            continue
        earlier, later = look(before.batch_id), look(record.batch_id)
        if earlier is not None and later is not None:
            both = [ArmFindings(BEFORE, before, *earlier), ArmFindings(AFTER, record, *later)]
            found.append(_beside(store, trial, both))
    return found


def _beside(store: Store, trial: TrialRecord, both: list[ArmFindings]) -> Successor:
    design = design_of([arm_batch(store, each) for each in both])
    changed = tuple(name for name in design.differing if name not in _ALWAYS)
    quantity: MilestoneName | None = next((name for name in SCALES if name == trial.decides), None)
    conclusion = None
    if quantity is not None:
        # What was changed is what is asked: nothing is allowed for that would take it out again.
        plain = Design((), (), (), design.vessels)
        of_each = measured(both, quantity, plain)
        conclusion = conclude(design, trial.decides, compare_groups(quantity, of_each))
    return Successor(both[1].record, both[0].record, changed, design, conclusion)
