"""What is still to be done with a batch: the one answer that every screen, feed, message and command asks.

A plan says on which days; the events say what has happened. Whatever was logged is done, be it earlier or later than
planned, and is never asked for again: hops that go in twice cannot be taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from analysis.model import Batch, events_of
from analysis.planning.constraints import Plan

Act = Literal["hops in", "hops out", "package"]

_DAYS: Final[tuple[tuple[str, Act], ...]] = (("hop", "hops in"), ("packaging", "package"))


@dataclass(frozen=True, slots=True)
class Done:
    """What was logged of hopping and packaging, whatever had been planned."""

    doses: int
    hops_out: bool
    packaged: bool

    def has(self, act: Act, dose: int = 1) -> bool:
        """Whether this act needs no doing any more; once the hops are out, or it is packaged, no dose is to come."""
        if self.packaged:
            return True
        if act == "hops in":
            return dose <= self.doses or self.hops_out
        return act == "hops out" and self.hops_out


def done_so_far(batch: Batch) -> Done:
    """Read from the batch's events what is done; hops that went in after the last ones came out are in again."""
    doses, outs = events_of(batch, "dry hop"), events_of(batch, "hops out")
    out = bool(outs) and (not doses or outs[-1].at >= doses[-1].at)
    return Done(len(doses), out, bool(events_of(batch, "package")))


@dataclass(frozen=True, slots=True, kw_only=True)
class ToDo:
    """One act that is still to come: its day in the person's zone, and the chance that the day fits.

    `chance` is None where no forecast decides the day. Of hops, this is the dose number `dose` of `doses`, from 1.
    `cleared` is False of packaging whose day has come, and of which not everything holds yet that must.
    """

    act: Act
    day: date
    chance: float | None = None
    dose: int = 1
    doses: int = 1
    cleared: bool = True


def outstanding(plan: Plan, batch: Batch, *, today: date | None = None) -> tuple[ToDo, ...]:
    """What is still to be done, in the order in which it is done.

    Parameters
    ----------
    plan
        It may be older than the newest event: what was logged since is left out all the same.
    batch
        With all its events.
    today
        A day that has passed unused counts as this one; without it, days are as planned.

    Returns
    -------
    tuple of ToDo
        Acts without a day are left out, and taking hops out where it is done in packaging, on the same day.
    """
    done = done_so_far(batch)
    days = plan.hop_days or ((plan.hop_day,) if plan.hop_day is not None else ())
    begun = done.doses > 0

    def at(day: date) -> date:
        return day if today is None else max(day, today)

    found = [
        # A forecast decides the first dose; those after it follow the first.
        ToDo(act="hops in", day=at(day), chance=None if begun else plan.hop_chance, dose=n, doses=len(days))
        for n, day in enumerate(days, 1)
        if not done.has("hops in", n)
    ]
    out = plan.hops_out_day
    if out is not None and out != plan.packaging_day and not done.has("hops out") and (begun or found):
        found.append(ToDo(act="hops out", day=at(out), chance=None if begun else plan.hop_chance))
    if plan.packaging_day is not None and not done.has("package"):
        day = at(plan.packaging_day)
        cleared = plan.may_package or day != today
        found.append(ToDo(act="package", day=day, chance=plan.packaging_chance, cleared=cleared))
    return tuple(found)


def first_of(to_do: Sequence[ToDo], act: Act) -> ToDo | None:
    """The next of one kind, or None where none is left."""
    return next((each for each in to_do if each.act == act), None)


def due(to_do: Sequence[ToDo], today: date) -> tuple[ToDo, ...]:
    """What is to be done today; hops that have not all gone in cannot come out."""
    hops_wait = first_of(to_do, "hops in") is not None
    return tuple(each for each in to_do if each.day <= today and not (each.act == "hops out" and hops_wait))


def days_to_come(to_do: Sequence[ToDo]) -> dict[str, str | float | None]:
    """The keys ``hop_day``, ``hop_chance``, ``packaging_day``, ``packaging_chance`` for JSON: null where done."""
    found: dict[str, str | float | None] = {}
    for name, act in _DAYS:
        each = first_of(to_do, act)
        found[f"{name}_day"] = each.day.isoformat() if each else None
        found[f"{name}_chance"] = None if each is None or each.chance is None else round(each.chance, 4)
    return found
