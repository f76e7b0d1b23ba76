"""Several batches on one axis of days since pitching: their courses, and their temperatures below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analysis.model import Floats
from analysis.wording import Voice
from dashboard.charts import PALETTES, Edition, base_layout, literal

DASHES: Final = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
"""Batches differ by stroke and by the name at the end of the line: colours have their meanings."""
_WIDTHS: Final = (2.4, 1.4)
_LEAST_SPAN: Final = 4.0


@dataclass(frozen=True, slots=True)
class Line:
    """One batch: its name, its course (days, height) and its temperature (days, °C)."""

    name: str
    days: Floats
    height: Floats
    warm_days: Floats
    temperature_c: Floats


@dataclass(frozen=True, slots=True)
class Scale:
    """What the heights are: title, format, and whether they grow."""

    title: str
    format: str


def over_one_another(lines: Sequence[Line], scale: Scale, say: Voice, edition: Edition) -> go.Figure:
    """The figure."""
    palette = PALETTES[edition]
    warm = any(line.temperature_c.size for line in lines)
    figure = make_subplots(
        rows=2 if warm else 1,
        cols=1,
        shared_xaxes=True,
        row_heights=[0.74, 0.26] if warm else [1.0],
        vertical_spacing=0.05,
        figure=go.Figure(),
    )
    unit = say.units.temperature_unit
    for n, line in enumerate(lines):
        stroke = {"dash": DASHES[n % len(DASHES)], "width": _WIDTHS[n // len(DASHES) % len(_WIDTHS)]}
        name = literal(line.name)
        figure.add_trace(
            go.Scatter(
                x=np.round(line.days, 3),
                y=np.round(line.height, 5),
                mode="lines",
                line={"color": palette.inferred, **stroke},
                name=name,
                hovertemplate=f"{name}<br>day %{{x:.1f}}: %{{y:{scale.format}}}<extra></extra>",
            ),
            row=1,
            col=1,
        )
        if line.temperature_c.size:
            figure.add_trace(
                go.Scatter(
                    x=np.round(line.warm_days, 3),
                    y=np.round([say.units.shown(float(t), "temperature") for t in line.temperature_c], 2),
                    mode="lines",
                    line={"color": palette.temperature, **stroke},
                    name=name,
                    showlegend=False,
                    hovertemplate=f"{name}<br>day %{{x:.1f}}: %{{y:.1f}} {unit}<extra></extra>",
                ),
                row=2,
                col=1,
            )
    _dress(figure, scale, unit, warm, edition)
    return figure


def _dress(figure: go.Figure, scale: Scale, unit: str, warm: bool, edition: Edition) -> None:
    palette = PALETTES[edition]
    figure.update_layout(base_layout(palette), height=520 if warm else 400, uirevision="compare")
    figure.update_layout(
        margin={"l": 52, "r": 12, "t": 8, "b": 44},
        showlegend=True,
        legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0, "font": {"color": palette.ink}},
    )
    axis: dict[str, Any] = {"gridcolor": palette.rule, "zeroline": False}
    figure.update_xaxes(rangemode="tozero", **axis)
    figure.update_xaxes(title={"text": "days since pitching", "font": {"size": 12}}, row=2 if warm else 1, col=1)
    figure.update_yaxes(
        title={"text": scale.title, "font": {"size": 12}}, tickformat=scale.format, row=1, col=1, **axis
    )
    if warm:
        figure.update_yaxes(title={"text": unit, "font": {"size": 12}}, row=2, col=1, range=_span(figure), **axis)


def _span(figure: go.Figure) -> list[float]:
    """The range of the temperature axis: at least four degrees, so that a tenth does not look like a day's warmth."""
    values = np.concatenate([np.asarray(t.y, dtype=np.float64) for t in figure.data if t.yaxis == "y2"])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    spare = max(_LEAST_SPAN - (high - low), 0.0) / 2 + 0.3
    return [low - spare, high + spare]
