"""The house keeps its order: rooms speak through their faces, nothing goes in circles, and every test has its room."""

from __future__ import annotations

import ast
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
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
    "ingest/decoding/decode.py:decode": "all but the message itself by name, with what is usual",
    "ingest/transfer/log.py:import_log": "what a person may say of a log: keywords with defaults",
    "sample_data/scenarios.py:_finish": "the simulator's draws, put together once",
    "sample_data/sensors.py:sample": "a course in five arrays, as the simulator hands it on",
    "sample_data/demo_model.py:make_device": "a table of devices: keywords with defaults, each row naming a few",
}
"""Wider signatures, and why."""


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


MODULES = {name_of(path): path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))}
ROOMS = {name for name, path in MODULES.items() if path.name == "__init__.py" and "." in name}


@cache
def imports(path: Path) -> tuple[tuple[str, str], ...]:
    """Every import, late ones and those for type checkers too: the module, and the name that is taken from it."""
    found: list[tuple[str, str]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, "") for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            found += [(node.module, alias.name) for alias in node.names]
    return tuple(found)


def room_of(module: str) -> str | None:
    found = [room for room in ROOMS if module == room or module.startswith(f"{room}.")]
    return max(found, key=len, default=None)


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


def lazy_homes(face: Path) -> dict[str, str]:
    """Where the names of a lazy face live: what it imports for type checkers alone; empty for other modules."""
    text = face.read_text(encoding="utf-8")
    if face.name != "__init__.py" or "attribute_of(" not in text:
        return {}
    return {
        alias.name: node.module
        for block in ast.parse(text).body
        if isinstance(block, ast.If) and isinstance(block.test, ast.Name) and block.test.id == "TYPE_CHECKING"
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.module
        for alias in node.names
    }


def graph(modules: dict[str, Path]) -> dict[str, set[str]]:
    """Which module loads which; what a lazy face gives is loaded by whoever asks for it, not by the face."""
    homes = {name: lazy_homes(path) for name, path in modules.items()}
    edges: dict[str, set[str]] = {name: set() for name in modules}
    for me, path in modules.items():
        for module, name in imports(path):
            if homes[me].get(name) == module:
                continue
            loaded = {f"{module}.{name}" if f"{module}.{name}" in modules else module}
            loaded |= {homes[module][name]} if name in homes.get(module, {}) else set()
            edges[me] |= {each for each in loaded if each in modules and each != me}
    return edges


def test_no_import_goes_in_a_circle_also_not_a_late_one():
    assert circles(graph(MODULES)) == []


@pytest.mark.parametrize(
    ("part", "late"),
    [
        ("dashboard.charts.base", "from dashboard.queries import queries"),
        ("dashboard.charts.palette", "from dashboard.charts import history_figure"),  # by way of a lazy face
        ("analysis.drinks", "from analysis import assess"),
        ("sample_data.kinetics", "import sample_data.scenarios"),
    ],
)
def test_a_late_import_that_closes_a_circle_is_seen(tmp_path, part, late):
    changed = tmp_path / "changed.py"
    changed.write_text(f"{MODULES[part].read_text(encoding='utf-8')}\n\ndef late():\n    {late}\n", encoding="utf-8")
    found = circles(graph({**MODULES, part: changed}))
    assert len(found) == 1
    assert part in found[0]


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


def test_every_dependency_is_held_below_the_next_release_that_may_break_us():
    # What the next one would bring is tried with .ci/newest. A zone file has a year as its version.
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    unbounded = [each for each in project["dependencies"] if "<" not in each]
    assert [each.split(">")[0] for each in unbounded] == ["tzdata"]


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
