"""The small curve of a row: seven days back, three ahead, drawn by the rules of the large one, without axes.

Plain inline SVG with the page's colour variables, so that a list of two hundred stays one light piece of HTML.
"""

from __future__ import annotations

import functools
from datetime import datetime, timedelta
from typing import Final

import numpy as np
import polars as pl

from analysis.model import Assessment, Floats, Phase
from dashboard.templates import Markup, fill

WIDTH: Final = 150
HEIGHT: Final = 38
BACK: Final = timedelta(days=7)
AHEAD: Final = timedelta(days=3)
_LEAST_SPAN_SG: Final = 0.010
"""The curve is never stretched over less than this, so that the noise of a finished batch stays small."""
_MOST_POINTS: Final = 48

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


@functools.cache
def phase_glyph(phase: Phase) -> Markup:
    """The phase as a tiny stroke, to stand before its word."""
    return fill(
        '<svg class="glyph" viewBox="0 0 16 12" width="16" height="12" aria-hidden="true" focusable="false">'
        '<path d="{{ stroke }}"/></svg>',
        stroke=_GLYPHS[phase],
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
        return "M" + "L".join(["%.1f %.1f"] * seconds.size) % self._pairs(seconds, gravity)

    def dots(self, seconds: Floats, gravity: Floats) -> str:
        return "M%.1f %.1fh0" * seconds.size % self._pairs(seconds, gravity)

    def _pairs(self, seconds: Floats, gravity: Floats) -> tuple[float, ...]:
        """x and y by turns, to be formatted all at once: a list has two hundred of these curves."""
        return tuple(np.column_stack([self.x(seconds), self.y(gravity)]).ravel().tolist())


def _seconds(column: pl.Series) -> Floats:
    return column.to_numpy().astype("datetime64[us]").astype(np.int64) / 1e6


def _fewer(n: int) -> slice:
    """A stride that leaves at most the points that so small a picture can tell apart."""
    return slice(None, None, n // _MOST_POINTS + 1)


def _measured(a: Assessment, start: float, now: float) -> tuple[Floats, Floats]:
    at, gravity = _seconds(a.marked["measured_at"]), a.marked["gravity_sg"].to_numpy()
    shown = a.marked["set_aside"].is_null().to_numpy() & (at >= start) & (at <= now) & np.isfinite(gravity)
    at, gravity = at[shown], gravity[shown]
    return at[_fewer(at.size)], gravity[_fewer(gravity.size)]


def _course(a: Assessment, start: float, now: float, end: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Instants and the three courses within the picture; a finished batch goes on level to now, a stalled one ends."""
    at = _seconds(a.course["at"])
    low, middle, high = (a.course[f"gravity_{p}_sg"].to_numpy() for p in ("p10", "p50", "p90"))
    if a.finished and at.size and at[-1] < now:
        at = np.append(at, now)
        low, middle, high = (np.append(values, values[-1]) for values in (low, middle, high))
    shown = (at >= start) & (at <= (now if a.stalled else end)) & np.isfinite(middle)
    at, low, middle, high = at[shown], low[shown], middle[shown], high[shown]
    few = _fewer(at.size)
    return at[few], low[few], middle[few], high[few]


def sparkline_svg(assessment: Assessment, now: datetime, description: str) -> Markup:
    """One batch's last week and next days as an SVG string; `description` is its text equivalent."""
    start, here, end = (now - BACK).timestamp(), now.timestamp(), (now + AHEAD).timestamp()
    seen_at, seen = _measured(assessment, start, here)
    at, low, middle, high = _course(assessment, start, here, end)
    values = np.concatenate([seen, middle])
    if not values.size:
        return _svg(description, [])  # a line would pass for a gravity that stands
    box = _Frame(now, float(values.min()), float(values.max()))
    parts: list[tuple[str, str]] = []
    ahead = at >= here
    if ahead.sum() > 1:
        there, back = at[ahead], at[ahead][::-1]
        edge = box.path(np.concatenate([there, back]), np.concatenate([high[ahead], low[ahead][::-1]]))
        parts.append(("band", f"{edge}Z"))
    if at.size > 1:
        parts.append(("course", box.path(at, middle)))
    if seen.size:
        parts.append(("dots", box.dots(seen_at, seen)))
    parts.append(("now", f"M{BACK / (BACK + AHEAD) * WIDTH:.1f} 0V{HEIGHT}"))
    return _svg(description, parts)


def _svg(description: str, paths: list[tuple[str, str]]) -> Markup:
    """The picture from its strokes, each a class and a path."""
    return fill(
        '<svg class="spark" viewBox="0 0 {{ width }} {{ height }}" role="img" aria-label="{{ description }}">'
        '{% for kind, path in paths %}<path class="{{ kind }}" d="{{ path }}"/>{% endfor %}</svg>',
        width=WIDTH,
        height=HEIGHT,
        description=description,
        paths=paths,
    )
