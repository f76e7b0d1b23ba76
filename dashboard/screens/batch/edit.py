"""Entering a batch: what it is, what is wished for its plan, its end."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import Any, Final, get_args

import streamlit as st

from analysis.drinks import DRINK_FACTS
from analysis.model import DRINKS
from analysis.planning import Constraints, Destination
from analysis.wording import Voice
from dashboard import access, context
from dashboard.queries import queries
from dashboard.screens.batch import moving, schedule
from dashboard.screens.sensors import placement
from dashboard.templates import fill
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, Vessel, Yeast
from ingest.monitoring import constraints_of
from ingest.store import Store, move

_DESTINATIONS: Final[tuple[Destination, ...]] = get_args(Destination)


def new_batch() -> None:
    """The form of a batch that has just been pitched."""
    store, say = context.store(), queries.voice()
    with forms.entry("new batch", say, save="Add the batch", border=False) as form:
        values = _facts(form, None)
    if form.sent:
        _keep_facts(form, store, None, values)


def edit_batch(record: BatchRecord) -> None:
    """Everything that was entered about a batch, to be changed; its end; its removal."""
    store, say = context.store(), queries.voice()
    name = f"batch {record.batch_id}"
    shown = forms.opened(name, record)
    with forms.entry(name, say, save="Save", shows=shown) as form:
        values = _facts(form, shown)
    if form.sent:
        _keep_facts(form, store, shown, values)
    with st.expander("Wishes for its plan"):
        _wishes(store, record, say)
    with st.expander("Its own temperatures"):
        schedule.form(record, say)
    with st.expander("End this batch" if record.ended_at is None else "This batch has ended"):
        _end(store, record, say)
    forms.remove_button(
        "Remove this batch with its events and hand samples",
        f"remove {record.batch_id}",
        lambda: store.remove(record),
        f"{record.name} is removed; its readings stay.",
    )


def _vessel(form: forms.Form, store: Store, record: BatchRecord | None) -> Vessel | None:
    vessels = placement.vessels(store)
    here = next((v for v in vessels if record and v.vessel_id == record.vessel_id), None)
    over = record is not None and record.ended_at is not None  # what the vessels hold now is beside the point
    return form.choice(
        "vessel_id",
        "Vessel",
        vessels,
        here,
        lambda v: v.name if over else placement.vessel_label(store, v),
        placeholder="Choose one" if vessels else "Add a vessel first",
    )


def _origin_and_culture(form: forms.Form, record: BatchRecord | None, got: dict[str, Any]) -> None:
    got["split_of"] = form.text(
        "split_of",
        "Split from",
        record.split_of if record else "",
        placeholder="the brew's name",
        help="Batches split from one wort or must carry the same text here; their yeasts are then compared like "
        "with like.",
    )
    if record is None:
        doses = form.number(
            "dry_hops",
            "Dry hop doses",
            0.0,
            step=1.0,
            help="None unless you say so: with hops, their contact and a new hold put packaging off. It can be changed "
            "later under its wishes.",
        )
        got["plan"] = {} if doses is None else {"dry_hops": round(doses)}
    got["diastatic"] = form.tick(
        "diastatic",
        "The yeast eats dextrins (diastatic)",
        record.diastatic if record else False,
        help="Such a yeast can go on for weeks, in bottles too.",
    )
    got["mixed_culture"] = form.tick(
        "mixed_culture", "Mixed culture", record.mixed_culture if record else False, help="As above: it may go on."
    )


def _facts(form: forms.Form, record: BatchRecord | None) -> dict[str, Any]:
    """The inputs; what they say, by the record's names."""
    store = context.store()
    got: dict[str, Any] = {}
    yeasts = sorted({y.name for y in store.all(Yeast)} | ({record.yeast} if record and record.yeast else set()))
    left, middle, right = st.columns(3)
    with left:
        got["name"] = form.text("name", "Name", record.name if record else "", placeholder="such as Gatepost bitter")
        got["vessel"] = _vessel(form, store, record)
        if record is not None:
            got["change"] = moving.Change.ask(form)
        got["pitched_at"] = form.moment(
            "pitched_at", "Yeast pitched", record.pitched_at if record else datetime.now(UTC)
        )
    with middle:
        got["drink"] = form.choice("drink", "Drink", DRINKS, record.drink if record else "ale", str.capitalize)
        got["yeast"] = form.choice(
            "yeast",
            "Yeast",
            yeasts,
            record.yeast if record else None,
            accept_new_options=True,
            placeholder="Choose one, or type a new name",
        )
        got["volume_l"] = form.number("volume_l", "Volume", record.volume_l if record else None, "volume")
    with right:
        got["original_gravity_sg"] = form.number(
            "original_gravity_sg",
            "Gravity before pitching",
            record.original_gravity_sg if record else None,
            "gravity",
            placeholder="not measured",
        )
        got["expected_low"] = form.number(
            "expected_low",
            "Expected attenuation, from",
            record.expected_low if record else None,
            "share",
            placeholder="as for the yeast",
        )
        got["expected_high"] = form.number(
            "expected_high", "to", record.expected_high if record else None, "share", placeholder="as for the yeast"
        )
    left, right = st.columns([1, 2])
    with left:
        _origin_and_culture(form, record, got)
    with right:
        got["notes"] = form.area("notes", "Notes", record.notes if record else "")
    return got


