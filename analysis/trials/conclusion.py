"""What came of a trial: which arm leads in what decides, with what chance, and what to try next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from analysis.model import Range
from analysis.thresholds import YEASTS_DIFFER
from analysis.trials.definitions import Difference, GroupComparison, MilestoneName, Verdict
from analysis.trials.design import Design, TastingResult

LESS_LEADS: Final[frozenset[MilestoneName]] = frozenset(
    {"lag_h", "half_h", "ninety_h", "finish_h", "terminal_gravity_sg", "hop_creep_sg"}
)
"""Of these the lesser is named first: sooner, drier, less creep."""

TryNext = Literal[
    "wait",
    "one thing only",
    "say what differs",
    "more vessels",
    "two vessels an arm",
    "many would not do",
    "more tasters",
    "leader",
    "either",
]


@dataclass(frozen=True, slots=True)
class Conclusion:
    """The answer so far.

    `leader` leads over `other` by `amount` in `quantity` (a milestone, or ``"tasting"``); `chance` is that it is so: of
    a claim that it leads by more than the margin, of arms that are alike that they are, of an open one that it leads at
    all. None where nothing can be said yet. `more` is about how many more vessels of each arm it would take.
    """

    quantity: str
    verdict: Verdict | None
    chance: float | None
    leader: str = ""
    other: str = ""
    amount: Range | None = None
    margin: float | None = None
    more: int | None = None
    try_next: tuple[TryNext, ...] = ()


def conclude(
    design: Design, decides: str, comparison: GroupComparison | None, tasting: TastingResult | None = None
) -> Conclusion:
    """The answer to a trial in what decides it.

    Parameters
    ----------
    comparison
        The arms compared in the milestone that decides; None where a tasting does.
    tasting
        What the tasting came to, where it decides; None before it.
    """
    if decides == "tasting":
        return _tasted(design, tasting)
    if comparison is None or len(comparison.means) < 2:
        return Conclusion(decides, None, None, try_next=_next(design, None, None))
    less = comparison.quantity in LESS_LEADS
    chances = {name: (least if less else greatest) for name, least, greatest in comparison.best}
    leader = max(chances, key=lambda name: chances[name])
    against = [_from(d, leader) for d in comparison.differences if leader in (d.first, d.second)]
    # The nearest rival decides: who is not surely behind.
    nearest = min(against, key=lambda d: abs(d.amount.p50))
    verdict, chance = nearest.verdict, nearest.p_below if less else 1.0 - nearest.p_below
    if verdict == "differ":
        chance = nearest.p_exceeds
    elif verdict == "alike" and all(d.verdict == "alike" for d in comparison.differences):
        chance = min(1.0 - d.p_exceeds for d in comparison.differences)
    elif verdict == "alike":
        verdict = "open"
    return Conclusion(
        decides,
        verdict,
        chance,
        leader,
        nearest.second,
        nearest.amount,
        nearest.margin,
        nearest.more_batches,
        _next(design, verdict, nearest.more_batches),
    )


def _from(difference: Difference, leader: str) -> Difference:
    """The difference as the leader's less the other's."""
    if difference.first == leader:
        return difference
    amount = difference.amount
    turned = Range(-amount.p90, -amount.p50, -amount.p10)
    return Difference(
        leader,
        difference.first,
        turned,
        1.0 - difference.p_below,
        difference.p_exceeds,
        difference.verdict,
        difference.margin,
        difference.more_batches,
    )


def _tasted(design: Design, tasting: TastingResult | None) -> Conclusion:
    if tasting is None or not tasting.best:
        return Conclusion("tasting", None, None, try_next=_next(design, None, None))
    leader, chance = max(tasting.best, key=lambda each: each[1])
    verdict: Verdict = "differ" if chance >= YEASTS_DIFFER else "open"
    return Conclusion("tasting", verdict, chance, leader, try_next=_next(design, verdict, None, tasted=True))


def _next(design: Design, verdict: Verdict | None, more: int | None, *, tasted: bool = False) -> tuple[TryNext, ...]:
    """What to try next, the most urgent first."""
    found: list[TryNext] = []
    if verdict is None:
        found.append("wait")
    if not design.differing:
        found.append("say what differs")
    elif not design.tells_which:
        found.append("one thing only")
    if verdict == "open" and tasted:
        found.append("more tasters")
    elif verdict == "open":
        found.append("more vessels" if more is not None else "many would not do")
    if design.single and verdict != "alike":
        found.append("two vessels an arm")
    if verdict == "differ":
        found.append("leader")
    if verdict == "alike":
        found.append("either")
    return tuple(found)
