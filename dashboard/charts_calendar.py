"""All batches on one time line: likely ranges as bars that fade with probability, planned days as marks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Final

import plotly.graph_objects as go

from dashboard.charts_base import base_layout
from dashboard.palette import PALETTES, Edition, faded
from dashboard.words import Voice
from dashboard.words_calendar import name_of
from dashboard.words_verdict import curve_in_words
from ingest.model import Preferences
from ingest.outlook import Outlook

BACK: Final = timedelta(days=4)
LEAST_AHEAD: Final = timedelta(days=12)
MOST_AHEAD: Final = timedelta(days=45)
_ROW_PX: Final = 54
_NOON: Final = time(12)
# Chance below and above, opacity: the darker, the likelier.
_FADE: Final = ((0.05, 0.95, 0.18), (0.1, 0.9, 0.25), (0.25, 0.75, 0.4))


def calendar_figure(outlooks: Sequence[Outlook], say: Voice, edition: Edition) -> go.Figure:
    """One row a batch, the soonest planned first; the rows' names stand above their bars, so that a phone has room."""
    palette = PALETTES[edition]
    figure = go.Figure()
    start, end = _span(outlooks, say)
    rows = len(outlooks)
    for row, outlook in enumerate(outlooks):
        _row(figure, outlook, rows - 1 - row, say, edition, (start, end))
    _days_off(figure, say.preferences, start.date(), end.date(), palette.sheet)
    now = say.local(say.now).replace(tzinfo=None)
    figure.add_vline(x=now, line={"color": palette.ink, "width": 1, "dash": "dot"})
    figure.update_layout(base_layout(palette), height=max(rows, 1) * _ROW_PX + 60, showlegend=False)
    figure.update_layout(margin={"l": 6, "r": 10, "t": 8, "b": 44}, uirevision="calendar", hovermode="closest")
    figure.update_xaxes(
        range=[start, end], gridcolor=palette.rule, zeroline=False, tickformat="%a\n%-d %b", nticks=9, side="bottom"
    )
    figure.update_yaxes(range=[-0.6, rows - 0.3], showticklabels=False, showgrid=False, zeroline=False, fixedrange=True)
    return figure


def _span(outlooks: Sequence[Outlook], say: Voice) -> tuple[datetime, datetime]:
    now = say.local(say.now).replace(tzinfo=None)
    latest = now + LEAST_AHEAD
    for o in outlooks:
        for day in (o.plan.packaging_day, o.plan.hop_day):
            if day is not None:
                latest = max(latest, datetime.combine(day, _NOON) + timedelta(days=2))
    return now - BACK, min(latest, now + MOST_AHEAD)


def _row(figure: go.Figure, o: Outlook, y: int, say: Voice, edition: Edition, span: tuple[datetime, datetime]) -> None:
    palette, a = PALETTES[edition], o.assessment

    def local(when: datetime) -> datetime:
        return min(max(say.local(when).replace(tzinfo=None), span[0]), span[1])

    figure.add_shape(
        type="line", x0=span[0], x1=span[1], y0=y - 0.5, y1=y - 0.5, line={"color": palette.rule, "width": 1}
    )
    figure.add_shape(
        type="line",
        x0=local(o.record.pitched_at),
        x1=local(say.now),
        y0=y,
        y1=y,
        line={"color": palette.past, "width": 2},
    )
    if a.finish is not None and not a.finished:
        for low, high, opacity in _FADE:
            figure.add_shape(
                type="rect",
                x0=local(a.finish.when(low)),
                x1=local(a.finish.when(high)),
                y0=y - 0.13,
                y1=y + 0.13,
                line={"width": 0},
                fillcolor=faded(palette.inferred, opacity),
            )
        figure.add_trace(
            go.Scatter(
                x=[local(a.finish.p50)],
                y=[y],
                mode="markers",
                marker={"symbol": "line-ns-open", "size": 15, "color": palette.inferred, "line": {"width": 3}},
                hovertemplate=f"{name_of(o)}<br>{curve_in_words(a, say)}<extra></extra>",
            )
        )
    days = [(d, "hops", "triangle-down") for d in (o.plan.hop_days or ((o.plan.hop_day,) if o.plan.hop_day else ()))]
    if o.plan.packaging_day is not None:
        days.append((o.plan.packaging_day, "package", "square"))
    for day, word, symbol in days:
        _mark(figure, datetime.combine(day, _NOON), y, word, symbol, palette.ink, span)
    figure.add_annotation(
        x=span[0],
        y=y + 0.2,
        text=name_of(o),
        xanchor="left",
        yanchor="bottom",
        showarrow=False,
        font={"size": 12, "color": palette.ink},
    )


def _mark(
    figure: go.Figure, at: datetime, y: int, word: str, symbol: str, ink: str, span: tuple[datetime, datetime]
) -> None:
    if not span[0] <= at <= span[1]:
        return
    figure.add_trace(
        go.Scatter(
            x=[at],
            y=[y],
            mode="markers+text",
            marker={"symbol": symbol, "size": 11, "color": ink},
            text=[word],
            textposition="top center",
            textfont={"size": 12, "color": ink},
            hovertemplate=f"{word} {at:%a %-d %b}<extra></extra>",
        )
    )


def _days_off(figure: go.Figure, preferences: Preferences, first: date, last: date, colour: str) -> None:
    """Days on which the person can neither hop nor package lie in shade."""
    days = (first + timedelta(days=n) for n in range((last - first).days + 1))
    for day in days:
        can = day.weekday() in preferences.hop_weekdays or day.weekday() in preferences.package_weekdays
        if can and day.isoformat() not in preferences.busy_dates:
            continue
        midnight = datetime.combine(day, time())
        figure.add_vrect(x0=midnight, x1=midnight + timedelta(days=1), fillcolor=colour, line_width=0, layer="below")
