"""A trial being entered or changed: its question, its batches, each with its arm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import zip_longest
from typing import Final

import streamlit as st

from analysis.trials import SCALES
from analysis.wording import Voice, milestone_title
from dashboard import context
from dashboard.screens.compare import name_of
from dashboard.templates import fill
from dashboard.ui import components, forms, plain
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, TrialRecord
from ingest.monitoring import TASTING
from ingest.store import Based

DECIDES: Final[tuple[str, ...]] = (*SCALES, TASTING)


def add(say: Voice) -> None:
    """A new trial of batches that are chosen first."""
    chosen = _choose("new", ())
    if not chosen:
        return
    empty = TrialRecord(trial_id="new", name="new", arms=(("one", "-"), ("other", "--")))
    with forms.entry("trial new", say, save="Add the trial", shows=[b.batch_id for b in chosen]) as form:
        asked = _fields(form, None, chosen)
    if form.sent:
        trial_id = _fresh()
        form.keep(
            lambda: _save(replace(empty, trial_id=trial_id), asked, chosen),
            "The trial is added.",
            then=lambda: st.query_params.from_dict({"id": trial_id}),
        )


def change(current: TrialRecord, say: Voice) -> None:
    """A trial that is there; what another window changed meanwhile is not overwritten."""
    store = context.store()
    chosen = _choose(current.trial_id, current.batch_ids)
    if chosen:
        # Other batches are other fields: a form of its own.
        name = f"trial {current.trial_id} {','.join(b.batch_id for b in chosen)}"
        trial = forms.opened(name, current)
        with forms.entry(name, say, save="Save the trial", shows=trial) as form:
            asked = _fields(form, trial, chosen)
        if form.sent:
            form.keep(lambda: _save(trial, asked, chosen, forms.based(name)), f"{trial.name} is saved.")
    forms.remove_button(
        "Remove this trial",
        f"remove {current.trial_id}",
        lambda: store.remove(current),
        f"{current.name} is removed; its batches stay.",
    )


def _fresh() -> str:
    return TrialRecord(name="new", arms=(("one", "-"), ("other", "--"))).trial_id


def _choose(of: str, before: Sequence[str]) -> list[BatchRecord]:
    store = context.store()
    offered = [b for b in [*store.active_batches(), *store.finished_batches()] if not store.parts_of(b.batch_id)]
    offered += [b for key in before if (b := store.get(BatchRecord, key)) is not None and b not in offered]
    names = {b.batch_id: name_of(b) for b in offered}
    if len(offered) < 2:
        one, many = components.underlined("set-up", "Set up"), components.underlined("several", "several", part="wort")
        told = "<p>A trial needs two batches at least. Add them under {{ one }}, or fill one wort into {{ many }}.</p>"
        st.html(fill(told, one=one, many=many))
        return []
    got = st.multiselect(
        "Its batches",
        list(names),
        default=[key for key in before if key in names],
        format_func=names.__getitem__,
        key=f"batches of trial {of}",
        placeholder="Choose two or more",
    )
    return [b for b in offered if b.batch_id in got] if len(got) > 1 else []


def _fields(form: forms.Form, trial: TrialRecord | None, chosen: Sequence[BatchRecord]) -> dict[str, str]:
    asked: dict[str, str] = {}
    left, right = st.columns(2)
    with left:
        asked["name"] = form.text("name", "Name", trial.name if trial else "", placeholder="Two yeasts, one wort")
    with right:
        question = trial.question if trial else ""
        asked["question"] = form.text("question", "Question", question, placeholder="Which is drier?")
    st.html('<p class="quiet">Batches of one arm are replicates: give them the same name.</p>')
    arms = {batch_id: arm for arm, batch_id in trial.arms} if trial else {}
    for two in zip_longest(chosen[::2], chosen[1::2]):
        for column, batch in zip(st.columns(2), two, strict=True):
            if batch is not None:
                named, key = arms.get(batch.batch_id) or suggested(batch, chosen), f"arm {batch.batch_id}"
                with column:
                    asked[key] = form.text(key, f"Arm of {plain(name_of(batch))}", named)
    form.place("arms")
    decides = form.choice("decides", "What decides", DECIDES, trial.decides if trial else "finish_h", _decides_in_words)
    asked["decides"] = decides or "finish_h"
    told = (
        ("differs", "What differs that the entries do not show", "wood, another water; commas between"),
        ("equal", "What was held equal besides", "one mash, one keg of gas"),
    )
    for column, (of, title, hint) in zip(st.columns(2), told, strict=True):
        with column:
            asked[of] = form.text(of, title, getattr(trial, of) if trial else "", placeholder=hint)
    asked["notes"] = form.area("notes", "Notes", trial.notes if trial else "")
    return asked


def _decides_in_words(name: str) -> str:
    return "Tasting" if name == TASTING else milestone_title(next(each for each in SCALES if each == name))


def suggested(batch: BatchRecord, chosen: Sequence[BatchRecord]) -> str:
    """What a batch has of its own among these: its yeast, its hops, else its vessel and name."""
    if len({b.yeast for b in chosen}) > 1 and batch.yeast:
        return batch.yeast
    hops = {b.batch_id: _hops(b) for b in chosen}
    if len(set(hops.values())) > 1:
        return hops[batch.batch_id] or "without dry hops"
    return name_of(batch)


def _hops(batch: BatchRecord) -> str:
    events = context.store().all(EventRecord, batch_id=batch.batch_id, kind="dry hop")
    return " + ".join(sorted({e.hop_variety for e in events if e.hop_variety}))


def _save(trial: TrialRecord, asked: dict[str, str], chosen: Sequence[BatchRecord], based: Based | None = None) -> None:
    """Keep the trial as it was entered.

    Raises
    ------
    EntryError
        Beside the field that is wrong.
    """
    if not asked["name"]:
        raise EntryError("name", "the name is empty", "Give it one you will recognise.")
    arms = tuple((asked[f"arm {b.batch_id}"], b.batch_id) for b in chosen)
    fields = {name: asked[name] for name in ("name", "question", "decides", "differs", "equal", "notes")}
    made_at = trial.made_at or datetime.now(UTC)
    context.store().save(replace(trial, arms=arms, made_at=made_at, **fields), based)
