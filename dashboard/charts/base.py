"""What the figures share: the choice of scales, the turning of values into them, and the plain layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal

import numpy as np
import polars as pl

from analysis import attenuation
from analysis.display_units import DECIMALS, DisplayUnits, GravityUnit
from analysis.fitting import Fit
from analysis.model import Assessment, Event, Floats
from analysis.wording import Voice
from dashboard.charts.palette import PALETTES, Edition, Palette

GravityScale = Literal["SG", "°P", "°Bx", "Attenuation"]
TimeScale = Literal["Date", "Days since pitching"]

FONT: Final = "system-ui, -apple-system, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"
CONFIG: Final[dict[str, Any]] = {
    "displaylogo": False,
    "scrollZoom": False,
    "modeBarButtonsToRemove": ["select2d", "lasso2d", "autoScale2d", "resetScale2d", "zoomIn2d", "zoomOut2d"],
    "toImageButtonOptions": {"format": "svg", "filename": "fermentation"},
}


PLAIN: Final[dict[str, Any]] = {"displayModeBar": False, "scrollZoom": False}
"""For small figures, which need no tools."""

DATE_TICKS: Final = [
    {"dtickrange": [None, 43_200_000], "value": "%H:%M\n%a %-d %b"},
    {"dtickrange": [43_200_000, None], "value": "%a<br>%-d\n%b"},
]
"""Dates as people write them: hours only where a day is wide; below days the month where it begins, for six days stand
side by side on a screen of 320 px."""


_GRAVITIES_SG: Final = np.linspace(0.95, 1.25, 3001)


@dataclass(frozen=True, slots=True)
class View:
    """What the reader chose to look at."""

    gravity: GravityScale = "SG"
    time: TimeScale = "Date"
    edition: Edition = "light"


@dataclass(frozen=True, slots=True)
class Zoom:
    """The part of the curve that the reader chose to look at, whatever the scales."""

    from_at: datetime
    to_at: datetime
    low_sg: float | None = None
    high_sg: float | None = None
    """Both None: as high as the curve is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Everything the figure draws, all in UTC and SG."""

    assessment: Assessment
    pitched_at: datetime
    original_gravity_sg: float | None = None
    events: Sequence[Event] = ()
    raw: pl.DataFrame | None = None
    """As the device said it before calibration (`measured_at`, `gravity_sg`), where that differs."""
    temperature_range_c: tuple[float | None, float | None] = (None, None)
    schedule_c: tuple[tuple[float, float | None, float | None], ...] = ()
    """The batch's own steps: day since pitching, low and high; before the first, and without any, one range holds."""
    until: datetime | None = None
    """Where the time axis ends; None: a little past the likely finish."""
    zoom: Zoom | None = None
    classical: Fit | None = None
    """The trade's curve, where it was asked for."""
    view: View = field(default_factory=View)


