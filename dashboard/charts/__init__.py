"""Figures: pure functions from results to ``go.Figure``. The face; what draws is loaded when it is asked for."""

from typing import TYPE_CHECKING

from analysis.lazy import attribute_of
from dashboard.charts.palette import PALETTES, Edition, Palette, faded, variables

if TYPE_CHECKING:
    from dashboard.charts.base import (
        CONFIG,
        PLAIN,
        Axes,
        Curve,
        Zoom,
        base_layout,
        gravity_format,
        gravity_title,
        literal,
    )
    from dashboard.charts.calendar import calendar_figure
    from dashboard.charts.downsampling import thinned
    from dashboard.charts.history import history_figure
    from dashboard.charts.sparkline import phase_glyph, sparkline_svg
else:
    __getattr__ = attribute_of(
        __name__,
        {
            "base": (
                "CONFIG",
                "PLAIN",
                "Axes",
                "Curve",
                "Zoom",
                "base_layout",
                "gravity_format",
                "gravity_title",
                "literal",
            ),
            "calendar": ("calendar_figure",),
            "downsampling": ("thinned",),
            "history": ("history_figure",),
            "sparkline": ("phase_glyph", "sparkline_svg"),
        },
    )

__all__ = [
    "CONFIG",
    "PALETTES",
    "PLAIN",
    "Axes",
    "Curve",
    "Edition",
    "Palette",
    "Zoom",
    "base_layout",
    "calendar_figure",
    "faded",
    "gravity_format",
    "gravity_title",
    "history_figure",
    "literal",
    "phase_glyph",
    "sparkline_svg",
    "thinned",
    "variables",
]
