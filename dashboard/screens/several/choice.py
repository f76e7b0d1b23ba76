"""Which of the batches under way: by lot, each with its vessel."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from analysis.wording import natural
from dashboard import context
from dashboard.ui import forms, plain
from ingest.model import BatchRecord, Vessel
from ingest.store import Store


def label(store: Store, record: BatchRecord) -> str:
    """How a batch is called in a list: its vessel first."""
    vessel = store.get(Vessel, record.vessel_id)
    return f"{vessel.name}: {record.name}" if vessel is not None else record.name


def under_way(store: Store) -> list[BatchRecord]:
    """The batches under way, lot by lot, each lot by its vessels."""
    found = by_vessel(store)
    first: dict[str, int] = {}
    for n, record in enumerate(found):
        first.setdefault(record.lot, n)
    return sorted(found, key=lambda b: first[b.lot])


def by_vessel(store: Store) -> list[BatchRecord]:
    """The batches under way as they stand on the shelf: by the names of their vessels."""
    return sorted(store.active_batches(), key=lambda b: natural(label(store, b)))


def in_pairs(many: int) -> list[DeltaGenerator]:
    """Places two in a row, from left to right; on a phone one below the other, in the same order."""
    return [place for _ in range(0, many, 2) for place in st.columns(2)][:many]


def lots(found: Sequence[BatchRecord]) -> list[str]:
    """The worts that are in more than one vessel."""
    shared = [b.split_of for b in found if b.split_of is not None]
    return [lot for lot in dict.fromkeys(shared) if shared.count(lot) > 1]


def several(form: forms.Form, of: str = "batches", what: str = "Which vessels") -> list[BatchRecord]:
    """Any number of the batches under way; those of the address' lot are chosen already."""
    store = context.store()
    found = under_way(store)
    lot = st.query_params.get("lot")
    ids = [b.batch_id for b in found]
    chosen = [b.batch_id for b in found if lot is not None and b.lot == lot]
    names = {b.batch_id: plain(label(store, b)) for b in found}  # pills are drawn as Markdown
    got = form.several(of, what, ids, chosen, names.__getitem__)
    return [b for b in found if b.batch_id in got]


def lot_links() -> list[tuple[str, str]]:
    """Each lot's name with its size, to choose all of its vessels."""
    found = under_way(context.store())
    return [(lot, f"{lot} ({sum(b.split_of == lot for b in found)})") for lot in lots(found)]
