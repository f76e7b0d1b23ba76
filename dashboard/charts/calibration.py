"""The picture of a float's inclination curve: points, curve, its standard error, and where it only goes on straight."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import plotly.graph_objects as go

from analysis.calibration import InclinationCurve
from analysis.display_units import GravityUnit, number
from analysis.model import Floats
from analysis.wording import Voice
from dashboard.charts.base import axis_title, base_layout, gravity_format, gravity_title
from dashboard.charts.palette import PALETTES, Edition, Palette, faded

_HEIGHT_PX: Final = 320
_BEYOND: Final = 0.25
"""Share of the calibrated span that is drawn beyond each end."""


def curve_figure(
    curve: InclinationCurve,
    points: Sequence[tuple[float, float]],
    now_deg: float | None,
    voice: Voice,
    edition: Edition,
) -> go.Figure:
    """Gravity over inclination; `now_deg` is what the float says now."""
    palette = PALETTES[edition]
    shown = voice.units.gravities
    inside = np.linspace(curve.low_deg, curve.high_deg, 120)
    figure = go.Figure()
    if curve.standard_error_sg is not None:
        middle = curve.gravity_sg(inside)
        low, high = shown(middle - curve.standard_error_sg), shown(middle + curve.standard_error_sg)
        figure.add_scatter(
            x=[*inside, *inside[::-1]],
            y=[*high, *low[::-1]],
            fill="toself",
            fillcolor=faded(palette.inferred, 0.18),
            line={"width": 0},
            hoverinfo="skip",
            name="standard error",
        )
    figure.add_scatter(
        x=inside,
        y=shown(curve.gravity_sg(inside)),
        mode="lines",
        line={"color": palette.inferred, "width": 2.5},
        name="curve",
    )
    _draw_beyond(figure, curve, shown, palette)
    degrees, gravities = (np.array(column, dtype=np.float64) for column in zip(*points, strict=True))
    figure.add_scatter(
        x=degrees,
        y=shown(gravities),
        mode="markers",
        marker={"symbol": "diamond", "size": 10, "color": palette.ink},
        name="your points",
    )
    if now_deg is not None:
        figure.add_vline(x=now_deg, line={"color": palette.ink, "width": 1, "dash": "dot"}, annotation_text="now")
    _lay_out(figure, palette, voice.units.gravity_unit)
    return figure


def _draw_beyond(
    figure: go.Figure, curve: InclinationCurve, shown: Callable[[Floats], Floats], palette: Palette
) -> None:
    """The curve a little beyond the points on either side, where it is extrapolated."""
    span = curve.high_deg - curve.low_deg
    for start, end in (
        (curve.low_deg - _BEYOND * span, curve.low_deg),
        (curve.high_deg, curve.high_deg + _BEYOND * span),
    ):
        beyond = np.array([start, end])
        figure.add_scatter(
            x=beyond,
            y=shown(curve.gravity_sg(beyond)),
            mode="lines",
            line={"color": palette.inferred, "width": 1.5, "dash": "dot"},
            name="beyond the points",
        )


def _lay_out(figure: go.Figure, palette: Palette, unit: GravityUnit) -> None:
    figure.update_layout(base_layout(palette), height=_HEIGHT_PX, margin={"l": 52, "r": 12, "t": 26, "b": 40})
    figure.update_layout(showlegend=False, uirevision="curve")
    figure.add_annotation(axis_title(gravity_title(unit), palette))
    figure.update_xaxes(title={"text": "inclination, °", "font": {"size": 12}}, gridcolor=palette.rule, zeroline=False)
    figure.update_yaxes(
        tickformat=gravity_format(unit),
        gridcolor=palette.rule,
        zeroline=False,
    )


def in_words(curve: InclinationCurve, now_deg: float | None, voice: Voice) -> str:
    """What the picture says."""
    text = f"The curve runs from {number(curve.low_deg, 1)}° to {number(curve.high_deg, 1)}°."
    if curve.standard_error_sg is None:
        text += " With two points its error cannot be told; add a third."
    else:
        middle_deg = (curve.low_deg + curve.high_deg) / 2
        error = voice.units.gravity_error(curve.standard_error_sg, float(curve.gravity_sg(middle_deg)))
        text += f" Standard error {error}: by so much it misses an inner point that is left out."
    if now_deg is not None:
        gravity = float(curve.gravity_sg(now_deg))
        text += f" At {number(now_deg, 1)}°, what it says now, the gravity is {voice.gravity(gravity)}"
        text += ", which lies beyond your points." if bool(curve.extrapolated(now_deg)) else "."
    return text
