"""The packaging sheet's answer as HTML for the screen: go, caution or stop first, then what to weigh and set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard.charts import PALETTES, Edition
from dashboard.sheet import html
from dashboard.sheet.rows import VERDICT_LINES, VERDICTS, Light, answer_sections, verdict_of
from dashboard.templates import Markup, fill, join, render
from ingest.model import Preferences


def light(given: Mapping[str, Any], answer: Mapping[str, Any], wrong: Sequence[str]) -> tuple[Light | None, list[str]]:
    """Go, caution or stop, with its reasons; None while it cannot be said."""
    if wrong:
        return None, [*wrong, "No verdict is given until that is mended."]
    word, reasons = verdict_of(answer)
    if word is None:
        return None, ["Say first whether it goes into bottles or kegs."]
    return word, reasons


def verdict_html(word: Light | None, reasons: Sequence[str]) -> Markup:
    """The verdict, before everything else."""
    title, line = ("", "") if word is None else (VERDICTS[word], VERDICT_LINES[word])
    return render("sheet/light.html", word=word, title=title, line=line, reasons=reasons)


def sections_html(answer: Mapping[str, Any], preferences: Preferences) -> Markup:
    """What to weigh and set, by group."""
    return join(render("sheet/section.html", section=each) for each in answer_sections(answer, preferences))


def picture_html(
    given: Mapping[str, Any], answer: Mapping[str, Any], preferences: Preferences, edition: Edition
) -> Markup:
    """The pressure's distribution, in the page's colours."""
    distribution = answer.get("bottle_pressure_distribution") or ()
    return html.pressure_svg(distribution, given.get("bottle_rating_kpa"), preferences, PALETTES[edition])


def care_html(answer: Mapping[str, Any], said: Sequence[str]) -> Markup:
    """Cautions that are not yet among the reasons, and the list against oxygen."""
    cautions = [c for c in answer.get("cautions") or () if c not in said]
    return _listed("Take care", cautions) + _listed("Against oxygen", answer.get("checklist") or ())


def _listed(title: str, told: Sequence[str]) -> Markup:
    if not told:
        return Markup()
    return fill(
        '<section class="sheet"><h3>{{ title }}</h3><ul class="evidence">'
        "{% for sentence in told %}<li>{{ sentence }}</li>{% endfor %}</ul></section>",
        title=title,
        told=told,
    )
