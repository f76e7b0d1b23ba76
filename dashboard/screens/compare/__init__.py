"""Batches laid over one another, while they ferment and after."""

from dashboard.screens.compare.charts import Line, Scale, over_one_another
from dashboard.screens.compare.page import Height, line, lines_by_day, name_of, scale

__all__ = ["Height", "Line", "Scale", "line", "lines_by_day", "name_of", "over_one_another", "scale"]
