"""What comes when, in words: the days ahead with what is planned on each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from dashboard.words import Voice, chance, natural
from ingest.outlook import Outlook


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
        plan, name = outlook.plan, name_of(outlook)
        done = {e.kind for e in outlook.batch.events}
        hops: list[tuple[date | None, str, float | None]] = []
        if "package" not in done:
            if "dry hop" not in done:
                days = plan.hop_days or ((plan.hop_day,) if plan.hop_day else ())
                hops = [(day, f"Dry hop {name}", plan.hop_chance) for day in days]
            elif "hops out" not in done and plan.hops_out_day != plan.packaging_day:
                hops = [(plan.hops_out_day, f"Hops out of {name}", None)]
            hops.append((plan.packaging_day, f"Package {name}", plan.packaging_chance))
        for day, what, sure in hops:
            if day is not None:
                certainty = chance(sure) if sure is not None else ""
                items.append(Item(max(day, say.today()), what, certainty, outlook.record.batch_id))
    return sorted(items, key=lambda i: (i.day, natural(i.what)))


def name_of(outlook: Outlook) -> str:
    """``Vessel 3 (Harbour Pale)``."""
    return f"{outlook.vessel.name} ({outlook.record.name})" if outlook.vessel else outlook.record.name


def opening(items: list[Item], say: Voice) -> str:
    """The first line of the calendar."""
    if not items:
        return "No day can be named yet."
    first = items[0]
    return f"Next: {first.what[0].lower()}{first.what[1:]}, {say.day(first.day)}."
