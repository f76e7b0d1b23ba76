"""The vessels as a list of rows in HTML, each leading with its sentence."""

from __future__ import annotations

import functools
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
from dashboard.queries import queries
from dashboard.templates import Markup, fill, join, render
from dashboard.ui import address, in_one_piece, underlined
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
        rows=join(_drawn(s, say, within_lot=within_lot) for s in standings),
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


def needy_html(needy: Sequence[Standing], say: Voice, dense: bool) -> Markup:
    """Those that want somebody; vessels of one wort that want the same say it once, before their rows."""
    alike: dict[tuple[str | None, str], list[Standing]] = {}
    for s in needy:
        alike.setdefault((s.record.split_of, s.pressing[0].kind), []).append(s)
    alone: list[Standing] = []
    parts: list[Markup | None] = []
    for s in needy:
        lot, found = s.record.split_of, alike[s.record.split_of, s.pressing[0].kind]
        if lot is None or len(found) == 1 or not _said_alike(found):
            if not alone:
                parts.append(None)  # all that stand alone are one list, where the first of them comes
            alone.append(s)
        elif s is found[0]:
            parts.append(_wanting_html(lot, found, say, dense))
    return join(rows(alone, say, "What wants you", dense) if part is None else part for part in parts)


def _said_alike(found: Sequence[Standing]) -> frozenset[str]:
    """What the most pressing need of these vessels says in the same words of each."""
    told = [set(_demand(s.pressing[0])) for s in found]
    return frozenset(set.intersection(*told))


def _demand(need: Need) -> tuple[str, str]:
    """What is wanted and why, the one that leads first."""
    return (need.todo, need.sentence) if need.kind == "sample due" else (need.sentence, need.todo)


def _wanting_html(lot: str, found: Sequence[Standing], say: Voice, dense: bool) -> Markup:
    said = _said_alike(found)
    head = fill(
        '<h3 class="lot">{{ lot }} <small>{{ many }} that want the same</small></h3>'
        '<p class="lots"><b class="needs">{{ told[0] }}</b> {{ told[1:]|join(" ") }}</p>',
        lot=lot,
        many=plural(len(found), "vessel"),
        told=[text for text in _demand(found[0].pressing[0]) if text in said],
    )
    each = join(_drawn(s, say, within_lot=True, said=said) for s in found)
    kind = "rows dense" if dense else "rows"
    return head + fill('<ul class="{{ kind }}" aria-label="{{ lot }}">{{ each }}</ul>', kind=kind, lot=lot, each=each)


def _drawn(s: Standing, say: Voice, *, within_lot: bool = False, said: frozenset[str] = frozenset()) -> Markup:
    """The row of a vessel, drawn anew when something of it changed: of two hundred most stand as they stood."""
    draw = functools.partial(row, s, say, within_lot=within_lot, said=said)
    answer: Markup = queries.kept(("row", s.record.batch_id, within_lot, said), draw, s)
    return answer


def row(s: Standing, say: Voice, *, within_lot: bool = False, said: frozenset[str] = frozenset()) -> Markup:
    """One vessel: its sentence and next day, then its small curve, then the figures quietly.

    What was `said` before, for its whole lot, is not repeated.
    """
    need = s.pressing[0] if s.pressing else None
    says, when = "Being worked out …", ""
    figures: dict[str, Any] | None = None
    if s.outlook is not None:
        a = s.outlook.assessment
        says = _demand(need)[0] if need else verdict(a, s.outlook.batch.hold_h, say, brief=True)
        if need is None and s.beside.following is not None and a.gravity_sg is None:
            says = follows(s.beside.following, say)
        when = next_day(a, s.outlook.to_do(say.today()), say)
        figures = _figures(s, say)
    devices = [d.device_id for d in s.devices]
    return render(
        "today/row.html",
        kind="needy" if need else "calm",
        target=_target(s, need),
        vessel=s.vessel.name if s.vessel else "",
        batch=(s.record.yeast or "") if within_lot else s.record.name,
        batch_id=s.record.batch_id,
        next=when,
        says="" if says in said else in_one_piece(says, devices),
        todo=in_one_piece(todo, devices) if s.needs and (todo := _todo(s, said)) else None,
        figures=figures,
    )


def _target(s: Standing, need: Need | None) -> str:
    if need is not None and need.page == "samples":
        return address("several", part="samples")
    return address("packaging" if need is not None and need.page == "packaging" else "batch", id=s.record.batch_id)


def _todo(s: Standing, said: frozenset[str]) -> str:
    """What to do about the most pressing thing, unless it was `said`, and what else there is."""
    if not s.pressing:
        return " ".join(need.sentence for need in s.needs)
    also, told = " ".join(need.sentence for need in s.needs[1:]), _demand(s.needs[0])[1]
    return " ".join(filter(None, ("" if told in said else told, f"Also: {also}" if also else "")))


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
