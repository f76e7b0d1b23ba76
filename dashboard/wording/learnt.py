"""What the cellar has learnt, in rows of text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.display_units import DisplayUnits, number, percent
from analysis.model import Range
from analysis.trials import Belief, Estimate, GroupComparison
from analysis.wording import capital, difference_said, joined, milestone_said, milestone_title, plural

BELIEF_HEADINGS = (
    "Of",
    "Ends at, apparent",
    "Before any batch",
    "Stated",
    "Hours to half",
    "Before",
    "So forecasts changed",
    "Learnt from",
)
HOP_HEADINGS = (
    "Hops",
    "In what",
    "Believed, eight times in ten",
    "Told apart",
    "As entered",
    "So forecasts changed",
    "Learnt from",
)


def belief_rows(found: Sequence[Belief], stated: Mapping[str, tuple[float, float]]) -> list[list[str]]:
    """A row a drink and a yeast: what is believed, what was before, what a person stated, what that changed.

    `stated` has the apparent attenuation that was entered of a yeast, low and high. The batches that taught it follow
    in the last column, as links.
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
                _changed(each),
            ]
        )
    return rows


def _changed(each: Belief) -> str:
    """By how much the middle of what is forecast moved, and how wide its range of the end is beside before."""
    further = round(100.0 * each.attenuation.p50) - round(100.0 * each.attenuation_before.p50)
    later = round(each.half_h.p50) - round(each.half_before_h.p50)
    width = (each.attenuation.p90 - each.attenuation.p10) / (each.attenuation_before.p90 - each.attenuation_before.p10)
    end = f"ends {plural(abs(further), 'point')} {'further' if further > 0 else 'less far'}" if further else "same end"
    half = f"half {plural(abs(later), 'hour')} {'later' if later > 0 else 'sooner'}" if later else "same pace"
    return f"{end}, {half}, range {percent(width)} as wide"


def _share(value: Range) -> str:
    return f"{percent(value.p50)} ({number(100 * value.p10)} to {number(100 * value.p90)})"


def _hours(value: Range) -> str:
    return f"{number(value.p50)} ({number(value.p10)} to {number(value.p90)})"


def hop_rows(found: GroupComparison, entered: Mapping[str, Sequence[str]], units: DisplayUnits) -> list[list[str]]:
    """A row a group of hops or doses: what is believed of it, against whom it is told, what was entered.

    `entered` has the doses, contacts or varieties of each group. The batches follow in the last column, as links.
    """
    return [
        [
            mean.name,
            milestone_title(found.quantity),
            milestone_said(found.quantity, Estimate(v.p50, (v.p90 - v.p10) / 2.563, v.p10, v.p90), units),
            _told_apart(found, mean.name, units),
            joined(list(entered.get(mean.name, ()))),
            "not: they know hops, not which",
        ]
        for mean in found.means
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
