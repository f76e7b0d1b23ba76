"""How to package: gas, pressure, sulfite, sweetening, and what must not be done."""

from analysis.packaging.follow_up import HOW_TO_TEST, RESULTS, FollowUp, advice, bottle_day, lesson
from analysis.packaging.prefill import prefill
from analysis.packaging.safety import DEFER
from analysis.packaging.sheet import Field, Quantity, SheetInputError, field_of, fields, sheet

__all__ = [
    "DEFER",
    "HOW_TO_TEST",
    "RESULTS",
    "Field",
    "FollowUp",
    "Quantity",
    "SheetInputError",
    "advice",
    "bottle_day",
    "field_of",
    "fields",
    "lesson",
    "prefill",
    "sheet",
]
