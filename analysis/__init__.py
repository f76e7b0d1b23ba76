"""Pure fermentation analysis: numbers in, answers out. The face: what others may use, loaded when it is asked for."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of

if TYPE_CHECKING:
    from analysis.assessment.assess import assess
    from analysis.inference.prior import Priors
    from analysis.inference.training import learn
    from analysis.model import Assessment, Batch, Event, FinishedBatch, Forecast, Range
    from analysis.packaging.sheet import sheet
    from analysis.planning.constraints import Constraints, Plan
    from analysis.planning.plan import plan
    from analysis.yeast_comparison import compare
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "assessment.assess": ("assess",),
            "inference.prior": ("Priors",),
            "inference.training": ("learn",),
            "model": (
                "Assessment",
                "Batch",
                "Event",
                "FinishedBatch",
                "Forecast",
                "Range",
            ),
            "planning.constraints": (
                "Constraints",
                "Plan",
            ),
            "planning.plan": ("plan",),
            "packaging.sheet": ("sheet",),
            "yeast_comparison": ("compare",),
        },
    )

__all__ = [
    "Assessment",
    "Batch",
    "Constraints",
    "Event",
    "FinishedBatch",
    "Forecast",
    "Plan",
    "Priors",
    "Range",
    "assess",
    "compare",
    "learn",
    "plan",
    "sheet",
]
