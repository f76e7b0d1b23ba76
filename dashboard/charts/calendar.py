"""All batches on one time line: likely ranges as bars that fade with probability, planned days as marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, Final

import plotly.graph_objects as go

from analysis.planning import Act
from analysis.wording import Voice, expected_finish
from dashboard.charts.base import base_layout, literal
from dashboard.charts.palette import PALETTES, Edition, Palette, faded
from dashboard.wording import name_of
from ingest.model import Preferences
from ingest.monitoring import Outlook

Expected = tuple[datetime, datetime, datetime]
"""The likely finish as its siblings let one expect it: early, middle, late."""

BACK: Final = timedelta(days=4)
LEAST_AHEAD: Final = timedelta(days=12)
MOST_AHEAD: Final = timedelta(days=45)
_ROW_PX: Final = 56
_WORDS_FIT: Final = timedelta(days=17)
_SYMBOLS: Final = {"hops": "triangle-down", "hops out": "triangle-up-open", "package": "square"}
_WORDS: Final[dict[Act, str]] = {"hops in": "hops", "hops out": "hops out", "package": "package"}
_WORD_TAKES: Final = 0.16
"""Share of the picture's width that the longest word takes on a phone of 390 px."""
_LONGEST_NAME: Final = 42
"""Letters that fit across a phone of 390 px."""
_DAYS_BELOW: Final = 8
"""Up to so many rows the days stand below the picture and are seen with it."""
_NOON: Final = time(12)
_DAYS: Final = {"zeroline": False, "tickformat": "%a\n%-d %b", "nticks": 7, "tickangle": 0}
# Chance below and above, opacity: the darker, the likelier.
_FADE: Final = ((0.05, 0.95, 0.18), (0.1, 0.9, 0.25), (0.25, 0.75, 0.4))


def calendar_figure(
    outlooks: Sequence[Outlook],
    say: Voice,
    preferences: Preferences,
    edition: Edition,
    expected: Mapping[str, Expected] | None = None,
) -> go.Figure:
    """One row a batch, the soonest planned first; the rows' names stand above their bars, so that a phone has room.

    `expected` has the likely finish of batches that follow their siblings, by id.
    """
    expected = expected or {}
    palette = PALETTES[edition]
    start, end = _span(outlooks, say)
    rows = len(outlooks)
    shapes = _days_off(preferences, start.date(), end.date(), palette.sheet)
    names: list[dict[str, Any]] = []
    finishes: list[tuple[datetime, int, str]] = []
    marks: list[tuple[datetime, int, str]] = []
    for number, o in enumerate(outlooks):
        y = rows - 1 - number
        shapes += _bars(o, y, say, palette, (start, end))
        names.append(_row_name(o, start, y, palette))
        finish, followed = o.assessment.finish, expected.get(o.record.batch_id)
        if finish is not None and not o.assessment.finished and start < _local(say, finish.p50) < end:
            finishes.append((_local(say, finish.p50), y, f"{literal(name_of(o))}<br>{expected_finish(finish, say)}"))
        if finish is None and followed is not None:
            shapes += _span_of_siblings(followed, y, say, palette, (start, end))
            if start < _local(say, followed[1]) < end:
                finishes.append(
                    (_local(say, followed[1]), y, f"{literal(name_of(o))}<br>{_by_siblings(followed, say)}")
                )
        planned = [(at, y, word) for at, word in _planned(o, say) if start <= at <= end]
        if not planned and finish is None and followed is None and not o.assessment.finished:
            names.append(_without_a_day(o, say, y, palette))
        marks += planned
    now = _local(say, say.now)
    line = {"color": palette.ink, "width": 1, "dash": "dot"}
    shapes.append({"type": "line", "x0": now, "x1": now, "yref": "paper", "y0": 0, "y1": 1, "line": line})
    figure = go.Figure()
    figure.add_trace(_finish_marks(finishes, palette))
    figure.add_trace(_planned_marks(marks, (start, now, end), palette))
    beyond = [rows - 1 - n for n, o in enumerate(outlooks) if _goes_beyond(o, end, say)]
    figure.add_trace(_beyond(beyond, end, palette))
    figure.update_layout(_layout(rows, (start, end), palette), shapes=shapes, annotations=names)
    return figure


