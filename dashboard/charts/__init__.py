"""Figures: pure functions from results to ``go.Figure``."""

from dashboard.charts.base import CONFIG, PLAIN, Axes, Curve, Zoom, base_layout
from dashboard.charts.calendar import calendar_figure
from dashboard.charts.downsampling import thinned
from dashboard.charts.history import history_figure
from dashboard.charts.palette import PALETTES, Edition, faded, variables
from dashboard.charts.sparkline import phase_glyph, sparkline

__all__ = [
    "CONFIG",
    "PALETTES",
    "PLAIN",
    "Axes",
    "Curve",
    "Edition",
    "Zoom",
    "base_layout",
    "calendar_figure",
    "faded",
    "history_figure",
    "phase_glyph",
    "sparkline",
    "thinned",
    "variables",
]
