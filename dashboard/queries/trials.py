"""What a trial says now, found once for what is known of its batches."""

from __future__ import annotations

from analysis.trials import Milestones
from dashboard import context
from dashboard.queries import milestones, queries
from ingest.model import TrialRecord
from ingest.monitoring import Outlook, Successor, TrialFindings, successors, trial_findings


def findings(trial: TrialRecord) -> TrialFindings:
    """The findings of a trial; kept until one of its batches is judged anew or something is entered."""
    store, outlooks = context.store(), context.service().outlooks
    seen = [outlooks.of(batch_id, wait=False) for batch_id in trial.batch_ids]
    when = tuple(o.computed_at if o is not None else None for o in seen)
    answer: TrialFindings = queries.kept(
        ("trial", trial.trial_id), lambda: trial_findings(store, trial, _look), (trial, when, store.revision)
    )
    return answer


def came_after(trial: TrialRecord) -> list[Successor]:
    """The batches that came of a trial, each beside the one it was made like."""
    return successors(context.store(), trial, _look)


def _look(batch_id: str) -> tuple[Outlook, Milestones] | None:
    outlook = context.service().outlooks.of(batch_id, wait=False)
    return None if outlook is None else (outlook, milestones.of(outlook))
