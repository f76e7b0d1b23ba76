"""The packaging sheet's inputs on screen: filled in from the batch, each changeable, the person's changes kept.

What the person changed is kept with the batch, so that it survives a reload and can be finished on another device;
what they left alone follows the batch's own figures.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from typing import Any, Final

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from analysis.display_units import MINUS
from analysis.packaging import Field, PackagingSheet, SheetInputError, field_of, fields, sheet
from analysis.planning import prefill
from analysis.wording import Voice, capital, joined
from dashboard.screens.packaging import follow_up, steps
from dashboard.screens.packaging.window import Window
from dashboard.ui import Form, forms
from ingest.errors import EntryError
from ingest.model import BatchRecord
from ingest.monitoring import Outlook, constraints_of
from ingest.store import Store

Inputs = dict[str, Any]

_OF_BOTTLES: Final = frozenset(
    {
        "priming_sugar",
        "priming_shares",
        "priming_gravity_sg",
        "priming_brix",
        "priming_sugar_g_per_l",
        "fresh_yeast",
        "bottle_kind",
        "bottle_rating_kpa",
        "purged",
        "heat_treat",
        "warmest_c",
        "vessel_gauge_kpa",
    }
)
_OF_KEGS: Final = frozenset({"keg_rating_kpa", "serving_c"})
_OF_JUICE: Final = frozenset({"priming_gravity_sg", "priming_brix", "priming_sugar_g_per_l"})
_JUICES: Final = ("fruit juice", "juice concentrate", "wort")
_WINE_LIKE: Final = frozenset({"wine", "mead", "cider", "other"})
_SHARES_AS: Final = {"hop_shares": "Brindle 2, Osprey 1", "priming_shares": "sucrose 2, honey 1"}
_OF_ACID: Final = frozenset({"malic_acid_g_per_l", "malolactic_finished"})
_UNSET: Final = object()
_SITTING: Final = timedelta(minutes=30)
"""Fields of a sheet that are changed one after the other within this time are one entry. Common practice, no source."""
_MOST_NAMED: Final = 4
_LEADING_MINUS: Final = re.compile(r"(?<!\w)-(?=\d)")
_DECIMAL_COMMA: Final = re.compile(r"(?<=\s\d),(?=\d+\s*(?:,|$))|(?<=\s\d\d),(?=\d+\s*(?:,|$))")
"""A comma within a share: between the digits after a name and the next name, or the end."""
_FIRST: Final = "Carbonation"
"""The group that the person has to fill in; what the batch knows by itself comes after it."""
_CHOICES: Final = {"so2": "SO2", "salt": "Potassium metabisulfite"}


@dataclass(frozen=True, slots=True)
class Asked:
    """The sheet of the inputs that can be used, and what is wrong with the others."""

    answer: PackagingSheet
    wrong: tuple[str, ...]


def own_changes(store: Store, batch_id: str) -> Inputs:
    """What the person changed on this batch's sheet; None for what they emptied."""
    return _read(store.get_note(_note(batch_id)))


def _read(text: str | None) -> Inputs:
    try:
        kept = json.loads(text) if text else {}
    except ValueError:
        kept = {}
    known = {f.key for f in fields()}
    return {key: value for key, value in kept.items() if key in known} if isinstance(kept, dict) else {}


def keep_changes(store: Store, batch_id: str, changes: Mapping[str, Any]) -> None:
    """Keep what the person changed, as one entry that can be undone."""
    before = own_changes(store, batch_id)
    if not any(_differ(key, before, changes) for key in {**before, **changes}):
        return
    record = store.get(BatchRecord, batch_id)

    def sentence(earlier: str | None) -> str:
        then = _read(earlier)
        found = [f"“{field_of(key).label}”" for key in {**then, **changes} if _differ(key, then, changes)]
        shown = (
            found if len(found) <= _MOST_NAMED else [*found[: _MOST_NAMED - 1], f"{len(found) - _MOST_NAMED + 1} more"]
        )
        return f"Changed {joined(shown) or 'nothing'} on the sheet of {record.name if record else batch_id}"

    store.change_note(_note(batch_id), json.dumps(dict(changes), ensure_ascii=False), sentence, gather=_SITTING)


