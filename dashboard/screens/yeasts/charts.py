"""Yeasts side by side: a small panel each, its batches faint and the typical course strong; and their differences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analysis.model import Floats
from analysis.yeast_comparison import Comparison, Quantity
from dashboard.charts import PALETTES, Edition, base_layout, faded, literal
from dashboard.queries import Finished

_LABELS: Final[dict[Quantity, str]] = {"finish_days": "days to the finish", "attenuation": "% apparent attenuation"}


def courses_figure(batches: Sequence[Finished], yeasts: Sequence[str], edition: Edition, columns: int) -> go.Figure:
    """Apparent attenuation over days since pitching, a panel for each yeast, on the same scales."""
    palette = PALETTES[edition]
    rows = -(-len(yeasts) // columns)
    figure = make_subplots(
        rows=rows,
        cols=columns,
        shared_xaxes="all",
        shared_yaxes="all",
        subplot_titles=[literal(yeast) for yeast in yeasts],
        vertical_spacing=0.12 if rows > 1 else 0.0,
        horizontal_spacing=0.04,
        figure=go.Figure(),
    )
    longest = max((float(b.days[-1]) for b in batches if b.days.size), default=10.0)
    for n, yeast in enumerate(yeasts):
        row, column = n // columns + 1, n % columns + 1
        mine = [b for b in batches if b.outcome.yeast == yeast and b.days.size > 1]
        for batch in mine:
            figure.add_trace(
                go.Scatter(
                    x=batch.days,
                    y=100 * batch.attenuation,
                    mode="lines",
                    line={"color": faded(palette.past, 0.55), "width": 1.3},
                    name=literal(batch.outcome.name),
                    hovertemplate=f"{literal(batch.outcome.name)}<br>day %{{x:.1f}}: %{{y:.0f}} %<extra></extra>",
                ),
                row=row,
                col=column,
            )
        if len(mine) > 1:
            days, middle = typical(mine)
            figure.add_trace(
                go.Scatter(
                    x=days,
                    y=100 * middle,
                    mode="lines",
                    line={"color": palette.inferred, "width": 3},
                    hovertemplate="typical, day %{x:.1f}: %{y:.0f} %<extra></extra>",
                ),
                row=row,
                col=column,
            )
    figure.update_layout(base_layout(palette), height=230 * rows + 60, showlegend=False)
    figure.update_layout(margin={"l": 36, "r": 8, "t": 30, "b": 44}, uirevision="courses")
    figure.update_xaxes(range=[0, min(longest, 60)], gridcolor=palette.rule, zeroline=False, showticklabels=True)
    figure.update_xaxes(title={"text": "days since pitching", "font": {"size": 12}}, row=rows)
    most = max((100 * float(b.attenuation.max()) for b in batches if b.attenuation.size), default=100.0)
    figure.update_yaxes(range=[-3, most + 6], gridcolor=palette.rule, zeroline=False)
    figure.update_annotations(font={"size": 14, "color": palette.ink})
    return figure


def typical(batches: Sequence[Finished]) -> tuple[Floats, Floats]:
    """The median course, as far as half of the batches go; beyond its end a batch stays where it ended."""
    ends = sorted(float(b.days[-1]) for b in batches)
    days = np.linspace(0, ends[len(ends) // 2], 120)
    middle = np.median([np.interp(days, b.days, b.attenuation) for b in batches], axis=0)
    return days, np.asarray(middle)


def differences_figure(comparison: Comparison, quantity: Quantity, edition: Edition) -> go.Figure:
    """Each difference as a dot with its interval, with the line of no difference."""
    palette = PALETTES[edition]
    factor = 100 if quantity == "attenuation" else 1
    shown = [d for d in comparison.differences if d.quantity == quantity]
    labels = [literal(f"{d.first} less {d.second}") for d in shown]
    middle = np.array([factor * d.amount.p50 for d in shown])
    low = np.array([factor * d.amount.p10 for d in shown])
    high = np.array([factor * d.amount.p90 for d in shown])
    figure = go.Figure(
        go.Scatter(
            x=middle,
            y=list(range(len(shown)))[::-1],
            mode="markers",
            marker={"size": 10, "color": palette.inferred},
            error_x={
                "type": "data",
                "symmetric": False,
                "array": high - middle,
                "arrayminus": middle - low,
                "color": palette.inferred,
                "thickness": 2,
                "width": 0,
            },
            text=labels,
            hovertemplate="%{text}: %{x:.1f}<extra></extra>",
        )
    )
    for n, label in enumerate(labels):
        figure.add_annotation(
            text=label,
            x=0,
            xref="paper",
            y=len(shown) - 1 - n + 0.22,
            xanchor="left",
            yanchor="bottom",
            showarrow=False,
            bgcolor=palette.paper,  # the grid runs behind the words
        )
    figure.add_vline(x=0, line={"color": palette.ink, "width": 1})
    reach = float(max(np.max(np.abs(low)), np.max(np.abs(high)), 1e-6)) * 1.1 if shown else 1.0
    figure.update_layout(base_layout(palette), height=46 * max(len(shown), 1) + 66, showlegend=False)
    figure.update_layout(margin={"l": 8, "r": 8, "t": 8, "b": 44}, uirevision=f"difference {quantity}")
    figure.update_xaxes(
        range=[-reach, reach],
        gridcolor=palette.rule,
        zeroline=False,
        title={"text": f"difference in {_LABELS[quantity]}", "font": {"size": 12}},
    )
    figure.update_yaxes(range=[-0.6, len(shown) - 0.2], visible=False, fixedrange=True)
    return figure
