"""One wort into many vessels: what they have in common once, a row a vessel with what differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Final

import streamlit as st

from analysis.model import DRINKS
from analysis.wording import Voice, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import floats
from dashboard.screens.several import rows
from dashboard.templates import fill
from dashboard.ui import components, forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, Record, TrialRecord, Yeast
from ingest.monitoring import origin, without_origin
from ingest.store import Store

_OF_THE_PLAN: Final = "hops"
"""Under this key of a batch's plan stand the hops that are meant to go in, as last time."""


def show() -> None:
    store, say = context.store(), queries.voice()
    known = [*store.active_batches(), *store.finished_batches()]
    like, trial = st.query_params.get("like"), store.get(TrialRecord, st.query_params.get("trial", ""))
    if trial is not None:
        told = "<p>The next batch after the trial {{ link }}: change what you will.</p>"
        st.html(fill(told, link=components.underlined("trials", trial.name, id=trial.trial_id)))
    left, right = st.columns(2)
    with left:
        last = st.selectbox(
            "As last time",
            known,
            index=next((n for n, b in enumerate(known) if b.batch_id == like), None),
            format_func=lambda b: f"{b.name}, {say.dated(say.local(b.pitched_at).date())}",
            placeholder="a new wort",
            help="Copies drink, yeast, volume, plan, hops and notes of an earlier batch; change what differs.",
        )
    with right:
        usual = 4 if trial is None else 1
        number = st.number_input("Into how many vessels", 1, rows.MOST, usual, key=f"wort vessels {usual}")
    with forms.entry("wort", say, save="Add them all", shows=last, border=False) as form:
        common = _common(form, store, last)
        asked = [rows.ask(form, n, yeasts=_yeasts(store, last)) for n in range(int(number))]
    if form.sent:
        _keep(form, common, asked, last, trial)


def _yeasts(store: Store, last: BatchRecord | None) -> list[str]:
    return sorted({y.name for y in store.all(Yeast)} | ({last.yeast} if last is not None and last.yeast else set()))


def _common(form: forms.Form, store: Store, last: BatchRecord | None) -> dict[str, Any]:
    """What all vessels share, by the record's names."""
    got: dict[str, Any] = {}
    left, right = st.columns(2)
    with left:
        got["name"] = form.text(
            "name", "Name of the wort", last.name if last else "", placeholder="such as Tuesday wort"
        )
        got["drink"] = form.choice("drink", "Drink", DRINKS, last.drink if last else "ale", str.capitalize)
        got["yeast"] = form.choice(
            "yeast",
            "Yeast for all",
            _yeasts(store, last),
            last.yeast if last else None,
            accept_new_options=True,
            placeholder="Choose one, or type a new name",
        )
    with right:
        got["pitched_at"] = form.moment("pitched_at", "Yeast pitched", datetime.now(UTC))
        got["original_gravity_sg"] = form.number(
            "original_gravity_sg", "Gravity before pitching", None, "gravity", placeholder="not measured"
        )
        got["volume_l"] = form.number(
            "volume_l", "Volume of each", last.volume_l if last else None, "volume", placeholder="not known"
        )
    planned = float(last.plan.get("dry_hops", 0)) if last else 0.0
    got["dry_hops"] = form.number("dry_hops", "Dry hop doses", planned, step=1.0)
    got["notes"] = form.area("notes", "Notes", last.notes if last else "")
    return got


def hops_of(store: Store, batch_id: str) -> list[dict[str, Any]]:
    """The dry hops that were logged of a batch, as a plan keeps them for another."""
    found = sorted(store.all(EventRecord, batch_id=batch_id, kind="dry hop"), key=lambda e: e.at)
    names = ("hop_variety", "hop_form", "amount_g", "contact_days")
    doses = [{name: value for name in names if (value := getattr(e, name)) is not None} for e in found]
    return [dose for dose in doses if dose]


