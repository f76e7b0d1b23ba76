"""What is half typed into a form is kept in the browser's tab until it is saved: over Back and over a reload."""

from __future__ import annotations

from typing import Final

import streamlit as st

# The key of a form's button is "name/round.digest/save", of an input "name/round.digest/field" (see `forms`); Streamlit
# writes them as classes with hyphens. The digest tells what the form was filled in from: a draft never lies over newer
# figures. The round goes up once it was saved: then the draft has done its service. A tab keeps its drafts to itself.
_JS: Final = r"""
const load = (window.tunroomLoad ??= String(Math.random()));
const SAVE = /(?:^|\s)st-key-(\S*)-(\d+)-([0-9a-f]{10})-save(?:\s|$)/;
const FIELD = /(?:^|\s)st-key-\S*-\d+-[0-9a-f]{10}-(\S+)/;
const INPUTS = 'textarea, input[type="text"], input[type="number"], input:not([type])';
const matched = (start, pattern) => {
  for (let at = start; at; at = at.parentElement) {
    const found = typeof at.className === "string" && at.className.match(pattern);
    if (found) return found;
  }
  return null;
};
const formOf = (element) => {
  const form = element.closest('[data-testid="stForm"]');
  const button = form && form.querySelector('[data-testid="stFormSubmitButton"]');
  const found = button && matched(button, SAVE);
  return found && { form, round: found[2], key: `draft ${found[1]} ${found[3]}` };
};
const read = (key) => { try { return JSON.parse(sessionStorage.getItem(key)); } catch { return null; } };
const write = (key, draft) => { try { sessionStorage.setItem(key, JSON.stringify(draft)); } catch { } };
const fieldOf = (input) => input.getAttribute("role") === "combobox" ? null : matched(input, FIELD)?.[1];
const typed = (input, text) => {
  const kind = input.tagName === "TEXTAREA" ? HTMLTextAreaElement : HTMLInputElement;
  Object.getOwnPropertyDescriptor(kind.prototype, "value").set.call(input, text);
  input.dispatchEvent(new Event("input", { bubbles: true }));
  input.dispatchEvent(new FocusEvent("focusout", { bubbles: true }));
};
let restoring = false;
const restore = (input) => {
  if (input.tunroomSeen) return;
  const at = formOf(input), field = at && fieldOf(input);
  if (!at || !field) return;
  input.tunroomSeen = true;
  const draft = read(at.key);
  if (!draft) return;
  if (draft.sent ? draft.load !== load || draft.round !== at.round : draft.load === load && draft.round !== at.round) {
    sessionStorage.removeItem(at.key);
    return;
  }
  const text = draft.fields[field];
  if (text === undefined || text === input.value) return;
  restoring = true;
  typed(input, text);
  restoring = false;
};
const keep = (event) => {
  if (restoring || !event.isTrusted) return;
  const at = event.target.matches?.(INPUTS) && formOf(event.target), field = at && fieldOf(event.target);
  if (!field) return;
  const draft = read(at.key) ?? { fields: {} };
  write(at.key, { fields: { ...draft.fields, [field]: event.target.value }, round: at.round, load, sent: false });
};
const send = (event) => {
  const button = event.target.closest?.('[data-testid="stFormSubmitButton"]');
  const at = button && formOf(button), draft = at && read(at.key);
  if (draft) write(at.key, { ...draft, round: at.round, load, sent: true });
};
const look = () => {
  for (const input of document.querySelectorAll(`[data-testid="stForm"] :is(${INPUTS})`)) restore(input);
  for (const wrong of document.querySelectorAll('[data-testid="stForm"] .wrong')) {
    const at = formOf(wrong), draft = at && read(at.key);
    if (draft?.sent) write(at.key, { ...draft, sent: false });
  }
};
export default function () {
  if (window.tunroomDrafts) return;
  window.tunroomDrafts = true;
  document.addEventListener("input", keep, true);
  document.addEventListener("click", send, true);
  let waiting = false;
  new MutationObserver(() => {
    if (waiting) return;
    waiting = true;
    setTimeout(() => { waiting = false; look(); }, 150);
  }).observe(document.body, { childList: true, subtree: true });
  look();
}
"""


def keep() -> None:
    """Keep drafts on this page."""
    st.components.v2.component("tunroom_drafts", js=_JS)(key="drafts")
