"""What the cellar has learnt, in rows of text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.display_units import DisplayUnits, number, percent
from analysis.model import Range
from analysis.trials import Belief, Estimate, GroupComparison
from analysis.wording import capital, difference_said, joined, milestone_said, milestone_title

BELIEF_HEADINGS = ["Of", "Ends at, apparent", "Before any batch", "Stated", "Hours to half", "Before", "Learnt from"]
_NAMED = 3


def belief_rows(
    found: Sequence[Belief], names: Mapping[str, str], stated: Mapping[str, tuple[float, float]]
) -> list[list[str]]:
    """A row a drink and a yeast: what is believed, what was before, what a person stated, and which batches taught it.

    `names` has the batches by id, `stated` the apparent attenuation that was entered of a yeast, low and high.
    """
    rows = []
    for each in found:
        what = f"{each.yeast}, {each.drink}" if each.yeast else f"any {each.drink}"
        said = stated.get(each.yeast or "")
        rows.append(
            [
                capital(what),
                _share(each.attenuation),
                _share(each.attenuation_before),
                f"{percent(said[0])} to {percent(said[1])}" if said else "",
                _hours(each.half_h),
                _hours(each.half_before_h),
                _taught([names[key] for key in each.names if key in names]),
            ]
        )
    return rows


def _share(value: Range) -> str:
    return f"{percent(value.p50)} ({number(100 * value.p10)} to {number(100 * value.p90)})"


def _hours(value: Range) -> str:
    return f"{number(value.p50)} ({number(value.p10)} to {number(value.p90)})"


def _taught(names: Sequence[str]) -> str:
    shown = list(names[-_NAMED:])
    more = len(names) - len(shown)
    return joined([*shown, f"{more} more"] if more else shown)


def hop_rows(found: Sequence[GroupComparison], units: DisplayUnits) -> list[list[str]]:
    """A row a group of hops or doses and milestone: how many batches, what is believed, and against whom it is told."""
    return [
        [
            mean.name,
            milestone_title(comparison.quantity),
            str(mean.batches),
            milestone_said(comparison.quantity, Estimate(v.p50, (v.p90 - v.p10) / 2.563, v.p10, v.p90), units),
            _told_apart(comparison, mean.name, units),
        ]
        for comparison in found
        for mean in comparison.means
        for v in (mean.value,)
    ]


def _told_apart(comparison: GroupComparison, name: str, units: DisplayUnits) -> str:
    """Of which others a group is told apart, and by how much."""
    told = []
    for d in comparison.differences:
        if name in (d.first, d.second) and d.verdict == "differ":
            more = (d.amount.p50 > 0) == (d.first == name)
            other = d.second if d.first == name else d.first
            size = difference_said(comparison.quantity, d.amount.p50, units)
            told.append(f"{size} {'more' if more else 'less'} than {other}")
    return "; ".join(told) or "too few batches to tell it from the others"
