"""Drinks in tasters' points, each as a dot with its interval over what each taster gave: for the page and for paper.

Names are text that breaks into lines, and the strips are as wide as there is room: an SVG with names in it would shrink
them on a phone, and draw its scale through them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboard.charts import Palette
from dashboard.templates import Markup, render
from ingest.monitoring import ReportInterval

_TICKS: Final = range(0, 101, 20)


def intervals_html(drinks: Sequence[ReportInterval], palette: Palette) -> Markup:
    """The drinks in their order on a scale of points from 0 to 100; nothing where there are none."""
    if not drinks:
        return Markup()
    rows = [
        {
            "name": each.name,
            "low": _x(each.low),
            "middle": _x(each.middle),
            "high": _x(each.high),
            "given": [_x(one) for one in each.given],
        }
        for each in drinks
    ]
    told = "; ".join(f"{each.name} {each.middle:.0f}, {each.low:.0f} to {each.high:.0f}" for each in drinks)
    return render(
        "report/intervals.html",
        rows=rows,
        ticks=_TICKS,
        palette=palette,
        told=f"Points of 100 with 80 % intervals: {told}.",
    )


def shortened(name: str, most: int) -> str:
    """A name within a picture, in which no line breaks; tables have it whole."""
    return name if len(name) <= most else f"{name[: most - 1].rstrip()}…"


def _x(points: float) -> float:
    """Points of 100 as a place on the scale, within it."""
    return round(min(max(points, 0.0), 100.0), 1)
