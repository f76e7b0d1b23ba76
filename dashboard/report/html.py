"""A report as one self-contained HTML file, made for A4 and Letter: no script, no font or picture from elsewhere."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from analysis.display_units import number
from dashboard.charts import PALETTES
from dashboard.report.intervals import intervals_html, shortened
from dashboard.templates import Markup, render
from ingest.monitoring import ReportInterval

_LIGHT = PALETTES["light"]
_DASHES: Final = ("", "7 4", "2 3", "9 3 2 3", "14 4", "14 3 2 3")
_WIDTHS: Final = (2.4, 1.4)
"""Lines differ by stroke, as on the screen: colours have their meanings, and paper may be grey."""

_LONGEST_WORD: Final = 16
"""Characters; four columns of such words are as wide as the page."""

_LEGEND_HALF: Final = 34
_LEGEND_WHOLE: Final = 72
"""Characters of a name that half of a picture's width, and all of it, are wide enough for."""

_LEFT: Final = 56.0
_TOP: Final = 10.0
_WIDTH: Final = 560.0
_HEIGHT: Final = 230.0

# Both papers leave at least 174 mm between margins of 18 mm; nothing is wider than that.
_STYLE: Final = f"""
body {{ font: 10.5pt/1.4 system-ui, sans-serif; color: {_LIGHT.ink}; background: #fff; max-width: 174mm;
       margin: 1.5rem auto; padding: 0 1rem; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.5rem; margin: 0 0 .2rem; }} h2 {{ font-size: 1rem; margin: 1.1rem 0 .3rem; break-after: avoid; }}
.quiet {{ color: {_LIGHT.past}; margin: 0 0 1rem; }} .lead {{ font-size: 1.15rem; font-weight: 600; margin: .6rem 0; }}
ul + .quiet, section + .quiet {{ margin-top: 1rem; }}
p, li {{ orphans: 3; widows: 3; }}
table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; font-size: .9rem;
        overflow-wrap: normal; }}
.long {{ overflow-wrap: anywhere; }}
th, td {{ text-align: left; vertical-align: top; padding: .2rem .7rem .2rem 0;
         border-bottom: 1px solid {_LIGHT.rule}; }}
thead {{ display: table-header-group; break-after: avoid; }} tr {{ break-inside: avoid; }} th {{ font-weight: 600; }}
tbody tr:nth-child(2), tbody tr:last-child {{ break-before: avoid; }}
tbody th {{ font-weight: normal; }} figure {{ margin: 0; break-inside: avoid; }} svg {{ width: 100%; height: auto; }}
ul {{ padding-left: 1.2rem; margin: .3rem 0; }} li {{ margin: .25rem 0; break-inside: avoid; }}
@media print {{ body {{ margin: 0; padding: 0; max-width: none; }} @page {{ margin: 18mm; }} }}
"""


def report_html(page: Mapping[str, Any]) -> Markup:
    """The whole file.

    Parameters
    ----------
    page
        A `ingest.monitoring.ReportPage` as it comes over a socket: a dict of its fields.
    """
    return render(
        "report/page.html",
        page=page,
        is_long=_is_long,
        style=Markup(_STYLE),
        figures=[_figure(each) for each in page["figures"]],
        intervals=intervals_html([ReportInterval(**each) for each in page["intervals"]], _LIGHT),
    )


def _is_long(cell: str) -> bool:
    """Whether a word of it must be let break, lest its column leaves the others no room."""
    return any(len(word) > _LONGEST_WORD for word in cell.split())


def _figure(figure: Mapping[str, Any]) -> Markup:
    """Lines over days since pitching, with their names below."""
    xs = [x for line in figure["lines"] for x in line["x"]]
    ys = [y for line in figure["lines"] for y in line["y"]]
    most, low, high = max(xs) or 1.0, min(ys), max(ys)
    spare = 0.05 * (high - low) or 1.0
    low, high = low - spare, high + spare

    def x(value: float) -> float:
        return float(_LEFT + _WIDTH * value / most)

    def y(value: float) -> float:
        return float(_TOP + _HEIGHT * (high - value) / (high - low))

    longest = max(len(line["name"]) for line in figure["lines"])
    across = 2 if longest <= _LEGEND_HALF else 1
    lines = [
        {
            "name": shortened(line["name"], _LEGEND_WHOLE),
            "points": " ".join(f"{x(a):.1f},{y(b):.1f}" for a, b in zip(line["x"], line["y"], strict=True)),
            "dash": _DASHES[n % len(_DASHES)],
            "width": _WIDTHS[n // len(_DASHES) % len(_WIDTHS)],
        }
        for n, line in enumerate(figure["lines"])
    ]
    return render(
        "report/figure.html",
        title=figure["title"],
        y_title=figure["y"],
        colours=_LIGHT,
        left=_LEFT,
        width=_WIDTH,
        top=_TOP,
        bottom=_TOP + _HEIGHT,
        lines=lines,
        days=[{"x": x(t), "label": number(t, 0 if _step(most) >= 1 else 1)} for t in _ticks(0.0, most)],
        heights=[{"y": y(t), "label": number(t, figure["decimals"])} for t in _ticks(low, high)],
        rows=[
            {"y": _TOP + _HEIGHT + 46.0 + 16.0 * (n // across), "x": _LEFT + 285.0 * (n % across)}
            for n in range(len(lines))
        ],
        whole=_TOP + _HEIGHT + 56.0 + 16.0 * ((len(lines) - 1) // across),
    )


def _step(span: float) -> float:
    """A round distance between marks, for four to nine of them."""
    rough = span / 6.0
    power = math.pow(10.0, math.floor(math.log10(rough)))
    return next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough)


def _ticks(low: float, high: float) -> Sequence[float]:
    step = _step(high - low)
    first = math.ceil(low / step - 1e-9)
    return [step * n for n in range(first, math.floor(high / step + 1e-9) + 1)]
