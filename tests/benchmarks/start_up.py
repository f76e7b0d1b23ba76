"""What it costs to start each command: processor time of the whole process, beside a Python that does nothing.

One command: ``python tests/benchmarks/start_up.py``. It prints the median of several runs, and its ratio
to the baseline.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 7
SHEET = '{"drink": "ale", "volume_l": 19, "carbonation_volumes": 2.4, "warmest_c": 20}'
COMMANDS = {
    "nothing": ["-c", "pass"],
    "--version": ["-m", "dashboard", "--version"],
    "--help": ["-m", "dashboard", "--help"],
    "check": ["-m", "dashboard", "check"],
    "decode": ["-m", "dashboard", "decode", "--topic", "tunroom/report/float-1", "--payload", '{"gravity_sg": 1.048}'],
    "sheet": ["-m", "dashboard", "sheet", "--input", "sheet.json"],
}


def seconds(arguments: list[str], folder: str) -> float:
    """Processor time of one run."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, *arguments], cwd=folder, capture_output=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Run every command in turn, several times, and print the medians."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "sheet.json").write_text(SHEET, encoding="utf-8")
        took: dict[str, list[float]] = {name: [] for name in COMMANDS}
        for _ in range(RUNS + 1):  # the first only warms up
            for name, arguments in COMMANDS.items():
                took[name].append(seconds(arguments, folder))
        baseline = statistics.median(took["nothing"][1:])
        for name, all_of_them in took.items():
            median = statistics.median(all_of_them[1:])
            print(f"{name:10} {median:6.3f} s of the processor, {median / baseline:5.1f} times as much as nothing")


if __name__ == "__main__":
    main()
