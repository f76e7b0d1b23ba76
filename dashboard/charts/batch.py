"""The large curve of one batch: results in, a figure out. No Streamlit, no store, no formula.

Measured is ink, inferred is blue, temperature orange. Three panels share the time axis: gravity, temperature, and a
strip on the axis itself with what was done and when the fermentation likely finishes.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import numpy as np
import polars as pl

from analysis import units
from analysis.fitting import Fit
from analysis.model import Assessment, Event, Forecast
from analysis.wording import EVENT_WORDS, PHASE_WORDS, Voice, offset_words, phase_word, range_told
from dashboard.charts.base import DATE_TICKS, Axes, Curve, Zoom, axis_title, base_layout, course_until, literal
from dashboard.charts.downsampling import thinned
from dashboard.charts.drawn import Drawn
from dashboard.charts.palette import faded

_PANELS: Final = ((0.3794, 1.0), (0.1906, 0.3344), (0.0, 0.1456))
"""Gravity, temperature and the strip of events, as shares of the height."""
# Opacity of nested bands, widest first: the darker, the likelier. Half the chance lies in the inner one.
_FADE: Final = ((1.0, 0.13), (0.526, 0.18))
_WIDTH_OF_A_LETTER: Final = 0.021
"""Of the width of a figure on a phone, about."""
_WIDTH_OF_A_MARK: Final = 0.03
_LETTERS_IN_A_CORNER: Final = 32
"""Of what a corner of the gravity's panel says at most, on a phone beside a falling curve."""
_LEAST_LETTERS: Final = 14
"""Narrower than this, words would stand one below the other."""
_HIGH_UP: Final = 0.25
"""Of the width of the figure, about: so far a falling curve stands high up, and words beside it would lie on it."""
_BELOW_THE_WORDS: Final = 0.24
"""Share of the strip's height up to which the line of now runs: above it stand the words of events."""
_LEVELS: Final = 3
"""Words of events above one another."""
_HEIGHT_PX: Final = 500
_BINS: Final = {
    "band": 50,
    "course": 80,
    "temperature": 100,
    "as sent": 60,
    "set aside": 100,
    "measured": 100,
    "hand sample": 300,
    "hand sample, set aside": 100,
}
"""Spans of time across the figure that keep their extremes, of each thing that is drawn: a part that is zoomed to has
as many for itself. Three times as many look the same and made the page wait a quarter longer (paired taps, medians 1.64
and 1.31 s on a desktop, 1.67 and 1.35 s on a phone); half as many gained nothing more."""
_HALF_DAY_S: Final = 43_200
_GRID: Final = {"SG": 0.005, "°P": 1.0, "°Bx": 1.0, "Attenuation": 5.0}


class _Drawing:
    """What is drawn, as plain dicts: a figure's own methods check and copy everything at each step."""

    def __init__(self, axes: Axes, shown: tuple[datetime, datetime]) -> None:
        self.axes, self.shown = axes, shown
        self.traces: list[dict[str, Any]] = []
        self.shapes: list[dict[str, Any]] = []
        self.notes: list[dict[str, Any]] = []

    def trace(self, panel: int, **facts: Any) -> None:
        """Add a trace to a panel (1 to 3)."""
        which = "" if panel == 1 else str(panel)
        self.traces.append({"type": "scatter", "xaxis": f"x{which}", "yaxis": f"y{which}", **facts})

    def timed(self, panel: int, at: pl.Series, hover: str, **facts: Any) -> None:
        """Add a trace of what happened `at` some instants, with the exact time at the end of its hover text."""
        if self.axes.view.time == "Date":
            when: dict[str, Any] = {"hovertemplate": f"{hover}<br>%{{x|%a %-d %b %Y, %H:%M}}<extra></extra>"}
        else:
            when = {
                "hovertemplate": f"{hover}<br>%{{customdata}}<extra></extra>",
                "customdata": [self.axes.voice.exact(t) for t in at],
            }
        self.trace(panel, x=self.axes.xs(at), **when, **facts)

    def figure(self, layout: dict[str, Any]) -> Drawn:
        return Drawn(self.traces, {**layout, "shapes": self.shapes, "annotations": self.notes})


