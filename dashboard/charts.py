"""The large curve of one batch: results in, a figure out. No Streamlit, no store, no formula.

Measured is ink, inferred is blue, temperature orange. Three panels share the time axis: gravity, temperature, and a
strip on the axis itself with what was done and when the fermentation likely finishes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import numpy as np
import plotly.graph_objects as go
import polars as pl
from plotly.subplots import make_subplots

from analysis import units
from analysis.model import Assessment, Event, Forecast, PhaseSpan
from dashboard.charts_base import DATE_TICKS, Axes, Curve, Zoom, base_layout, course_until
from dashboard.palette import faded
from dashboard.thinning import thinned
from dashboard.words import Voice
from dashboard.words_verdict import EVENT_WORDS, PHASE_WORDS

# Opacity of nested bands, widest first: the darker, the likelier. Half the chance lies in the inner one.
_FADE: Final = ((1.0, 0.13), (0.526, 0.18))
_HEIGHT_PX: Final = 500
_HALF_DAY_S: Final = 43_200
_GRID: Final = {"SG": 0.005, "°P": 1.0, "Attenuation": 5.0}


def batch_figure(curve: Curve, voice: Voice) -> go.Figure:
    """The curve of one batch with its course, its band, its temperature and the range of its finish."""
    axes = Axes(curve, voice)
    palette, a = axes.palette, curve.assessment
    figure = make_subplots(
        rows=3, cols=1, shared_xaxes=True, row_heights=[0.66, 0.18, 0.16], vertical_spacing=0.045, figure=go.Figure()
    )
    _band(figure, axes, a, curve.zoom)
    _points(figure, axes, curve)
    _course(figure, axes, a, curve.zoom)
    _temperature(figure, axes, curve)
    shown = _shown(curve, voice.now)
    _phases(figure, axes, a.phases, voice.now, shown)
    _strip(figure, axes, curve.events, a, shown)
    for row in (1, 2, 3):
        figure.add_vline(x=axes.x(voice.now), row=row, col=1, line={"color": palette.ink, "width": 1, "dash": "dot"})
    _layout(figure, axes, shown, curve.zoom)
    if (gravity_range := _gravity_range(axes, curve)) is not None:
        figure.update_yaxes(range=gravity_range, row=1, col=1)
    return figure


def natural_end(a: Assessment, events: Sequence[Event], now: datetime) -> datetime:
    """Where the time axis should end: past now, past the likely finish, at a full half day."""
    end = max([now, *([a.newest_reading_at] if a.newest_reading_at else []), *(e.at for e in events)])
    if a.finish is not None and a.finish.p90 > now:
        end = max(end, min(a.finish.p90, now + timedelta(days=21)) + timedelta(hours=12))
    half_days = math.ceil((end.timestamp() + 3600) / _HALF_DAY_S)
    return datetime.fromtimestamp(half_days * _HALF_DAY_S, UTC)


def _shown(curve: Curve, now: datetime) -> tuple[datetime, datetime]:
    """From pitching to the end of the axis, or what the reader zoomed to."""
    if curve.zoom is not None:
        return curve.zoom.from_at, curve.zoom.to_at
    end = curve.until or natural_end(curve.assessment, curve.events, now)
    margin = max((end - curve.pitched_at) * 0.02, timedelta(hours=1))
    return curve.pitched_at - margin, end


def _window(zoom: Zoom | None) -> tuple[datetime, datetime] | None:
    return (zoom.from_at, zoom.to_at) if zoom is not None else None


def _times_of(axes: Axes, column: pl.Series) -> list[str]:
    return [axes.voice.exact(when) for when in column]


def _band(figure: go.Figure, axes: Axes, a: Assessment, zoom: Zoom | None) -> None:
    if a.course.is_empty():
        return
    course = thinned(course_until(a, axes.voice.now), "at", "gravity_p50_sg", 100, _window(zoom))
    xs = axes.xs(course["at"])
    low, middle, high = (course[f"gravity_{p}_sg"].to_numpy() for p in ("p10", "p50", "p90"))
    for share, opacity in _FADE:
        lower, upper = axes.y(middle + share * (low - middle)), axes.y(middle + share * (high - middle))
        figure.add_trace(
            go.Scatter(
                x=[*xs, *reversed(xs)],
                y=[*upper, *reversed(lower.tolist())],
                fill="toself",
                mode="lines",
                line={"width": 0},
                fillcolor=faded(axes.palette.inferred, opacity),
                hoverinfo="skip",
                showlegend=False,
                name="likely range",
            ),
            row=1,
            col=1,
        )


def _course(figure: go.Figure, axes: Axes, a: Assessment, zoom: Zoom | None) -> None:
    if a.course.is_empty():
        return
    course = thinned(course_until(a, axes.voice.now), "at", "gravity_p50_sg", 150, _window(zoom))
    figure.add_trace(
        go.Scatter(
            x=axes.xs(course["at"]),
            y=axes.y(course["gravity_p50_sg"].to_numpy()),
            mode="lines",
            line={"color": axes.palette.inferred, "width": 2.5},
            name="inferred course",
            customdata=_times_of(axes, course["at"]),
            hovertemplate=f"inferred %{{y:{axes.y_format}}}<br>%{{customdata}}<extra></extra>",
        ),
        row=1,
        col=1,
    )


def _points(figure: go.Figure, axes: Axes, curve: Curve) -> None:
    ink, past, window = axes.palette.ink, axes.palette.past, _window(curve.zoom)
    measured = curve.assessment.marked.filter(pl.col("gravity_sg").is_not_null())
    by_hand = pl.col("by_hand").fill_null(value=False)
    aside = pl.col("set_aside").is_not_null()
    if curve.raw is not None and not curve.raw.is_empty():
        raw = thinned(curve.raw.drop_nulls("gravity_sg"), "measured_at", "gravity_sg", 150, window)
        _scatter(figure, axes, raw, "as sent", {"color": past, "size": 3, "symbol": "line-ew-open"}, "%{text}", None)
    kinds: tuple[tuple[str, pl.Expr, dict[str, Any], int], ...] = (
        ("set aside", aside & ~by_hand, {"color": past, "size": 6, "symbol": "circle-open"}, 100),
        ("measured", ~aside & ~by_hand, {"color": ink, "size": 3.5, "opacity": 0.55}, 300),
        ("hand sample", by_hand & ~aside, {"color": ink, "size": 11, "symbol": "diamond"}, 300),
        ("hand sample, set aside", by_hand & aside, {"color": ink, "size": 11, "symbol": "diamond-open"}, 100),
    )
    for name, where, marker, bins in kinds:
        rows = thinned(measured.filter(where), "measured_at", "gravity_sg", bins, window)
        if rows.height:
            why = rows["set_aside"].fill_null("").to_list()
            _scatter(figure, axes, rows, name, marker, "%{text}", why)


def _scatter(
    figure: go.Figure,
    axes: Axes,
    rows: pl.DataFrame,
    name: str,
    marker: dict[str, Any],
    extra: str,
    why: list[str] | None,
) -> None:
    figure.add_trace(
        go.Scatter(
            x=axes.xs(rows["measured_at"]),
            y=axes.y(rows["gravity_sg"].to_numpy()),
            mode="markers",
            marker=marker,
            name=name,
            text=why or [""] * rows.height,
            customdata=_times_of(axes, rows["measured_at"]),
            hovertemplate=f"{name} %{{y:{axes.y_format}}}<br>%{{customdata}}<br>{extra}<extra></extra>",
        ),
        row=1,
        col=1,
    )


def _temperature(figure: go.Figure, axes: Axes, curve: Curve) -> None:
    voice, palette = axes.voice, axes.palette
    fahrenheit = voice.preferences.temperature_unit == "°F"

    def shown(celsius: Any) -> Any:
        return units.c_to_f(celsius) if fahrenheit else celsius

    marked = curve.assessment.marked.filter(pl.col("temperature_c").is_not_null())
    if marked.is_empty():
        return
    rows = thinned(marked, "measured_at", "temperature_c", 250, _window(curve.zoom))
    figure.add_trace(
        go.Scatter(
            x=axes.xs(rows["measured_at"]),
            y=shown(rows["temperature_c"].to_numpy()),
            mode="lines",
            line={"color": palette.temperature, "width": 1.5},
            name="temperature",
            showlegend=False,
            customdata=_times_of(axes, rows["measured_at"]),
            hovertemplate="%{y:.1f} " + voice.preferences.temperature_unit + "<br>%{customdata}<extra></extra>",
        ),
        row=2,
        col=1,
    )
    low, high = curve.temperature_range_c
    if low is not None and high is not None:
        figure.add_hrect(
            y0=shown(low), y1=shown(high), row=2, col=1, line_width=0, fillcolor=faded(palette.temperature, 0.14)
        )


def _phases(
    figure: go.Figure, axes: Axes, phases: Sequence[PhaseSpan], now: datetime, shown: tuple[datetime, datetime]
) -> None:
    """Phases as labelled spans above the curve; a span too narrow for its word keeps its line only."""
    width = (shown[1] - shown[0]).total_seconds()
    ends = [*(p.began_at for p in phases[1:]), now]
    for span, end in zip(phases, ends, strict=False):
        if end <= span.began_at:
            continue
        x0, x1 = axes.x(span.began_at), axes.x(end)
        figure.add_shape(
            type="line",
            x0=x0,
            x1=x1,
            y0=1.025,
            y1=1.025,
            xref="x",
            yref="y domain",
            line={"color": axes.palette.past, "width": 3},
        )
        figure.add_shape(
            type="line",
            x0=x0,
            x1=x0,
            y0=0,
            y1=1.025,
            xref="x",
            yref="y domain",
            line={"color": axes.palette.rule, "width": 1},
        )
        # The word stands over the middle of what is seen of its span.
        seen_from, seen_to = max(span.began_at, shown[0]), min(end, shown[1])
        if (seen_to - seen_from).total_seconds() > 0.11 * width:
            figure.add_annotation(
                x=axes.x(seen_from + (seen_to - seen_from) / 2),
                y=1.03,
                xref="x",
                yref="y domain",
                yanchor="bottom",
                showarrow=False,
                text=PHASE_WORDS[span.phase],
                font={"size": 12, "color": axes.palette.past},
            )


def _strip(
    figure: go.Figure, axes: Axes, events: Sequence[Event], a: Assessment, shown: tuple[datetime, datetime]
) -> None:
    """Events as marks with their word, and the range of the finish, on the axis where the dates are."""
    palette = axes.palette
    if events:
        width = (shown[1] - shown[0]).total_seconds()
        levels, last_at = [], -1e18
        level = 0
        for event in events:
            seconds = event.at.timestamp()
            level = (level + 1) % 2 if seconds - last_at < 0.17 * width else 0
            levels.append(level)
            last_at = seconds
        now, start = axes.voice.now.timestamp(), shown[0].timestamp()
        # A word stands left of its mark where it would leave the panel or run through the line of now.
        ends = [shown[1].timestamp(), now]
        at = [event.at.timestamp() for event in events]
        right = [any(0 <= end - a < 0.17 * width for end in ends) and a - start > 0.17 * width for a in at]
        figure.add_trace(
            go.Scatter(
                x=[axes.x(e.at) for e in events],
                y=[0.42 + 0.34 * lv for lv in levels],
                mode="markers+text",
                marker={"symbol": "triangle-down", "size": 8, "color": palette.ink},
                text=[EVENT_WORDS[e.kind] for e in events],
                textposition=["middle left" if r else "middle right" for r in right],
                textfont={"size": 11, "color": palette.ink},
                cliponaxis=False,
                name="event",
                showlegend=False,
                customdata=[[axes.voice.exact(e.at), e.note] for e in events],
                hovertemplate="%{text}<br>%{customdata[0]}<br>%{customdata[1]}<extra></extra>",
            ),
            row=3,
            col=1,
        )
    if a.finish is not None and not (a.finished and a.finish.p90 < shown[0]):
        _finish(figure, axes, a.finish)


def _finish(figure: go.Figure, axes: Axes, finish: Forecast) -> None:
    for low, high, opacity in ((0.1, 0.9, 0.3), (0.25, 0.75, 0.55)):
        figure.add_shape(
            type="rect",
            x0=axes.x(finish.when(low)),
            x1=axes.x(finish.when(high)),
            y0=0.0,
            y1=0.2,
            xref="x3",
            yref="y3",
            line={"width": 0},
            fillcolor=faded(axes.palette.inferred, opacity),
        )
    figure.add_trace(
        go.Scatter(
            x=[axes.x(finish.p50)],
            y=[0.1],
            mode="markers",
            marker={"symbol": "line-ns-open", "size": 12, "color": axes.palette.inferred, "line": {"width": 3}},
            name="likely finish",
            customdata=[f"{axes.voice.exact(finish.p10)} to {axes.voice.exact(finish.p90)}"],
            hovertemplate="likely finish, eight times out of ten<br>%{customdata}<extra></extra>",
        ),
        row=3,
        col=1,
    )


def _layout(figure: go.Figure, axes: Axes, shown: tuple[datetime, datetime], zoom: Zoom | None) -> None:
    palette = axes.palette
    figure.update_layout(base_layout(palette), height=_HEIGHT_PX, margin={"l": 46, "r": 14, "t": 46, "b": 46})
    # The page says what the marks mean, in a line that wraps on a phone. What the reader drags stays until we know
    # of it; from then on the figure itself begins and ends there.
    figure.update_layout(
        uirevision=f"{axes.view.gravity}/{axes.view.time}/{zoom}",
        showlegend=False,
        hovermode="closest",
        dragmode="zoom",
    )
    figure.update_xaxes(
        range=[axes.x(shown[0]), axes.x(shown[1])], gridcolor=palette.rule, zeroline=False, showline=False
    )
    figure.update_xaxes(showticklabels=True, ticks="outside", tickcolor=palette.rule, row=3, col=1)
    if axes.view.time == "Date":
        figure.update_xaxes(tickformatstops=DATE_TICKS, nticks=6, tickangle=0)
    else:
        figure.update_xaxes(title={"text": "days since pitching", "font": {"size": 12}}, row=3, col=1)
    figure.update_yaxes(gridcolor=palette.rule, zeroline=False)
    figure.update_yaxes(tickformat=axes.y_format, row=1, col=1)
    figure.update_yaxes(nticks=4, fixedrange=True, row=2, col=1)
    _title(figure, axes, axes.y_title, "y domain", -46)
    _title(figure, axes, f"Temperature, {axes.voice.preferences.temperature_unit}", "y2 domain", -46)
    figure.update_yaxes(range=[0, 1], fixedrange=True, showticklabels=False, showgrid=False, row=3, col=1)


def _title(figure: go.Figure, axes: Axes, text: str, panel: str, shift: int) -> None:
    """What a panel shows, written level above its left corner: nobody tilts a phone to read an axis."""
    figure.add_annotation(
        text=text,
        x=0,
        y=1,
        xref="paper",
        yref=panel,
        xanchor="left",
        yanchor="bottom",
        xshift=shift,
        yshift=20 if panel == "y domain" else 0,
        showarrow=False,
        font={"size": 12, "color": axes.palette.past},
    )


def _gravity_range(axes: Axes, curve: Curve) -> list[float] | None:
    """From the lowest to the highest that is believed; what was set aside may lie outside, and shows zoomed out."""
    a, zoom = curve.assessment, curve.zoom
    if zoom is not None and zoom.low_sg is not None and zoom.high_sg is not None:
        return sorted(float(v) for v in axes.y(np.array([zoom.low_sg, zoom.high_sg])))
    believed = a.marked.filter(pl.col("set_aside").is_null())["gravity_sg"].drop_nulls()
    values = [*believed.to_list(), *a.course["gravity_p10_sg"].drop_nulls(), *a.course["gravity_p90_sg"].drop_nulls()]
    if not values:
        return None
    low, high = (float(v) for v in axes.y(np.array([min(values), max(values)])))
    low, high = min(low, high), max(low, high)
    # On a coarse grid, so that noise does not move the axis and with it a reader's zoom.
    step = _GRID[axes.view.gravity]
    # It ends between two of the grid's lines: a number on its very edge would run into the panel below.
    return [step * (math.floor(low / step - 0.35) + 0.3), step * (math.ceil(high / step + 0.35) - 0.3)]
