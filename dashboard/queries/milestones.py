"""The milestones of batches, each weighed once for what is known of it, and handed out as files."""

from __future__ import annotations

import io
from collections.abc import Sequence

from analysis.trials import Milestones
from dashboard import context
from dashboard.queries import queries
from ingest.monitoring import Outlook, batch_milestones, milestone_frame
from ingest.transfer import for_spreadsheets


def of(outlook: Outlook) -> Milestones:
    """The milestones of one batch; weighed anew once an hour at most while readings come, and with every entry."""
    a = outlook.assessment
    hour = a.now.replace(minute=0, second=0, microsecond=0)
    outlooks = context.service().outlooks
    answer: Milestones = queries.kept(
        ("milestones", outlook.record.batch_id),
        lambda: batch_milestones(outlooks, outlook),
        (outlook.batch, hour, a.finished),
    )
    return answer


def csv(outlooks: Sequence[Outlook]) -> bytes:
    """The milestones of batches as CSV, a row each."""
    return for_spreadsheets(milestone_frame((o.record, of(o)) for o in outlooks)).write_csv().encode()


def parquet(outlooks: Sequence[Outlook]) -> bytes:
    """The same as Parquet."""
    target = io.BytesIO()
    milestone_frame((o.record, of(o)) for o in outlooks).write_parquet(target, compression="zstd")
    return target.getvalue()
