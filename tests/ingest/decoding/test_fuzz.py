"""Whatever comes: nothing raises, nothing is lost, nothing stops.

``TUNROOM_FUZZ`` sets how many examples are tried: 1,000 in CI, 200,000 by hand.
"""

from __future__ import annotations

import json
import math
import os
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.decoding.decode import decode
from ingest.decoding.deduplication import Arrival
from ingest.decoding.quantities import NATIVE_NAMES, QUANTITIES
from ingest.decoding.rules import rule_from
from ingest.decoding.timestamps import AHEAD_S
from ingest.model import Report
from ingest.pipeline import Pipeline
from ingest.store.store import Store

EXAMPLES = int(os.environ.get("TUNROOM_FUZZ", "500"))
NOW = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)

RULES = (
    rule_from(
        {
            "name": "nested",
            "topic": "shed/{device}/#",
            "gravity": {"value": "data.g || g", "unit": "°P"},
            "temperature": {"value": "to_number(t)", "unit": "°F"},
            "battery": {"value": "max([a, b])", "unit": "%"},
            "measured_at": {"value": "ts"},
            "sequence": {"value": "length(@)"},
        }
    ),
    rule_from({"name": "bare", "topic": "tunroom/report/bare-{device}", "temperature": {"value": "@", "unit": "K"}}),
)

numbers = st.one_of(
    st.floats(),
    st.integers(),
    st.integers(-(10**400), 10**400),
    st.sampled_from([0, -0.0, 1.05, 19.5, 1772352000, 1772352000000, 1e308, -1e308, 5e-324, 2**63, 2**28]),
)
texts = st.one_of(
    st.text(max_size=20), st.sampled_from(["2026-03-01T09:00:00Z", "1.05", "nan", "1937-01-01T12:00:27+00:20"])
)
scalars = st.one_of(st.none(), st.booleans(), numbers, texts)
labels = "measured_at measured_at_ms sequence n bn t bt v vs vb vd bv bs u bu s ut bver x_ g data ts a b"
names = st.sampled_from([*NATIVE_NAMES, *labels.split(), ""]) | st.text(max_size=8)
anything = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(names, inner, max_size=6), max_leaves=20
)

plausible = {
    "gravity_sg": st.floats(0.95, 1.2),
    "temperature_c": st.floats(-10, 60),
    "measured_at": st.one_of(st.integers(1_577_836_800, 1_772_359_200), numbers, texts),
    "sequence": st.integers(0, 10) | numbers,
    "note": anything,
}
objects = st.fixed_dictionaries({}, optional=plausible)
senml_names = st.sampled_from(["gravity", "temperature", "battery", "signal", "sequence", "f/temperature", "a:b", ""])
senml_units = st.sampled_from(["Cel", "K", "kg/m3", "/", "%", "%EL", "V", "mV", "dBm", "deg", "", "furlong"])
records = st.fixed_dictionaries(
    {},
    optional={
        "n": senml_names,
        "bn": st.sampled_from(["f/", "g/", "urn:dev:", ""]),
        "u": senml_units,
        "bu": senml_units,
        "v": st.floats(-100, 2000) | scalars,
        "t": st.floats(-1e6, 1e6) | numbers,
        "bt": st.integers(0, 2_000_000_000) | numbers,
        "vs": texts,
    },
)


def _dumped(value: Any) -> bytes:
    return json.dumps(value).encode("utf-8", "surrogatepass")


@st.composite
def mangled(draw: st.DrawFn) -> bytes:
    """A sound message with bytes cut, doubled or changed."""
    payload = bytearray(_dumped(draw(objects | st.lists(records, min_size=1, max_size=4))))
    for _ in range(draw(st.integers(1, 3))):
        if payload:
            at = draw(st.integers(0, len(payload) - 1))
            change = draw(st.sampled_from(["cut", "double", "set"]))
            if change == "cut":
                del payload[at : at + draw(st.integers(1, 5))]
            elif change == "double":
                payload[at:at] = payload[: draw(st.integers(1, 5))]
            else:
                payload[at] = draw(st.integers(0, 255))
    return bytes(payload)


payloads = st.one_of(
    st.binary(max_size=60),
    anything.map(_dumped),
    objects.map(_dumped),
    st.lists(objects, max_size=4).map(_dumped),
    st.lists(records, min_size=1, max_size=6).map(_dumped),
    mangled(),
    numbers.map(lambda n: _dumped(n) if not isinstance(n, int) or abs(n) < 10**300 else b"1" * 5000),
)
topics = st.one_of(
    st.sampled_from(
        [
            "tunroom/report/float-1",
            "tunroom/report/bare-1",
            "shed/p1/state",
            "shed/p1",
            "tunroom/report/",
            "tunroom/report/a/b",
        ]
    ),
    st.text(max_size=30),
    st.text(max_size=12).map(lambda device: f"tunroom/report/{device}"),
)


def _sound(report: Report, payload: bytes) -> None:
    assert report.payload == payload
    assert report.measured_at.tzinfo is not None
    assert report.measured_at <= NOW + timedelta(seconds=AHEAD_S)
    values = {q.field: getattr(report, q.field) for q in QUANTITIES if getattr(report, q.field) is not None}
    assert values
    for quantity in QUANTITIES:
        value = values.get(quantity.field)
        assert value is None or (math.isfinite(value) and quantity.low <= value <= quantity.high)
    assert report.sequence is None or 0 <= report.sequence < 2**63


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
@given(topics, payloads)
def test_no_message_raises_and_each_is_either_understood_or_faulted(topic: str, payload: bytes) -> None:
    decoded = decode(topic, payload, received_at=NOW, rules=RULES)
    assert decoded.reports or decoded.faults
    for report in decoded.reports:
        _sound(report, payload)
    for fault in decoded.faults:
        # The last net must not be what caught it: each fault knows what is wrong.
        assert "could not be read" not in fault.problem, (topic, payload)
        assert fault.path
        assert fault.remedy
        str(fault).encode("utf-8", "surrogatepass")


@settings(max_examples=max(EXAMPLES // 100, 20), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(topics, payloads), min_size=1, max_size=50, unique=True))
def test_no_batch_stops_the_pipeline_or_loses_bytes(messages: list[tuple[str, bytes]]) -> None:
    heard: list[int] = []

    class Source:
        def acknowledge(self, packet_ids: Any) -> None:
            heard.extend(packet_ids)

        def drop(self) -> None:
            raise AssertionError("the pipeline gave up")

    source = Source()
    with Store.in_memory() as store:
        pipeline = Pipeline(store, rules=RULES)
        pipeline.start()
        for at, (topic, payload) in enumerate(messages):
            pipeline.put(Arrival(topic, payload, NOW + timedelta(milliseconds=at), source, at))
        pipeline.put(
            Arrival("tunroom/report/last", b'{"temperature_c": 1}', NOW + timedelta(seconds=9), source, len(messages))
        )
        assert pipeline.settle(30)
        pipeline.close()
        assert heard == list(range(len(messages) + 1))
        assert any(word.device_id == "last" for word in store.device_statuses())
        rejected = {(r.topic, r.payload) for r in store.rejections(limit=1000)}
        for topic, payload in messages:
            if decode(topic, payload, received_at=NOW, rules=RULES).faults:
                assert (topic, payload) in rejected