def batch_figure(curve: Curve, voice: Voice) -> Drawn:
    """The curve of one batch with its course, its band, its temperature and the range of its finish."""
    axes, a = Axes(curve, voice), curve.assessment
    shown = _shown(curve, voice.now)
    drawing = _Drawing(axes, shown)
    _band(drawing, a, curve.zoom)
    _points(drawing, curve)
    _course(drawing, a, curve.zoom)
    if curve.classical is not None:
        _classical(drawing, curve, curve.classical)
    _temperature(drawing, curve)
    _phases(drawing, a, voice.now)
    _strip(drawing, curve.events, a)
    _offset(drawing, a, voice)
    now = axes.x(voice.now)
    line = {"color": axes.palette.ink, "width": 1, "dash": "dot"}
    for which in ("", "2", "3"):
        drawing.shapes.append(
            {
                "type": "line",
                "x0": now,
                "x1": now,
                "y0": 0,
                "y1": _BELOW_THE_WORDS if which == "3" else 1,
                "xref": f"x{which}",
                "yref": f"y{which} domain",
                "line": line,
            }
        )
    return drawing.figure(_layout(drawing, curve))


def natural_end(a: Assessment, events: Sequence[Event], now: datetime) -> datetime:
    """Where the time axis should end: past now, past the likely finish, at a full half day."""
    end = max([now, *([a.newest_reading_at] if a.newest_reading_at else []), *(e.at for e in events)])
    if a.finish is not None and a.finish.last > now:
        end = max(end, min(a.finish.p90 or a.finish.last, now + timedelta(days=21)) + timedelta(hours=12))
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


def _band(drawing: _Drawing, a: Assessment, zoom: Zoom | None) -> None:
    if a.course.is_empty():
        return
    axes = drawing.axes
    course = thinned(course_until(a, axes.voice.now), "at", "gravity_p50_sg", _BINS["band"], _window(zoom))
    xs = axes.xs(course["at"])
    low, middle, high = (course[f"gravity_{p}_sg"].to_numpy() for p in ("p10", "p50", "p90"))
    for share, opacity in _FADE:
        lower, upper = axes.ys(middle + share * (low - middle)), axes.ys(middle + share * (high - middle))
        drawing.trace(
            1,
            x=[*xs, *reversed(xs)],
            y=[*upper, *reversed(lower)],
            fill="toself",
            mode="lines",
            line={"width": 0},
            fillcolor=faded(axes.palette.inferred, opacity),
            hoverinfo="skip",
            name="likely range",
        )


def _course(drawing: _Drawing, a: Assessment, zoom: Zoom | None) -> None:
    if a.course.is_empty():
        return
    axes = drawing.axes
    course = thinned(course_until(a, axes.voice.now), "at", "gravity_p50_sg", _BINS["course"], _window(zoom))
    drawing.timed(
        1,
        course["at"],
        f"inferred %{{y:{axes.y_format}}}",
        y=axes.ys(course["gravity_p50_sg"].to_numpy()),
        mode="lines",
        line={"color": axes.palette.inferred, "width": 2.5},
        name="inferred course",
    )


def _classical(drawing: _Drawing, curve: Curve, found: Fit) -> None:
    """The trade's curve over the hours that were read: quiet, and never ahead of the readings."""
    axes, newest = drawing.axes, curve.assessment.newest_reading_at
    if newest is None or newest <= curve.pitched_at:
        return
    hours = np.linspace(0.0, (newest - curve.pitched_at).total_seconds() / 3600, 120)
    at = pl.Series([curve.pitched_at + timedelta(hours=float(h)) for h in hours], dtype=pl.Datetime("us", "UTC"))
    drawing.timed(
        1,
        at,
        f"classical curve %{{y:{axes.y_format}}}",
        y=axes.ys(found.value(hours)),
        mode="lines",
        line={"color": axes.palette.past, "width": 1.5, "dash": "dash"},
        name="classical curve",
    )


