"""Where a batch went: asked when its vessel is changed, and when a transfer is logged."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Literal

import streamlit as st

from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import placement
from dashboard.ui import forms
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, Vessel
from ingest.store import move

Reason = Literal["moved", "mistake"]
_REASONS: Final[dict[Reason, str]] = {
    "moved": "it was moved at the time below; its course stays",
    "mistake": "it was never in the one above: a mistake",
}
_ALONG: Final = "Its float and probe went along"
_SAME: Final = "The same one: it came back"


@dataclass(frozen=True, slots=True)
class Change:
    """Why the vessel of a batch was changed: it was moved, or the entry was wrong from pitching on."""

    reason: Reason | None
    at: datetime | None
    devices_too: bool

    @classmethod
    def ask(cls, form: forms.Form) -> Change:
        """The inputs; they count only where another vessel was chosen."""
        with st.expander("If you choose another vessel"):
            reason = form.choice(
                "change", "It changes because", tuple(_REASONS), None, _REASONS.__getitem__, placeholder="Choose one"
            )
            at = form.moment("moved_at", "Moved, if not now", None)
            along = form.tick("devices_too", _ALONG, value=True)
        return cls(reason, at or datetime.now(UTC), along)

    @property
    def moved(self) -> bool:
        """Whether it was another vessel from a time on."""
        return self.reason == "moved"

    def faults(self) -> list[EntryError]:
        """What is missing or cannot be."""
        if self.reason is None:
            asked = "another vessel is chosen, and why is not"
            remedy = 'Open "If you choose another vessel": it was moved at a time, or this corrects a mistake.'
            return [EntryError("vessel_id", asked, remedy)]
        if self.moved and self.at is not None and self.at > datetime.now(UTC):
            return [EntryError("moved_at", "this lies ahead of now", "Enter the move once it is made.")]
        return []


@dataclass(frozen=True, slots=True)
class Target:
    """Into which vessel a batch was transferred."""

    vessel: Vessel | str | None
    devices_too: bool

    @classmethod
    def ask(cls, form: forms.Form, record: BatchRecord) -> Target:
        """The inputs."""
        others = [v for v in placement.vessels(context.store()) if v.vessel_id != record.vessel_id]
        offered: list[Vessel | str] = [*others, _SAME]
        with st.expander("Where it went, of a transfer"):
            vessel = form.choice(
                "target",
                "It went into",
                offered,
                None,
                lambda v: v if isinstance(v, str) else placement.vessel_label(context.store(), v),
                placeholder="Choose a vessel",
            )
            along = form.tick("devices_too", _ALONG, value=True)
        return cls(vessel, along)

    def keep(self, record: BatchRecord, event: EventRecord) -> None:
        """Save the transfer, and with it where the batch is from then on.

        Raises
        ------
        EntryError
            If it is not said where it went, or it cannot have gone there.
        """
        if self.vessel is None:
            raise EntryError("target", "no vessel is chosen", "Say into which it went, so that its readings follow it.")
        if isinstance(self.vessel, str):
            context.store().save(event)
            return
        try:
            move(context.store(), record, self.vessel.vessel_id, event.at, devices_too=self.devices_too, event=event)
        except EntryError as error:
            field = "target" if error.field == "vessel_id" else error.field
            raise EntryError(field, error.problem, error.usual) from error


def quick(record: BatchRecord, name: str, turn: int) -> None:
    """A transfer of just now: where it went, and Save."""
    with forms.entry(name, queries.voice(), save="Save the transfer", shows=turn, border=False) as form:
        target = Target.ask(form, record)
    if form.sent:
        event = EventRecord(batch_id=record.batch_id, kind="transfer", at=datetime.now(UTC))

        def closed() -> None:
            st.session_state["event turn"] = turn + 1

        form.keep(lambda: target.keep(record, event), "Logged: transferred, just now.", then=closed)
