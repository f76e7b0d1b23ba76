"""Drinks in tasters' points, each as a dot with its interval: an SVG for the page and for paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboard.charts import Palette
from dashboard.templates import Markup, render
from ingest.monitoring import ReportInterval

_WIDTH: Final = 640
_ROW: Final = 44
_HEAD: Final = 8
_FOOT: Final = 34
_NAME: Final = 68
"""Characters of a name that the picture is wide enough for."""


def intervals_svg(drinks: Sequence[ReportInterval], palette: Palette) -> Markup:
    """The drinks in their order on a scale of points from 0 to 100; nothing where there are none."""
    if not drinks:
        return Markup()
    rows = [
        {
            "name": shortened(each.name, _NAME),
            "y": _HEAD + _ROW * place + 30,
            "low": _x(each.low),
            "mid": _x(each.middle),
            "high": _x(each.high),
        }
        for place, each in enumerate(drinks)
    ]
    told = "; ".join(f"{each.name} {each.middle:.0f}, {each.low:.0f} to {each.high:.0f}" for each in drinks)
    return render(
        "report/intervals.svg",
        rows=rows,
        width=_WIDTH,
        height=_HEAD + _ROW * len(rows) + _FOOT,
        base=_HEAD + _ROW * len(rows) + 6,
        ticks=[(tick, _x(tick)) for tick in range(0, 101, 20)],
        palette=palette,
        told=f"Points of 100 with 80 % intervals: {told}.",
    )


def shortened(name: str, most: int) -> str:
    """A name within a picture, in which no line breaks; tables have it whole."""
    return name if len(name) <= most else f"{name[: most - 1].rstrip()}…"


def _x(points: float) -> float:
    return round(16 + (_WIDTH - 32) * points / 100, 1)