def _layout(rows: int, span: tuple[datetime, datetime], palette: Palette) -> dict[str, Any]:
    above = rows > _DAYS_BELOW  # where reading begins
    time_axis = {"range": list(span), "gridcolor": palette.rule, "side": "top" if above else "bottom", **_DAYS}
    return {
        **base_layout(palette),
        "height": max(rows, 1) * _ROW_PX + 60,
        "showlegend": False,
        "margin": {"l": 6, "r": 10, "t": 44 if above else 8, "b": 8 if above else 44},
        "uirevision": "calendar",
        "hovermode": "closest",
        "xaxis": time_axis,
        "yaxis": {"range": [-0.6, rows - 0.3], "visible": False, "fixedrange": True},
    }


def _goes_beyond(outlook: Outlook, end: datetime, say: Voice) -> bool:
    """Whether the likely finish of a batch is cut at the end of the picture."""
    finish = outlook.assessment.finish
    if finish is None or outlook.assessment.finished:
        return False
    return _local(say, finish.when(_FADE[0][1]) or finish.last) > end


def _span_of_siblings(
    told: Expected, y: int, say: Voice, palette: Palette, span: tuple[datetime, datetime]
) -> list[dict[str, Any]]:
    """The likely finish of a batch that follows others: one even bar, for nothing is known of where within it."""
    x0, x1 = (min(max(_local(say, when), span[0]), span[1]) for when in (told[0], told[2]))
    if x0 >= x1:
        return []
    fill, line = faded(palette.inferred, _FADE[0][2]), {"color": palette.inferred, "width": 1, "dash": "dot"}
    return [{"type": "rect", "x0": x0, "x1": x1, "y0": y - 0.13, "y1": y + 0.13, "line": line, "fillcolor": fill}]


def _by_siblings(told: Expected, say: Voice) -> str:
    early, middle, late = (say.when(when) for when in told)
    return f"by its siblings about {middle} ({early} to {late})"


def _without_a_day(outlook: Outlook, say: Voice, y: int, palette: Palette) -> dict[str, Any]:
    """In words why nothing stands in a row."""
    return {
        "x": _local(say, say.now),
        "y": y,
        "text": "stalled: no date" if outlook.assessment.stalled else "no date yet",
        "xanchor": "left",
        "xshift": 6,
        "showarrow": False,
        "font": {"size": 12, "color": palette.past},
    }


def _row_name(outlook: Outlook, start: datetime, y: int, palette: Palette) -> dict[str, Any]:
    return {
        "x": start,
        "y": y + 0.2,
        "text": literal(_shortened(name_of(outlook))),
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 12, "color": palette.ink},
        "bgcolor": palette.paper,  # the line of now runs behind the words
        "borderpad": 1,
    }


def _shortened(name: str) -> str:
    """A name that fits beside its bar on a phone; the days above the picture have it whole."""
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1].rstrip()}…"


def _finish_marks(finishes: Sequence[tuple[datetime, int, str]], palette: Palette) -> go.Scatter:
    return go.Scatter(
        x=[at for at, _, _ in finishes],
        y=[y for _, y, _ in finishes],
        text=[text for _, _, text in finishes],
        mode="markers",
        marker={"symbol": "line-ns-open", "size": 15, "color": palette.inferred, "line": {"width": 3}},
        hovertemplate="%{text}<extra></extra>",
    )


def _planned_marks(
    marks: Sequence[tuple[datetime, int, str]], span: tuple[datetime, datetime, datetime], palette: Palette
) -> go.Scatter:
    """What is planned, with its word; `span` is where the picture begins, now, and where it ends."""
    start, now, end = span
    near = (end - start) * _WORD_TAKES

    def crowded(mark: tuple[datetime, int, str]) -> bool:
        """Whether its word would run into the next mark's; the sign says the same, and the legend explains it."""
        at, row, _ = mark
        return any(y == row and timedelta(0) < other - at < near for other, y, _ in marks)

    return go.Scatter(
        x=[at for at, _, _ in marks],
        y=[y for _, y, _ in marks],
        text=["" if crowded(mark) else mark[2] for mark in marks],
        customdata=[word for _, _, word in marks],
        # Words would run into one another on a phone where many days share its width; the legend has them too.
        mode="markers+text" if end - start <= _WORDS_FIT else "markers",
        marker={"symbol": [_SYMBOLS[word] for _, _, word in marks], "size": 11, "color": palette.ink},
        textposition=[_beside(at, now, end) for at, _, _ in marks],
        textfont={"size": 12, "color": palette.ink},
        hovertemplate="%{customdata} %{x|%a %-d %b}<extra></extra>",
    )


