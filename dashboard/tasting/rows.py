"""What a tasting says, in sentences and in rows of text; the same on screen and on paper."""

from __future__ import annotations

from analysis.display_units import chance_percent, number
from analysis.wording import tasting as words
from dashboard.queries import tastings

WORTH_HEADINGS = ["Drink", "Points of 100 (80 % interval)", "Chance to be best", "Judged", "Passed", "Aromas found"]
SAID_HEADINGS = ["Taster", "Place", "Glass", "Drink", "Answer", "Aromas", "Notes"]


def sentences(found: tastings.Result) -> list[str]:
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


def worth_rows(found: tastings.Result) -> list[list[str]]:
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


def said_rows(found: tastings.Result) -> list[list[str]]:
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


def _answer(said: tastings.Said) -> str:
    answer = said.answer
    if answer.passed:
        return "passed"
    if answer.score is not None:
        return number(answer.score, 0 if answer.score == round(answer.score) else 1)
    if answer.rank is not None:
        return f"rank {answer.rank}"
    return "odd one out" if answer.odd else ""
