from __future__ import annotations

import dataclasses
import typing
from dataclasses import fields
from typing import Any

import pytest
from hypothesis import given, settings

from analysis import packaging
from analysis.display_units import DisplayUnits
from analysis.packaging import SheetInputs, checked
from analysis.packaging.findings import (
    Finding,
    InputMissing,
    NotStabilised,
    Remark,
    caution,
    cautions_of,
    note,
    once,
    refusals_of,
    stop,
    verdict_of,
)
from analysis.packaging.pressure_findings import HoldsMoreThanWished, KegRating
from analysis.wording.sheet import worded
from analysis.wording.sheet_json import ANSWERS, as_json
from tests.analysis.packaging.test_ignorance import sheets
from tests.examples import examples

EXAMPLES: dict[Any, tuple[Any, ...]] = {
    float: (1.5,),
    bool: (True, False),
    str: ("honey",),
    KegRating: (KegRating(900.0, known=True), KegRating(414.0, known=False)),
    HoldsMoreThanWished: (HoldsMoreThanWished(1.2, 1.0),),
    tuple: (("drink", "pH", "finish", "free SO2", "sorbate"),),
    NotStabilised: (Remark.STABILISED_BEER,),
}


def values_of(hint: Any) -> tuple[Any, ...]:
    """Values that a field of a finding may hold; every member where they are few."""
    if hint == NotStabilised:
        return EXAMPLES[NotStabilised]
    if typing.get_origin(hint) is typing.Literal:
        return typing.get_args(hint)
    if typing.get_origin(hint) is tuple:
        return EXAMPLES[tuple]
    if hint is type(None):
        return (None,)
    inner = typing.get_args(hint)
    if inner:
        return tuple(each for one in inner if type(one) is not typing.Literal for each in values_of(one))
    return EXAMPLES.get(hint, (Remark.STABILISED_BEER,))


def of_each_kind() -> list[Finding]:
    """A finding of each kind in the union, once with the first and once with the last value of each field."""
    found: list[Finding] = list(Remark)
    for kind in typing.get_args(Finding):
        if kind is Remark:
            continue
        hints = typing.get_type_hints(kind)
        for which in (0, -1):
            given = {each.name: values_of(hints[each.name])[which] for each in fields(kind)}
            if kind is InputMissing:
                key = ("package", "volume_l")[which]
                given = {"key": key, "answers": (("verdict",), ("acid", "verdict"))[which]}
            found.append(kind(**given))
    return found


def test_the_inputs_have_one_attribute_for_each_field_and_no_other() -> None:
    hints = typing.get_type_hints(SheetInputs)
    assert [each.name for each in fields(SheetInputs)] == [field.key for field in packaging.fields()]
    for field in packaging.fields():
        took = typing.get_args(hints[field.key])
        assert type(None) in took, field.key
        assert (float in took) == (field.kind == "number"), field.key
        assert (bool in took) == (field.kind == "yes or no"), field.key


def test_inputs_and_sheet_cannot_be_changed_after_they_are_made() -> None:
    inputs = checked({"volume_l": 19, "package": None})
    assert inputs == SheetInputs(volume_l=19.0)
    assert inputs.given() == {"volume_l": 19.0}
    with pytest.raises(dataclasses.FrozenInstanceError):
        inputs.volume_l = 3.0  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        packaging.sheet({}).priming_g = 3.0  # type: ignore[misc]


@pytest.mark.parametrize("finding", of_each_kind(), ids=lambda f: getattr(f, "name", type(f).__name__))
def test_every_finding_has_words_in_every_unit(finding: Finding) -> None:
    for units in (DisplayUnits(), DisplayUnits("°P", "°F", "psi"), DisplayUnits(pressure_unit="bar")):
        sentence = worded(finding, units)
        assert sentence.strip().endswith(".") or sentence == ""
        assert "None" not in sentence
        if units.pressure_unit == "psi":
            assert "kPa" not in sentence


def test_the_verdict_follows_from_the_most_severe_finding() -> None:
    worth, care = note(Remark.COUNTED_AS_STILL), caution(Remark.NO_HAND_SAMPLE)
    lifted, refused = stop(Remark.FINISH_NOT_SAID, refuse=False), stop(Remark.NOT_FINISHED)
    assert verdict_of([]) == verdict_of([worth]) == "go"
    assert verdict_of([care, worth]) == "caution"
    assert verdict_of([care, lifted, worth]) == verdict_of([refused, care]) == "stop"
    found = [care, refused, lifted, worth, care]
    assert refusals_of(found) == (Remark.NOT_FINISHED,)
    assert once(cautions_of(found)) == (Remark.NO_HAND_SAMPLE, Remark.FINISH_NOT_SAID, Remark.COUNTED_AS_STILL)


@given(sheets())
@settings(max_examples=examples(30), deadline=None)
def test_the_json_has_each_answer_under_its_key_and_says_each_finding(inputs: dict[str, Any]) -> None:
    sheet = packaging.sheet(inputs)
    answer = as_json(sheet, DisplayUnits())
    assert all(answer[key] == getattr(sheet, key) for key in ANSWERS)
    for key in ("refusals", "cautions"):
        assert answer[key] == [worded(each, DisplayUnits()) for each in getattr(sheet, key)]
        assert len(set(answer[key])) == len(answer[key])
    named = {each.name for each in fields(sheet)} | {"checklist", "unsaid"}
    assert set(answer) <= named - {"inputs"}
