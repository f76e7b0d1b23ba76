"""A comma typed into a field of a number is its point, whatever language the browser speaks."""

from __future__ import annotations

from typing import Final

import streamlit as st

# A browser takes only the decimal sign of its own language in a number, and drops the other without a word: "12,5"
# would become 125. Pasted text is treated the same; a point beside the comma is left to the browser, since either
# may group.
_JS: Final = """
export default function () {
  const heard = (event) => {
    const field = event.target;
    if (field?.tagName !== "INPUT" || field.type !== "number") return;
    const typed = event.data ?? event.dataTransfer?.getData("text/plain") ?? "";
    const meant = typed.trim();
    if (!/^[+-]?\\d*,\\d*$/.test(meant)) return;
    event.preventDefault();
    document.execCommand("insertText", false, meant.replace(",", "."));
  };
  const pasted = (event) => {
    const field = event.target;
    if (field?.tagName !== "INPUT" || field.type !== "number") return;
    const meant = (event.clipboardData?.getData("text/plain") ?? "").trim();
    if (!/^[+-]?\\d*,\\d+$/.test(meant)) return;
    event.preventDefault();
    document.execCommand("insertText", false, meant.replace(",", "."));
  };
  document.addEventListener("beforeinput", heard, true);
  document.addEventListener("paste", pasted, true);
  return () => {
    document.removeEventListener("beforeinput", heard, true);
    document.removeEventListener("paste", pasted, true);
  };
}
"""


def listen() -> None:
    """Take commas on this page."""
    st.components.v2.component("tunroom_decimal_comma", js=_JS)(key="decimal comma")
