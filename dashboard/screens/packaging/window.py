"""Two windows on one sheet: what was changed in another is shown here, and nothing of either is overwritten unseen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from dashboard.ui import Form
from ingest.errors import EntryError

Inputs = dict[str, Any]


@dataclass(slots=True)
class Window:
    """What this window's inputs were drawn from, by key; an input whose turn goes up is drawn anew."""

    shown: Inputs
    turns: dict[str, int] = field(default_factory=dict)
    told: dict[str, str] = field(default_factory=dict)
    """What is to be said beside an input at the next drawing."""
    anew: bool = False

    @classmethod
    def of(cls, batch_id: str, own: Inputs) -> Window:
        """The window on this batch's sheet; one that opens shows what the store has."""
        found = st.session_state.setdefault(_name(batch_id), cls(dict(own)))
        assert isinstance(found, cls)  # noqa: S101 - for the type checker
        found.anew = False
        return found

    @staticmethod
    def forget(batch_id: str) -> None:
        """Open anew at the next drawing."""
        st.session_state.pop(_name(batch_id), None)

    def was(self, key: str, filled_in: Any) -> Any:
        """What an input is drawn from: as this window last saw it."""
        return self.shown.get(key, filled_in)

    def turn(self, key: str) -> int:
        """How often an input was drawn anew."""
        return self.turns.get(key, 0)

    def take(self, key: str, got: Any, filled_in: Any, own: Inputs, words: Callable[[Any], str]) -> None:
        """Lay what was entered over what the store holds (`own`).

        An input that was left alone follows another window. Where both changed it to something else, the store's stays,
        and both values are told.
        """
        was, stored = self.was(key, filled_in), own.get(key, filled_in)
        if got != was and stored in (was, got):
            own[key] = got
            return
        if stored == was:
            return
        self.turns[key] = self.turn(key) + 1
        self.anew = True
        if got != was:
            now, yours = ("nothing" if value is None else words(value) for value in (stored, got))
            self.told[key] = f"changed meanwhile in another window: it now says {now}; your value was {yours}"

    def tell(self, form: Form) -> None:
        """Say beside the inputs what was found at the last drawing."""
        if not self.anew:
            for key, problem in self.told.items():
                form.wrong(EntryError(key, problem, "Yours is not saved; type it again to keep it."))
            self.told.clear()

    def drawn(self, own: Inputs) -> bool:
        """Remember what is shown now; whether the inputs have to be drawn anew."""
        self.shown = dict(own)
        return self.anew


def _name(batch_id: str) -> str:
    return f"window on the sheet of {batch_id}"
