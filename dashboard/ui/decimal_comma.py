"""A figure typed into a field of a number is understood as people write it, whatever language the browser speaks."""

from __future__ import annotations

from typing import Final

import streamlit as st

# A browser takes only the decimal sign of its own language in a number, and drops the other without a word: "12,5"
# would become 125. Others take a space or a true minus sign, and then say that nothing was typed. Pasted text is
# treated the same; a point beside the comma is left to the browser, since either may group.
_JS: Final = """
export default function () {
  const figure = (text) => text.replace(/[\\s\\u2019']/g, "").replace("\\u2212", "-");
  const takes = (event, text, shape) => {
    const field = event.target;
    if (field?.tagName !== "INPUT" || field.type !== "number" || !text) return;
    const meant = figure(text);
    if (meant === text && !meant.includes(",")) return;
    if (meant && !shape.test(meant)) return;
    event.preventDefault();
    if (meant) document.execCommand("insertText", false, meant.replace(",", "."));
  };
  const heard = (event) =>
    takes(event, event.data ?? event.dataTransfer?.getData("text/plain"), /^[+-]?\\d*[.,]?\\d*$/);
  const pasted = (event) => takes(event, event.clipboardData?.getData("text/plain"), /^[+-]?\\d*[.,]?\\d+$/);
  document.addEventListener("beforeinput", heard, true);
  document.addEventListener("paste", pasted, true);
  return () => {
    document.removeEventListener("beforeinput", heard, true);
    document.removeEventListener("paste", pasted, true);
  };
}
"""


def listen() -> None:
    """Take figures as they are written on this page."""
    st.components.v2.component("tunroom_decimal_comma", js=_JS)(key="decimal comma")
