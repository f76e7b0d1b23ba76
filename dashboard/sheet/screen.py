"""The packaging sheet's answer as HTML for the screen: go, caution or stop first, then what to weigh and set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from html import escape

from analysis.packaging import PackagingSheet
from analysis.wording.sheet_cautions import OXYGEN_CHECKLIST
from dashboard.charts import PALETTES, Edition
from dashboard.sheet import html
from dashboard.sheet.rows import VERDICT_LINES, VERDICTS, Light, Section, answer_sections, cautions_of, verdict_of
from ingest.model import Preferences


def light(sheet: PackagingSheet, wrong: Sequence[str], preferences: Preferences) -> tuple[Light | None, list[str]]:
    """Go, caution or stop, with its reasons; None while it cannot be said."""
    if wrong:
        return None, [*wrong, "No verdict is given until that is mended."]
    word, reasons = verdict_of(sheet, preferences)
    if word is None:
        return None, ["Say first whether it goes into bottles or kegs."]
    return word, reasons


def verdict_html(word: Light | None, reasons: Sequence[str]) -> str:
    """The verdict, before everything else."""
    listed = "".join(f"<li>{escape(sentence)}</li>" for sentence in reasons)
    body = f"<ul>{listed}</ul>" if listed else ""
    if word is None:
        return f'<div class="light" role="status"><p><b>No verdict yet.</b></p>{body}</div>'
    return (
        f'<div class="light {word}" role="status">'
        f"<p><strong>{VERDICTS[word]}</strong> {escape(VERDICT_LINES[word])}</p>{body}</div>"
    )


def sections_html(sheet: PackagingSheet, preferences: Preferences) -> str:
    """What to weigh and set, by group."""
    return "".join(_section(section) for section in answer_sections(sheet, preferences))


def _section(section: Section) -> str:
    rows = "".join(
        f'<tr><th scope="row">{escape(row.label)}</th><td><b>{escape(row.value)}</b>'
        f"{f'<small>{escape(row.note)}</small>' if row.note else ''}</td></tr>"
        for row in section.rows
    )
    return f'<section class="sheet"><h3>{escape(section.title)}</h3><table class="log">{rows}</table></section>'


def picture_html(sheet: PackagingSheet, preferences: Preferences, edition: Edition) -> str:
    """The pressure's distribution, in the page's colours."""
    picture = html.pressure_svg(sheet.bottle_pressure_distribution, sheet.inputs.bottle_rating_kpa, preferences)
    printed, here = asdict(PALETTES["light"]), asdict(PALETTES[edition])
    for name, colour in printed.items():
        picture = picture.replace(f'"{colour}"', f'"{here[name]}"')
    return picture


def care_html(sheet: PackagingSheet, said: Sequence[str], preferences: Preferences) -> str:
    """Cautions that are not yet among the reasons, and the list against oxygen."""
    cautions = [c for c in cautions_of(sheet, preferences) if c not in said]
    parts = []
    if cautions:
        items = "".join(f"<li>{escape(c)}</li>" for c in cautions)
        parts.append(f'<section class="sheet"><h3>Take care</h3><ul class="evidence">{items}</ul></section>')
    items = "".join(f"<li>{escape(step)}</li>" for step in OXYGEN_CHECKLIST)
    parts.append(f'<section class="sheet"><h3>Against oxygen</h3><ul class="evidence">{items}</ul></section>')
    return "".join(parts)