_NEUTRAL: Final = {
    "name": forms.A_NAME,
    "volume_l": None,
    "original_gravity_sg": None,
    "expected_low": None,
    "expected_high": None,
}


def _keep_facts(form: forms.Form, store: Store, record: BatchRecord | None, got: dict[str, Any]) -> None:
    vessel: Vessel | None = got.pop("vessel")
    change: moving.Change | None = got.pop("change", None)
    moves = change is not None and record is not None and vessel is not None and vessel.vessel_id != record.vessel_id
    values: dict[str, Any] = {
        **got,
        "vessel_id": vessel.vessel_id if vessel else "any",
        "yeast": (got["yeast"] or "").strip() or None,
        "split_of": got["split_of"] or None,
    }

    def made(**given: Any) -> BatchRecord:
        batch = replace(record, **given) if record is not None else BatchRecord(**given)
        _check_span(batch)
        return batch

    faults = _faults_of_wishes(values.get("plan", {}))
    if moves and change is not None:
        faults += change.faults()
        moves = change.moved
    pitched_at: datetime | None = values["pitched_at"]
    for missing, field, problem in (
        (vessel is None, "vessel_id", "no vessel is chosen"),
        (pitched_at is None, "pitched_at", "the time of pitching is missing"),
    ):
        if missing:
            faults.append(EntryError(field, problem, "It says which readings belong to it."))
    if pitched_at is not None and pitched_at > datetime.now(UTC):
        faults.append(EntryError("pitched_at", "this lies ahead of now", "Enter the batch once the yeast is in."))
    placed = not faults
    probed = {**values, "pitched_at": pitched_at or datetime.now(UTC)}

    def probe(**given: Any) -> None:
        batch = made(**given)
        if placed and not moves:
            store.check(batch)

    if form.refuses([*faults, *forms.all_faults(probe, probed, _NEUTRAL)]):
        return

    based = forms.based(form.name) if record is not None else None

    def enter() -> None:
        batch = made(**values)
        new_yeast = batch.yeast is not None and all(y.name != batch.yeast for y in store.all(Yeast))
        if moves and change is not None and change.at is not None:
            move(store, batch, batch.vessel_id, change.at, devices_too=change.devices_too, event=None, based=based)
        elif new_yeast and batch.yeast is not None:
            what = "Changed" if record is not None else "Added"
            store.save_many(
                [Yeast(name=batch.yeast), batch], f"{what} batch {batch.name} with yeast {batch.yeast}", based
            )
        else:
            store.save(batch, based)

    done = f"{got['name']} is {'changed' if record is not None else 'in the cellar'}."
    form.keep(enter, done)


def _check_span(record: BatchRecord) -> None:
    low, high = record.expected_low, record.expected_high
    if low is not None and high is not None and low > high:
        raise EntryError("expected_low", "the range is upside down", "Give the lower figure first, such as 72 to 78 %.")


