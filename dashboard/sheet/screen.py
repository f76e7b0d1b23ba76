"""The packaging sheet's answer as HTML for the screen: go, caution or stop first, then what to weigh and set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.packaging import PackagingSheet
from analysis.wording import against_oxygen
from dashboard.charts import PALETTES, Edition
from dashboard.sheet import html
from dashboard.sheet.rows import (
    NOT_SAID,
    VERDICT_LINES,
    VERDICTS,
    Light,
    Section,
    answer_sections,
    assumed_rows,
    cautions_of,
    missing_of,
    verdict_of,
    worst_case_of,
)
from dashboard.templates import Markup, fill, join, render
from ingest.model import Preferences

_OPEN: Final = 3
"""Reasons that a phone shows beside the first inputs. Source: tried on screens of 390 px."""


def open_reasons(sheet: PackagingSheet) -> int:
    """How many of the verdict's reasons stand open where there is little room: three, and all that are dangerous."""
    return max(_OPEN, len(sheet.dangers))


def light(sheet: PackagingSheet, wrong: Sequence[str], preferences: Preferences) -> tuple[Light | None, list[str]]:
    """Go, caution or stop, with its reasons; None while it cannot be said."""
    if wrong:
        return None, [*wrong, "No verdict is given until that is mended."]
    word, reasons = verdict_of(sheet, preferences)
    if word is None:
        return None, ["Say first whether it goes into bottles or kegs."]
    return word, reasons


def verdict_html(word: Light | None, reasons: Sequence[str], stand_open: int) -> Markup:
    """The verdict, before everything else; on a phone, reasons beyond those that `stand_open` are one tap away."""
    title, line = ("", "") if word is None else (VERDICTS[word], VERDICT_LINES[word])
    return render(
        "sheet/light.html", word=word, title=title, line=line, reasons=reasons[:stand_open], more=reasons[stand_open:]
    )


_ANSWERS: Final = ("Priming sugar", "Keg pressure", "Pressure in the worst case", "Keg pressure in the worst case")
"""Rows of the sheet that the line leads with."""


def answer_line_html(word: Light | None, sheet: PackagingSheet, preferences: Preferences) -> Markup:
    """The answer in a line that stays in view while the inputs change: the verdict and the first figures."""
    title = "No verdict yet" if word is None else VERDICTS[word]
    rows = [row for section in answer_sections(sheet, preferences) for row in section.rows]
    told = [f"{row.label} {row.value}" for row in rows if row.label in _ANSWERS and row.value != NOT_SAID]
    return fill(
        '<p class="answer {{ word }}" role="status"><b>{{ title }}</b> {{ told }}</p>',
        word=word or "none",
        title=title,
        told="; ".join(told),
    )


def sections_html(sheet: PackagingSheet, preferences: Preferences) -> Markup:
    """What to weigh and set, by group."""
    return join(render("sheet/section.html", section=each) for each in answer_sections(sheet, preferences))


def missing_html(sheet: PackagingSheet) -> Markup:
    """What is still to be entered, by name."""
    return _listed("Still to be entered", missing_of(sheet))


def basis_html(sheet: PackagingSheet, preferences: Preferences) -> Markup:
    """What the worst case rests on, and what was counted because nothing else was entered."""
    rows = assumed_rows(sheet, preferences)
    assumed = (
        render("sheet/section.html", section=Section("Assumed, as it was not entered", rows)) if rows else Markup()
    )
    return _listed("What the worst case rests on", worst_case_of(sheet, preferences)) + assumed


def picture_html(sheet: PackagingSheet, preferences: Preferences, edition: Edition) -> Markup:
    """The pressure's distribution, in the page's colours."""
    rating_kpa = sheet.inputs.bottle_rating_kpa
    return html.pressure_svg(sheet.bottle_pressure_distribution, rating_kpa, preferences, PALETTES[edition], level=3)


def care_html(sheet: PackagingSheet, said: Sequence[str], preferences: Preferences) -> Markup:
    """Cautions that are not yet among the reasons, and the list against oxygen."""
    cautions = [c for c in cautions_of(sheet, preferences) if c not in said]
    return _listed("Take care", cautions) + _listed("Against oxygen", against_oxygen(sheet.inputs.package))


def _listed(title: str, told: Sequence[str]) -> Markup:
    if not told:
        return Markup()
    return fill(
        '<section class="sheet"><h3>{{ title }}</h3><ul class="evidence">'
        "{% for sentence in told %}<li>{{ sentence }}</li>{% endfor %}</ul></section>",
        title=title,
        told=told,
    )
