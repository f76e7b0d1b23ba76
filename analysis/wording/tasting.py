"""A tasting's result in sentences, from typed results: what it says, how surely, and what so few tasters cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.display_units import NBSP, chance, chance_percent, number, percent, rare_chance
from analysis.model import Range
from analysis.thresholds import CLEARLY_BEST, FEW_TASTERS, SCORES_APART, TRIANGLE_ALPHA, TRIANGLE_TELLING
from analysis.trials import (
    Agreement,
    ArmScore,
    Blend,
    Difference,
    ScoreComparison,
    Scores,
    Shares,
    Triangle,
    least_significant_difference,
    tasters_needed,
)
from analysis.wording.formatting import capital, count, joined, plural

NOTHING_TOLD = "Nothing can be told: nobody judged two of the drinks."


def best(found: Scores, names: Sequence[str]) -> str:
    """Which drink is liked best, and how surely."""
    return leading([(name, arm.p_best) for name, arm in zip(names, found.arms, strict=True)])


def leading(chances: Sequence[tuple[str, float]]) -> str:
    """The same from each drink's chance to be liked best, of two or more."""
    (first, p), (second, next_p), *_ = sorted(chances, key=lambda each: -each[1])
    if p >= CLEARLY_BEST:
        return f"{capital(first)} is liked best, {chance(p)}."
    return f"Which is liked best is open: {first} (chance {percent(p)}), then {second} ({percent(next_p)})."


def worth(arm: ArmScore) -> str:
    """What one drink is worth, with its interval of 80 %."""
    if not arm.judged:
        return "nobody judged it"
    return f"{number(arm.score.p50)} ({number(arm.score.p10)} to {number(arm.score.p90)})"


def few(tasters: int) -> str:
    """What so few tasters mean; empty where they are many."""
    if tasters >= FEW_TASTERS:
        return ""
    return (
        f"{capital(plural(tasters, 'taster'))} can say little: the same people on another day may well put the drinks "
        "in another order. Taste again with others before a recipe hangs on it."
    )


def agreed(found: Agreement | None, glasses: int) -> str:
    """Whether the tasters put the drinks into one order."""
    if found is None:
        need = "it takes two who judged two drinks each and did not find them all alike"
        return f"Whether the tasters agree cannot be told: {need}."
    if found.p_value <= TRIANGLE_ALPHA:
        said = "The tasters agree on an order more than chance would explain"
    else:
        said = "The tasters do not agree on an order more than chance may explain"
    how = f"so much agreement comes by chance in {rare_chance(found.p_value)} of tastings"
    if found.kendall_w is None:
        return f"{said} ({how}; Durbin's statistic {number(found.statistic, 1)})."
    w = f"Kendall's W {number(found.kendall_w, 2)}, Friedman's statistic {number(found.statistic, 1)}"
    return f"{said} ({how}; {w})."


def far_apart(found: Agreement | None, names: Sequence[str]) -> str:
    """Which drinks' rank sums differ, where the tasters agree as a whole and everybody ranked all (ISO 8587)."""
    if found is None or found.kendall_w is None or found.p_value > TRIANGLE_ALPHA:
        return ""
    least = least_significant_difference(found.tasters, len(names))
    sums = found.rank_sums
    top = max(range(len(names)), key=sums.__getitem__)
    below = [names[n] for n in range(len(names)) if sums[top] - sums[n] >= least]
    return f"{capital(names[top])} is ranked before {joined(below)} by more than chance." if below else ""


def told_apart(found: Triangle) -> str:
    """What a triangle says, and what so few tasters could have shown."""
    right = (
        f"{count(found.right) if found.right else 'none'} of {plural(found.tasters, 'taster')} found the odd one out"
    )
    by_chance = f"by guessing alone that many or more come to {percent(found.p_value)}"
    if found.shown:
        share = f"{percent(found.telling.p10)} to {percent(found.telling.p90)}"
        return (
            f"The two drinks differ for tasters: {right}, and {by_chance}. Of such tasters {share} can tell them apart."
        )
    need = "more tasters than these" if found.needed is None else f"{found.needed} right"
    return (
        f"No difference is shown: {right}, and {by_chance}; it would take {need}. That does not make them alike. If "
        f"{percent(TRIANGLE_TELLING)} of people could tell them apart, this triangle would have shown it with a chance "
        f"of {percent(found.power)}; {tasters_needed()} tasters would do."
    )


