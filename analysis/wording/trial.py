"""A trial in sentences: what differs, what came of it and how surely, what to try next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.display_units import DisplayUnits, chance
from analysis.trials import Compared, Conclusion, Design, GroupComparison, MilestoneName, TryNext
from analysis.wording.formatting import capital, count, joined, plural
from analysis.wording.milestones import difference_said

_LEADS: Final[dict[str, tuple[str, str]]] = {
    "lag_h": ("begins", "sooner"),
    "half_h": ("has half of its fall done", "sooner"),
    "ninety_h": ("has 90 % of its fall done", "sooner"),
    "finish_h": ("finishes", "sooner"),
    "greatest_rate_plato_day": ("ferments at its quickest", "faster"),
    "greatest_rate_per_original_day": ("ferments at its quickest", "faster"),
    "terminal_gravity_sg": ("ends", "lower"),
    "apparent_attenuation": ("attenuates", "further"),
    "real_attenuation": ("attenuates", "further"),
    "alcohol_abv_pct": ("is", "stronger"),
    "hop_creep_sg": ("creeps", "less"),
}

_COME_TO: Final[dict[str, str]] = {
    "lag_h": "begun",
    "half_h": "half of the fall done",
    "ninety_h": "90 % of the fall done",
    "greatest_rate_plato_day": "been at the quickest",
    "greatest_rate_per_original_day": "been at the quickest",
    "hop_creep_sg": "finished after the hops",
    "tasting": "been tasted",
}
"""What an arm must have come to before it can be compared; where nothing is said, its finish."""


def _come_to(conclusion: Conclusion) -> str:
    return _COME_TO.get(conclusion.quantity, "finished")


def design_sentence(design: Design) -> str:
    """What differs, and whether a difference can be laid to it."""
    names = design.differing
    if not names:
        return "Nothing that is written down differs between the arms: say what does, or there is nothing to tell."
    if design.tells_which:
        return f"Only {_the(names[0])} differs."
    return f"{capital(joined(list(names)))} differ: this trial cannot tell which of them did it."


def _the(name: str) -> str:
    return name if name.casefold().startswith(("the ", "a ")) else f"the {name}"


def unknown_sentence(design: Design) -> str:
    """What was not written down of every batch; empty where all was."""
    if not design.unknown:
        return ""
    return f"Not known of every batch, and so perhaps different: {joined(list(design.unknown))}."


def compared_rows(each: Compared, units: DisplayUnits) -> list[str]:
    """What each arm has in one respect, a cell an arm."""
    return [joined(list(dict.fromkeys(_value(v, each, units) for v in values))) for _, values in each.values]


def _value(value: str | float | None, each: Compared, units: DisplayUnits) -> str:
    if value is None:
        return "not known"
    if isinstance(value, str):
        return value
    return f"{value:.1f} days" if each.quantity == "days" else units.said(value, each.quantity)


def vessels_sentence(design: Design, comparison: GroupComparison | None, units: DisplayUnits) -> str:
    """Whether vessels or arms are compared, and where the spread from vessel to vessel comes from."""
    told = ""
    if comparison is not None and comparison.vessel_spread is not None:
        spread = difference_said(comparison.quantity, comparison.vessel_spread.p50, units)
        seen = plural(comparison.replicates, "replicate")
        source = f"taken from {seen}" if comparison.replicates else "what is usual: no replicates were seen"
        told = f" How far like vessels differ, about {spread}, is {source}."
    if design.single:
        return f"One vessel an arm compares vessels as much as arms.{told}"
    return f"Every arm has {count(min(n for _, n in design.vessels))} vessels or more.{told}"


def conclusion_sentence(conclusion: Conclusion, design: Design, units: DisplayUnits, tasted: str = "") -> str:
    """The answer so far in one sentence, with its chance; `tasted` is what the tasting says of itself."""
    if conclusion.quantity == "tasting":
        told = tasted or "Nothing to tell yet: a tasting decides, and there is none so far"
    else:
        told = _of_milestone(conclusion, units)
    if conclusion.verdict == "differ" and len(design.differing) > 1:
        # What a tasting says may have a second sentence: the doubt belongs to the first, which is the claim.
        claim, stop, more = told.partition(". ")
        doubt = f"but {joined(list(design.differing))} differ, and this cannot tell which did it"
        told = f"{claim.rstrip('.')}; {doubt}{stop}{more}"
    return f"{told.rstrip('.')}."


def _of_milestone(conclusion: Conclusion, units: DisplayUnits) -> str:
    name: MilestoneName = conclusion.quantity  # type: ignore[assignment]  # checked where a trial is entered
    verb, more = _LEADS[name]
    if conclusion.verdict is None or conclusion.chance is None or conclusion.amount is None:
        return f"Nothing to tell yet: fewer than two arms have {_come_to(conclusion)}"
    leader, other = conclusion.leader, conclusion.other
    margin = difference_said(name, conclusion.margin or 0.0, units)
    amount = difference_said(name, conclusion.amount.p50, units)
    sure = chance(conclusion.chance)
    if conclusion.verdict == "differ":
        return f"{leader} {verb} {more} than {other}, by about {amount}; that it is more than {margin} is {sure}"
    if conclusion.verdict == "alike":
        return f"The arms are alike within {margin}: {sure}"
    return (
        f"Too few batches to tell: that {leader} {verb} {more} than {other}, by about {amount} as it seems, is {sure}"
    )


def next_sentences(conclusion: Conclusion, design: Design) -> list[str]:
    """What to try next, the most urgent first."""
    names = joined(list(design.differing))
    more = plural(conclusion.more or 0, "more vessel")
    said: dict[TryNext, str] = {
        "wait": (
            "Taste the arms blind once they are ready to drink: that decides."
            if conclusion.quantity == "tasting"
            else f"Wait until two arms at least have {_come_to(conclusion)}."
        ),
        "say what differs": "Say what differs: enter it on the batches' pages, or in words with the trial.",
        "one thing only": f"Next time let one thing differ: hold all but one of {names} equal.",
        "more vessels": f"About {more} of each arm, filled from one wort, would tell.",
        "more tasters": "Taste them again, with more or other people: what these said leaves it open.",
        "many would not do": "Many more vessels would not tell these apart: they differ by about what matters.",
        "two vessels an arm": "Two vessels an arm would tell arms from vessels.",
        "leader": f"Make {conclusion.leader} next.",
        "either": "Take either: choose by taste, price or what is at hand.",
    }
    return [said[each] for each in conclusion.try_next]


def successor_sentences(
    changed: Sequence[str], conclusion: Conclusion | None, after: str, units: DisplayUnits
) -> list[str]:
    """What changed from the batch before, and whether it got better; `after` is what the new one is called."""
    told = [f"Changed: {joined(list(changed))}." if changed else "Nothing that is written down changed."]
    if conclusion is None:
        told.append("Whether it got better, a tasting of both would say.")
    elif conclusion.verdict is None:
        told.append(f"It has not {_come_to(conclusion)} yet.")
    elif conclusion.verdict == "differ":
        better = "It got better" if conclusion.leader == after else "It got no better"
        told.append(f"{better}: {_of_milestone(conclusion, units)}.")
    else:
        told.append(f"{_of_milestone(conclusion, units)}.")
    return told
