"""Messages that could not be taken in: what is wrong, and a rule that mends them, tried on those that are stored."""

from __future__ import annotations

from typing import Final

import streamlit as st

from analysis.wording import Voice, capital, count, joined, plural
from dashboard import context
from dashboard.queries import queries
from dashboard.screens.sensors import rule_draft
from dashboard.screens.sensors.rule_draft import Group, Leaf
from dashboard.templates import Markup, fill
from dashboard.ui import components, forms
from ingest.decoding import Rule, rule_from, stored_rules
from ingest.errors import EntryError, SettingsError

_QUANTITIES: Final = {
    "gravity": "Gravity",
    "inclination": "Inclination",
    "temperature": "Temperature",
    "battery": "Battery",
    "signal": "Signal",
    "measured_at": "Time of measurement",
    "sequence": "Counter",
}
_OTHER: Final = Leaf("", None)
_SHOWN: Final = 5
_MOST_LISTED: Final = 50
_LONGEST: Final = 120
_MOST_GROUPS: Final = 8


def show() -> None:
    """What was rejected, by topic, and the rules that were made here."""
    say, store = queries.voice(), context.store()
    found = rule_draft.groups(store.rejections())
    waiting = store.counts()["rejected"]
    head = st.container()
    if found:
        head.subheader(f"{capital(plural(waiting, 'message'))} could not be taken in", anchor="rejected")
        head.html(
            '<p class="quiet">Nothing is lost: the bytes are kept until a rule reads them or you dismiss them.</p>'
        )
    for group in found[:_MOST_GROUPS]:
        with st.container(border=True):
            _group(group, say)
    if len(found) > _MOST_GROUPS:
        more = plural(len(found) - _MOST_GROUPS, "more topic")
        st.html(fill('<p class="quiet">{{ more }} follow once these are mended.</p>', more=more))
    _rules()


def _group(group: Group, say: Voice) -> None:
    newest, several = group.messages[0], len(group.messages) > 1
    others = [topic for topic in group.topics if topic != newest.topic]
    also = f" and {joined(others) if len(others) < 4 else plural(len(others), 'other topic')}" if others else ""
    many = plural(len(group.messages), "message")
    st.html(
        fill(
            '<p><b>{{ topic }}</b>{{ also }} <span class="quiet">{{ many }}, the newest {{ age }}</span></p>'
            '<ul class="evidence">{{ faults }}</ul><pre class="copy"><code>{{ payload }}</code></pre>',
            topic=newest.topic,
            also=also,
            many=many,
            age=components.aged(newest.received_at, say),
            faults=components.sentences(map(capital, group.faults[:4])),
            payload=rule_draft.readable(newest.payload),
        )
    )
    # Values of the oldest: what is chosen stands still while newer messages come in.
    found = rule_draft.leaves(group.messages[-1].payload)
    key = f"build {group.key}"
    with st.container(horizontal=True, vertical_alignment="center"):
        building = st.toggle("Build a rule for these", key=key, disabled=not found)
        if forms.tapped("Try again", f"again {group.key}", type="tertiary"):
            _take_again(None)
        ids = [message.rejection_id for message in group.messages]
        label = f"Dismiss all {count(len(group.messages))}" if several else "Dismiss"
        if forms.tapped(label, f"dismiss {group.key}", type="tertiary"):
            said = f"{capital(many)} on {newest.topic} {'are' if several else 'is'} dismissed."
            components.attempt(lambda: context.store().dismiss(ids, f"Dismissed {many} on {newest.topic}"), said)
            st.rerun()
    if building:
        _build(group, found, say)
    if several:
        with st.expander("Each of them"):
            rows = [[say.exact(m.received_at), m.topic, _bytes(m.payload)] for m in group.messages[:_MOST_LISTED]]
            st.html(components.table(["received", "topic", "bytes"], rows, "the messages of this kind"))


