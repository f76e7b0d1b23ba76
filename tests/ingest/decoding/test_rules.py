from __future__ import annotations

from typing import Any

import pytest

from ingest.decoding import rules
from ingest.errors import SettingsError
from ingest.store.store import Store

TAKES = {"temperature": {"value": "t", "unit": "°C"}}


@pytest.mark.parametrize(
    ("pattern", "topic", "device"),
    [
        ("shed/{device}/temp", "shed/p1/temp", "p1"),
        ("shed/{device}/temp", "shed/p1/humidity", None),
        ("shed/{device}/temp", "shed/a/b/temp", None),
        ("shed/probe-{device}/temp", "shed/probe-7/temp", "7"),
        ("+/{device}", "anything/p1", "p1"),
        ("shed/{device}/#", "shed/p1/a/b", "p1"),
        ("shed/{device}/#", "shed/p1", "p1"),  # MQTT 5, section 4.7.1.2: # includes the parent level
        ("a.b/{device}", "aXb/p1", None),
    ],
)
def test_a_topic_pattern_finds_the_device(pattern: str, topic: str, device: str | None) -> None:
    assert rules.rule_from({"topic": pattern, **TAKES}).device_of(topic) == device


@pytest.mark.parametrize(
    ("pattern", "subscribed"),
    [("shed/{device}/temp", "shed/+/temp"), ("shed/probe-{device}/#", "shed/+/#"), ("{device}", "+")],
)
def test_a_pattern_says_what_to_subscribe_to(pattern: str, subscribed: str) -> None:
    assert rules.rule_from({"topic": pattern, **TAKES}).filter == subscribed


@pytest.mark.parametrize(
    ("source", "key", "problem"),
    [
        ({**TAKES}, "topic", "has no topic"),
        ({"topic": "a/b", **TAKES}, "topic", "no place for the device's id"),
        ({"topic": "{device}"}, "topic", "takes nothing"),
        ({"topic": "{device}/{device}", **TAKES}, "topic", "more than once"),
        ({"topic": "a#/{device}", **TAKES}, "topic", "cannot be read"),
        ({"topic": "{device}", "temperature": {"value": "t"}}, "temperature", "no unit is given"),
        ({"topic": "{device}", "temperature": {"value": "t", "unit": "V"}}, "temperature", "'V' is not known"),
        ({"topic": "{device}", "temperature": {"value": "t.", "unit": "°C"}}, "temperature", "no JMESPath expression"),
        ({"topic": "{device}", "temperature": "t"}, "temperature", "needs a value"),
        ({"topic": "{device}", "temprature": "t"}, "temprature", "has no 'temprature'"),
        ({"topic": "{device}", **TAKES, "measured_at": {"value": "x", "unit": "min"}}, "measured_at", "not known"),
        ({"topic": "{device}", **TAKES, "sequence": {"value": "x", "unit": "s"}}, "sequence", "has no unit"),
        ({"topic": 7, **TAKES}, "topic", "expected a text"),
    ],
)
def test_a_wrong_rule_is_refused_where_it_is_wrong(source: dict[str, Any], key: str, problem: str) -> None:
    with pytest.raises(SettingsError) as caught:
        rules.rule_from(source, lambda k: f"line of {k}")
    assert caught.value.where == f"line of {key}"
    assert problem in str(caught.value)


def test_a_saved_rule_comes_back_as_it_was_and_one_of_its_name_replaces_it() -> None:
    store = Store.in_memory()
    first = rules.rule_from({"name": "shed", "topic": "shed/{device}", **TAKES})
    second = rules.rule_from({"name": "shed", "topic": "barn/{device}", **TAKES})
    rules.save_rule(store, first)
    rules.save_rule(store, rules.rule_from({"topic": "loft/{device}", **TAKES}))
    rules.save_rule(store, second)
    assert [(rule.name, rule.topic) for rule in rules.stored_rules(store)] == [
        ("loft/{device}", "loft/{device}"),
        ("shed", "barn/{device}"),
    ]
    rules.remove_rule(store, "shed")
    assert [rule.name for rule in rules.stored_rules(store)] == ["loft/{device}"]
    store.close()
