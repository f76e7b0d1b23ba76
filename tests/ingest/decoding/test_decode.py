from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from ingest.decoding.decode import Decoded, decode
from ingest.decoding.quantities import QUANTITIES
from ingest.decoding.rules import rule_from
from ingest.model import CLOCK_UNSET, GUESSED_UNIT, NO_CLOCK, RELATIVE, Report

NOW = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
FLOAT = "tunroom/report/float-1"


def take(message: Any, topic: str = FLOAT, rules: Any = ()) -> Decoded:
    payload = message if isinstance(message, bytes) else json.dumps(message).encode()
    return decode(topic, payload, received_at=NOW, rules=rules)


def only(decoded: Decoded) -> Report:
    assert decoded.faults == ()
    [report] = decoded.reports
    return report


def paths(decoded: Decoded) -> list[str]:
    return [fault.path for fault in decoded.faults]


def test_our_own_object_becomes_one_report() -> None:
    report = only(
        take(
            {
                "measured_at": "2026-03-01T09:45:00Z",
                "gravity_sg": 1.048,
                "inclination_deg": 41.2,
                "temperature_c": 19.5,
                "battery_v": 3.9,
                "battery_pct": 80,
                "signal_dbm": -67,
                "sequence": 12,
            }
        )
    )
    assert report == Report(
        device_id="float-1",
        measured_at=NOW - timedelta(minutes=15),
        received_at=NOW,
        gravity_sg=1.048,
        inclination_deg=41.2,
        temperature_c=19.5,
        battery_v=3.9,
        battery_pct=80.0,
        signal_dbm=-67.0,
        sequence=12,
    )


def test_a_null_means_that_the_device_has_no_such_value() -> None:
    report = only(take({"gravity_sg": None, "temperature_c": 19.5, "measured_at": None, "sequence": None}))
    assert (report.gravity_sg, report.temperature_c, report.time_flag) == (None, 19.5, NO_CLOCK)


def test_unknown_keys_are_kept() -> None:
    assert only(take({"temperature_c": 19.5, "firmware": "2.1", "gyro": [1, 2]})).extra == {
        "firmware": "2.1",
        "gyro": [1, 2],
    }


def test_a_list_of_objects_is_a_buffer_in_order() -> None:
    decoded = take(
        [{"measured_at": 1772352000 + at * 900, "gravity_sg": round(1.05 - at * 0.001, 3)} for at in range(3)]
    )
    assert [r.gravity_sg for r in decoded.reports] == [1.05, 1.049, 1.048]
    assert [r.measured_at.minute for r in decoded.reports] == [0, 15, 30]


# Conversions worked out elsewhere: 12 °P is 1.0484 SG in the ASBC table (from memory); water at 20 °C weighs
# 998.2 kg/m³ (CRC Handbook); 68 °F is 20 °C exactly.
@pytest.mark.parametrize(
    ("message", "field", "value", "within"),
    [
        ({"extract_plato": 12.0}, "gravity_sg", 1.0484, 5e-5),
        ({"density_kg_m3": 998.2}, "gravity_sg", 1.0, 2e-5),
        ({"temperature_f": 68.0}, "temperature_c", 20.0, 1e-9),
        ({"battery_mv": 3900}, "battery_v", 3.9, 1e-9),
    ],
)
def test_other_units_are_converted_and_kept_as_sent(
    message: dict[str, float], field: str, value: float, within: float
) -> None:
    report = only(take(message))
    assert getattr(report, field) == pytest.approx(value, abs=within)
    assert report.extra == message


@pytest.mark.parametrize(
    ("message", "path"),
    [
        ({"gravity_sg": "1.048"}, "$.gravity_sg"),
        ({"gravity_sg": True}, "$.gravity_sg"),
        ({"gravity_sg": 1.048, "sequence": "7"}, "$.sequence"),
        ({"gravity_sg": 1.048, "sequence": -1}, "$.sequence"),
        ({"gravity_sg": 1.048, "measured_at": "10:00"}, "$.measured_at"),
        ([{"gravity_sg": 1.048}, 7], "$[1]"),
        (b"", "$"),
        (b"\xff\xfe", "$"),
        (b"{", "$"),
        (b"19.5", "$"),
        (b'{"gravity_sg": NaN}', "$"),
        (b"[" * 100_000, "$"),
        (b'{"gravity_sg": 1' + b"0" * 5000 + b"}", "$"),
        ({"firmware": "2.1"}, "$"),
        ([], "$"),
    ],
)
def test_a_malformed_message_is_rejected_with_the_path_of_its_fault(message: Any, path: str) -> None:
    decoded = take(message)
    assert decoded.reports == ()
    assert paths(decoded) == [path]


def test_every_fault_of_a_message_is_named() -> None:
    decoded = take({"gravity_sg": "1.048", "temperature_c": "19", "sequence": 1.5})
    assert paths(decoded) == ["$.gravity_sg", "$.temperature_c", "$.sequence"]
    assert all(fault.problem and fault.remedy for fault in decoded.faults)