def _wishes(store: Store, record: BatchRecord, say: Voice) -> None:
    """The wishes of this batch where they differ from the cellar's."""
    name = f"wishes {record.batch_id}"
    record = forms.opened(name, record)
    constraints = constraints_of(record, store.preferences())
    facts = DRINK_FACTS[record.drink]
    rest, usual_days = facts.rest, facts.rest_days
    with forms.entry(name, say, save="Save the wishes", shows=record, border=False) as form:
        got: dict[str, Any] = {}
        left, middle, right = st.columns(3)
        with left:
            got["destination"] = form.choice("destination", "It goes into", _DESTINATIONS, constraints.destination)
            got["hold_h"] = form.number("hold_h", "Gravity must hold for", constraints.hold_h, called="h")
            got["confidence"] = form.number("confidence", "How sure you want to be", constraints.confidence, "share")
        with middle:
            doses = form.number("dry_hops", "Dry hop doses", float(constraints.dry_hops))
            got["contact_days"] = form.number(
                "contact_days", "Contact", constraints.contact_days, called="days", step=0.5
            )
            got["early_dry_hop"] = form.tick(
                "early_dry_hop", "Hop early, during the last of the fermentation", constraints.early_dry_hop
            )
        with right:
            got["rest_days"] = form.number(
                "rest_days",
                f"Rest before packaging ({rest})",
                constraints.rest_days,
                called="days",
                help=f"Common practice for this drink: about {usual_days:g} days.",
            )
            got["crash_days"] = form.number(
                "crash_days", "Chill before packaging", constraints.crash_days, called="days"
            )
            got["crash_counts_as_contact"] = form.tick(
                "crash_counts_as_contact", "The chilled days count as contact", constraints.crash_counts_as_contact
            )
    if form.sent:
        got["dry_hops"] = 0 if doses is None else round(doses)
        form.keep(
            lambda: store.save(_with_wishes(record, got), forms.based(name)), f"The plan of {record.name} is made anew."
        )


def _with_wishes(record: BatchRecord, got: dict[str, Any]) -> BatchRecord:
    """The record with these wishes as its own.

    Raises
    ------
    EntryError
        If one is out of its range.
    """
    given = {name: value for name, value in got.items() if value is not None}
    for fault in _faults_of_wishes(given):
        raise fault
    own = {f.name for f in fields(BatchRecord)} & {"hold_h", "contact_days"}
    plan = record.plan | {name: value for name, value in given.items() if name not in own}
    return replace(record, plan=plan, hold_h=given.get("hold_h"), contact_days=given.get("contact_days"))


def _faults_of_wishes(given: dict[str, Any]) -> list[EntryError]:
    """What is out of its range; the first such wish, or nothing."""
    try:
        Constraints(**given)
    except ValueError as error:
        if str(error).startswith("confidence "):  # typed in percent
            told = f"{100 * given['confidence']:g}\u202f% is out of range"
            return [EntryError("confidence", told, "The usual range is 70 to 95\u202f%.")]
        problem, _, usual = str(error).partition("; ")
        return [EntryError(problem.partition(" ")[0], problem.partition(" ")[2], f"The {usual}.")]
    return []


def _end(store: Store, record: BatchRecord, say: Voice) -> None:
    if record.ended_at is not None:
        st.html(fill("<p>It ended {{ when }}.</p>", when=say.exact(record.ended_at)))
        with forms.one_tap(f"reopen {record.batch_id}"):
            again = st.button("Take it up again", key=f"reopen {record.batch_id}", disabled=access.only_looks())
        if again:
            form = forms.loose(f"reopen {record.batch_id}", say)
            form.keep(lambda: store.save(replace(record, ended_at=None)), f"{record.name} goes on.")
        return
    with forms.entry(f"end {record.batch_id}", say, save="End the batch", shows=record, border=False) as form:
        ended_at = form.moment("ended_at", "It left the vessel", datetime.now(UTC))
        packaged = form.tick("packaged", "It was packaged", value=True, help="Otherwise it was given up.")
    if form.sent:
        end = ended_at or datetime.now(UTC)

        def enter() -> None:
            records: list[BatchRecord | EventRecord] = [replace(record, ended_at=end)]
            known = store.all(EventRecord, batch_id=record.batch_id, kind="package")
            if packaged and not known:
                records.append(EventRecord(batch_id=record.batch_id, kind="package", at=end))
            store.save_many(records, f"Ended {record.name}")

        form.keep(enter, f"{record.name} has ended; its vessel is free.")
