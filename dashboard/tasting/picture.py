"""What each drink is worth, as a dot with its interval: an SVG for the page and for paper."""

from __future__ import annotations

from dashboard.charts import Palette
from dashboard.queries import tastings
from dashboard.templates import Markup, render

_WIDTH, _ROW, _HEAD, _FOOT = 640, 44, 8, 34


def intervals_svg(found: tastings.Result, palette: Palette) -> Markup:
    """The drinks from the best down, on a scale of points from 0 to 100; nothing where there are no scores."""
    if found.scores is None:
        return Markup()
    arms = found.scores.arms
    order = sorted(range(len(arms)), key=lambda n: -arms[n].score.p50)
    rows = [
        {
            "name": found.names[n],
            "y": _HEAD + _ROW * place + 30,
            "low": _x(arms[n].score.p10),
            "mid": _x(arms[n].score.p50),
            "high": _x(arms[n].score.p90),
        }
        for place, n in enumerate(order)
    ]
    told = "; ".join(
        f"{found.names[n]} {arms[n].score.p50:.0f}, {arms[n].score.p10:.0f} to {arms[n].score.p90:.0f}" for n in order
    )
    return render(
        "tasting/intervals.svg",
        rows=rows,
        width=_WIDTH,
        height=_HEAD + _ROW * len(rows) + _FOOT,
        base=_HEAD + _ROW * len(rows) + 6,
        ticks=[(tick, _x(tick)) for tick in range(0, 101, 20)],
        palette=palette,
        told=f"Points of 100 with 80 % intervals: {told}.",
    )


def _x(points: float) -> float:
    return round(16 + (_WIDTH - 32) * points / 100, 1)
