"""The vessels as a list of rows in HTML, each leading with its sentence; pure, so that it can be kept and tested."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from analysis.display_units import percent
from analysis.planning import Act
from analysis.wording import (
    Voice,
    capital,
    count,
    dose_words,
    joined,
    likely_gravity,
    next_day,
    phase_word,
    plural,
    seen_attenuation,
    verdict,
)
from dashboard.charts import phase_glyph
from dashboard.templates import Markup, fill, join, render
from dashboard.ui import address, underlined
from dashboard.wording import follows

if TYPE_CHECKING:
    from dashboard.queries import Need, Standing

_NEXT: Final[dict[Act, str]] = {"hops in": "hops into", "hops out": "hops out of", "package": "packaging"}
_WORTH_SAYING = 0.005
"""Below this share of attenuation there is none to speak of."""


def lead(standings: Sequence[Standing], say: Voice) -> str:
    """The first line of the first screen: how many things want the person, or what comes next."""
    needy = [s for s in standings if s.pressing]
    if needy:
        n = len(needy)
        return f"{capital(plural(n, 'vessel'))} {'wants' if n == 1 else 'want'} you today."
    coming = []
    for s in standings:
        name = s.vessel.name if s.vessel else s.record.name
        for each in s.outlook.to_do(say.today())[:1] if s.outlook else ():
            coming.append((each.day, f"{_NEXT[each.act]} {name}{dose_words(each)}"))
    if not coming:
        return "Nothing needs you today."
    first = min(day for day, _ in coming)
    what = joined(sorted(text for day, text in coming if day == first)[:3])
    return f"Nothing needs you today. Next: {what}, {say.day(first)}."


def rows(
    standings: Sequence[Standing], say: Voice, name: str, dense: bool = False, *, within_lot: bool = False
) -> Markup:
    """Vessels one row each, in the order given; `name` says to a screen reader what they have in common."""
    return fill(
        '<ul class="{{ kind }}" aria-label="{{ name }}">{{ rows }}</ul>',
        kind="rows dense" if dense else "rows",
        name=name,
        rows=join(row(s, say, within_lot=within_lot) for s in standings),
    )


def by_lot(
    standings: Sequence[Standing], among: Sequence[Standing] | None = None
) -> list[tuple[str | None, list[Standing]]]:
    """The vessels of each wort that is in several of `among`, in order; those of no such wort under None, last."""
    size = Counter(s.record.split_of for s in (standings if among is None else among))
    shared: dict[str, list[Standing]] = {}
    for s in standings:
        if s.record.split_of is not None and size[s.record.split_of] > 1:
            shared.setdefault(s.record.split_of, []).append(s)
    lots: list[tuple[str | None, list[Standing]]] = list(shared.items())
    within = {s.record.batch_id for _, found in lots for s in found}
    alone = [s for s in standings if s.record.batch_id not in within]
    return [*lots, (None, alone)] if alone else lots


def lot_html(lot: str, found: Sequence[Standing], say: Voice, dense: bool, size: int | None = None) -> Markup:
    """A wort: what holds for all its vessels once, then what differs, a row each; `size` counts those above too."""
    above = (size or 0) - len(found)
    many = plural(len(found), "vessel") + (f", {count(above)} more above" if above > 0 else "")
    first = found[0].record
    alike: list[str] = [first.drink if all(s.record.drink == first.drink for s in found) else ""]
    alike.append(first.yeast or "" if all(s.record.yeast == first.yeast for s in found) else "")
    if all(s.record.pitched_at == first.pitched_at for s in found):
        alike.append(f"pitched {say.day(first.pitched_at)}")
    head = fill(
        '<h3 class="lot">{{ lot }} <small>{{ about }}</small></h3><p class="lots">{{ all }} {{ beside }}</p>',
        lot=lot,
        about=", ".join(filter(None, (*alike, many))),
        all=underlined("several", "Log for all", part="event", lot=lot),
        beside=underlined("compare", "Lay over one another", lot=lot),
    )
    return head + rows(found, say, lot, dense, within_lot=True)


def row(s: Standing, say: Voice, *, within_lot: bool = False) -> Markup:
    """One vessel: its sentence and next day, then its small curve, then the figures quietly."""
    need = s.pressing[0] if s.pressing else None
    says, when = "Being worked out …", ""
    figures: dict[str, Any] | None = None
    if s.outlook is not None:
        a = s.outlook.assessment
        says = need.sentence if need else verdict(a, s.outlook.batch.hold_h, say, brief=True)
        if need is not None and need.kind == "sample due":
            says = need.todo  # what is wanted leads; whom it follows is told below
        if need is None and s.beside.following is not None and a.gravity_sg is None:
            says = follows(s.beside.following, say)
        when = next_day(a, s.outlook.to_do(say.today()), say)
        figures = _figures(s, say)
    return render(
        "today/row.html",
        kind="needy" if need else "calm",
        target=_target(s, need),
        vessel=s.vessel.name if s.vessel else "",
        batch=(s.record.yeast or "") if within_lot else s.record.name,
        batch_id=s.record.batch_id,
        next=when,
        says=says,
        todo=_todo(s) if s.needs else None,
        figures=figures,
    )


def _target(s: Standing, need: Need | None) -> str:
    if need is not None and need.page == "samples":
        return address("several", part="samples")
    return address("packaging" if need is not None and need.page == "packaging" else "batch", id=s.record.batch_id)


def _todo(s: Standing) -> str:
    """What to do about the most pressing thing, and what else there is."""
    if not s.pressing:
        return " ".join(need.sentence for need in s.needs)
    also, first = " ".join(need.sentence for need in s.needs[1:]), s.needs[0]
    told = first.sentence if first.kind == "sample due" else first.todo
    return f"{told} Also: {also}" if also else told


def _figures(s: Standing, say: Voice) -> dict[str, Any]:
    """What the row tells quietly, for its template: one template for all of a row takes half the time of six."""
    assert s.outlook is not None  # noqa: S101 - only called with an outlook; for the type checker
    a = s.outlook.assessment
    followed = s.beside.following is not None and a.gravity_sg is None
    cells: list[str] = ["no float"] if followed else [phase_glyph(a.phase) + f" {phase_word(a)}"]
    if a.gravity_sg is not None:
        cells.append(likely_gravity(a, say) or "")
    if (share := seen_attenuation(a)) is not None and share >= _WORTH_SAYING:
        cells.append(f"{percent(share)} attenuated")
    return {
        "cells": cells,
        "warmth": None if a.temperature_c is None else say.temperature(a.temperature_c),
        "off": any(need.kind == "temperature" for need in s.needs),
        "age": None if s.read_at is None else say.ago(s.read_at),
        "exact": None if s.read_at is None else say.exact(s.read_at),
        "old": s.silent,
    }
