"""What a tasting says, in sentences, in rows of text, as JSON and as a page to print: the same wherever it is told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from analysis.display_units import chance_percent, number
from analysis.wording import Voice
from analysis.wording import tasting as words
from ingest.errors import EntryError
from ingest.monitoring.reports import ReportInterval, ReportPage, ReportTable, report_table, tasted_tables
from ingest.monitoring.tasted import TastedComparison, all_tasted, tasted_drinks
from ingest.monitoring.tastings import (
    TastingOutcome,
    TastingSaid,
    agreement_facts,
    outcome_facts,
    outcome_of,
    tasters_of,
)
from ingest.store import Store
from ingest.tastings import Tasting

WORTH_HEADINGS = ["Drink", "Points of 100 (80 % interval)", "Chance to be best", "Judged", "Passed", "Aromas found"]
SAID_HEADINGS = ["Taster", "Place", "Glass", "Drink", "Answer", "Aromas", "Notes"]


SAID_FILE: pl.Schema = pl.Schema(
    {
        "taster": pl.String(),
        "drink": pl.String(),
        "code": pl.String(),
        "place": pl.Int64(),
        "score": pl.Float64(),
        "rank": pl.Int64(),
        "odd": pl.Boolean(),
        "passed": pl.Boolean(),
        "aromas": pl.String(),
        "note": pl.String(),
    }
)
"""A file of what was said: a row for each taster and glass. `place` is counted from 1 in the order of serving; aromas
have commas between them."""

MODEL_NOTE = (
    "Faint dots are the points as they were given. "
    "Points are those of these tasters on the average, with the level of each taster and the place in the order taken "
    "out; intervals and chances come from a model that draws drinks together (ISO 4121 scales, ISO 8587 ranks, ISO "
    "29842 incomplete blocks)."
)


def over_or_refused(store: Store, tasting: Tasting) -> TastingOutcome:
    """What a tasting says.

    Raises
    ------
    EntryError
        If it is not over: nothing of it is told before.
    """
    found = outcome_of(store, tasting)
    if found is None:
        tasters = tasters_of(store, tasting)
        done = sum(each.done_at is not None for each in tasters)
        problem = f"{tasting.name!r} is not over: {done} of {len(tasters)} tasters are done"
        raise EntryError("tasting", problem, "Nothing is told before all are, or you end it on its page.")
    return found


def learnt_beside(store: Store, tasting: Tasting) -> list[TastedComparison]:
    """What all tastings together say, in whatever the drinks of this one tell something of."""
    ids = {batch_id for _, shares in tasting.arms for batch_id, _ in shares if len(shares) == 1}
    return [each for each in all_tasted(tasted_drinks(store)) if any(one.record.batch_id in ids for one in each.drinks)]


def said_facts(found: TastingOutcome) -> list[dict[str, Any]]:
    """What was said, by taster in the order of serving; keys as in `SAID_FILE`."""
    return [
        {
            "taster": each.taster,
            "drink": found.names[each.arm],
            "code": each.answer.code,
            "place": each.place + 1,
            "score": each.answer.score,
            "rank": each.answer.rank,
            "odd": each.answer.odd,
            "passed": each.answer.passed,
            "aromas": ", ".join(each.answer.aromas),
            "note": each.answer.note,
        }
        for each in found.said
    ]


def tasting_report_facts(tasting: Tasting, found: TastingOutcome) -> dict[str, Any]:
    """A tasting as `tunroom report tasting --json` says it."""
    chances = [] if found.scores is None else [arm.p_best for arm in found.scores.arms]
    return {
        **outcome_facts(tasting, found),
        "at": tasting.at.isoformat(),
        "agreement": agreement_facts(found) or None,
        "conclusion": tasting_sentences(found)[0],
        "chance": max(chances, default=None),
        "said": said_facts(found),
    }


def tasting_page(tasting: Tasting, found: TastingOutcome, learnt: Sequence[TastedComparison], say: Voice) -> ReportPage:
    """A tasting as one page to print."""
    lead, *more = tasting_sentences(found)
    spans = score_intervals(found)
    tables: list[ReportTable] = [
        *report_table("The drinks", WORTH_HEADINGS, worth_rows(found)),
        *report_table("What was said", SAID_HEADINGS, said_rows(found)),
        *tasted_tables(learnt),
    ]
    notes: list[tuple[str, tuple[str, ...]]] = [("How points are told", (MODEL_NOTE,))] if spans else []
    if learnt:
        notes.append(("How points of several tastings are told", (words.POOLED,)))
    if tasting.note:
        notes.append(("Notes", tuple(filter(None, tasting.note.splitlines()))))
    return ReportPage(
        title=tasting.name,
        about=f"Tasted blind on {say.exact(tasting.at, lasting=True)}.",
        lead=lead,
        paragraphs=tuple(more),
        figures=(),
        intervals=spans,
        tables=tuple(tables),
        lists=tuple(notes),
        made=f"Made {say.exact(say.now, lasting=True)} by tunroom.",
    )


def score_intervals(found: TastingOutcome) -> tuple[ReportInterval, ...]:
    """The drinks from the best liked on, each with what every taster gave it; none where no points were given."""
    arms = () if found.scores is None else found.scores.arms
    given: dict[int, list[float]] = {}
    for each in found.said:
        if each.answer.score is not None and not each.answer.passed:
            given.setdefault(each.arm, []).append(float(each.answer.score))
    order = sorted(range(len(arms)), key=lambda n: -arms[n].score.p50)
    return tuple(
        ReportInterval(found.names[n], span.p10, span.p50, span.p90, tuple(given.get(n, ())))
        for n in order
        for span in (arms[n].score,)
    )


def tasting_sentences(found: TastingOutcome) -> list[str]:
    """The result in sentences, the most telling first."""
    if found.triangle is not None:
        told = [words.told_apart(found.triangle), words.few(found.triangle.tasters)]
        return [each for each in told if each]
    if found.scores is None:
        return [words.NOTHING_TOLD]
    told = [
        words.best(found.scores, found.names),
        words.agreed(found.agreement, len(found.names)),
        words.far_apart(found.agreement, found.names),
        words.few(found.judges),
    ]
    return [each for each in told if each]


def worth_rows(found: TastingOutcome) -> list[list[str]]:
    """Each drink: what it is worth, its chance to be best, and what was found in it, the best first."""
    if found.scores is None:
        return []
    arms = found.scores.arms
    order = sorted(range(len(arms)), key=lambda n: -arms[n].score.p50)
    return [
        [
            found.names[n],
            words.worth(arms[n]),
            chance_percent(arms[n].p_best),
            str(arms[n].judged),
            str(found.passed(n)),
            ", ".join(f"{word} ({count})" if count > 1 else word for word, count in found.aromas(n)),
        ]
        for n in order
    ]


def said_rows(found: TastingOutcome) -> list[list[str]]:
    """Everything that was said, taster by taster in the order of serving."""
    return [
        [
            each.taster,
            str(each.place + 1),
            each.answer.code,
            found.names[each.arm],
            _answer(each),
            ", ".join(each.answer.aromas),
            each.answer.note,
        ]
        for each in found.said
    ]


def _answer(said: TastingSaid) -> str:
    answer = said.answer
    if answer.passed:
        return "passed"
    if answer.score is not None:
        return number(answer.score, 0 if answer.score == round(answer.score) else 1)
    if answer.rank is not None:
        return f"rank {answer.rank}"
    return "odd one out" if answer.odd else ""
