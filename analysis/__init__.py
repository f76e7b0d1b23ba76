"""Pure fermentation analysis: numbers in, answers out."""

from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from analysis.assessment import assess
from analysis.inference import Priors, learn
from analysis.model import Assessment, Batch, Event, FinishedBatch, Forecast, Range

__all__ = ["Assessment", "Batch", "Event", "FinishedBatch", "Forecast", "Priors", "Range", "assess", "learn"]

# The matrices here have a hundred rows: linear-algebra threads cost more than they save, many times over when
# several batches are assessed at once.
threadpool_limits(limits=1, user_api="blas")
