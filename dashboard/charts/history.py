"""How the forecast of one batch moved from day to day: when it was made to the right, what it said upward."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import plotly.graph_objects as go

from analysis.wording import Voice
from dashboard.charts.base import DATE_TICKS, axis_title, base_layout
from dashboard.charts.palette import PALETTES, Edition, faded
from ingest.model import AssessmentRecord

_MOST: Final = 200
_ONE_LINE: Final = (
    {"dtickrange": [None, 43_200_000], "value": "%a %-d %b %H:%M"},
    {"dtickrange": [43_200_001, None], "value": "%a %-d %b"},
)
"""How the upright axis names its days, by how far apart they are (ms): in one line, or they run into the level axis."""


def history_figure(records: Sequence[AssessmentRecord], say: Voice, edition: Edition) -> go.Figure:
    """The range and the middle of the likely finish as it was said at each time."""
    palette = PALETTES[edition]
    said = _last_of_each_hour([r for r in records if r.finish_p10 and r.finish_p50 and r.finish_p90])
    said = said[:: len(said) // _MOST + 1]

    def local(when: object) -> object:
        return say.local(when).replace(tzinfo=None)  # type: ignore[arg-type]

    made = [local(r.made_at) for r in said]
    low, middle, high = ([local(getattr(r, f"finish_{p}")) for r in said] for p in ("p10", "p50", "p90"))
    figure = go.Figure()
    figure.add_trace(
        go.Scatter(
            x=[*made, *reversed(made)],
            y=[*high, *reversed(low)],
            fill="toself",
            mode="lines",
            line={"width": 0},
            fillcolor=faded(palette.inferred, 0.2),
            hoverinfo="skip",
        )
    )
    figure.add_trace(
        go.Scatter(
            x=made,
            y=middle,
            mode="lines+markers",
            line={"color": palette.inferred, "width": 2, "shape": "hv"},
            marker={"size": 4},
            customdata=[[say.exact(r.made_at), say.exact(r.finish_p50)] for r in said if r.finish_p50],
            hovertemplate="said %{customdata[0]}<br>done about %{customdata[1]}<extra></extra>",
        )
    )
    figure.update_layout(base_layout(palette), height=260, margin={"l": 92, "r": 12, "t": 26, "b": 76})
    figure.add_annotation(axis_title("Done about", palette))
    figure.update_layout(showlegend=False, uirevision="history")
    figure.update_xaxes(
        title={"text": "said on", "font": {"size": 12}, "standoff": 6},
        gridcolor=palette.rule,
        zeroline=False,
        tickformatstops=DATE_TICKS,
        nticks=5,
        tickangle=0,
    )
    figure.update_yaxes(
        gridcolor=palette.rule,
        zeroline=False,
        tickformatstops=_ONE_LINE,
        nticks=4,
        automargin=True,
    )
    return figure


def _last_of_each_hour(records: Sequence[AssessmentRecord]) -> list[AssessmentRecord]:
    """What was corrected within the hour, as while a backlog of readings comes in, would be a stroke and no course."""
    return list({r.made_at.replace(minute=0, second=0, microsecond=0): r for r in records}.values())
