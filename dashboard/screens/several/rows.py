"""A row a vessel: what differs between the vessels of one form."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import streamlit as st

from analysis.wording import count
from dashboard import context
from dashboard.screens.sensors import floats, placement
from dashboard.templates import fill
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, Device, Vessel
from ingest.store import Store

MOST: Final = 60
"""Rows that one form offers; a cellar has a few dozen vessels."""


@dataclass(frozen=True, slots=True)
class Row:
    """One vessel: by name, for a new one may be typed; its yeast, its volume in litres, its float."""

    number: int
    vessel: str
    yeast: str | None
    volume_l: float | None
    device: Device | None

    def field(self, name: str) -> str:
        """The name of an input of this row."""
        return f"{name}/{self.number}"


def free_vessels(store: Store) -> list[Vessel]:
    """Vessels that hold nothing now, by name."""
    return [v for v in placement.vessels(store) if store.batch_in(v.vessel_id) is None]


def ask(form: forms.Form, number: int, *, yeasts: Sequence[str] | None, vessel: Vessel | None = None) -> Row:
    """The inputs of one row; without `yeasts` all have the same, and `vessel` is the one it starts with."""
    store = context.store()
    # Counted in words: "Vessel 1" may be the name of one of them.
    st.html(fill('<h3 class="row">Part {{ n }}</h3>', n=count(number + 1)))
    known = [v.name for v in free_vessels(store)]
    offered = [vessel.name, *known] if vessel is not None else known
    with st.container(key=f"four {form.name} {number}"):
        first, second, third, fourth = st.columns(4)
        with first:
            name = form.choice(
                f"vessel_id/{number}",
                "Vessel",
                offered,
                vessel.name if vessel is not None else None,
                accept_new_options=True,
                placeholder="Choose",
            )
        with second:
            volume = form.number(f"volume_l/{number}", "Volume", None, "volume", placeholder="not known")
        with third:
            chosen = None
            if yeasts is not None:
                chosen = form.choice(
                    f"yeast/{number}", "Yeast", yeasts, None, accept_new_options=True, placeholder="as for all"
                )
        with fourth:
            device = form.choice(
                f"device_id/{number}",
                "Float",
                floats.every(store),
                None,
                lambda d: floats.label(store, d),
                placeholder="none",
            )
    return Row(number, (name or "").strip(), (chosen or "").strip() or None, volume, device)


def filled(rows: Sequence[Row]) -> list[Row]:
    """The rows that name a vessel.

    Raises
    ------
    EntryError
        If none does, or two name the same vessel or float.
    """
    found = [row for row in rows if row.vessel]
    if not found:
        raise EntryError("vessel_id/0", "no vessel is chosen", "Choose one in each row that you use.")
    for n, row in enumerate(found):
        for other in found[:n]:
            if other.vessel.casefold() == row.vessel.casefold():
                raise EntryError(row.field("vessel_id"), f"{row.vessel} stands in two rows", "Choose another vessel.")
            if row.device is not None and other.device == row.device:
                raise EntryError(row.field("device_id"), "this float stands in two rows", "A float is in one vessel.")
    return found


def vessel_of(store: Store, row: Row) -> tuple[Vessel, bool]:
    """The vessel that a row names, and whether it is new."""
    for vessel in store.all(Vessel):
        if vessel.name.casefold() == row.vessel.casefold():
            return vessel, False
    return Vessel(name=row.vessel, volume_l=None), True


def check_free(store: Store, row: Row, vessel: Vessel, at: datetime, but: BatchRecord | None = None) -> None:
    """Refuse a vessel in which a batch is at that time, or one comes later.

    Raises
    ------
    EntryError
        Beside the row.
    """
    for span in store.batches_in(vessel.vessel_id):
        other, leaves = span.batch, span.to_at
        if (but is None or other.batch_id != but.batch_id) and (leaves is None or leaves > at):
            problem = f"{vessel.name} is taken by {other.name} at that time"
            raise EntryError(row.field("vessel_id"), problem, "End that batch first, or choose another vessel.")


def at_row(row: Row, error: EntryError) -> EntryError:
    """The same error beside the input of its row."""
    words = error.words
    return EntryError(row.field(error.field), error.problem, error.usual, words)


@contextmanager
def beside(row: Row) -> Iterator[None]:
    """What is wrong within belongs beside the inputs of this row."""
    try:
        yield
    except EntryError as error:
        raise (error if "/" in error.field else at_row(row, error)) from None
