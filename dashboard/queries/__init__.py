"""What screens ask, and what is kept of the answers. The face; what answers is loaded when it is asked for."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from dashboard.queries.attention import Need, Siblings, Standing, needs_of
    from dashboard.queries.finished_batches import Finished
    from dashboard.queries.late_readings import before_their_place, leave_out
    from dashboard.queries.setup_checklist import Lack
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "attention": ("Need", "Siblings", "Standing", "needs_of"),
            "finished_batches": ("Finished",),
            "late_readings": ("before_their_place", "leave_out"),
            "setup_checklist": ("Lack",),
        },
    )

__all__ = ["Finished", "Lack", "Need", "Siblings", "Standing", "before_their_place", "leave_out", "needs_of"]
