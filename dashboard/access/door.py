"""The door before every change: whoever looks at a page may change something only where its session may.

The store asks here before each write, in the thread that is about to write. A page's thread belongs to the websocket
of one visit; threads of the service, which take readings in, belong to none and are not asked. Buttons that are hidden
or cannot be pressed are a courtesy: what counts is asked here.
"""

from __future__ import annotations

from typing import Final

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dashboard.access.gate import VISIT_HEADER, Gate, Visit
from ingest.errors import NotAllowed

_ONLY_LOOKS: Final = (
    "You have signed in to look, so nothing was changed. Sign out, and sign in with the password of whoever keeps this "
    "cellar."
)
_ENDED: Final = "You are no longer signed in, so nothing was changed. Load the page again and sign in."

_gate: Gate | None = None


def set_gate(gate: Gate | None) -> None:
    """Name the gate by which pages are reached from now on; None where there is none, as in a test of one screen."""
    global _gate
    _gate = gate


def notice() -> str:
    """Why the dashboard listens elsewhere than the settings say, as a sentence."""
    return _gate.notice if _gate is not None else ""


def refuse_unless_keeper() -> None:
    """Refuse a change by somebody who only looks, or whose session has ended.

    Raises
    ------
    NotAllowed
        With a sentence for the page.
    """
    if _gate is None or get_script_run_ctx(suppress_warning=True) is None:
        return
    visit = _visit(_gate)
    if visit is None:
        raise NotAllowed(_ENDED)
    if visit.role != "keep":
        raise NotAllowed(_ONLY_LOOKS)


def only_looks() -> bool:
    """Whether this page is shown to somebody who may not change anything."""
    if _gate is None or get_script_run_ctx(suppress_warning=True) is None:
        return False
    visit = _visit(_gate)
    return visit is None or visit.role != "keep"


def can_sign_out() -> bool:
    """Whether this page is shown to somebody who has signed in here."""
    if _gate is None or get_script_run_ctx(suppress_warning=True) is None:
        return False
    visit = _visit(_gate)
    return visit is not None and visit.can_sign_out


def _visit(gate: Gate) -> Visit | None:
    """The visit of the websocket for which this thread makes a page."""
    told = st.context.headers.get(VISIT_HEADER)
    return gate.visit(told) if told else None
