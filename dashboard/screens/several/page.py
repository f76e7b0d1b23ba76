"""How do I enter this once for many vessels?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import streamlit as st

from dashboard.screens.several import divide, events, merge, moves, samples, wort
from dashboard.templates import fill
from dashboard.ui import components

_PARTS: Final[dict[str, tuple[str, Callable[[], None]]]] = {
    "wort": ("One wort", wort.show),
    "event": ("One event", events.show),
    "move": ("One move", moves.show),
    "samples": ("Hand samples", samples.show),
    "divide": ("Divide", divide.show),
    "merge": ("Merge", merge.show),
}


def show() -> None:
    part = st.query_params.get("part", "")
    if part not in _PARTS:
        part = "wort"
    kept = {name: value for name in ("id", "lot") if (value := st.query_params.get(name))}
    st.html(
        components.lead("Once for several vessels")
        + fill(
            '<nav aria-label="What to enter"><ul class="parts">{% for name, label, to in parts %}'
            '<li><a href="{{ to }}" data-go="{{ to }}"{% if name == here %} aria-current="page"{% endif %}>'
            "{{ label }}</a></li>{% endfor %}</ul></nav>",
            parts=[(n, label, components.address("several", part=n, **kept)) for n, (label, _) in _PARTS.items()],
            here=part,
        )
    )
    _PARTS[part][1]()
