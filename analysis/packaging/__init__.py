"""How to package: gas, pressure, sulfite, sweetening, and what must not be done."""

from analysis.packaging.bottle import PressurePoint
from analysis.packaging.carbonation import PRIMING_SUGARS, volumes_of_fall
from analysis.packaging.fields import Field, field_of, fields
from analysis.packaging.findings import Finding, Remark
from analysis.packaging.follow_up import (
    DANGEROUS,
    HOW_TO_TEST,
    RESULTS,
    Cause,
    FollowUp,
    Result,
    advice,
    bottle_day,
    lesson,
    possible_causes,
)
from analysis.packaging.gap_findings import Answer, InputMissing, LowAlcohol
from analysis.packaging.inputs import Package, SheetInputs
from analysis.packaging.may_ferment import GasCause, MayFerment, may_ferment
from analysis.packaging.of_batch import forced_end, forced_test_agrees, inputs_of
from analysis.packaging.sheet import PackagingSheet, sheet
from analysis.packaging.sweetening import SWEETENERS
from analysis.packaging.validation import SheetInputError, checked

__all__ = [
    "DANGEROUS",
    "HOW_TO_TEST",
    "PRIMING_SUGARS",
    "RESULTS",
    "SWEETENERS",
    "Answer",
    "Cause",
    "Field",
    "Finding",
    "FollowUp",
    "GasCause",
    "InputMissing",
    "LowAlcohol",
    "MayFerment",
    "Package",
    "PackagingSheet",
    "PressurePoint",
    "Remark",
    "Result",
    "SheetInputError",
    "SheetInputs",
    "advice",
    "bottle_day",
    "checked",
    "field_of",
    "fields",
    "forced_end",
    "forced_test_agrees",
    "inputs_of",
    "lesson",
    "may_ferment",
    "possible_causes",
    "sheet",
    "volumes_of_fall",
]