def test_a_value_no_sound_sensor_tells_is_set_aside_and_the_rest_is_taken() -> None:
    decoded = take({"gravity_sg": 1.048, "temperature_c": -127.0})
    assert [r.gravity_sg for r in decoded.reports] == [1.048]
    assert decoded.reports[0].temperature_c is None
    assert paths(decoded) == ["$.temperature_c"]


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda q: q.field)
def test_each_quantity_has_a_range_beyond_which_it_is_a_fault(quantity: Any) -> None:
    assert take({quantity.field: quantity.low}).faults == ()
    assert take({quantity.field: quantity.high}).faults == ()
    assert paths(take({quantity.field: quantity.high + 0.5})) == [f"$.{quantity.field}"]
    assert paths(take({quantity.field: quantity.low - 0.5})) == [f"$.{quantity.field}"]


def test_one_quantity_in_two_units_must_agree() -> None:
    assert only(take({"gravity_sg": 1.0484, "extract_plato": 12.0})).gravity_sg == 1.0484
    assert only(take({"extract_plato": 12.0, "gravity_sg": 1.0484})).gravity_sg == 1.0484
    assert paths(take({"gravity_sg": 1.048, "extract_plato": 20.0})) == ["$.extract_plato"]


@pytest.mark.parametrize("device", ["", "a b", "a/b", "x" * 129, "tab\there"])
def test_an_id_that_cannot_be_one_is_a_fault_of_the_topic(device: str) -> None:
    assert paths(take({"temperature_c": 20}, f"tunroom/report/{device}")) == ["topic"]


def test_a_topic_that_nobody_understands_is_a_fault_that_says_how_to_mend_it() -> None:
    [fault] = take({"temperature_c": 20}, "shed/probe").faults
    assert fault.path == "topic"
    assert "tunroom/report/<device>" in fault.remedy


def test_milliseconds_are_taken_by_declaration_and_guessed_only_with_a_flag() -> None:
    assert only(take({"temperature_c": 20, "measured_at_ms": 1772352000500})).time_flag is None
    assert only(take({"temperature_c": 20, "measured_at": 1772352000500})).time_flag == GUESSED_UNIT
    assert paths(take({"temperature_c": 20, "measured_at": 1772352000, "measured_at_ms": 5})) == ["$"]


def test_an_unset_clock_gives_the_time_of_receipt_and_a_flag() -> None:
    report = only(take({"temperature_c": 20, "measured_at": 17}))
    assert (report.measured_at, report.time_flag, report.own_instant) == (NOW, CLOCK_UNSET, False)


def test_a_senml_pack_becomes_one_report_for_each_instant() -> None:
    decoded = take(
        [
            {"bn": "float-1/", "bt": 1772352000, "n": "gravity", "u": "kg/m3", "v": 1046.5},
            {"n": "temperature", "u": "Cel", "v": 19.5},
            {"n": "battery", "u": "mV", "v": 3900},
            {"n": "inclination", "u": "deg", "v": 41.0, "t": 900},
            {"n": "signal", "u": "dBm", "v": -60, "t": 900},
            {"n": "label", "vs": "shed", "t": 900},
        ]
    )
    assert decoded.faults == ()
    first, second = decoded.reports
    assert (first.device_id, first.temperature_c, first.battery_v) == ("float-1", 19.5, 3.9)
    assert first.gravity_sg == pytest.approx(1046.5 / 998.2, abs=1e-4)
    assert (second.inclination_deg, second.signal_dbm, second.extra) == (41.0, -60.0, {"label": "shed"})
    assert second.measured_at - first.measured_at == timedelta(minutes=15)


def test_senml_relative_times_hang_on_receipt() -> None:
    decoded = take(
        [{"bn": "f/", "n": "temperature", "u": "Cel", "v": 19, "t": -600}, {"n": "temperature", "u": "Cel", "v": 20}]
    )
    assert [(r.measured_at, r.time_flag) for r in decoded.reports] == [
        (NOW - timedelta(minutes=10), RELATIVE),
        (NOW, NO_CLOCK),
    ]


def test_a_gateway_that_names_several_things_makes_each_a_device() -> None:
    # The shape of RFC 8428, section 5.1.6.
    decoded = take(
        [
            {"bn": "shed-1/", "bt": 1772352000, "n": "temperature", "u": "Cel", "v": 19.0},
            {"bn": "shed-2/", "n": "temperature", "u": "Cel", "v": 12.3},
        ],
        "tunroom/report/gateway",
    )
    assert [(r.device_id, r.temperature_c) for r in decoded.reports] == [("shed-1", 19.0), ("shed-2", 12.3)]


def test_where_gateways_are_named_no_other_device_speaks_for_another() -> None:
    pack = [
        {"bn": "float-2:", "n": "gravity", "u": "kg/m3", "v": 1001},
        {"bn": "float-1:", "n": "temperature", "u": "Cel", "v": 19.0},
    ]
    for gateways, taken in ((None, 2), ((), 0), (("hall",), 0), (("float-1",), 2)):
        decoded = decode("tunroom/report/float-1", json.dumps(pack).encode(), received_at=NOW, gateways=gateways)
        assert len(decoded.reports) == taken
        assert bool(decoded.faults) == (taken == 0)
    own = decode("tunroom/report/float-1", b'{"gravity_sg": 1.04}', received_at=NOW, gateways=())
    assert len(own.reports) == 1


