"""Numbers that decide: each with unit, meaning and source, used where it is said to be, and in one place."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import analysis
from analysis import thresholds
from tests.documents import NotInFormError, as_markdown, thresholds_table

PACKAGE = Path(analysis.__file__).parent


def test_each_has_unit_meaning_and_source() -> None:
    rows = thresholds_table()
    names = {name for name in vars(thresholds) if name.isupper()}
    assert {row.name for row in rows} == names
    assert all(row.subject and row.value is not None for row in rows)
    assert len({row.name for row in rows}) == len(rows)


@pytest.mark.parametrize(
    "text",
    [
        "LIMIT_SG: Final = 0.001",
        'LIMIT_SG: Final = 0.001\n"""A limit."""',
        'LIMIT_SG: Final = 0.001\n"""SG; a limit."""',
        'LIMIT_SG: Final = 0.001\n"""A limit. Source: common practice."""',
    ],
)
def test_one_that_lacks_any_of_them_is_named(text: str) -> None:
    with pytest.raises(NotInFormError, match="LIMIT_SG, line 1"):
        thresholds_table(text)


def test_the_unit_in_a_name_is_the_unit_that_is_said() -> None:
    units = {"SG": "SG", "C": "°C", "H": "hours", "DAYS": "days", "SD": "standard deviations"}
    for row in thresholds_table():
        ending = row.name.rsplit("_", 1)[-1]
        if ending in units and not row.name.endswith("_SG_H"):
            assert units[ending] in row.unit, row.name


def test_each_is_read_by_the_analysis() -> None:
    text = "\n".join(p.read_text(encoding="utf-8") for p in PACKAGE.rglob("*.py") if p.name != "thresholds.py")
    own = (PACKAGE / "thresholds.py").read_text(encoding="utf-8")
    for row in thresholds_table():
        assert re.search(rf"\b{row.name}\b", text) or re.search(rf"= {row.name}\b", own), row.name


ROOMS = ("assessment", "fermentation", "inference", "readings")
"""Those that take all their thresholds from the module."""


def test_no_other_module_has_one_of_its_own() -> None:
    """A constant of the same name elsewhere would be a second home."""
    names = {row.name for row in thresholds_table()}
    for path in (path for room in ROOMS for path in (PACKAGE / room).glob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.AnnAssign | ast.Assign):
                target = node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
                assert ast.unparse(target).lstrip("_") not in names, (path.name, ast.unparse(target))


def test_the_table_can_be_printed() -> None:
    table = as_markdown(thresholds_table())
    assert "| `STEADY_SG` | 0.001 | SG |" in table
    assert table.count("\n| `") == len(thresholds_table())
