from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import jmespath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.screens.sensors import rule_draft
from dashboard.screens.sensors.rule_draft import Leaf
from ingest.decoding.rules import rule_from
from ingest.model import Rejection

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
SHED = {"ts": 1795600800000, "sensors": {"liquid": 68.0, "air": 61.2}, "power": {"mv": 3900}, "ok": True}


def rejected(topic: str, document: object) -> Rejection:
    return Rejection(topic=topic, payload=json.dumps(document).encode(), received_at=NOW, faults=("$: no rule",))


def test_every_single_value_of_a_message_is_offered_with_its_expression():
    found = rule_draft.leaves(json.dumps(SHED).encode())
    assert [(leaf.expression, leaf.value) for leaf in found] == [
        ("ts", 1795600800000),
        ("sensors.liquid", 68.0),
        ("sensors.air", 61.2),
        ("power.mv", 3900),
    ]


names = st.text(min_size=1, max_size=8)
documents = st.recursive(
    st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**40), 2**40) | st.text(max_size=8),
    lambda inner: st.dictionaries(names, inner, max_size=4) | st.lists(inner, max_size=3),
    max_leaves=12,
)


@given(documents)
def test_each_offered_expression_finds_its_value_by_jmespath_itself(document):
    for leaf in rule_draft.leaves(json.dumps(document).encode()):
        if isinstance(document, dict | list):
            assert jmespath.search(leaf.expression, document) == leaf.value


def test_a_bare_number_is_the_document_itself():
    assert rule_draft.leaves(b"21.5") == [Leaf("@", 21.5)]
    assert rule_draft.leaves(b"21.5 warm") == [Leaf("@", "21.5 warm")]
    assert rule_draft.leaves(b"\xff\xfe") == []


def test_a_number_sent_as_text_is_turned_into_one_by_the_rule():
    assert Leaf("gravity", "1.048").usable == "to_number(gravity)"
    assert Leaf("gravity", 1.048).usable == "gravity"


def test_topics_that_differ_in_one_level_are_one_group_with_the_device_there():
    found = rule_draft.groups(
        [rejected("shed/oak-1/state", SHED), rejected("shed/oak-2/state", SHED), rejected("x", 1)]
    )
    assert {group.topic: len(group.messages) for group in found} == {"shed/{device}/state": 2, "x": 1}


@pytest.mark.parametrize(
    ("topic", "pattern"),
    [("barn/oak7/state", "barn/{device}/state"), ("barn/state", "barn/{device}"), ("alone", "alone")],
)
def test_a_single_topic_gets_the_device_where_an_id_is_likely(topic, pattern):
    assert [group.topic for group in rule_draft.groups([rejected(topic, SHED)])] == [pattern]


@pytest.mark.parametrize(
    ("quantity", "value", "unit"),
    [
        ("gravity", 1.048, "SG"),
        ("gravity", 11.9, "°P"),
        ("gravity", 1046.1, "kg/m³"),
        ("temperature", 19.5, "°C"),
        ("temperature", 67.1, "°F"),
        ("temperature", 292.6, "K"),
        ("battery", 3.9, "V"),
        ("battery", 3900, "mV"),
        ("battery", 87, "%"),
        ("measured_at", 1795600800, "s"),
        ("measured_at", 1795600800000, "ms"),
        ("measured_at", "2026-11-25T10:00:00Z", "RFC 3339"),
    ],
)
def test_the_unit_is_guessed_from_the_size_of_the_value(quantity, value, unit):
    assert rule_draft.likely_unit(quantity, Leaf("x", value)) == unit
    assert unit in rule_draft.units_of(quantity)


def test_a_guessed_rule_reads_the_messages_it_was_made_from():
    messages = [rejected("shed/oak-1/state", SHED), rejected("shed/oak-2/state", SHED)]
    found = rule_draft.leaves(messages[0].payload)
    takes = {}
    for quantity in ("temperature", "battery", "measured_at"):
        leaf = rule_draft.likely(quantity, found)
        assert leaf is not None
        takes[quantity] = (leaf.usable, rule_draft.likely_unit(quantity, leaf))
    rule = rule_from(rule_draft.source_of("shed", "shed/{device}/state", takes))
    results = rule_draft.tried(rule, messages, "tunroom")
    assert [r.faults for r in results] == [(), ()]
    report = results[0].reports[0]
    assert report.device_id == "oak-1"
    # 68 °F is 20 °C: the definition of the Fahrenheit scale.
    assert report.temperature_c == pytest.approx(20.0)
    assert report.battery_v == pytest.approx(3.9)
    assert report.measured_at == NOW


def test_messages_of_other_topics_are_left_out_of_a_trial():
    rule = rule_from(rule_draft.source_of("r", "shed/{device}/state", {"temperature": ("sensors.liquid", "°F")}))
    assert rule_draft.tried(rule, [rejected("barn/oak-1/state", SHED)], "tunroom") == []


def test_messages_of_another_shape_are_another_group_though_their_topics_are_alike():
    messages = [
        rejected("tunroom/report/float-3", {"sg": "1.05"}),
        rejected("tunroom/report/float-5", {"grav": 12.4, "t": 68}),
        rejected("tunroom/report/float-6", {"gravity_sg": 7}),
        rejected("tunroom/report/float-7", {"gravity_sg": 8}),
    ]
    found = rule_draft.groups(messages)
    assert sorted(group.topics for group in found) == [
        ("tunroom/report/float-3",),
        ("tunroom/report/float-5",),
        ("tunroom/report/float-6", "tunroom/report/float-7"),
    ]
    assert {group.topic for group in found} == {"tunroom/report/{device}"}
    assert len({group.key for group in found}) == 3
    assert sorted(m.topic for group in found for m in group.messages) == sorted(m.topic for m in messages)


def test_a_group_that_comes_up_later_does_not_push_the_others_about():
    first = [Rejection(topic="a", payload=b"{}", received_at=NOW, faults=("$: x",))]
    later = NOW + timedelta(hours=1)
    more = [
        Rejection(topic="b/c/d", payload=b"1", received_at=later, faults=("$: x",)),
        Rejection(topic="a", payload=b"{}", received_at=later, faults=("$: x",)),
    ]
    assert rule_draft.groups([*more, *first])[0].topic == rule_draft.groups(first)[0].topic
