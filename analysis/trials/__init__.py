"""What one batch went through in figures, and what batches that differ in one thing tell of it."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from analysis.trials.comparison import (
        SCALES,
        Measured,
        compare_groups,
    )
    from analysis.trials.definitions import (
        MILESTONES,
        Difference,
        Estimate,
        GroupComparison,
        GroupMean,
        Milestone,
        MilestoneName,
        Milestones,
        Verdict,
        milestone_rows,
    )
    from analysis.trials.milestones import (
        Course,
        course_milestones,
        estimate_of,
        milestones_of,
    )
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "comparison": (
                "SCALES",
                "Measured",
                "compare_groups",
            ),
            "definitions": (
                "MILESTONES",
                "Difference",
                "Estimate",
                "GroupComparison",
                "GroupMean",
                "Milestone",
                "MilestoneName",
                "Milestones",
                "Verdict",
                "milestone_rows",
            ),
            "milestones": (
                "Course",
                "course_milestones",
                "estimate_of",
                "milestones_of",
            ),
        },
    )

__all__ = [
    "MILESTONES",
    "SCALES",
    "Course",
    "Difference",
    "Estimate",
    "GroupComparison",
    "GroupMean",
    "Measured",
    "Milestone",
    "MilestoneName",
    "Milestones",
    "Verdict",
    "compare_groups",
    "course_milestones",
    "estimate_of",
    "milestone_rows",
    "milestones_of",
]
