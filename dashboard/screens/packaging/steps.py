"""The sheet's inputs in steps on a phone: one group at a time. On a wide screen all stand below one another."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard.templates import Markup, fill

_KEY = "sheet step"


def bar(titles: Sequence[str]) -> str:
    """The steps to choose from; which one is open."""
    if st.session_state.get(_KEY) not in titles:
        st.session_state[_KEY] = titles[0]
    numbers = {title: f"{n} {title}" for n, title in enumerate(titles, start=1)}
    with st.container(key="steps"):
        st.segmented_control(
            "Steps", titles, key=_KEY, required=True, format_func=numbers.__getitem__, label_visibility="collapsed"
        )
    return str(st.session_state[_KEY])


def key_of(title: str) -> str:
    """The key of the container of a step."""
    return "step " + "".join(c if c.isalnum() else "-" for c in title.lower())


def only(titles: Sequence[str], chosen: str) -> Markup:
    """The rule that hides the other steps on a phone; nothing of them is forgotten."""
    hidden = (f".st-key-{key_of(t).replace(' ', '-')}" for t in titles if t != chosen)
    others = ", ".join(f'[data-testid="stLayoutWrapper"]:has(> {each})' for each in hidden)  # its gap goes with it
    rule = f"@media (max-width: 640px) {{ {others} {{ display: none; }} }}" if others else ""
    return fill("<style>{{ rule }}</style>", rule=Markup(rule))


def onward(titles: Sequence[str], chosen: str) -> None:
    """Back and on, large enough for wet hands; on a phone alone."""
    at = list(titles).index(chosen)

    def go(to: str) -> None:
        st.session_state[_KEY] = to

    with st.container(key="step-buttons", horizontal=True):
        if at > 0:
            st.button(f"Back: {titles[at - 1]}", key="step back", on_click=go, args=(titles[at - 1],))
        if at + 1 < len(titles):
            st.button(f"Next: {titles[at + 1]}", key="step next", on_click=go, args=(titles[at + 1],))