def _differ(key: str, one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return bool(one.get(key, _UNSET) != other.get(key, _UNSET))


def forget_changes(store: Store, batch_id: str) -> None:
    """Go back to the batch's own figures."""
    store.change_note(_note(batch_id), None, "Took the batch's own figures on its packaging sheet")
    forms.renew(f"sheet {batch_id}")
    Window.forget(batch_id)


def _note(batch_id: str) -> str:
    return f"sheet of {batch_id}"


def from_batch(store: Store, outlook: Outlook) -> Inputs:
    """What the batch's own data say, under the sheet's keys."""
    record, preferences = outlook.record, store.preferences()
    vessel_l = outlook.vessel.volume_l if outlook.vessel else None
    found = prefill(
        outlook.assessment,
        outlook.batch,
        volume_l=record.volume_l if record.volume_l is not None else vessel_l,
        jurisdiction=preferences.jurisdiction,
        altitude_m=preferences.altitude_m,
        earlier=follow_up.earlier(store, record),
        now=record.ended_at or datetime.now(UTC),
    ).given()
    destination = constraints_of(record, preferences).destination
    return found if destination == "undecided" else {"package": destination, **found}


def ask(store: Store, batch_id: str, from_batch: Mapping[str, Any], say: Voice, chooser: DeltaGenerator) -> Asked:
    """Draw the inputs, keep what was changed, and work the sheet out. The package is asked for in `chooser`."""
    own = own_changes(store, batch_id)
    before = dict(own)
    form = forms.loose(f"sheet {batch_id}", say)
    window = Window.of(batch_id, own)
    groups: dict[str, list[Field]] = {}
    for each in fields():
        if each.kind == "falls":
            continue  # a whole forecast: the batch fills it in, nobody types it
        groups.setdefault(each.group, []).append(each)
    with chooser:
        package = _package(form, own, from_batch, window)
    drink = own.get("drink", from_batch.get("drink"))
    titles = sorted(groups, key=lambda title: title != _FIRST)
    step = steps.bar(titles)
    st.html(steps.only(titles, step))
    for title in titles:
        shown = [f for f in groups[title] if _matters(f.key, package, drink) and _asked(f.key, {**from_batch, **own})]
        with (
            st.container(key=steps.key_of(title)),
            # Made anew when its step comes or goes: one stays as the person left it, and a new step has to open.
            st.expander(title, expanded=title in (_FIRST, step), key=form.key(f"{title}/{title == step}")),
            forms.one_tap(f"{steps.key_of(title)} of the sheet", "stretch", "small"),
        ):
            for two in zip_longest(shown[::2], shown[1::2]):
                for column, each in zip(st.columns(2), two, strict=True):
                    if each is not None:
                        with column:
                            _one(form, each, own, from_batch, window)
    steps.onward(titles, step)
    if own != before:
        keep_changes(store, batch_id, own)
    window.tell(form)
    if window.drawn(own):
        st.rerun()
    values = {k: v for k, v in {**from_batch, **own}.items() if v is not None}
    used = {k: v for k, v in values.items() if k == "package" or _matters(k, package, drink)}
    return _worked_out(form, used)


def _worked_out(form: Form, values: Inputs) -> Asked:
    """The sheet with what can be used; what cannot is said beside its input."""
    given: Inputs = dict(values)
    wrong: list[str] = []
    for _ in range(len(values) + 1):
        try:
            return Asked(sheet(given, form.voice.units), tuple(wrong))
        except SheetInputError as error:
            for fault in error.all:
                of = field_of(fault.key)
                problem = _LEADING_MINUS.sub(MINUS, fault.problem)
                usual = f"Choose one: {', '.join(map(_choice, of.choices))}." if of.kind == "choice" else fault.usual
                wrong.append(f"{of.label}: {problem}. {usual}")
                form.wrong(EntryError(fault.key, problem, usual))
            if all(given.pop(fault.key, None) is None for fault in error.all):
                break
    return Asked(sheet({}), tuple(wrong))


def _matters(key: str, package: str | None, drink: str | None) -> bool:
    if key == "package" or (key in _OF_BOTTLES and package != "bottle") or (key in _OF_KEGS and package != "keg"):
        return False
    if key in _OF_ACID:
        return drink is None or drink in _WINE_LIKE
    return key != "wine_colour" or drink in _WINE_LIKE


def _asked(key: str, known: Mapping[str, Any]) -> bool:
    """Whether an input is shown: what juice or wort holds is asked only where it primes, or where it was given."""
    if key not in _OF_JUICE or known.get(key) is not None:
        return True
    names = [known.get("priming_sugar"), *(known.get("priming_shares") or {})]
    return any(name in _JUICES for name in names)


def _package(form: Form, own: Inputs, from_batch: Mapping[str, Any], window: Window) -> str | None:
    key = f"{form.key('package')}/{window.turn('package')}"
    filled_in = from_batch.get("package")
    # Its state is set rather than its default: a control whose default changes forgets what was chosen.
    forms.put(key, window.was("package", filled_in))
    with forms.one_tap("package of the sheet"):
        got = st.segmented_control(
            "Into", ("bottle", "keg"), format_func=lambda p: f"{capital(p)}s", key=key, required=True
        )
    form.place("package")
    window.take("package", got, filled_in, own, _choice)
    return got


def _one(form: Form, each: Field, own: Inputs, from_batch: Mapping[str, Any], window: Window) -> None:
    filled_in = from_batch.get(each.key, each.default)
    value = window.was(each.key, filled_in)  # one that was emptied is there, as None
    form = forms.loose(form.name, form.voice, shows=(filled_in, window.turn(each.key)), places=form)
    more: dict[str, Any] = {"help": each.help or None}
    got: Any
    if each.kind == "number":
        got = form.number(
            each.key,
            each.label,
            value,
            forms.scale(each.quantity, form.voice, each.unit),
            **more,
            placeholder="not known",
        )
    elif each.kind == "yes or no":
        got = form.choice(each.key, each.label, (True, False), value, _yes_no, placeholder="not known", **more)
    elif each.kind == "choice":
        got = form.choice(each.key, each.label, each.choices, value, _choice, placeholder="not chosen", **more)
    elif each.kind == "shares":
        got = _shares(form, each, value)
    else:
        got = form.text(each.key, each.label, value, **more) or None
    window.take(each.key, got, filled_in, own, lambda value: _words(each, value, form.voice))
    if each.key in own and own[each.key] == filled_in:
        del own[each.key]


def _words(each: Field, value: Any, say: Voice) -> str:
    """A value of the sheet as its input shows it."""
    if each.kind == "number":
        how = forms.scale(each.quantity, say, each.unit)
        return f"{how.format % how.shown(value)} {'' if how.unit == 'SG' else how.unit}".strip().replace("-", MINUS)
    if each.kind == "yes or no":
        return _yes_no(value)
    if each.kind == "choice":
        return _choice(value)
    return ", ".join(f"{name} {share:g}" for name, share in value.items()) if each.kind == "shares" else f"“{value}”"


def _yes_no(value: bool) -> str:
    return "Yes" if value else "No"


def _choice(value: str) -> str:
    return _CHOICES.get(value, capital(value))


def _shares(form: Form, each: Field, value: Mapping[str, float] | None) -> dict[str, float] | None:
    """Names with their shares, as ``Brindle 2, Osprey 1``."""
    text = ", ".join(f"{name} {share:g}" for name, share in (value or {}).items())
    got = form.text(each.key, each.label, text, placeholder=f"such as {_SHARES_AS[each.key]}")
    if got == text:
        return dict(value) if value else None
    try:
        return parsed_shares(got, each.key)
    except EntryError as error:
        form.wrong(error)
        return dict(value) if value else None


def parsed_shares(text: str, key: str = "hop_shares") -> dict[str, float] | None:
    """Shares from ``Brindle 2, Osprey 1``, also ``Brindle 2,5, Osprey 1``; a name alone counts once.

    Raises
    ------
    EntryError
        If a share is no number above zero.
    """
    found: dict[str, float] = {}
    for part in (p.strip() for p in _DECIMAL_COMMA.sub(".", text).split(",")):
        if not part:
            continue
        name, _, last = part.rpartition(" ")
        try:
            share = float(last) if name else 1.0
        except ValueError:
            share = math.nan
        if not math.isfinite(share):  # no figure, but a part of the name
            name, share = part, 1.0
        if share <= 0:
            raise EntryError(key, f"the share of {name} is {share:g}", f"Write such as {_SHARES_AS[key]}.")
        found[name.strip() or part] = share
    return found or None