def test_a_sensor_named_as_a_whole_tells_its_temperature() -> None:
    # RFC 8428, section 5.1.1: the name is the sensor, the unit says what it measures.
    report = only(take([{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}], "tunroom/report/probe-1"))
    assert (report.device_id, report.temperature_c) == ("probe-1", 23.1)


@pytest.mark.parametrize(
    ("record", "field", "value"),
    [
        ({"n": "extract", "u": "/100", "v": 12.0}, "gravity_sg", 1.0484),
        ({"n": "gravity", "v": 1.048}, "gravity_sg", 1.048),
        ({"n": "gravity_sg", "v": 1.048}, "gravity_sg", 1.048),
        ({"n": "temperature", "u": "K", "v": 293.15}, "temperature_c", 20.0),
        ({"n": "inclination", "u": "rad", "v": 0.5}, "inclination_deg", 28.6479),
        ({"n": "battery", "u": "%EL", "v": 55}, "battery_pct", 55.0),
        ({"n": "battery", "u": "/", "v": 0.55}, "battery_pct", 55.0),
        ({"n": "battery", "u": "V", "v": 3.9}, "battery_v", 3.9),
        ({"n": "rssi", "u": "dBW", "v": -97}, "signal_dbm", -67.0),
    ],
)
def test_senml_units_become_ours(record: dict[str, Any], field: str, value: float) -> None:
    assert getattr(only(take([record])), field) == pytest.approx(value, abs=1e-4)


def test_a_unit_that_does_not_belong_to_the_name_is_kept_beside_the_reading() -> None:
    report = only(take([{"n": "temperature", "u": "Cel", "v": 20}, {"n": "gravity", "u": "m", "v": 3}]))
    assert report.extra == {"gravity": {"v": 3.0, "u": "m"}}


RULES = (
    rule_from(
        {
            "name": "shed",
            "topic": "shed/{device}/state",
            "gravity": {"value": "data.g", "unit": "°P"},
            "temperature": {"value": "data.t", "unit": "°F"},
            "battery": {"value": "mv", "unit": "mV"},
            "measured_at": {"value": "ts", "unit": "ms"},
            "sequence": {"value": "n"},
        }
    ),
    rule_from({"name": "bare", "topic": "garage/{device}/temp", "temperature": {"value": "@", "unit": "°C"}}),
    rule_from({"topic": "loft", "device": "loft-low", "temperature": {"value": "low", "unit": "°C"}}),
    rule_from({"topic": "loft", "device": "loft-high", "temperature": {"value": "high", "unit": "°C"}}),
)


def test_a_rule_reads_a_nested_message() -> None:
    message = {"data": {"g": 12.0, "t": 68}, "mv": 3900, "ts": 1772352000000, "n": 3, "fw": "x"}
    report = only(take(message, "shed/f7/state", RULES))
    assert report.device_id == "f7"
    assert report.gravity_sg == pytest.approx(1.0484, abs=5e-5)
    assert report.temperature_c == pytest.approx(20.0)
    assert (report.battery_v, report.sequence, report.time_flag) == (3.9, 3, None)
    assert report.extra == {"data": {"g": 12.0, "t": 68}, "fw": "x"}


@pytest.mark.parametrize(("payload", "value"), [(b"19.5", 19.5), (b" 7 \n", 7.0), (b"+19.50", 19.5), (b".5", 0.5)])
def test_a_rule_reads_a_bare_number(payload: bytes, value: float) -> None:
    assert only(take(payload, "garage/p1/temp", RULES)).temperature_c == value


@pytest.mark.parametrize("payload", [b"19,5", b"warm", b'"19.5"', b"nan", b"1e999"])
def test_what_is_no_number_is_no_bare_number(payload: bytes) -> None:
    decoded = take(payload, "garage/p1/temp", RULES)
    assert decoded.reports == ()
    assert decoded.faults


def test_several_rules_for_one_topic_make_several_devices() -> None:
    decoded = take({"low": 12, "high": 19}, "loft", RULES)
    assert [(r.device_id, r.temperature_c) for r in decoded.reports] == [("loft-low", 12.0), ("loft-high", 19.0)]


def test_a_rule_that_finds_nothing_is_a_fault() -> None:
    assert paths(take({"other": 1}, "loft", RULES)) == ["$"]


def test_a_rule_wins_over_our_own_forms() -> None:
    rule = rule_from({"topic": "tunroom/report/{device}", "temperature": {"value": "t", "unit": "°C"}})
    assert only(take({"t": 20}, FLOAT, [rule])).temperature_c == 20.0


def test_an_expression_that_fails_on_a_message_is_a_fault_of_that_message() -> None:
    rule = rule_from({"topic": "x/{device}", "temperature": {"value": "avg(t)", "unit": "°C"}})
    decoded = take({"t": "warm"}, "x/p", [rule])
    assert decoded.reports == ()
    assert "the expression fails here" in decoded.faults[0].problem
