"""Which of these drinks is liked best, when nobody knows which is which?"""

from __future__ import annotations

import streamlit as st

from analysis.wording import Voice, plural
from dashboard import access, context
from dashboard.queries import queries, tastings
from dashboard.screens.tasting import host, making, results
from dashboard.templates import fill
from dashboard.ui import components
from ingest.model import TrialRecord
from ingest.tastings import Tasting


def show() -> None:
    say, store = queries.voice(), context.store()
    tasting = store.get(Tasting, st.query_params.get("id", ""))
    if tasting is None:
        choose(say)
        return
    st.html(fill("<p>{{ back }}</p>", back=components.link("tasting", "← All tastings")))
    if tastings.over(store, tasting):
        results.show(tasting, say)
    else:
        host.show(tasting, say)


def choose(say: Voice) -> None:
    """The tastings there are, and a new one."""
    store = context.store()
    found = tastings.newest_first(store)
    st.html(components.lead("Taste blind, then see what it says" if not found else "Tastings"))
    if found:
        rows = [
            components.Row(components.address("tasting", id=each.tasting_id), each.name, _state(each, say))
            for each in found
        ]
        st.html(components.entries(rows))
    if access.only_looks():
        return
    trial = store.get(TrialRecord, st.query_params.get("trial", ""))
    with st.expander("A new tasting", expanded=not found or trial is not None):
        making.show(say, trial)


def _state(tasting: Tasting, say: Voice) -> str:
    store = context.store()
    drinks = plural(len(tasting.arms), "drink")
    if tastings.over(store, tasting):
        return f"{drinks}, {say.dated(say.local(tasting.at).date())}"
    tasters = tastings.tasters_of(store, tasting)
    done = sum(each.done_at is not None for each in tasters)
    return f"{drinks}, under way: {done} of {len(tasters)} done"
