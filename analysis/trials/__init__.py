"""What one batch went through in figures, and what batches that differ in one thing tell of it."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from analysis.trials.blending import (
        Blend,
        Dose,
        NextBatch,
        Shares,
        blend,
        next_batch,
    )
    from analysis.trials.comparison import (
        SCALES,
        Measured,
        compare_groups,
        compare_scores,
        score_error,
    )
    from analysis.trials.conclusion import (
        Conclusion,
        TryNext,
        conclude,
    )
    from analysis.trials.concordance import (
        Agreement,
        agreement,
        least_significant_difference,
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
        ScoreComparison,
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
    from analysis.trials.discrimination import (
        Triangle,
        power,
        tasters_needed,
        triangle,
    )
    from analysis.trials.learnt import (
        Belief,
        beliefs,
    )
    from analysis.trials.milestones import (
        Course,
        course_milestones,
        estimate_of,
        milestones_of,
    )
    from analysis.trials.scoring import (
        ArmScore,
        Judged,
        Scores,
        as_scores,
        points_of,
        scores,
    )
    from analysis.trials.serving import (
        Balance,
        Order,
        balance,
        glass_codes,
        serving_orders,
        triangle_orders,
    )
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "blending": (
                "Blend",
                "Dose",
                "NextBatch",
                "Shares",
                "blend",
                "next_batch",
            ),
            "comparison": (
                "SCALES",
                "Measured",
                "compare_groups",
                "compare_scores",
                "score_error",
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
                "ScoreComparison",
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
            "learnt": (
                "Belief",
                "beliefs",
            ),
            "milestones": (
                "Course",
                "course_milestones",
                "estimate_of",
                "milestones_of",
            ),
            "concordance": (
                "Agreement",
                "agreement",
                "least_significant_difference",
            ),
            "discrimination": (
                "Triangle",
                "power",
                "tasters_needed",
                "triangle",
            ),
            "scoring": (
                "ArmScore",
                "Judged",
                "Scores",
                "as_scores",
                "points_of",
                "scores",
            ),
            "serving": (
                "Balance",
                "Order",
                "balance",
                "glass_codes",
                "serving_orders",
                "triangle_orders",
            ),
        },
    )

__all__ = [
    "MILESTONES",
    "SCALES",
    "Agreement",
    "ArmBatch",
    "ArmScore",
    "Balance",
    "Belief",
    "Blend",
    "Compared",
    "Conclusion",
    "Course",
    "Design",
    "Difference",
    "Dose",
    "Estimate",
    "Factor",
    "GroupComparison",
    "GroupMean",
    "Judged",
    "Measured",
    "Milestone",
    "MilestoneName",
    "Milestones",
    "NextBatch",
    "Order",
    "ScoreComparison",
    "Scores",
    "Shares",
    "TastingResult",
    "Triangle",
    "TryNext",
    "Verdict",
    "agreement",
    "as_scores",
    "balance",
    "beliefs",
    "blend",
    "compare_groups",
    "compare_scores",
    "conclude",
    "course_milestones",
    "design_of",
    "estimate_of",
    "glass_codes",
    "least_significant_difference",
    "milestone_rows",
    "milestones_of",
    "next_batch",
    "points_of",
    "power",
    "score_error",
    "scores",
    "serving_orders",
    "tasters_needed",
    "triangle",
    "triangle_orders",
]
