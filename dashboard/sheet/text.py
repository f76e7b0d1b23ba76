"""A packaging sheet as lines of text for the terminal: the verdict and its reasons, the figures, then what to heed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from analysis.packaging import PackagingSheet
from analysis.wording import against_oxygen
from dashboard.sheet.rows import (
    VERDICT_LINES,
    VERDICTS,
    Section,
    answer_sections,
    assumed_rows,
    cautions_of,
    missing_of,
    verdict_of,
    worst_case_of,
)
from ingest.model import Preferences

_WIDTH = 100


def sheet_text(sheet: PackagingSheet, preferences: Preferences) -> str:
    """The answer of `analysis.packaging.sheet`, labelled and in the person's units."""
    return "\n".join(_lines(sheet, preferences))


def _lines(sheet: PackagingSheet, preferences: Preferences) -> Iterator[str]:
    verdict, reasons = verdict_of(sheet, preferences)
    if verdict is not None:
        yield f"{VERDICTS[verdict]}. {VERDICT_LINES[verdict]}"
        yield from _listed(reasons)
    elif reasons:
        yield "Refused"
        yield from _listed(reasons)
    else:
        yield "No verdict: it is not said whether it goes into bottles or kegs."
    yield from _titled("Still to be entered", missing_of(sheet))
    for section in answer_sections(sheet, preferences):
        yield from _table(section)
    yield from _titled("What the worst case rests on", worst_case_of(sheet, preferences))
    yield from _table(Section("Assumed, as it was not entered", assumed_rows(sheet, preferences)))
    yield from _titled("Take care", [c for c in cautions_of(sheet, preferences) if c not in reasons])
    yield from _titled("Against oxygen", against_oxygen(sheet.inputs.package))


def _table(section: Section) -> Iterator[str]:
    if not section.rows:
        return
    yield from ("", section.title)
    width = max(len(row.label) for row in section.rows)
    for row in section.rows:
        yield f"  {row.label:<{width}}  {row.value}{f'  ({row.note})' if row.note else ''}"


def _titled(title: str, sentences: Sequence[str]) -> Iterator[str]:
    if sentences:
        yield from ("", title)
        yield from _listed(sentences)


def _listed(sentences: Sequence[str]) -> Iterator[str]:
    for sentence in sentences:
        yield from wrap(sentence, _WIDTH, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)
