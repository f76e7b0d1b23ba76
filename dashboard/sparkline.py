"""The small curve of a row: seven days back, three ahead, drawn by the rules of the large one, without axes.

Plain inline SVG with the page's colour variables, so that a list of two hundred stays one light piece of HTML.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from html import escape
from typing import Final

import numpy as np
import polars as pl

from analysis.model import Assessment, Floats, Phase
from dashboard.charts_base import course_until

WIDTH: Final = 150
HEIGHT: Final = 38
BACK: Final = timedelta(days=7)
AHEAD: Final = timedelta(days=3)
_LEAST_SPAN_SG: Final = 0.010
"""The curve is never stretched over less than this, so that the noise of a finished batch stays small."""
_MOST_POINTS: Final = 70

# Each phase is drawn as the piece of the curve that it is. 16 by 12.
_GLYPHS: Final[dict[Phase, str]] = {
    "lag": "M1 3H15",
    "active": "M2 1L14 11",
    "slowing": "M1 1Q4 10 15 10",
    "steady": "M1 6Q3 10 7 10H15",
    "finished": "M1 10H15M10 5L12 7.5L15 2",
    "stalled": "M1 1L7 6H15M9 10H15",
    "chilled": "M1 8H15M8 1V5M6 2L10 4M10 2L6 4",
    "creeping": "M1 4H8L15 10",
}


def phase_glyph(phase: Phase) -> str:
    """The phase as a tiny stroke, to stand before its word."""
    return (
        '<svg class="glyph" viewBox="0 0 16 12" width="16" height="12" aria-hidden="true" focusable="false">'
        f'<path d="{_GLYPHS[phase]}"/></svg>'
    )


class _Frame:
    """Time and gravity to pixels."""

    def __init__(self, now: datetime, low: float, high: float) -> None:
        self.start = (now - BACK).timestamp()
        self.seconds = (BACK + AHEAD).total_seconds()
        middle, span = (low + high) / 2, max(high - low, _LEAST_SPAN_SG)
        self.low, self.span = middle - span / 2, span

    def x(self, seconds: Floats) -> Floats:
        return np.asarray((seconds - self.start) / self.seconds * WIDTH)

    def y(self, gravity: Floats) -> Floats:
        return np.asarray(2 + (HEIGHT - 4) * (1 - (gravity - self.low) / self.span))

    def path(self, seconds: Floats, gravity: Floats) -> str:
        pairs = zip(self.x(seconds), self.y(gravity), strict=True)
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in pairs)


def _columns(frame: pl.DataFrame, time: str, *names: str) -> tuple[Floats, ...]:
    seconds = frame[time].dt.epoch("us").to_numpy() / 1e6
    return (seconds, *(frame[n].to_numpy() for n in names))


def sparkline(assessment: Assessment, now: datetime, description: str) -> str:
    """One batch's last week and next days as an SVG string; `description` is its text equivalent."""
    points = assessment.marked.filter(
        pl.col("set_aside").is_null()
        & pl.col("gravity_sg").is_not_null()
        & (pl.col("measured_at") >= now - BACK)
        & (pl.col("measured_at") <= now)
    )
    if points.height > _MOST_POINTS:
        points = points.gather_every(points.height // _MOST_POINTS + 1)
    course = course_until(assessment, now)
    course = course.filter((pl.col("at") >= now - BACK) & (pl.col("at") <= now + AHEAD))
    if course.height > 2 * _MOST_POINTS:
        course = course.gather_every(course.height // (2 * _MOST_POINTS) + 1)
    values = [*points["gravity_sg"], *course["gravity_p50_sg"]]
    if not values:
        return (
            f'<svg class="spark" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(description)}">'
            f'<path class="rest" d="M0 {HEIGHT - 2}H{WIDTH}"/></svg>'
        )
    box = _Frame(now, min(values), max(values))
    parts = []
    if course.height > 1:
        ahead = course.filter(pl.col("at") >= now)
        if ahead.height > 1:
            at, low, high = _columns(ahead, "at", "gravity_p10_sg", "gravity_p90_sg")
            edge = box.path(np.concatenate([at, at[::-1]]), np.concatenate([high, low[::-1]]))
            parts.append(f'<path class="band" d="{edge}Z"/>')
        at, middle = _columns(course, "at", "gravity_p50_sg")
        parts.append(f'<path class="course" d="{box.path(at, middle)}"/>')
    if points.height:
        at, gravity = _columns(points, "measured_at", "gravity_sg")
        dots = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in zip(box.x(at), box.y(gravity), strict=True))
        parts.append(f'<path class="dots" d="{dots}"/>')
    here = BACK / (BACK + AHEAD) * WIDTH
    parts.append(f'<path class="now" d="M{here:.1f} 0V{HEIGHT}"/>')
    return (
        f'<svg class="spark" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(description)}">'
        f"{''.join(parts)}</svg>"
    )
