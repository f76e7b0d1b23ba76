"""The house keeps its order: rooms speak through their faces, nothing goes in circles, and every test has its room."""

from __future__ import annotations

import ast
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("analysis", "ingest", "dashboard", "sample_data")
TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "ingest", "analysis", "dashboard", "tests", "sample_data",
    "docker-compose.yml", "LICENSE",
}  # fmt: skip
MOST_LINES = 500
MOST_FUNCTION_LINES = 60
MOST_PARAMETERS = 7

INSIDE = {
    "dashboard.cli": "commands load what they need and no more, so that they answer at once",
    "dashboard.__main__": "as the commands",
    "analysis.__init__": "the face of everything names where each thing lives",
    "analysis.model": "the nouns load the schemas of their frames only where a frame is made",
}
"""Who may look into another room, and why."""

LONG: dict[str, str] = {
    "sample_data/kinetics.py:simulate": "one integration step reads as one",
}
"""Longer functions, and why."""

WIDE: dict[str, str] = {
    "sample_data/scenarios.py:_finish": "the simulator's draws, put together once",
    "sample_data/sensors.py:sample": "a course in five arrays, as the simulator hands it on",
    "sample_data/demo_model.py:make_device": "a table of devices: keywords with defaults, each row naming a few",
}
"""Wider signatures, and why."""


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


MODULES = {name_of(path): path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))}
ROOMS = {name for name, path in MODULES.items() if path.name == "__init__.py" and "." in name}


def imports(path: Path) -> Iterator[tuple[str, str]]:
    """Every import, late ones and those for type checkers too: the module, and the name that is taken from it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from ((node.module, alias.name) for alias in node.names)


def room_of(module: str) -> str | None:
    found = [room for room in ROOMS if module == room or module.startswith(f"{room}.")]
    return max(found, key=len, default=None)


def target(module: str, name: str) -> str | None:
    """The module of ours that an import loads."""
    full = f"{module}.{name}"
    return full if full in MODULES else module if module in MODULES else None


def test_others_speak_to_a_room_through_its_face():
    wrong = []
    for me, path in MODULES.items():
        if any(me == who or me.startswith(f"{who}.") for who in INSIDE) or f"{me}.__init__" in INSIDE:
            continue
        for module, name in imports(path):
            room = room_of(module)
            if room is None or module == room or me == room or me.startswith(f"{room}."):
                continue
            wrong.append(f"{me} takes {name} from inside {room}: import it from {room}, and name it in its face")
    assert not wrong, "\n".join(wrong)


def circles(edges: dict[str, set[str]]) -> list[list[str]]:
    """The strongly connected parts of more than one (Tarjan 1972)."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    found: list[list[str]] = []

    def visit(v: str) -> None:
        index[v] = low[v] = len(index)
        stack.append(v)
        for w in edges[v]:
            if w not in index:
                visit(w)
                low[v] = min(low[v], low[w])
            elif w in stack:
                low[v] = min(low[v], index[w])
        if low[v] == index[v]:
            part = [stack.pop()]
            while part[-1] != v:
                part.append(stack.pop())
            if len(part) > 1:
                found.append(sorted(part))

    for v in list(edges):
        if v not in index:
            visit(v)
    return found


def test_no_import_goes_in_a_circle_also_not_a_late_one():
    edges: dict[str, set[str]] = defaultdict(set)
    for me, path in MODULES.items():
        edges[me] |= {found for m, n in imports(path) if (found := target(m, n)) is not None and found != me}
    lazy = {
        name for name, path in MODULES.items() if "attribute_of(" in path.read_text() and path.name == "__init__.py"
    }
    for name in lazy:  # what a lazy face names for type checkers it loads only when asked
        edges[name] = {"analysis.lazy"}
    assert circles(edges) == []
    assert circles({"a": {"b"}, "b": {"a"}, "c": {"a"}}) == [["a", "b"]]  # and it would see one


def test_at_the_top_stands_what_belongs_there():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_no_file_holds_more_than_one_subject_needs():
    found = {str(p): len(p.read_text(encoding="utf-8").splitlines()) for p in MODULES.values()}
    table = str(MODULES["analysis.thresholds"])  # one home for every number that decides: a table, and it grows
    assert {path: lines for path, lines in found.items() if lines > MOST_LINES and path != table} == {}


def functions() -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for path in MODULES.values():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                yield f"{path.relative_to(ROOT)}:{node.name}", node


def test_functions_are_short_enough_to_be_read_at_once():
    lines = {where: node.end_lineno - node.lineno + 1 for where, node in functions() if node.end_lineno}
    assert {where for where, count in lines.items() if count > MOST_FUNCTION_LINES} == set(LONG)


def test_signatures_name_few_things():
    def count(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
        a = node.args
        given = [*a.posonlyargs, *a.args, *a.kwonlyargs]
        return len(given) - bool(given and given[0].arg in ("self", "cls"))

    assert {where for where, node in functions() if count(node) > MOST_PARAMETERS} == set(WIDE)


def test_tests_mirror_the_packages():
    for package in PACKAGES:
        for folder in (ROOT / "tests" / package).rglob("*"):
            if folder.is_dir() and folder.name != "__pycache__":
                room = ROOT / folder.relative_to(ROOT / "tests")
                assert room.is_dir(), f"{folder} tests no room of {package}"
