"""A trial or a batch as one page to print: its sentences, tables and courses, in the person's units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import numpy as np
import polars as pl

from analysis.attenuation import attenuation_course
from analysis.display_units import DisplayUnits
from analysis.trials import Milestones
from analysis.wording import (
    EVENT_WORDS,
    Voice,
    capital,
    compared_rows,
    conclusion_sentence,
    design_sentence,
    ended_verdict,
    joined,
    milestone_table,
    next_sentences,
    plural,
    sentences,
    tasting,
    unknown_sentence,
    verdict,
    vessels_sentence,
)
from ingest.model import EventRecord, HandSample
from ingest.monitoring.outlook import Outlook
from ingest.monitoring.tasted import TastedComparison
from ingest.monitoring.trials import TASTING, TrialFindings
from ingest.store import Store

NO_RELEASE: Final = (
    "This report clears nothing for packaging: bottles that ferment on can burst. Work out the packaging sheet on the "
    "day, follow the marking of your bottles and kegs, local codes and licensed practice."
)
_ACROSS: Final = 4
"""Arms that stand side by side on paper."""

_POINTS: Final = 160
"""Of a line, at most: more than paper can show."""


@dataclass(frozen=True, slots=True)
class ReportLine:
    """One line of a picture."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ReportFigure:
    """Lines over days since pitching; `y` says what their heights are, with so many decimals."""

    title: str
    y: str
    decimals: int
    lines: tuple[ReportLine, ...]


@dataclass(frozen=True, slots=True)
class ReportTable:
    """A table of words."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ReportInterval:
    """A value with its range of eight chances in ten, in points from 0 to 100; `given` is what each taster gave."""

    name: str
    low: float
    middle: float
    high: float
    given: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class ReportPage:
    """Everything that a report says. `lists` are a title with its sentences, `intervals` drinks in tasters' points."""

    title: str
    about: str
    lead: str
    paragraphs: tuple[str, ...]
    figures: tuple[ReportFigure, ...]
    tables: tuple[ReportTable, ...]
    lists: tuple[tuple[str, tuple[str, ...]], ...]
    made: str
    intervals: tuple[ReportInterval, ...] = ()


def trial_page(found: TrialFindings, say: Voice) -> ReportPage:
    """A trial: its question, the answer, the arms' courses, what differs, what to try next."""
    design, record, units = found.design, found.record, say.units
    tasted = found.tasting.sentence if found.tasting is not None else ""
    lines = [_attenuation(_label(found, n), each.outlook) for n, each in enumerate(found.batches)]
    named = [(_label(found, n), each.milestones) for n, each in enumerate(found.batches)]
    told = [design_sentence(design), unknown_sentence(design), vessels_sentence(design, found.comparison, units)]
    respects = [
        (capital(each.factor), word, *compared_rows(each, units))
        for word, those in (("differs", design.differs), ("equal", design.equal))
        for each in those
    ]
    stated = (("differs, as stated", design.stated_differs), ("equal, as stated", design.stated_equal))
    respects += [(capital(text), word, *("" for _ in design.vessels)) for word, texts in stated for text in texts]
    arms = tuple(arm for arm, _ in design.vessels)
    lists = [("What to try next", tuple(next_sentences(found.conclusion, design)))]
    if tasted and record.decides != TASTING:  # else the lead says it
        lists.insert(0, ("Tasting", (tasted,)))
    if record.notes:
        lists.append(("Notes", tuple(filter(None, record.notes.splitlines()))))
    pooled = [("How points of several tastings are told", (tasting.POOLED,))] if found.tasted else []
    return ReportPage(
        title=record.question or record.name,
        about=f"Trial {record.name}: {joined(list(record.arm_names))}",
        lead=conclusion_sentence(found.conclusion, design, units, tasted),
        paragraphs=tuple(filter(None, told)),
        figures=_figures("The arms' courses", "apparent attenuation, %", 0, lines),
        tables=(
            *_milestones(named, units),
            *_in_parts("What differs, and what was held equal", ("In what", "", *arms), respects, 2),
            *tasted_tables(found.tasted),
        ),
        lists=(*lists, *pooled, ("Take care", (NO_RELEASE,))),
        made=f"Made {say.exact(say.now, lasting=True)} by tunroom.",
    )


def tasted_tables(compared: Sequence[TastedComparison]) -> list[ReportTable]:
    """What all tastings together say of what drinks were made with: the groups, and the groups in pairs."""
    found: list[ReportTable] = []
    for each in compared:
        title = f"{capital(each.factor)}, by the scores of {plural(each.tastings, 'tasting')}"
        rows = [
            [*row, joined([batch.name for batch in each.batches(row[0])])]
            for row in tasting.made_with_rows(each.comparison)
        ]
        found += report_table(title, tasting.MADE_WITH_HEADINGS, rows)
        found += report_table(
            f"{capital(each.factor)}, in pairs", tasting.PAIR_HEADINGS, tasting.pair_rows(each.comparison)
        )
    return found


def _label(found: TrialFindings, which: int) -> str:
    each = found.batches[which]
    return each.arm if len(found.record.batches_of(each.arm)) == 1 else f"{each.arm}: {each.record.name}"


