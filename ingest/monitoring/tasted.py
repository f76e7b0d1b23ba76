"""What yeasts, hops, doses and contact did to tasters' scores, over all tastings that are over.

Drinks are compared only with those that stood in the same tasting and were alike in everything else that is written
down. An order says which is better, not by how much, so that scores alone count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

from analysis.trials import Measured, ScoreComparison, compare_scores, points_of, score_error
from ingest.model import BatchRecord
from ingest.monitoring.entered import hops_of
from ingest.monitoring.tastings import judged_of, tasting_over
from ingest.store import Store
from ingest.tastings import Tasting

MadeWith = Literal["yeast", "hop variety", "hop dose", "hop contact"]
MADE_WITH: Final[tuple[MadeWith, ...]] = get_args(MadeWith)

_DOSES: Final = ((2.0, "up to 2 g/L"), (5.0, "2 to 5 g/L"), (10.0, "5 to 10 g/L"), (float("inf"), "above 10 g/L"))
"""Grams a litre, all dry hops together; steps that a small cellar fills. No source: chosen."""

_CONTACTS: Final = (
    (2.0, "up to 2 days"),
    (4.0, "2 to 4 days"),
    (7.0, "4 to 7 days"),
    (float("inf"), "more than 7 days"),
)
"""Days that dry hops stay in. No source: chosen, as above."""

_UNHOPPED: Final = "none"


@dataclass(frozen=True, slots=True)
class TastedDrink:
    """A batch by itself in a tasting that is over: its points more than the mean drink there, with their error.

    `made_with` has None for what was not written down; dose and contact in steps.
    """

    tasting: Tasting
    record: BatchRecord
    points: float
    standard_error: float
    made_with: Mapping[MadeWith, str | None]


@dataclass(frozen=True, slots=True)
class TastedComparison:
    """What drinks were made with in one respect, side by side; `drinks` are those by which it is told."""

    factor: MadeWith
    drinks: tuple[TastedDrink, ...]
    comparison: ScoreComparison

    @property
    def tastings(self) -> int:
        """How many tastings it comes from."""
        return len({each.tasting.tasting_id for each in self.drinks})

    def batches(self, group: str) -> list[BatchRecord]:
        """The batches of one group, in the order in which they were tasted."""
        found = {each.record.batch_id: each.record for each in self.drinks if each.made_with[self.factor] == group}
        return list(found.values())


def tasted_drinks(store: Store) -> list[TastedDrink]:
    """The drinks of all tastings with scores that are over, from the first tasting on; blends are left out."""
    found = []
    for tasting in sorted(store.all(Tasting), key=lambda each: each.at):
        if tasting.method != "score" or not tasting_over(store, tasting):
            continue
        points = points_of(judged_of(store, tasting))
        for arm, (_, shares) in enumerate(tasting.arms):
            record = store.get(BatchRecord, shares[0][0]) if len(shares) == 1 and arm in points else None
            if record is not None:
                found.append(TastedDrink(tasting, record, *points[arm], _made_with(store, record)))
    return found


def dose_of(grams_per_l: float | None) -> str | None:
    """The step of a dose; None where it is not known."""
    return None if grams_per_l is None else next(name for most, name in _DOSES if grams_per_l <= most)


def contact_of(days: float | None) -> str | None:
    """The step of a contact; None where it is not known."""
    return None if days is None else next(name for most, name in _CONTACTS if days <= most)


def _made_with(store: Store, record: BatchRecord) -> dict[MadeWith, str | None]:
    hops = hops_of(store, record)
    bare = hops.variety == _UNHOPPED
    return {
        "yeast": record.yeast,
        "hop variety": hops.variety,
        "hop dose": _UNHOPPED if bare else dose_of(hops.grams_per_l),
        "hop contact": _UNHOPPED if bare else contact_of(hops.contact_days),
    }


def compare_tasted(drinks: Sequence[TastedDrink], factor: MadeWith) -> TastedComparison | None:
    """The groups of one respect; None where no two of them ever stood in one tasting, alike in all else."""
    parts: dict[tuple[str | None, ...], list[TastedDrink]] = {}
    for each in drinks:
        if each.made_with[factor] not in (None, _UNHOPPED):
            others = (each.made_with[other] for other in MADE_WITH if other != factor)
            parts.setdefault((each.tasting.tasting_id, each.record.drink, *others), []).append(each)
    # Alone, or beside its own kind, a drink tells nothing of kinds.
    telling = [part for part in parts.values() if len({each.made_with[factor] for each in part}) > 1]
    if not telling:
        return None
    times = Counter(each.record.batch_id for part in telling for each in part)
    measured = []
    for n, part in enumerate(telling):
        several_worts = len({each.record.lot for each in part}) > 1
        for each in part:
            unknown = sum(value is None for value in each.made_with.values())
            error = score_error(
                each.standard_error,
                unknown=unknown,
                several_worts=several_worts,
                times=times[each.record.batch_id],
            )
            measured.append(
                Measured(group=str(each.made_with[factor]), value=each.points, standard_error=error, lot=str(n))
            )
    used = tuple(each for part in telling for each in part)
    return TastedComparison(factor, used, compare_scores(measured))


def all_tasted(drinks: Sequence[TastedDrink]) -> list[TastedComparison]:
    """Every respect in which groups can be compared."""
    return [found for factor in MADE_WITH if (found := compare_tasted(drinks, factor)) is not None]
