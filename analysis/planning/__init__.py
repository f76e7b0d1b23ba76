"""Which day to hop and which day to package."""

from analysis.planning.constraints import WEEKDAYS, Constraints, Destination, percent
from analysis.planning.outstanding import Act, ToDo, days_to_come, done_so_far, due, first_of, outstanding
from analysis.planning.plan import Plan, day_words, moved, steady_plan
from analysis.planning.release import Condition, reading_fresh
from analysis.planning.wording import FORECAST_ONLY, cold_keg_words, unread_words

__all__ = [
    "FORECAST_ONLY",
    "WEEKDAYS",
    "Act",
    "Condition",
    "Constraints",
    "Destination",
    "Plan",
    "ToDo",
    "cold_keg_words",
    "day_words",
    "days_to_come",
    "done_so_far",
    "due",
    "first_of",
    "moved",
    "outstanding",
    "percent",
    "reading_fresh",
    "steady_plan",
    "unread_words",
]
