"""What screens ask, and what is kept of the answers."""

from dashboard.queries.attention import Need, Siblings, Standing, needs_of
from dashboard.queries.finished_batches import Finished
from dashboard.queries.setup_checklist import Lack

__all__ = ["Finished", "Lack", "Need", "Siblings", "Standing", "needs_of"]