def plan_like(store: Store, last: BatchRecord | None, volume_l: float | None) -> dict[str, Any]:
    """The plan of an earlier batch with the hops that it got; grams go by volume, where both are known."""
    if last is None:
        return {}
    plan = without_origin(last.plan)
    doses = hops_of(store, last.batch_id) or plan.get(_OF_THE_PLAN, [])
    if volume_l is not None and last.volume_l:
        ratio = volume_l / last.volume_l
        doses = [{**d, "amount_g": round(d["amount_g"] * ratio, 1)} if "amount_g" in d else d for d in doses]
    if doses:
        plan[_OF_THE_PLAN] = doses
    return plan


def _keep(
    form: forms.Form,
    common: dict[str, Any],
    asked: Sequence[rows.Row],
    last: BatchRecord | None,
    trial: TrialRecord | None,
) -> None:
    def enter() -> None:
        store = context.store()
        made = records(store, common, asked, last, trial)
        n = sum(isinstance(record, BatchRecord) for record in made)
        store.save_many(made, f"Added {common['name']} in {plural(n, 'vessel')}")

    form.keep(enter, f"{common['name']} is in {plural(sum(bool(row.vessel) for row in asked), 'vessel')}.")


def records(
    store: Store,
    common: dict[str, Any],
    asked: Sequence[rows.Row],
    last: BatchRecord | None = None,
    trial: TrialRecord | None = None,
) -> list[Record]:
    """Everything that one form enters, in the order in which it can be saved.

    Of a batch that comes of a `trial`, the plan says so, and that it is made like `last`.

    Raises
    ------
    EntryError
        Beside the input that is wrong.
    """
    if not common["name"]:
        raise EntryError("name", "the name is empty", "Give it one you will recognise on a phone.")
    pitched_at: datetime | None = common["pitched_at"]
    if pitched_at is None or pitched_at > datetime.now(UTC):
        problem = "the time of pitching is missing" if pitched_at is None else "this lies ahead of now"
        raise EntryError("pitched_at", problem, "It says which readings belong to it.")
    if not 0 <= (common["dry_hops"] or 0) <= 20:
        raise EntryError("dry_hops", f"{common['dry_hops']:g} is out of range", "None to four are usual.")
    used = rows.filled(asked)
    made: list[Record] = []
    yeasts = {y.name for y in store.all(Yeast)}
    for row in used:
        with rows.beside(row):
            vessel, new = rows.vessel_of(store, row)
            rows.check_free(store, row, vessel, pitched_at)
            yeast = row.yeast or (common["yeast"] or "").strip() or None
            if yeast is not None and yeast not in yeasts:
                yeasts.add(yeast)
                made.append(Yeast(name=yeast))
            volume = row.volume_l if row.volume_l is not None else common["volume_l"]
            record = BatchRecord(
                name=common["name"],
                vessel_id=vessel.vessel_id,
                drink=common["drink"],
                yeast=yeast,
                volume_l=volume,
                pitched_at=pitched_at,
                split_of=lot_name(store, common["name"], pitched_at) if len(used) > 1 else None,
                plan={
                    **plan_like(store, last, volume),
                    **origin(trial, last),
                    "dry_hops": round(common["dry_hops"] or 0),
                },
                notes=common["notes"],
                diastatic=last.diastatic if last else False,
                mixed_culture=last.mixed_culture if last else False,
            )
            if new:
                made.append(vessel)
            placed = floats.placed(store, row.device, vessel.vessel_id, pitched_at) if row.device is not None else []
        record = replace(record, original_gravity_sg=common["original_gravity_sg"])  # its fault is the wort's
        made += [record, *placed]
    return made


def lot_name(store: Store, name: str, pitched_at: datetime) -> str:
    """What the batches of this wort share: its name, with its day where another wort was called so."""
    if store.all(BatchRecord, split_of=name):
        return f"{name} {pitched_at:%Y-%m-%d}"
    return name


def as_words(say: Voice, doses: Sequence[dict[str, Any]]) -> str:
    """Planned hops in words: ``Osprey pellets, 40 g``."""
    told = []
    for dose in doses:
        what = " ".join(filter(None, (dose.get("hop_variety"), dose.get("hop_form"))))
        grams = say.units.mass(dose["amount_g"]) if "amount_g" in dose else ""
        told.append(", ".join(filter(None, (what, grams))))
    return "; ".join(filter(None, told))
