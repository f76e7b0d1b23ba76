"""What folds open is there at once, and is made only for who opens it.

Streamlit lets an expander grow for half a second, on a busy machine for longer, whatever the reader's wish for less
motion (WCAG 2.2, 2.3.3). What stands in it moves meanwhile, and a button that moves between a thumb's going down and
its coming up is not pressed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import streamlit as st

_JS: Final = """
export default function () {
  if (window.tunroomUnfolds) return;
  window.tunroomUnfolds = true;
  HTMLDetailsElement.prototype.animate = function (frames, options) {
    return Element.prototype.animate.call(this, frames, { ...options, duration: 0 });
  };
}
"""


def at_once() -> None:
    """Let nothing on this page grow slowly."""
    st.components.v2.component("tunroom_unfolding", js=_JS)(key="unfolding")


def popover(label: str, key: str, show: Callable[[], None]) -> None:
    """A button below which `show` draws, from when it is opened for the first time on: who only looks waits for none.

    It stays once drawn, with what was typed there. In a fragment no more than the fragment is drawn to open it.
    """
    place, drawn = st.popover(label, key=key, on_change="rerun"), f"drawn in {key}"
    if place.open:
        st.session_state[drawn] = True
    if st.session_state.get(drawn):
        with place:
            show()