def _bytes(payload: bytes) -> str:
    text = " ".join(rule_draft.readable(payload).split())
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def _build(group: Group, found: list[Leaf], say: Voice) -> None:
    """The rule as it grows, and at once what it makes of the stored messages."""
    form = forms.loose(f"rule {group.key}", say)
    left, right = st.columns(2)
    with left:
        topic = form.text(
            "topic", "Topic, with {device} where the id stands", group.topic, help="+ stands for any one level."
        )
    with right:
        device = None
        if "{device}" not in topic:
            device = form.text("device", "The device's id", "", placeholder="such as probe-1")
    takes: dict[str, tuple[str, str | None]] = {}
    columns = st.columns(2, gap="large")
    for n, (quantity, label) in enumerate(_QUANTITIES.items()):
        with columns[2 * n // len(_QUANTITIES)]:
            taken = _take(form, quantity, label, found)
        if taken is not None:
            takes[quantity] = taken
    try:
        rule = rule_from(rule_draft.source_of(topic, topic, takes, device))
    except SettingsError as error:
        field = next((name for name in ("topic", "device", *_QUANTITIES) if error.where.endswith(name)), "")
        form.place(forms.WHOLE_FORM)
        form.wrong(EntryError(field, error.problem, error.remedy))
        return
    form.place(forms.WHOLE_FORM)
    _outcome(rule, group, say)


def _take(form: forms.Form, quantity: str, label: str, found: list[Leaf]) -> tuple[str, str | None] | None:
    guess = rule_draft.likely(quantity, found)
    left, right = st.columns([2, 1])
    with left:
        leaf = form.choice(quantity, label, [*found, _OTHER], guess, _leaf_words, placeholder="not in these messages")
    if leaf is None:
        return None
    expression = leaf.usable
    if leaf is _OTHER or leaf.expression == "":
        with left:
            expression = form.text(f"{quantity} expression", "JMESPath expression", "", placeholder="sensors.liquid")
    units = rule_draft.units_of(quantity)
    unit = None
    if units:
        first = rule_draft.likely_unit(quantity, leaf) if leaf.expression else None
        with right:
            unit = form.choice(f"{quantity} unit of {leaf.expression}", "in", units, first, placeholder="unit")
    return expression, unit


def _leaf_words(leaf: Leaf) -> str:
    if not leaf.expression:
        return "an expression of your own"
    value = f"{leaf.value:.6g}" if isinstance(leaf.value, float) else str(leaf.value)[:40]
    return f"{leaf.expression}: {value}"


def _outcome(rule: Rule, group: Group, say: Voice) -> None:
    broker = context.service().settings.broker
    results = rule_draft.tried(rule, group.messages, broker.prefix, broker.sites)
    good = [r for r in results if r.reports and not r.faults]
    if not results:
        st.html('<p class="wrong" role="status">This topic fits none of the stored messages.</p>')
        return
    rows = [[" · ".join(rule_draft.told(report, say))] for r in good[:_SHOWN] for report in r.reports[:1]]
    st.html(fill('<p role="status"><b>{{ line }}</b></p>', line=_would_read(len(good), len(results))))
    if rows:
        st.html(components.table(["what they become"], rows, "what the messages become"))
    bad = next((r for r in results if r.faults), None)
    if bad is not None:
        st.html(fill('<p class="wrong">{{ faults }}</p>', faults=capital(" ".join(bad.faults[:2]))))
    forms.not_saved()
    if forms.tapped("Save the rule and take them in", f"save {group.key}", type="primary", disabled=not good):
        _take_again(rule)


def _would_read(good: int, of: int) -> str:
    if good == of:
        return "It would read the message." if of == 1 else f"It would read all {plural(of, 'message')}."
    return f"It would read {count(good)} of {plural(of, 'message')}."


def _take_again(rule: Rule | None) -> None:
    service, before = context.service(), components.newest_change()
    taken = service.save_rule(rule) if rule is not None else service.take_again()
    said = f"{capital(plural(taken, 'message'))} {'is' if taken == 1 else 'are'} taken in."
    if rule is not None:
        components.say_done(f"The rule for {rule.topic} is kept. {said} What it read stays, without it too.", before)
    else:
        st.toast(said if taken else "No stored message can be read so far.")
    st.rerun()


def _rules() -> None:
    """The rules made on this page."""
    made = stored_rules(context.store())
    fixed = context.service().settings.rules
    if not made and not fixed:
        return
    st.subheader("Rules")
    for rule in fixed:
        line = '<p>{{ rule }} <span class="quiet">from the settings file</span></p>'
        st.html(fill(line, rule=_rule_words(rule)))
    for rule in made:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(fill("<p>{{ rule }}</p>", rule=_rule_words(rule)))
            if forms.tapped("Remove", f"remove rule {rule.name}", type="tertiary"):
                components.attempt(
                    lambda rule=rule: context.service().remove_rule(rule.name),  # type: ignore[misc]
                    f"The rule for {rule.topic} is removed; what it read stays.",
                )
                st.rerun()


def _rule_words(rule: Rule) -> Markup:
    takes = ", ".join(f"{t.quantity} from {t.expression}" + (f" in {t.unit}" if t.unit else "") for t in rule.takes)
    return fill('<b>{{ topic }}</b> <span class="quiet">{{ takes }}</span>', topic=rule.topic, takes=takes)