def _beside(at: datetime, now: datetime, end: datetime) -> str:
    """Where the word of a mark stands: below it, unless the line of now or the edge would strike it through."""
    if at <= now + (end - now) * _WORD_TAKES / 2:
        return "middle right"
    return "bottom left" if at > end - timedelta(days=1.5) else "bottom center"


def _beyond(rows: Sequence[int], end: datetime, palette: Palette) -> go.Scatter:
    """Arrows at the edge: the likely finish goes on beyond the picture."""
    return go.Scatter(
        x=[end] * len(rows),
        y=list(rows),
        mode="markers",
        marker={"symbol": "triangle-right", "size": 11, "color": palette.inferred},
        cliponaxis=False,
        hovertemplate="the likely finish goes on beyond this picture<extra></extra>",
    )


def _local(say: Voice, when: datetime) -> datetime:
    return say.local(when).replace(tzinfo=None)


def _span(outlooks: Sequence[Outlook], say: Voice) -> tuple[datetime, datetime]:
    now = _local(say, say.now)
    latest = now + LEAST_AHEAD
    for o in outlooks:
        for at, _ in _planned(o, say):
            latest = max(latest, at + timedelta(days=2))
    return now - BACK, min(latest, now + MOST_AHEAD)


def _planned(o: Outlook, say: Voice) -> list[tuple[datetime, str]]:
    """What is still to be done of a batch with its word: at noon of its day, but never before now."""
    to_do, now = o.to_do(say.today()), _local(say, say.now)
    return [(max(datetime.combine(each.day, _NOON), now), _WORDS[each.act]) for each in to_do if each.act in _WORDS]


def _bars(o: Outlook, y: int, say: Voice, palette: Palette, span: tuple[datetime, datetime]) -> list[dict[str, Any]]:
    """The row's line up to now and the likely range of its finish."""

    def clipped(when: datetime) -> datetime:
        return min(max(_local(say, when), span[0]), span[1])

    begun, now = clipped(o.record.pitched_at), clipped(say.now)
    shapes: list[dict[str, Any]] = [
        {
            "type": "line",
            "x0": span[0],
            "x1": span[1],
            "y0": y - 0.5,
            "y1": y - 0.5,
            "line": {"color": palette.rule, "width": 1},
        },
        {"type": "line", "x0": begun, "x1": now, "y0": y, "y1": y, "line": {"color": palette.past, "width": 2}},
    ]
    finish = o.assessment.finish
    if finish is not None and not o.assessment.finished:
        for low, high, opacity in _FADE:
            x0, x1 = (clipped(finish.when(one) or finish.last) for one in (low, high))
            if x0 < x1:
                shapes.append(
                    {
                        "type": "rect",
                        "x0": x0,
                        "x1": x1,
                        "y0": y - 0.13,
                        "y1": y + 0.13,
                        "line": {"width": 0},
                        "fillcolor": faded(palette.inferred, opacity),
                    }
                )
    return shapes


def _days_off(preferences: Preferences, first: date, last: date, colour: str) -> list[dict[str, Any]]:
    """Days on which the person can neither hop nor package lie in shade."""
    shades: list[dict[str, Any]] = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        can = day.weekday() in preferences.hop_weekdays or day.weekday() in preferences.package_weekdays
        if can and day.isoformat() not in preferences.busy_dates:
            continue
        midnight = datetime.combine(day, time())
        shades.append(
            {
                "type": "rect",
                "x0": midnight,
                "x1": midnight + timedelta(days=1),
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "fillcolor": colour,
                "line": {"width": 0},
                "layer": "below",
            }
        )
    return shades