class Axes:
    """Turns instants and gravities into what the chosen axes show."""

    def __init__(self, curve: Curve, voice: Voice) -> None:
        self.view, self.voice, self.pitched = curve.view, voice, curve.pitched_at
        original = curve.assessment.original_gravity_sg
        self.original = original.p50 if original else curve.original_gravity_sg  # what was added counts
        if self.original is None and self.view.gravity == "Attenuation":
            self.view = View("SG", self.view.time, self.view.edition)
        self.palette: Palette = PALETTES[self.view.edition]

    def x(self, when: datetime) -> Any:
        if self.view.time == "Date":
            return self.voice.local(when).replace(tzinfo=None)
        return (when - self.pitched).total_seconds() / 86400

    def when(self, x: str | float) -> datetime:
        """The instant at a place on the time axis, as the browser gives it; raises `ValueError` for what is none."""
        if self.view.time == "Date":
            there = datetime.fromisoformat(str(x)).replace(tzinfo=self.voice.zone)
            return there.astimezone(UTC)
        return self.pitched + timedelta(days=float(x))

    def sg(self, y: float) -> float:
        """The gravity at a height of the gravity axis: `y` turned back."""
        heights = self.y(_GRAVITIES_SG)
        order = np.argsort(heights)
        return float(np.interp(y, heights[order], _GRAVITIES_SG[order]))

    def xs(self, column: pl.Series) -> list[Any]:
        """Many places on the time axis at once; dates as text, which the browser takes as it is."""
        if self.view.time == "Date":
            local = column.dt.convert_time_zone(self.voice.zone.key)
            return local.dt.strftime("%Y-%m-%d %H:%M:%S").to_list()
        return [round(self.x(when), 6) for when in column]

    def ys(self, gravity_sg: Floats) -> list[float]:
        """Many heights on the gravity axis, as finely as a screen can show."""
        return np.round(self.y(gravity_sg), 5).tolist()  # type: ignore[no-any-return]

    def y(self, gravity_sg: Floats) -> Floats:
        if self.view.gravity != "Attenuation":
            return DisplayUnits(self.view.gravity).gravities(gravity_sg)
        if self.original is None:
            return gravity_sg
        return 100 * attenuation.attenuation_course(self.original, gravity_sg)

    @property
    def y_format(self) -> str:
        return ".0f" if self.view.gravity == "Attenuation" else gravity_format(self.view.gravity)

    @property
    def y_title(self) -> str:
        return "Apparent attenuation, %" if self.view.gravity == "Attenuation" else gravity_title(self.view.gravity)


def gravity_scales(units: DisplayUnits) -> tuple[GravityScale, ...]:
    """What a curve can be drawn on: gravity, what is dissolved in the person's unit of it, and attenuation."""
    return ("SG", "°Bx" if units.gravity_unit == "°Bx" else "°P", "Attenuation")


def gravity_format(unit: GravityUnit) -> str:
    """How an axis or a hover prints a gravity."""
    return f".{DECIMALS[unit]}f"


def gravity_title(unit: GravityUnit) -> str:
    """What an axis of gravity is called."""
    return "Gravity, SG" if unit == "SG" else f"Apparent extract, {unit}"


_SIGNS: Final = str.maketrans({sign: f"&#{ord(sign)};" for sign in "&<>$%{}\"'"})
"""What may begin a tag, a character reference, a formula or a blank of a hover text."""


def literal(text: str) -> str:
    """A person's words as a figure shows exactly them.

    Plotly reads tags such as ``<b>`` and ``<a href=…>`` in every text, formulas between dollars, and ``%{…}`` as a
    blank in a hover text; numbered character references it turns back into their signs after all that.
    """
    return text.translate(_SIGNS)


def course_until(a: Assessment, until: datetime) -> pl.DataFrame:
    """The inferred course without gaps; a finished one goes on level to `until`, for it stays where it ended.

    A stalled one ends with the assessment: it will not fall by itself, so no fall is drawn ahead.
    """
    course = a.course.drop_nulls().sort("at")
    if a.stalled:
        course = course.filter(pl.col("at") <= a.now)
    if course.is_empty() or not a.finished or course["at"][-1] >= until:
        return course
    return pl.concat([course, course.tail(1).with_columns(pl.lit(until).cast(course.schema["at"]).alias("at"))])


def axis_title(text: str, palette: Palette) -> dict[str, Any]:
    """The name of the upright axis as an annotation: level, at the upper left, where it takes no width."""
    return {
        "text": text,
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": 1,
        "xanchor": "left",
        "yanchor": "bottom",
        "xshift": -48,
        "yshift": 6,
        "showarrow": False,
        "font": {"size": 12, "color": palette.past},
    }


def base_layout(palette: Palette) -> dict[str, Any]:
    """What every figure shares: paper, ink and the reader's own font."""
    return {
        "template": "none",
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "hoverlabel": {
            "bgcolor": palette.sheet,
            "bordercolor": palette.rule,
            "font": {"family": FONT, "color": palette.ink},
        },
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": palette.past, "activecolor": palette.ink},
    }