def shares_words(shares: Shares, names: Sequence[str]) -> str:
    """A blend by its shares, the largest first: ``60 % Amber and 40 % Birch``."""
    order = sorted((n for n, share in enumerate(shares) if share > 0), key=lambda n: -shares[n])
    if len(order) == 1:
        return f"{names[order[0]]} alone"
    return joined([f"{percent(shares[n])} {names[n]}" for n in order])


def blended(found: Blend, names: Sequence[str]) -> list[str]:
    """Which shares are liked best, how surely, and whether the blend is better than its best drink alone."""
    told = [f"Liked best so far: {shares_words(found.liked, names)}."]
    where = [
        f"{names[n]} {number(100 * span.p10)} to {percent(span.p90)}"
        for n, span in enumerate(found.shares)
        if span.p90 > 0
    ]
    told.append(f"The best shares may lie anywhere within (80 % intervals): {joined(where)}.")
    if max(found.liked) < 1.0:
        middle = number(found.gain.p50)
        points = f"{middle} {'point' if middle == '1' else 'points'} of 100"
        points = f"{points} ({number(found.gain.p10)} to {number(found.gain.p90)})"
        told.append(f"That it is better than the best of them alone is {chance(found.p_better)}; the gain is {points}.")
    if not found.tried:
        told.append("No blend of them was tasted yet, so this is a guess from the drinks alone; taste those below.")
    return told


MADE_WITH_HEADINGS: Final = ("Made with", "Points more than their mean", "Chance to be best", "Learnt from")
PAIR_HEADINGS: Final = ("Of two", "Points more", f"By more than {number(SCORES_APART)}", "What that says")
POOLED: Final = (
    "Points of 100, ranges of eight chances in ten, of people like those who tasted. Drinks are compared within one "
    "tasting, and only where they are alike in whatever else is entered of yeast, dry hops, dose and contact. What one "
    "drink got is drawn towards the others; what was not entered, and other worts, make the ranges wider. So these "
    "chances are less sure than those of a tasting by itself: they are of its drinks alone, as its tasters liked them."
)


def made_with_rows(found: ScoreComparison) -> list[list[str]]:
    """Each group with what it does to the points and its chance to be best, the best first; its batches follow."""
    chances = {name: greatest for name, _, greatest in found.best}
    return [
        [mean.name, _points(mean.value), chance_percent(chances[mean.name])]
        for mean in sorted(found.means, key=lambda each: -each.value.p50)
    ]


def pair_rows(found: ScoreComparison) -> list[list[str]]:
    """Each pair with its difference, the chance that it matters, and whether it can be told; the surest first."""
    return [
        [f"{one} before {other}", _points(amount), chance_percent(d.p_exceeds), _said_of_pair(d, one)]
        for d in sorted(found.differences, key=lambda each: -each.p_exceeds)
        for one, other, amount in (_better_first(d),)
    ]


def _better_first(d: Difference) -> tuple[str, str, Range]:
    if d.amount.p50 >= 0:
        return d.first, d.second, d.amount
    return d.second, d.first, Range(-d.amount.p90, -d.amount.p50, -d.amount.p10)


def _said_of_pair(d: Difference, better: str) -> str:
    if d.verdict == "differ":
        return f"{better} is liked better"
    if d.verdict == "alike":
        return "alike"
    if d.more_batches is None:
        return "too few drinks to tell; many more would not do"
    return f"too few drinks to tell; about {d.more_batches} more of each would"


def _points(value: Range) -> str:
    return f"{number(value.p50)} ({number(value.p10)}{NBSP}to{NBSP}{number(value.p90)})"
