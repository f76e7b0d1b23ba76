"""What screens ask, and what is kept of the answers."""

from dashboard.queries.attention import Need, Siblings, Standing, needs_of
from dashboard.queries.finished_batches import Finished
from dashboard.queries.late_readings import before_their_place, leave_out
from dashboard.queries.setup_checklist import Lack

__all__ = ["Finished", "Lack", "Need", "Siblings", "Standing", "before_their_place", "leave_out", "needs_of"]
