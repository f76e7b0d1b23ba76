"""A packaging sheet as one self-contained HTML file, made for printing: no script, no font or picture from "
"elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from analysis.display_units import number
from analysis.packaging import PackagingSheet, PressurePoint
from analysis.wording import against_oxygen
from dashboard.charts import PALETTES, Palette
from dashboard.sheet.rows import (
    VERDICT_LINES,
    VERDICTS,
    Section,
    answer_sections,
    assumed_rows,
    cautions_of,
    input_sections,
    missing_of,
    verdict_of,
    worst_case_of,
)
from dashboard.templates import Markup, render
from ingest.model import Preferences

_LIGHT = PALETTES["light"]

_STYLE = f"""
body {{ font: 11pt/1.4 system-ui, sans-serif; color: {_LIGHT.ink}; background: #fff; max-width: 46rem;
       margin: 1.5rem auto; padding: 0 1rem; }}
h1 {{ font-size: 1.5rem; margin: 0 0 .2rem; }} h2 {{ font-size: 1rem; margin: 1.2rem 0 .3rem; }}
.made {{ color: {_LIGHT.past}; margin: 0 0 1rem; }}
.verdict {{ border: 3px solid {_LIGHT.ink}; padding: .6rem .9rem; margin: 1rem 0; break-inside: avoid; }}
.verdict strong {{ font-size: 1.6rem; display: block; }}
.stop, .caution {{ border-color: {_LIGHT.needs_you}; }} .caution {{ border-style: dashed; }}
table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }}
th, td {{ text-align: left; vertical-align: top; padding: .2rem .8rem .2rem 0;
         border-bottom: 1px solid {_LIGHT.rule}; }}
table {{ table-layout: fixed; }} th {{ font-weight: normal; width: 34%; }}
td.note {{ color: {_LIGHT.past}; font-size: .85rem; }}
section {{ break-inside: avoid; }} svg {{ width: 100%; height: auto; max-width: 34rem; }}
ul {{ padding-left: 1.2rem; margin: .3rem 0; }} li {{ margin: .25rem 0; }}
h3 {{ font-size: .95rem; margin: .6rem 0 .2rem; }} .entered {{ columns: 2; column-gap: 2.5rem; }}
.entered th {{ width: 58%; }} .entered section:first-child h3 {{ margin-top: 0; }}
ul.boxes {{ list-style: "☐  "; }}
@media print {{ body {{ margin: 0; max-width: none; }} @page {{ margin: 15mm; }} }}
"""


def sheet_html(
    sheet: PackagingSheet,
    *,
    title: str = "Packaging sheet",
    made: str = "",
    preferences: Preferences | None = None,
) -> Markup:
    """The whole page.

    Parameters
    ----------
    sheet
        What `analysis.packaging.sheet` answered.
    title
        Such as the batch's name.
    made
        When it was made, in words.
    preferences
        The person's units; SG, °C, L and bar where not given.
    """
    mine = preferences or Preferences()
    verdict, reasons = verdict_of(sheet, mine)
    return render(
        "sheet/page.html",
        title=title,
        made=made,
        style=Markup(_STYLE),
        verdict=verdict,
        verdict_word=VERDICTS[verdict] if verdict else "",
        verdict_line=VERDICT_LINES[verdict] if verdict else "",
        reasons=reasons,
        answers=answer_sections(sheet, mine),
        picture=pressure_svg(sheet.bottle_pressure_distribution, sheet.inputs.bottle_rating_kpa, mine),
        missing=missing_of(sheet),
        worst_case=worst_case_of(sheet, mine),
        cautions=[each for each in cautions_of(sheet, mine) if each not in reasons],
        checklist=against_oxygen(sheet.inputs.package),
        assumed=Section("Assumed, as it was not entered", assumed_rows(sheet, mine)),
        inputs=input_sections(sheet.inputs, mine),
    )


def pressure_svg(
    distribution: Sequence[PressurePoint],
    rating_kpa: float | None,
    preferences: Preferences,
    colours: Palette = _LIGHT,
    level: Literal[2, 3] = 2,
) -> Markup:
    """The bottle's pressure as a picture: the chance that it stays below each pressure, with the rating marked.

    Its heading has a `level` of 2 on paper, and of 3 among the sections of the screen.
    """
    if not distribution:
        return Markup()
    units = preferences.units
    unit = units.unit_of("pressure")
    points = [(units.shown(p.gauge_kpa, "pressure"), p.chance) for p in distribution]
    rating = None if rating_kpa is None else units.shown(rating_kpa, "pressure")
    widest = max([points[-1][0], rating or 0.0]) * 1.08 or 1.0
    left, top, width, height = 52.0, 14.0, 480.0, 150.0

    def x(value: float) -> float:
        return left + width * value / widest

    def y(chance: float) -> float:
        return top + height * (1 - chance)

    step = _step(widest)
    ticks = [step * n for n in range(int(widest / step) + 1)]
    return render(
        "sheet/pressure.html",
        title=f"Chance that the bottle's pressure stays below a value, in {unit}",
        colours=colours,
        level=level,
        left=left,
        top=top,
        width=width,
        bottom=top + height,
        line=" ".join(f"{x(value):.1f},{y(chance):.1f}" for value, chance in points),
        marks=[{"x": x(t), "label": number(t, 0 if step >= 1 else 1)} for t in ticks],
        chances=[{"y": y(c), "label": number(100 * c)} for c in (0.0, 0.5, 1.0)],
        rating_x=None if rating is None else x(rating),
    )


def _step(widest: float) -> float:
    """A round distance between marks, for about six of them."""
    for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0):
        if widest / step <= 8:
            return step
    return 1000.0