def _points(drawing: _Drawing, curve: Curve) -> None:
    palette, window = drawing.axes.palette, _window(curve.zoom)
    ink, past = palette.ink, palette.past
    measured = curve.assessment.marked.filter(pl.col("gravity_sg").is_not_null())
    by_hand = pl.col("by_hand").fill_null(value=False)
    aside = pl.col("set_aside").is_not_null()
    if curve.raw is not None and not curve.raw.is_empty():
        raw = thinned(curve.raw.drop_nulls("gravity_sg"), "measured_at", "gravity_sg", _BINS["as sent"], window)
        _scatter(drawing, raw, "as sent", {"color": past, "size": 3, "symbol": "line-ew-open"})
    kinds: tuple[tuple[str, pl.Expr, dict[str, Any]], ...] = (
        ("set aside", aside & ~by_hand, {"color": past, "size": 6, "symbol": "circle-open"}),
        ("measured", ~aside & ~by_hand, {"color": ink, "size": 3.5, "opacity": 0.55}),
        ("hand sample", by_hand & ~aside, {"color": ink, "size": 11, "symbol": "diamond"}),
        ("hand sample, set aside", by_hand & aside, {"color": ink, "size": 11, "symbol": "diamond-open"}),
    )
    for name, where, marker in kinds:
        rows = thinned(measured.filter(where), "measured_at", "gravity_sg", _BINS[name], window)
        if rows.height:
            _scatter(drawing, rows, name, marker)


def _scatter(drawing: _Drawing, rows: pl.DataFrame, name: str, marker: dict[str, Any]) -> None:
    axes = drawing.axes
    more: dict[str, Any] = {}
    hover = f"{name} %{{y:{axes.y_format}}}"
    if "set_aside" in rows.columns and rows["set_aside"].null_count() < rows.height:
        more["text"] = [literal(why or "") for why in rows["set_aside"]]
        hover += "<br>%{text}"
    y = axes.ys(rows["gravity_sg"].to_numpy())
    drawing.timed(1, rows["measured_at"], hover, y=y, mode="markers", marker=marker, name=name, **more)


def _temperature(drawing: _Drawing, curve: Curve) -> None:
    axes = drawing.axes
    palette, unit = axes.palette, axes.voice.units.temperature_unit

    def shown(celsius: Any) -> Any:
        return units.c_to_f(celsius) if unit == "°F" else celsius

    marked = curve.assessment.marked.filter(pl.col("temperature_c").is_not_null())
    if marked.is_empty():
        return
    rows = thinned(marked, "measured_at", "temperature_c", _BINS["temperature"], _window(curve.zoom))
    drawing.timed(
        2,
        rows["measured_at"],
        f"%{{y:.1f}} {unit}",
        y=np.round(shown(rows["temperature_c"].to_numpy()), 2).tolist(),
        mode="lines",
        line={"color": palette.temperature, "width": 1.5},
        name="temperature",
    )
    for x0, x1, xref, low, high in _wished(drawing, curve):
        drawing.shapes.append(
            {
                "type": "rect",
                "x0": x0,
                "x1": x1,
                "y0": shown(low),
                "y1": shown(high),
                "xref": xref,
                "yref": "y2",
                "line": {"width": 0},
                "fillcolor": faded(palette.temperature, 0.14),
            }
        )


def _wished(drawing: _Drawing, curve: Curve) -> list[tuple[Any, Any, str, float, float]]:
    """The wished ranges, each from and to where: the batch's own steps, else one range over the whole picture."""
    if not curve.schedule_c:
        low, high = curve.temperature_range_c
        return [(0, 1, "x2 domain", low, high)] if low is not None and high is not None else []
    begins = [curve.pitched_at + timedelta(days=day) for day, _, _ in curve.schedule_c]
    ends = [*begins[1:], max(drawing.shown[1], begins[-1])]
    return [
        (drawing.axes.x(begin), drawing.axes.x(end), "x2", low, high)
        for begin, end, (_, low, high) in zip(begins, ends, curve.schedule_c, strict=True)
        if low is not None and high is not None and end > begin
    ]


def _phases(drawing: _Drawing, a: Assessment, now: datetime) -> None:
    """Phases as labelled spans above the curve; a span too narrow for its word keeps its line only."""
    axes, shown, phases = drawing.axes, drawing.shown, a.phases
    width = (shown[1] - shown[0]).total_seconds()
    ends = [*(p.began_at for p in phases[1:]), now]
    above = {"xref": "x", "yref": "y domain"}
    for span, end in zip(phases, ends, strict=False):
        if end <= span.began_at:
            continue
        x0, x1 = axes.x(span.began_at), axes.x(end)
        bar = {"type": "line", "x0": x0, "x1": x1, "y0": 1.025, "y1": 1.025, **above}
        edge = {"type": "line", "x0": x0, "x1": x0, "y0": 0, "y1": 1.025, **above}
        drawing.shapes.append({**bar, "line": {"color": axes.palette.past, "width": 3}})
        drawing.shapes.append({**edge, "line": {"color": axes.palette.rule, "width": 1}})
        # The word stands over the middle of what is seen of its span; that of now may reach into what is ahead.
        seen_from, seen_to = max(span.began_at, shown[0]), min(end, shown[1])
        word = phase_word(a) if span.phase == a.phase == "lag" else PHASE_WORDS[span.phase]
        needed = timedelta(seconds=_WIDTH_OF_A_LETTER * len(word) * width)
        fits, reaches = seen_to - seen_from > needed, span is phases[-1] and shown[1] - seen_from > needed
        if seen_from < seen_to and (fits or reaches):
            drawing.notes.append(
                {
                    "x": axes.x(seen_from + (seen_to - seen_from) / 2 if fits else seen_from),
                    "y": 1.03,
                    **above,
                    "xanchor": "center" if fits else "left",
                    "yanchor": "bottom",
                    "showarrow": False,
                    "text": word,
                    "font": {"size": 12, "color": axes.palette.past},
                }
            )


