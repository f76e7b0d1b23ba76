"""What one batch went through in figures, and what batches that differ in one thing tell of it."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from analysis.trials.definitions import (
        MILESTONES,
        Estimate,
        Milestone,
        MilestoneName,
        Milestones,
        milestone_rows,
    )
    from analysis.trials.milestones import Course, course_milestones, estimate_of, milestones_of
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "definitions": (
                "MILESTONES",
                "Estimate",
                "Milestone",
                "MilestoneName",
                "Milestones",
                "milestone_rows",
            ),
            "milestones": ("Course", "course_milestones", "estimate_of", "milestones_of"),
        },
    )

__all__ = [
    "MILESTONES",
    "Course",
    "Estimate",
    "Milestone",
    "MilestoneName",
    "Milestones",
    "course_milestones",
    "estimate_of",
    "milestone_rows",
    "milestones_of",
]
