"""What one batch went through in figures, and what batches that differ in one thing tell of it."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from analysis.trials.comparison import (
        SCALES,
        Measured,
        compare_groups,
    )
    from analysis.trials.conclusion import (
        Conclusion,
        TryNext,
        conclude,
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
    from analysis.trials.design import (
        ArmBatch,
        Compared,
        Design,
        Factor,
        TastingResult,
        design_of,
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
            "conclusion": (
                "Conclusion",
                "TryNext",
                "conclude",
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
            "design": (
                "ArmBatch",
                "Compared",
                "Design",
                "Factor",
                "TastingResult",
                "design_of",
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
    "ArmBatch",
    "Compared",
    "Conclusion",
    "Course",
    "Design",
    "Difference",
    "Estimate",
    "Factor",
    "GroupComparison",
    "GroupMean",
    "Measured",
    "Milestone",
    "MilestoneName",
    "Milestones",
    "TastingResult",
    "TryNext",
    "Verdict",
    "compare_groups",
    "conclude",
    "course_milestones",
    "design_of",
    "estimate_of",
    "milestone_rows",
    "milestones_of",
]