def _offset(drawing: _Drawing, a: Assessment, voice: Voice) -> None:
    """Why the line runs beside the dots, in the corner that a falling curve leaves free, on one side of now."""
    told = offset_words(a, voice)
    if told is None:
        return
    begin, end = drawing.shown
    now = min(max((voice.now - begin) / (end - begin), 0.0), 1.0)
    # Beyond the line of now, if that leaves room for the words; else between the first fall and it.
    beyond = int((1.0 - now) / _WIDTH_OF_A_LETTER) - 2
    before = int((now - _HIGH_UP) / _WIDTH_OF_A_LETTER) - 1
    right, letters = (
        (1.0, beyond) if beyond >= max(_LEAST_LETTERS, min(before, _LEAST_LETTERS)) else (now - 0.01, before)
    )
    letters = min(max(letters, _LEAST_LETTERS), _LETTERS_IN_A_CORNER)
    drawing.notes.append(
        {
            "x": right,
            "y": 0.97,
            "xref": "x domain",
            "yref": "y domain",
            "xanchor": "right",
            "yanchor": "top",
            "align": "right",
            "showarrow": False,
            "text": "<br>".join(_in_lines(told, letters)),
            "font": {"size": 12, "color": drawing.axes.palette.inferred},
        }
    )


def _in_lines(told: str, letters: int) -> list[str]:
    """What is said and why, each on lines that are short enough for a phone."""
    said, _, why = re.sub(r", (\d\d:\d\d)", ",\u00a0\\1", told).partition(": ")
    return [*textwrap.wrap(f"{said}:", letters), *textwrap.wrap(why, letters)]


def _strip(drawing: _Drawing, events: Sequence[Event], a: Assessment) -> None:
    """Events as marks with their word, and the range of the finish, on the axis where the dates are."""
    axes, shown = drawing.axes, drawing.shown
    if events:
        places = _places(events, shown, axes.voice.now)
        drawing.trace(
            3,
            x=[axes.x(e.at) for e in events],
            y=[0.38 + 0.25 * level for level, _ in places],
            mode="markers+text",
            marker={"symbol": "triangle-down", "size": 8, "color": axes.palette.ink},
            text=[EVENT_WORDS[e.kind] for e in events],
            textposition=["middle left" if left else "middle right" for _, left in places],
            textfont={"size": 11, "color": axes.palette.ink},
            cliponaxis=False,
            name="event",
            customdata=[[axes.voice.exact(e.at), literal(e.note)] for e in events],
            hovertemplate="%{text}<br>%{customdata[0]}<br>%{customdata[1]}<extra></extra>",
        )
    if a.finish is not None and not (a.finished and (a.finish.p90 or a.finish.last) < shown[0]):
        _finish(drawing, a.finish)


def _places(events: Sequence[Event], shown: tuple[datetime, datetime], now: datetime) -> list[tuple[int, bool]]:
    """For each event the level of its word, and whether it stands left of its mark.

    It does where it would leave the panel or run through the line of now. A word goes to the lowest level on which it
    lies on no other; where all are taken, to the lowest.
    """
    width = (shown[1] - shown[0]).total_seconds()
    taken: list[list[tuple[float, float]]] = [[] for _ in range(_LEVELS)]
    found = []
    for event in events:
        at = (event.at - shown[0]).total_seconds() / width
        long = _WIDTH_OF_A_LETTER * len(EVENT_WORDS[event.kind]) + _WIDTH_OF_A_MARK
        ends = (1.0, (now - shown[0]).total_seconds() / width)
        left = any(0 <= end - at < long for end in ends) and at > long
        low, high = (at - long, at) if left else (at, at + long)
        free = (n for n, words in enumerate(taken) if all(high <= start or end <= low for start, end in words))
        level = next(free, 0)
        taken[level].append((low, high))
        found.append((level, left))
    return found


