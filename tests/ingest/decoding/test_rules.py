from __future__ import annotations

import json
import re
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


def rule_that_takes(expression: str) -> dict[str, Any]:
    return {"topic": "shed/{device}", "temperature": {"value": expression, "unit": "°C"}}


@pytest.mark.parametrize(
    ("expression", "problem"),
    [
        ("to_string(" + "|".join(["[@,@]"] * 20) + ")", "64 times"),  # 1.5 s and 6 MB from a message of 7 bytes
        ("@" + "|[@,@][]" * 15, "64 times"),
        ("|".join(["map(&[@,@,@], @)"] * 4), "64 times"),
        ("|".join(["{a: [@,@], b: [@,@]}"] * 4), "64 times"),
        ("join(a, b)", "join()"),
        ("!" * 900 + "a", "nested"),
        ("(" * 3000 + "a" + ")" * 3000, "1,000 letters"),  # a RecursionError once
    ],
)
def test_a_rule_that_a_small_message_could_make_work_long_is_refused(expression: str, problem: str) -> None:
    with pytest.raises(SettingsError, match=re.escape(problem)):
        rules.rule_from(rule_that_takes(expression))


@pytest.mark.parametrize(
    "expression",
    [
        "sensors[?kind=='liquid'].value | [0]",
        "to_number(split[0])",
        "join('', parts)",
        "temperature || temp || t",
        "[a, b, c, d, e, f] | sort(@) | [0]",
        "avg(values[*].temp)",
        "sum(map(&to_number(@), values))",
        "(a && b) || c.d.e.f.g.h",
    ],
)
def test_what_a_device_needs_is_no_cost(expression: str) -> None:
    rules.rule_from(rule_that_takes(expression))


def test_a_saved_rule_that_is_refused_today_stays_saved_and_the_others_work(caplog: pytest.LogCaptureFixture) -> None:
    store = Store.in_memory()
    costly = {"name": "old", **rule_that_takes("|".join(["[@,@]"] * 20))}
    store.change_note(rules.RULES_NOTE, json.dumps([costly, {"name": "shed", **rule_that_takes("t")}]), "Saved")
    assert [rule.name for rule in rules.stored_rules(store)] == ["shed"]
    assert "'old' is not used" in caplog.text
    rules.save_rule(store, rules.rule_from({"name": "barn", **rule_that_takes("t")}))
    assert [source["name"] for source in rules.stored_sources(store)] == ["old", "shed", "barn"]


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
