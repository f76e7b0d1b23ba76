"""A packaging sheet as one self-contained HTML file, made for printing: no script, no font or picture from "
"elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from analysis.packaging import PackagingSheet, PressurePoint
from analysis.wording.sheet_cautions import OXYGEN_CHECKLIST
from dashboard.charts import PALETTES
from dashboard.sheet.rows import (
    VERDICT_LINES,
    VERDICTS,
    Light,
    Section,
    answer_sections,
    cautions_of,
    input_sections,
    shown,
    unit_of,
    verdict_of,
)
from dashboard.wording import number
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
th {{ font-weight: normal; width: 40%; }} td.note {{ color: {_LIGHT.past}; font-size: .85rem; }}
section {{ break-inside: avoid; }} svg {{ width: 100%; height: auto; max-width: 34rem; }}
ul {{ padding-left: 1.2rem; margin: .3rem 0; }} li {{ margin: .25rem 0; }}
ul.boxes {{ list-style: "☐  "; }}
@media print {{ body {{ margin: 0; max-width: none; }} @page {{ margin: 15mm; }} }}
"""


def sheet_html(
    sheet: PackagingSheet,
    *,
    title: str = "Packaging sheet",
    made: str = "",
    preferences: Preferences | None = None,
) -> str:
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
    parts = [
        f"<h1>{escape(title)}</h1>",
        f'<p class="made">{escape(made)}</p>' if made else "",
        _verdict(verdict, reasons),
        _sentences("Refused", reasons) if verdict is None else "",
        *(_section(section) for section in answer_sections(sheet, mine)),
        pressure_svg(sheet.bottle_pressure_distribution, sheet.inputs.bottle_rating_kpa, mine),
        _sentences("Take care", cautions_of(sheet, mine)),
        _sentences("Against oxygen", OXYGEN_CHECKLIST, kind="boxes"),
        "<h2>What was entered</h2>",
        *(_section(section) for section in input_sections(sheet.inputs, mine)),
    ]
    body = "\n".join(part for part in parts if part)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _verdict(verdict: Light | None, sentences: Sequence[str]) -> str:
    if verdict is None:
        return ""
    reasons = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    listed = f"<ul>{reasons}</ul>" if reasons else ""
    return (
        f'<div class="verdict {escape(verdict)}"><strong>{VERDICTS[verdict]}</strong>'
        f"{escape(VERDICT_LINES[verdict])}{listed}</div>"
    )


def _section(section: Section) -> str:
    rows = "".join(
        f'<tr><th scope="row">{escape(row.label)}</th><td>{escape(row.value)}</td>'
        f'<td class="note">{escape(row.note)}</td></tr>'
        for row in section.rows
    )
    return f"<section><h2>{escape(section.title)}</h2><table>{rows}</table></section>"


def _sentences(title: str, sentences: Sequence[str], kind: str = "") -> str:
    if not sentences:
        return ""
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    attribute = f' class="{kind}"' if kind else ""
    return f"<section><h2>{escape(title)}</h2><ul{attribute}>{items}</ul></section>"


def pressure_svg(distribution: Sequence[PressurePoint], rating_kpa: float | None, preferences: Preferences) -> str:
    """The bottle's pressure as a picture: the chance that it stays below each pressure, with the rating marked."""
    if not distribution:
        return ""
    unit = unit_of("pressure", preferences)
    points = [(shown(p.gauge_kpa, "pressure", preferences), p.chance) for p in distribution]
    rating = None if rating_kpa is None else shown(rating_kpa, "pressure", preferences)
    widest = max([points[-1][0], rating or 0.0]) * 1.08 or 1.0
    left, top, width, height = 52.0, 14.0, 480.0, 150.0

    def x(value: float) -> float:
        return left + width * value / widest

    def y(chance: float) -> float:
        return top + height * (1 - chance)

    line = " ".join(f"{x(value):.1f},{y(chance):.1f}" for value, chance in points)
    step = _step(widest)
    ticks = [step * n for n in range(int(widest / step) + 1)]
    decimals = 0 if step >= 1 else 1
    marks = "".join(
        f'<line x1="{x(t):.1f}" y1="{top + height}" x2="{x(t):.1f}" y2="{top + height + 4}" stroke="{_LIGHT.past}"/>'
        f'<text x="{x(t):.1f}" y="{top + height + 17}" text-anchor="middle">{number(t, decimals)}</text>'
        for t in ticks
    )
    chances = "".join(
        f'<text x="{left - 8}" y="{y(c) + 4:.1f}" text-anchor="end">{number(100 * c)} %</text>'
        f'<line x1="{left}" y1="{y(c):.1f}" x2="{left + width}" y2="{y(c):.1f}" stroke="{_LIGHT.rule}"/>'
        for c in (0.0, 0.5, 1.0)
    )
    limit = ""
    if rating is not None:
        limit = (
            f'<line x1="{x(rating):.1f}" y1="{top}" x2="{x(rating):.1f}" y2="{top + height}" '
            f'stroke="{_LIGHT.needs_you}" stroke-width="2"/>'
            f'<text x="{x(rating) - 5:.1f}" y="{top + 11}" text-anchor="end" fill="{_LIGHT.needs_you}">rating</text>'
        )
    title = f"Chance that the bottle's pressure stays below a value, in {unit}"
    return (
        f'<section><h2>{escape(title)}</h2><svg viewBox="0 0 550 200" role="img" aria-label="{escape(title)}" '
        f'font-size="11" font-family="system-ui, sans-serif" fill="{_LIGHT.ink}">{chances}{marks}'
        f'<polyline points="{line}" fill="none" stroke="{_LIGHT.inferred}" stroke-width="2.5"/>{limit}</svg></section>'
    )


def _step(widest: float) -> float:
    """A round distance between marks, for about six of them."""
    for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0):
        if widest / step <= 8:
            return step
    return 1000.0
