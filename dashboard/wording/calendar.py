"""What comes when, in words: the days ahead with what is planned on each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from analysis.display_units import chance
from analysis.planning import Act
from analysis.wording import Voice, count, dose_words, joined, natural, not_cleared
from ingest.monitoring import Outlook

_WORDS: Final[dict[Act, str]] = {"hops in": "Dry hop", "hops out": "Hops out of", "package": "Package"}
_MOST_NAMED: Final = 2
"""So many things of one day stand in the first line; all of them stand below it."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing planned for one day."""

    day: date
    what: str
    sure: str
    batch_id: str


def agenda(outlooks: Iterable[Outlook], say: Voice) -> list[Item]:
    """Everything planned from today on, the soonest first; a day that has passed unused counts as today."""
    items = []
    for outlook in outlooks:
        name = name_of(outlook)
        for each in outlook.to_do(say.today()):
            certainty = chance(each.chance) if each.chance is not None else ""
            what = f"{_WORDS[each.act]} {name}{dose_words(each)}{not_cleared(each)}"
            items.append(Item(each.day, what, certainty, outlook.record.batch_id))
    return sorted(items, key=lambda i: (i.day, natural(i.what)))


def name_of(outlook: Outlook) -> str:
    """``Vessel 3 (Harbour Pale)``."""
    return f"{outlook.vessel.name} ({outlook.record.name})" if outlook.vessel else outlook.record.name


def opening(items: list[Item], say: Voice) -> str:
    """The first line of the calendar."""
    if not items:
        return "No day can be named yet."
    day = items[0].day
    first = [f"{i.what[0].lower()}{i.what[1:]}" for i in items if i.day == day]
    more = [f"{count(len(first) - _MOST_NAMED)} more"] if len(first) > _MOST_NAMED else []
    return f"Next: {joined([*first[:_MOST_NAMED], *more])}, {say.day(day)}."
