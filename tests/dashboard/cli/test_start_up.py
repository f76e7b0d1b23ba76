"""Commands that answer and end load what they need and no more: each of these costs a tenth of a second and upwards."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    "numpy", "polars", "scipy", "duckdb", "pyarrow", "streamlit", "plotly", "apprise", "paho", "icalendar", "starlette",
    "asyncio",
)  # fmt: skip
SCRIPT = """
import json, sys
sys.argv = ["tunroom", *json.loads(sys.argv[1])]
from dashboard.__main__ import main
try:
    main()
except SystemExit:
    pass
print("loaded", json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


def loaded(*arguments: str, cwd: Path) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps(arguments)], capture_output=True, text=True, cwd=cwd, check=True,
        env={"PYTHONPATH": str(Path(__file__).parents[3]), "HOME": str(cwd), "PATH": ""},
    )  # fmt: skip
    line = next(line for line in done.stderr.splitlines() if line.startswith("loaded "))
    return set(json.loads(line.removeprefix("loaded "))) & set(HEAVY)


@pytest.mark.parametrize(
    ("arguments", "needs"),
    [
        (["--version"], set()),
        (["--help"], set()),
        (["check"], set()),
        (["decode", "--topic", "tunroom/report/float-1", "--payload", '{"gravity_sg": 1.048}'], set()),
        (["sheet", "--input", "sheet.json"], {"numpy"}),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_a_command_loads_no_more_than_it_needs(tmp_path, arguments, needs):
    (tmp_path / "sheet.json").write_text(
        '{"drink": "ale", "volume_l": 19, "carbonation_volumes": 2.4, "warmest_c": 20}'
    )
    assert loaded(*arguments, cwd=tmp_path) == needs


def test_the_analysis_loads_statistics_and_frames_when_they_are_used(tmp_path):
    script = "import sys, analysis; print([m for m in ('numpy', 'polars', 'scipy.stats') if m in sys.modules])"
    root = str(Path(__file__).parents[3])
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=root, check=True)
    assert done.stdout.strip() == "[]"


def test_the_face_of_the_analysis_gives_what_it_names():
    import analysis

    assert {name for name in analysis.__all__ if not callable(getattr(analysis, name))} == set()
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = analysis.nonsense