def batch_page(store: Store, outlook: Outlook, milestones: Milestones, say: Voice) -> ReportPage:
    """A batch: the verdict with its evidence, its course, its milestones, and what was entered."""
    record, a, units = outlook.record, outlook.assessment, say.units
    about = [
        record.drink,
        record.yeast or "",
        outlook.vessel.name if outlook.vessel else "",
        f"pitched {say.exact(record.pitched_at, lasting=True)}",
        f"original gravity {say.gravity(record.original_gravity_sg)}" if record.original_gravity_sg else "",
        say.volume(record.volume_l) if record.volume_l else "",
    ]
    entered = [
        (say.exact(e.at, lasting=True), EVENT_WORDS[e.kind], _of_event(e, units))
        for e in sorted(store.all(EventRecord, batch_id=record.batch_id), key=lambda e: e.at)
    ]
    samples = [
        (
            say.exact(s.at, lasting=True),
            f"{s.value:g} {s.unit}",
            s.instrument if s.degassed else f"{s.instrument}, gas in it",
        )
        for s in sorted(store.all(HandSample, batch_id=record.batch_id), key=lambda s: s.at)
    ]
    lists = [("Why", sentences(a.evidence, units, ended=record.ended_at is not None))]
    if outlook.doubts:
        lists.append(("What is doubtful", tuple(outlook.doubts)))
    if record.notes:
        lists.append(("Notes", tuple(filter(None, record.notes.splitlines()))))
    unit = units.gravity_unit
    return ReportPage(
        title=record.name,
        about=", ".join(filter(None, about)),
        lead=(ended_verdict if outlook.record.ended_at else verdict)(a, outlook.batch.hold_h, say),
        paragraphs=(),
        figures=_figures(
            "The course",
            "gravity" if unit == "SG" else f"gravity, {unit}",
            3 if unit == "SG" else 1,
            [_gravity(outlook, units)],
        ),
        tables=(
            *_milestones([(record.name, milestones)], units),
            *report_table("What was entered", ("When", "What", ""), entered),
            *report_table("Hand samples", ("When", "Read", "With"), samples),
        ),
        lists=(*lists, ("Take care", (NO_RELEASE,))),
        made=f"Made {say.exact(say.now, lasting=True)} by tunroom.",
    )


def _of_event(event: EventRecord, units: DisplayUnits) -> str:
    amount = units.mass(event.amount_g) if event.amount_g is not None else ""
    litres = units.volume(event.amount_l) if event.amount_l is not None else ""
    gravity = units.gravity(event.gravity_sg) if event.gravity_sg is not None else ""
    parts = [event.hop_variety or "", event.hop_form or "", event.added or "", amount, litres, gravity, event.note]
    return ", ".join(filter(None, parts))


def _milestones(batches: Sequence[tuple[str, Milestones]], units: DisplayUnits) -> tuple[ReportTable, ...]:
    headings, rows = milestone_table(batches, units)
    return _in_parts("Milestones, with ranges of eight chances in ten", headings, rows, 1)


def _in_parts(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], kept: int) -> tuple[ReportTable, ...]:
    """A table in parts that paper is wide enough for, each with the first `kept` columns."""
    found: list[ReportTable] = []
    for first in range(kept, len(headings), _ACROSS):
        chosen = [*range(kept), *range(first, min(first + _ACROSS, len(headings)))]
        name = title if not found else f"{title}, continued"
        found += report_table(name, [headings[n] for n in chosen], [[row[n] for n in chosen] for row in rows])
    return tuple(found)


def report_table(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[ReportTable, ...]:
    """The table, or none without rows."""
    return (ReportTable(title, tuple(headings), tuple(tuple(row) for row in rows)),) if rows else ()


def _figures(title: str, y: str, decimals: int, lines: Sequence[ReportLine]) -> tuple[ReportFigure, ...]:
    drawn = tuple(line for line in lines if len(line.x) > 1)
    return (ReportFigure(title, y, decimals, drawn),) if drawn else ()


def _course(outlook: Outlook) -> pl.DataFrame:
    """The inferred course as far as it was measured: days since pitching and gravity."""
    a = outlook.assessment
    end = a.newest_reading_at or a.now
    course = a.course.drop_nulls().filter(pl.col("at").is_between(outlook.record.pitched_at, end))
    course = course.gather_every(course.height // _POINTS + 1)
    days = (pl.col("at") - outlook.record.pitched_at) / timedelta(days=1)
    return course.select(days.alias("days"), pl.col("gravity_p50_sg").alias("gravity_sg"))


def _attenuation(name: str, outlook: Outlook) -> ReportLine:
    told = outlook.assessment.original_gravity_sg
    original = told.p50 if told is not None else outlook.record.original_gravity_sg
    course = _course(outlook)
    if original is None:
        return ReportLine(name, (), ())
    share = 100.0 * attenuation_course(original, course["gravity_sg"].to_numpy())
    return ReportLine(name, _rounded(course["days"].to_numpy(), 3), _rounded(share, 2))


def _gravity(outlook: Outlook, units: DisplayUnits) -> ReportLine:
    course = _course(outlook)
    shown = units.gravities(course["gravity_sg"].to_numpy())
    return ReportLine(outlook.record.name, _rounded(course["days"].to_numpy(), 3), _rounded(shown, 5))


def _rounded(values: np.ndarray, decimals: int) -> tuple[float, ...]:
    return tuple(np.round(values, decimals).tolist())
