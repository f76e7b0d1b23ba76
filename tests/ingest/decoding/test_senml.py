from __future__ import annotations

import base64
import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.decoding import senml

PUBLISHED = Path(__file__).parents[2] / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8") as file:
        file.readline()  # the source
        return list(csv.DictReader(file))


def packs() -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = {}
    for row in rows("senml.csv"):
        found.setdefault(row["example"], []).append(row)
    return found


def as_sent(row: dict[str, str]) -> dict[str, Any]:
    record: dict[str, Any] = {}
    for label in ("bn", "bu", "n", "u"):
        if row[label]:
            record[label] = row[label]
    for label in ("bt", "bver", "t"):
        if row[label]:
            record[label] = json.loads(row[label])
    if row["value_label"]:
        record[row["value_label"]] = json.loads(row["value"])
    return record


# RFC 8428, sections 2 and 5.1: every example pack, resolved.
@pytest.mark.parametrize("example", packs())
def test_the_examples_of_the_standard_resolve_as_it_says(example: str) -> None:
    expected = [row for row in packs()[example] if row["value_label"]]
    records, faults = senml.resolve([as_sent(row) for row in packs()[example]])
    assert faults == []
    assert [r.full_name for r in records] == [row["resolved_name"] for row in expected]
    assert [r.unit or "" for r in records] == [row["resolved_unit"] for row in expected]
    for record, row in zip(records, expected, strict=True):
        assert record.relative == (row["resolved_time_kind"] == "relative_to_now")
        assert record.time_s == pytest.approx(float(row["resolved_time_s"]), abs=1e-6)
        value = json.loads(row["value"])
        if row["value_label"] == "vd":
            value = base64.urlsafe_b64decode(value + "=" * (-len(value) % 4))
        assert record.value == value


def test_a_base_value_and_a_base_sum_are_added_in() -> None:
    # RFC 8428, section 4.1: "bv" is added to the value, "bs" to the sum.
    pack = [{"bn": "tank:", "bv": 20.0, "bs": 100.0, "n": "a", "v": 1.5, "s": 2.0}, {"n": "b", "v": -0.5}]
    records, faults = senml.resolve(pack)
    assert faults == []
    assert [(r.value, r.sum) for r in records] == [(21.5, 102.0), (19.5, 100.0)]


@pytest.mark.parametrize(("time_s", "relative"), [(2**28 - 1, True), (2**28, False), (-60, True), (0, True)])
def test_times_below_two_to_the_28_are_relative_to_now(time_s: float, relative: bool) -> None:
    # RFC 8428, section 4.5.3.
    [record], _ = senml.resolve([{"n": "a", "t": time_s, "v": 1}])
    assert record.relative is relative


@pytest.mark.parametrize(
    ("pack", "path"),
    [
        ([{"n": "a", "v": "19"}], "$[0].v"),
        ([{"n": "a", "v": 1}, {"n": 7, "v": 1}], "$[1].n"),
        ([{"n": "a", "v": 1, "secret_": 1}], "$[0].secret_"),  # RFC 8428, section 4.4: must be understood
        ([{"n": "a", "v": 1, "bver": 11}], "$[0].bver"),
        ([{"v": 1}], "$[0]"),
        ([{"n": "a", "v": 1, "vs": "b"}], "$[0]"),
        ([{"n": "a", "vd": "a*"}], "$[0].vd"),
        ([{"n": "a", "v": 1}, 3], "$[1]"),
        ([{"n": "a", "bt": 1e308, "t": 1e308, "v": 1}], "$[0]"),
        ([{"n": "a", "v": True}], "$[0].v"),
    ],
)
def test_a_wrong_record_is_named_by_its_path(pack: list[Any], path: str) -> None:
    _, faults = senml.resolve(pack)
    assert [fault.path for fault in faults] == [path]


def test_an_unknown_field_that_may_be_ignored_is_ignored() -> None:
    records, faults = senml.resolve([{"n": "a", "v": 1, "colour": "green"}])
    assert faults == []
    assert len(records) == 1


# RFC 8428 and RFC 8798: the registry's tables.
@pytest.mark.parametrize(
    "row", [r for r in rows("senml_units.csv") if r["kind"] == "secondary"], ids=lambda r: r["unit"]
)
def test_secondary_units_convert_as_registered(row: dict[str, str]) -> None:
    numerator, _, denominator = row["scale"].partition("/")
    scale = float(numerator) / float(denominator or 1)
    value, unit = senml.to_primary(7.0, row["unit"])
    assert unit == row["primary_unit"]
    assert value == pytest.approx(7.0 * scale + float(row["offset"]))


@pytest.mark.parametrize("row", [r for r in rows("senml_units.csv") if r["kind"] == "primary"], ids=lambda r: r["unit"])
def test_primary_units_stay_as_they_are(row: dict[str, str]) -> None:
    assert senml.to_primary(7.0, row["unit"]) == (7.0, row["unit"])


# RFC 8798, section 3: "100 ms" is 0.1 s and "10 dBm" is -20 dBW.
@pytest.mark.parametrize(("value", "unit", "primary"), [(100, "ms", 0.1), (10, "dBm", -20)])
def test_the_conversions_that_the_standard_works_out(value: float, unit: str, primary: float) -> None:
    assert senml.to_primary(value, unit)[0] == pytest.approx(primary)


finite = st.floats(-1e9, 1e9)
plain = st.text("abc:/", min_size=1, max_size=5)
a_record = st.fixed_dictionaries(
    {"n": plain, "v": finite},
    optional={"bn": plain, "bt": finite, "bu": st.sampled_from(["Cel", "V"]), "bv": finite, "t": finite, "u": plain},
)


@given(st.lists(a_record, min_size=1, max_size=8))
def test_a_resolved_pack_resolves_to_itself(pack: list[dict[str, Any]]) -> None:
    records, faults = senml.resolve(pack)
    assert faults == []
    again, _ = senml.resolve(
        [{"n": r.full_name, "t": r.time_s, "v": r.value, **({"u": r.unit} if r.unit else {})} for r in records]
    )
    assert [(r.full_name, r.unit, r.value, r.time_s, r.relative) for r in again] == [
        (r.full_name, r.unit, r.value, r.time_s, r.relative) for r in records
    ]


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=4),
        lambda c: st.lists(c) | st.dictionaries(st.sampled_from(["n", "bn", "v", "t", "bt", "vd", "vs", "x_"]), c),
        max_leaves=12,
    )
)
def test_no_list_makes_resolving_raise(value: Any) -> None:
    if isinstance(value, list):
        senml.resolve(value)
