"""Which day to hop and which day to package. The face: what others may use, loaded when it is asked for.

But for `outstanding`, whose module has the name of what it gives.
"""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of
from analysis.planning.outstanding import (
    Act,
    ToDo,
    days_to_come,
    done_so_far,
    due,
    first_of,
    outstanding,
)

if TYPE_CHECKING:
    from analysis.planning.constraints import Constraints, DateMoved, Destination
    from analysis.planning.grounds import cold_keg, lacking
    from analysis.planning.plan import Plan, moved, steady_plan
    from analysis.planning.reasons import (
        Blocked,
        BottlesWait,
        BottlesWaitAgain,
        Caution,
        ColdKeg,
        Contact,
        ContactTooLong,
        Ended,
        FillColdKeg,
        Hold,
        HopEarly,
        HopThenPackage,
        MayFermentOn,
        Obstacle,
        Packaged,
        PackageOn,
        PlanCaution,
        PlanReason,
        TakeHopsOut,
        UnlikelyInTime,
        Unread,
        WhenContactEnds,
    )
    from analysis.planning.release import (
        Condition,
        Release,
        reading_fresh,
        release_of_the_gravity,
    )
    from analysis.planning.sheet_inputs import prefill
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "constraints": (
                "Constraints",
                "DateMoved",
                "Destination",
            ),
            "grounds": (
                "cold_keg",
                "lacking",
            ),
            "plan": (
                "Plan",
                "moved",
                "steady_plan",
            ),
            "sheet_inputs": ("prefill",),
            "reasons": (
                "Blocked",
                "BottlesWait",
                "BottlesWaitAgain",
                "Caution",
                "ColdKeg",
                "Contact",
                "ContactTooLong",
                "Ended",
                "FillColdKeg",
                "Hold",
                "HopEarly",
                "HopThenPackage",
                "MayFermentOn",
                "Obstacle",
                "Packaged",
                "PackageOn",
                "PlanCaution",
                "PlanReason",
                "TakeHopsOut",
                "UnlikelyInTime",
                "Unread",
                "WhenContactEnds",
            ),
            "release": (
                "Condition",
                "Release",
                "reading_fresh",
                "release_of_the_gravity",
            ),
        },
    )

__all__ = [
    "Act",
    "Blocked",
    "BottlesWait",
    "BottlesWaitAgain",
    "Caution",
    "ColdKeg",
    "Condition",
    "Constraints",
    "Contact",
    "ContactTooLong",
    "DateMoved",
    "Destination",
    "Ended",
    "FillColdKeg",
    "Hold",
    "HopEarly",
    "HopThenPackage",
    "MayFermentOn",
    "Obstacle",
    "PackageOn",
    "Packaged",
    "Plan",
    "PlanCaution",
    "PlanReason",
    "Release",
    "TakeHopsOut",
    "ToDo",
    "UnlikelyInTime",
    "Unread",
    "WhenContactEnds",
    "cold_keg",
    "days_to_come",
    "done_so_far",
    "due",
    "first_of",
    "lacking",
    "moved",
    "outstanding",
    "prefill",
    "reading_fresh",
    "release_of_the_gravity",
    "steady_plan",
]