def _finish(drawing: _Drawing, finish: Forecast) -> None:
    axes = drawing.axes
    for low, high, opacity in ((0.1, 0.9, 0.3), (0.25, 0.75, 0.55)):
        drawing.shapes.append(
            {
                "type": "rect",
                "x0": axes.x(finish.when(low) or finish.last),
                "x1": axes.x(finish.when(high) or finish.last),
                "y0": 0.0,
                "y1": 0.2,
                "xref": "x3",
                "yref": "y3",
                "line": {"width": 0},
                "fillcolor": faded(axes.palette.inferred, opacity),
            }
        )
    drawing.trace(
        3,
        x=[axes.x(finish.p50)],
        y=[0.1],
        mode="markers",
        marker={"symbol": "line-ns-open", "size": 12, "color": axes.palette.inferred, "line": {"width": 3}},
        name="likely finish",
        customdata=[range_told(finish, axes.voice)],
        hovertemplate="likely finish<br>%{customdata}<extra></extra>",
    )


def _layout(drawing: _Drawing, curve: Curve) -> dict[str, Any]:
    axes, palette, shown = drawing.axes, drawing.axes.palette, drawing.shown
    drawing.notes.append(_title(axes, axes.y_title, "y domain", (-46, 25)))
    warmth_known = curve.assessment.marked["temperature_c"].is_not_null().any()
    warmth = f"Temperature, {axes.voice.units.temperature_unit}" if warmth_known else "No temperature was read"
    drawing.notes.append(_title(axes, warmth, "y2 domain", (2, 0)))
    time: dict[str, Any] = {
        "range": [axes.x(shown[0]), axes.x(shown[1])],
        "gridcolor": palette.rule,
        "zeroline": False,
        "showline": False,
    }
    ticks: dict[str, Any] = {"showticklabels": True, "ticks": "outside", "tickcolor": palette.rule}
    if axes.view.time == "Date":
        time |= {"type": "date", "tickformatstops": DATE_TICKS, "nticks": 6, "tickangle": 0}
        time["tickfont"] = {"size": 12}  # six dates side by side on a phone
    else:
        ticks["title"] = {"text": "days since pitching", "font": {"size": 12}}
    height: dict[str, Any] = {"gridcolor": palette.rule, "zeroline": False}
    gravity, temperature, strip = ({**height, "domain": list(share)} for share in _PANELS)
    hidden = {"matches": "x3", "showticklabels": False}
    return {
        **base_layout(palette),
        "height": _HEIGHT_PX,
        "margin": {"l": 46, "r": 14, "t": 56, "b": 60},  # above it the buttons that a touch screen always shows
        # The page says what the marks mean, in a line that wraps on a phone.
        "showlegend": False,
        # What the reader drags stays until we know of it; from then on the figure itself begins and ends there.
        "uirevision": f"{axes.view.gravity}/{axes.view.time}/{curve.zoom}",
        "hovermode": "closest",
        "dragmode": "zoom",
        "xaxis": {**time, **hidden, "anchor": "y"},
        "xaxis2": {**time, **hidden, "anchor": "y2"},
        "xaxis3": {**time, **ticks, "anchor": "y3"},
        "yaxis": {**gravity, "anchor": "x", "tickformat": axes.y_format, "range": _gravity_range(axes, curve)},
        # Without one the numbers of an empty axis would pass for degrees.
        "yaxis2": {**temperature, "anchor": "x2", "nticks": 4, "fixedrange": True, "showticklabels": warmth_known},
        "yaxis3": {
            **strip,
            "anchor": "x3",
            "range": [0, 1],
            "fixedrange": True,
            "showticklabels": False,
            "showgrid": False,
        },
    }


def _title(axes: Axes, text: str, panel: str, shift: tuple[int, int]) -> dict[str, Any]:
    """What a panel shows, written level above its left corner: nobody tilts a phone to read an axis.

    Where the panel above ends close by, it stands right of the axis, so that it never lies on the highest number.
    """
    return axis_title(text, axes.palette) | {"yref": panel, "xshift": shift[0], "yshift": shift[1]}


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
