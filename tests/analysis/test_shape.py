"""Functions that can be read at a glance, and signatures that can be remembered."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import analysis

PACKAGE = Path(analysis.__file__).parent
LONGEST_LINES = 60
MOST_PARAMETERS = 7

EXCEPTIONS = {
    "packaging/bottle.py:_pressure": "to be cut up with the sheet's untyped answers",
    "packaging/fields.py:_number": "one row of a table of fields, all but two of its parameters by name",
    "planning/plan.py:_hops_then_package": "to be cut up with the plan's own thresholds",
}


def functions(text: str) -> Iterator[tuple[str, int, int]]:
    """Name, lines and parameters (`self` and `cls` do not count) of each function."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            given = node.args
            every = [*given.posonlyargs, *given.args, *given.kwonlyargs, given.vararg, given.kwarg]
            counted = [a for a in every if a is not None and a.arg not in ("self", "cls")]
            yield node.name, (node.end_lineno or node.lineno) - node.lineno + 1, len(counted)


def too_large() -> set[str]:
    found = set()
    for path in sorted(PACKAGE.rglob("*.py")):
        for name, lines, parameters in functions(path.read_text(encoding="utf-8")):
            if lines > LONGEST_LINES or parameters > MOST_PARAMETERS:
                found.add(f"{path.relative_to(PACKAGE).as_posix()}:{name}")
    return found


def test_no_function_is_too_long_or_asks_for_too_much() -> None:
    assert too_large() - set(EXCEPTIONS) == set()


def test_an_exception_that_is_no_longer_one_is_taken_off_the_list() -> None:
    """Of those that still exist: one that was moved or renamed is found by the other test."""
    there = {
        f"{path.relative_to(PACKAGE).as_posix()}:{name}"
        for path in PACKAGE.rglob("*.py")
        for name, _, _ in functions(path.read_text(encoding="utf-8"))
    }
    assert {one for one in EXCEPTIONS if one in there} <= too_large()


def test_what_is_too_large_is_seen() -> None:
    long = "def f():\n" + "    x = 1\n" * LONGEST_LINES
    wide = f"def g(self, {', '.join(f'a{k}' for k in range(MOST_PARAMETERS))}, *, last): ...\n"
    assert [(n, lines > LONGEST_LINES, p > MOST_PARAMETERS) for n, lines, p in functions(long + wide)] == [
        ("f", True, False),
        ("g", False, True),
    ]
