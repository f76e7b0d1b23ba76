"""The milestones of batches, each weighed once for what is known of it, and handed out as files."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Final

from analysis.trials import Milestones
from dashboard import context
from dashboard.queries import queries
from ingest.monitoring import Outlook, batch_milestones, milestone_frame
from ingest.transfer import for_spreadsheets

_MORE: Final = math.log(1.1)
"""So many more readings, in logarithms, are worth another look."""


def of(outlook: Outlook) -> Milestones:
    """The milestones of one batch; weighed anew once an hour while readings come, and with every entry.

    Sooner where a tenth more readings came, as they do from a float that sends what it had kept: what was weighed
    before them says of a fall that was seen since that it was not reached.
    """
    a = outlook.assessment
    tenths_more = int(math.log(max(outlook.readings.height, 1)) / _MORE)
    hour = a.now.replace(minute=0, second=0, microsecond=0)
    outlooks = context.service().outlooks
    answer: Milestones = queries.kept(
        ("milestones", outlook.record.batch_id),
        lambda: batch_milestones(outlooks, outlook),
        (outlook.batch, hour, a.finished, tenths_more),
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
