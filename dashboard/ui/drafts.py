"""What is typed into a form is kept in the browser's tab until the store has it, and says that it is not saved."""

from __future__ import annotations

from typing import Final

import streamlit as st

# The key of a form's button is "name/round.digest/save", of an input "name/round.digest/field" (see `forms`); Streamlit
# writes them as classes with hyphens. The digest tells what the form was filled in from: a draft never lies over newer
# figures. The round goes up once it was saved, and the line that says so names the form (see `components.done_line`):
# only then has the draft done its service. One that was sent and never answered stays, and says so: whether the store
# has it nobody knows here. A server that was started again begins its rounds anew. A tab keeps its drafts to itself.
# An input outside of a form is sent as soon as it is left; it is not saved until a run of the page after it has ended.
# That a run began is seen by the page's state, and where it was over too soon for that by the mark of `forms.one_tap`.
# Where it is drawn anew before it was left, because what it was filled in from has changed, the new input gets what was
# half typed, and the focus.
# So it is with what one tap enters, in a container whose key begins with "tap" (see `forms.one_tap`).
_JS: Final = r"""
const load = (window.tunroomLoad ??= String(Math.random()));
const SAVE = /(?:^|\s)st-key-(\S*)-(\d+)-([0-9a-f]{10})-save(?:\s|$)/;
const SAVED = /(?:^|\s)st-key-saved-as-(\S*)-(\d+)-([0-9a-f]{10})-save(?:\s|$)/;
const FIELD = /(?:^|\s)st-key-\S*-\d+-[0-9a-f]{10}-(\S+)/;
const NAMED = /(?:^|\s)st-key-(\S*)-\d+-[0-9a-f]{10}-(\S+)/;
const LOOSE = '[data-testid="stNumberInput"], [data-testid="stTextInput"], [data-testid="stTextArea"]';
const ANSWER_MS = 8000;
const DRAWN_MS = 5000;
const WORDS = {
  typed: "Not saved yet.",
  sent: "Saving …",
  unanswered: "Not saved yet: there is no answer. It is kept here; do not close this tab.",
  lost: "Not saved: the connection is lost. It is kept here; save it when the connection is back.",
  unknown: "Not known to be saved: the connection was lost before the answer. " +
    "Look whether it is there already. If not, save it again; if it is, empty these fields.",
  pressed: "Not saved yet: there is no answer. Do not close this tab.",
  dropped: "Not known to be saved: the connection was lost before the answer. " +
    "Look whether it is there once the connection is back. If not, tap it again.",
};
const TAP = '[class*="st-key-tap-"]';
const OPENS = '[data-testid="stSelectbox"], [data-testid="stMultiSelect"], [data-testid="stDateTimeInput"]';
const enters = (target) => {  // the place of what enters something when it is tapped; opening a list enters nothing
  const tick = 'input[type="checkbox"], input[type="radio"]';
  const control = target.closest?.(`button, ${tick}`) ?? target.closest?.("label")?.querySelector(tick);
  const again = control?.getAttribute("role") === "radio" && control.getAttribute("aria-checked") === "true";
  if (!control || control.disabled || again) return null;
  if (control.closest(OPENS) && !/^(Clear|Remove)/.test(control.getAttribute("aria-label") ?? "")) return null;
  return control.closest(TAP);
};
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
  return found && { form, button, name: found[1], round: found[2], key: `draft ${found[1]} ${found[3]}` };
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
  const at = formOf(input), field = at && fieldOf(input);
  if (!at || !field || input.tunroomSeen === at.key + at.round) return;
  input.tunroomSeen = at.key + at.round;
  const draft = read(at.key);
  // What was typed before this first look is not what the form was filled in with.
  const early = draft?.load === load && draft.fields[field] === input.value;
  input.tunroomFirst = early ? undefined : input.value;
  if (!draft) return;
  if (draft.load === load && Number(at.round) > Number(draft.round)) {
    sessionStorage.removeItem(at.key);
    return;
  }
  const text = draft.fields[field];
  if (text === undefined || text === input.value) return;
  restoring = true;
  typed(input, text);
  restoring = false;
};
const touched = (at, more) => {
  const draft = read(at.key) ?? { fields: {} };
  write(at.key, { ...draft, ...more, round: at.round, load, sent: false });
};
const typedInto = (at, field, input) => {
  const draft = read(at.key), fields = { ...draft?.fields, [field]: input.value };
  if (input.value === input.tunroomFirst) delete fields[field];
  if (Object.keys(fields).length || draft?.chosen) touched(at, { fields });
  else sessionStorage.removeItem(at.key);
};
let chooser = null;
const keep = (event) => {
  if (restoring || !event.isTrusted) return;
  const { target } = event;
  if (target.matches?.('input[type="checkbox"], input[type="radio"]')) {
    const at = formOf(target);
    if (at) touched(at, { chosen: true });
    return;
  }
  const typing = target.matches?.(INPUTS), at = typing && formOf(target), field = typing && fieldOf(target);
  if (at && field) typedInto(at, field, target);
  else if (field && event.type === "input") {
    loose.set(target, { ...loose.get(target), since: null, ran: false, text: target.value, name: nameOf(target) });
  }
};
const loose = new Map(), taps = new Map();
const drawn = (place) => place?.querySelector("i[data-drawn]")?.dataset.drawn;
const left = (event) => {
  const { target } = event, one = loose.get(target);
  const committed = event.type === "change" || event.key === "Enter";
  if (!one || !committed) return;
  loose.set(target, { ...one, since: Date.now(), ran: false, drawn: drawn(target.closest(TAP)) });
  // Chromium says so too of an input that is taken out of the page, and then nothing is sent.
  queueMicrotask(() => { if (!target.isConnected) loose.set(target, one); });
};
const entered = (event) => {
  if (!event.target.matches?.(INPUTS)) return;
  restore(event.target);  // before the first letter, however late the look round the page comes
  event.target.tunroomWas = event.target.value;
};
const send = (event) => {
  const option = event.target.closest?.('[role="option"]');
  if (option && chooser?.isConnected) {
    const at = formOf(chooser);
    if (at) touched(at, { chosen: true });
  }
  const another = option && option.getAttribute("aria-selected") !== "true" && chooser?.isConnected;
  const place = enters(event.target) ?? (another ? chooser.closest(TAP) : null);
  if (place) taps.set(place, { since: Date.now(), ran: false, lost: false, drawn: drawn(place) });
  const button = event.target.closest?.('[data-testid="stFormSubmitButton"]');
  const at = button && formOf(button);
  const draft = at && read(at.key);
  if (!draft || event.target.closest("button")?.disabled) return;
  write(at.key, { ...draft, round: at.round, load, sent: true, at: Date.now() });
};
const app = () => document.querySelector("[data-test-connection-state]");
const connected = () => (app()?.getAttribute("data-test-connection-state") ?? "CONNECTED") === "CONNECTED";
const running = () => app()?.getAttribute("data-test-script-state") === "running";
const nameOf = (input) => matched(input, NAMED)?.slice(1).join("/");
const inherit = (heir, input, one) => {
  loose.delete(input);
  loose.set(heir, { ...one, gone: undefined });
  heir.tunroomWas = heir.value;
  const kind = heir.tagName === "TEXTAREA" ? HTMLTextAreaElement : HTMLInputElement;
  Object.getOwnPropertyDescriptor(kind.prototype, "value").set.call(heir, one.text);
  heir.dispatchEvent(new Event("input", { bubbles: true }));
  if (!document.activeElement || document.activeElement === document.body) heir.focus({ preventScroll: true });
};
const rescue = () => {  // half typed into an input that was drawn anew
  for (const [input, one] of loose) {
    if (input.isConnected || one.since || !one.name) continue;
    one.gone ??= Date.now();
    const heirs = [...document.querySelectorAll(LOOSE)].flatMap((place) => [...place.querySelectorAll(INPUTS)]);
    const heir = heirs.find((each) => !formOf(each) && nameOf(each) === one.name);
    if (heir) inherit(heir, input, one);
    else if (Date.now() - one.gone > DRAWN_MS) loose.delete(input);
  }
};
const stateOf = (at) => {
  const draft = read(at.key);
  if (!draft) return "";
  if (draft.sent && draft.load !== load) return "unknown";
  if (!connected()) return draft.sent ? "unknown" : "lost";
  if (!draft.sent) return "typed";
  return Date.now() - draft.at < ANSWER_MS ? "sent" : "unanswered";
};
const tell = (place, state) => {
  let told = place.querySelector(":scope > .entry-state");
  if (!told) {
    if (!state) return;
    told = document.createElement("p");
    told.className = "entry-state";
    told.setAttribute("role", "status");
    place.appendChild(told);
  }
  if (told.textContent !== (WORDS[state] ?? "")) told.textContent = WORDS[state] ?? "";
};
const states = () => {
  rescue();
  const done = document.querySelector(".st-key-done");
  const of = done?.querySelector('[class*="st-key-saved-as-"]')?.className.match(SAVED)?.[1];
  let older = false;  // what was saved before must not be read as this being saved
  for (const form of document.querySelectorAll('[data-testid="stForm"]')) {
    const at = formOf(form), state = at && stateOf(at);
    if (at) tell(at.button, state);
    if (state) older ||= at.name === of || state === "sent" || state === "unanswered";
  }
  done?.toggleAttribute("data-older", older);
  for (const [input, one] of loose) {
    if (one.gone) continue;  // it is being drawn anew
    const place = input.isConnected && input.closest(LOOSE);
    if (one.since && (running() || drawn(input.closest(TAP)) !== one.drawn)) one.ran = true;
    const same = one.since && input.value === input.tunroomWas;
    if (!place || same || (one.since && one.ran && !running() && connected())) {
      loose.delete(input);
      if (place) tell(place, "");
      continue;
    }
    const waits = one.since && Date.now() - one.since > ANSWER_MS;
    tell(place, !connected() ? "lost" : waits ? "unanswered" : "typed");
  }
};
const watch = () => {  // a run may be over before the next look: whatever began since a tap has answered it
  const at = app();
  if (!at || at.tunroomWatched) return;
  at.tunroomWatched = true;
  new MutationObserver((changes) => {
    if (!changes.some((change) => change.oldValue !== "running")) return;
    for (const one of taps.values()) one.ran = true;
    for (const one of loose.values()) if (one.since) one.ran = true;
  }).observe(at, { attributes: true, attributeFilter: ["data-test-script-state"], attributeOldValue: true });
};
const tapStates = () => {
  watch();
  for (const [place, one] of taps) {
    if (running() || drawn(place) !== one.drawn) one.ran = true;
    if (!connected()) one.lost = true;
    const answered = one.ran && !running() && !one.lost;
    if (!place.isConnected || answered) {
      taps.delete(place);
      tell(place, "");
      continue;
    }
    const waits = Date.now() - one.since;
    tell(place, one.lost ? "dropped" : waits > ANSWER_MS ? "pressed" : waits > 300 ? "sent" : "");
  }
};
const settle = () => {  // at once, so that a page that is loaded anew right after has nothing to ask
  for (const done of document.querySelectorAll('[class*="st-key-saved-as-"]')) {
    const found = done.className.match(SAVED), key = found && `draft ${found[1]} ${found[3]}`;
    if (key && read(key)?.round === found[2]) sessionStorage.removeItem(key);
  }
};
const look = () => {
  for (const input of document.querySelectorAll(`[data-testid="stForm"] :is(${INPUTS})`)) restore(input);
  for (const wrong of document.querySelectorAll('[data-testid="stForm"] .wrong')) {
    const at = formOf(wrong), draft = at && read(at.key);
    if (draft?.sent && wrong.tunroomTold !== draft.at) {
      wrong.tunroomTold = draft.at;
      write(at.key, { ...draft, sent: false });
    }
  }
  settle();
  states();
};
export default function () {
  if (window.tunroomDrafts) return;
  window.tunroomDrafts = true;
  document.addEventListener("input", keep, true);
  document.addEventListener("change", (event) => { keep(event); left(event); }, true);
  document.addEventListener("keydown", left, true);
  document.addEventListener("focusin", (event) => {
    entered(event);
    if (event.target.getAttribute?.("role") === "combobox") chooser = event.target;
  }, true);
  document.addEventListener("click", send, true);
  setInterval(states, 500);
  setInterval(tapStates, 100);
  let waiting = false;
  new MutationObserver(() => {
    settle();
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
