"""Proves that moving code changed nothing: writes what one tree says to a file, and compares two such files.

``python tests/benchmarks/equivalence.py dump before.json`` on the old tree, ``dump after.json`` on the new one, then
``compare before.json after.json``, which prints every difference with its path and ends with status 1 if there is one.

What a dump holds:

- *assessments* of looks at simulated fermentations of two tuning sets, one of each family, with what each set's
  earlier batches teach, most of them chained by `previous`; every field, and the plans made from it;
- *sheets*: random packaging sheets with their answers, text and page, a fifth of them unusable in some way;
- *screens*: every page of the demo that a link leads to, at a fixed moment, element by element as the browser gets
  it, figures included; calendar feeds, MQTT verdicts, messages, exported readings, and what the commands print;
- *written*: for each function, class and constant the literals and operators in its source, whatever module it stands
  in. This finds what no example happens to meet: a threshold between two examples, a sentence that nobody saw.

What it does not prove: that anything is right; what a page does when something is typed or pressed; threads, wires,
speed; that names and calls in a function's source are the same where no example runs through it. Ids and tokens are
numbered, "now" is fixed, numbers are kept to ten significant digits.
"""

from __future__ import annotations

import argparse
import json
import logging
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
# Not this file's own folder, which holds files named like the packages.
sys.path[:] = [str(ROOT), *(p for p in sys.path if Path(p or ".").resolve() != Path(__file__).resolve().parent)]

from ingest import threads  # noqa: E402
from tests.benchmarks.equivalence_parts import assessments, sheets, written  # noqa: E402
from tests.benchmarks.equivalence_places import canonical  # noqa: E402
from tests.benchmarks.equivalence_screens import screens  # noqa: E402


def flat(thing: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value with its path; what is empty counts as a value."""
    if isinstance(thing, dict | list) and thing:
        pairs = thing.items() if isinstance(thing, dict) else enumerate(thing)
        for key, value in pairs:
            yield from flat(value, f"{path} / {key}" if path else str(key))
    else:
        yield path, thing


def apart(before: Any, after: Any) -> str:
    """Two values, long texts only around where they part."""
    if not (isinstance(before, str) and isinstance(after, str)) or len(before) + len(after) < 160:
        return f"{before!r} → {after!r}"
    at = next((k for k, (x, y) in enumerate(zip(before, after, strict=False)) if x != y), min(len(before), len(after)))
    start = max(at - 40, 0)
    return f"at {at}: {before[start : at + 60]!r} → {after[start : at + 60]!r}"


def compare(before: Path, after: Path, renamed: Sequence[str]) -> int:
    """Print every difference; return the exit status."""
    old, new = (dict(flat(json.loads(path.read_text(encoding="utf-8")))) for path in (before, after))
    for pair in renamed:
        was, _, now = pair.partition("=")
        moved = {re.sub(rf"(?<!\w){re.escape(was)}(?!\w)", lambda _, now=now: now, p): v for p, v in old.items()}
        if len(moved) < len(old):
            raise SystemExit(f"--renamed {pair}: {now} stands beside {was} already; they cannot be told apart.")
        old = moved
    gone = [p for p in old if p not in new]
    come = [p for p in new if p not in old]
    other = [p for p in old if p in new and old[p] != new[p]]
    for path in gone:
        print(f"gone   {path}: {apart(old[path], '')}")
    for path in come:
        print(f"new    {path}: {apart('', new[path])}")
    for path in other:
        print(f"other  {path}: {apart(old[path], new[path])}")
    print(f"{len(old)} values before, {len(new)} after: {len(other)} other, {len(gone)} gone, {len(come)} new.")
    return 1 if gone or come or other else 0


def dump(args: argparse.Namespace) -> int:
    """Write everything that the tree says; return the exit status."""
    logging.disable(logging.WARNING)
    canonical.places[str(ROOT)] = "<tree>"
    parts: dict[str, Callable[[], Any]] = {
        "written": written,
        "assessments": lambda: assessments(args.looks),
        "sheets": lambda: sheets(args.sheets),
    }
    said = {}
    with tempfile.TemporaryDirectory() as folder:
        if not args.no_screens:
            parts["screens"] = lambda: screens(Path(folder))
        for name, part in parts.items():
            began = time.monotonic()
            said[name] = part()
            sys.stderr.write(f"{name}: {sum(1 for _ in flat(said[name]))} values, {time.monotonic() - began:.0f} s\n")
    args.file.write_text(json.dumps(said, ensure_ascii=False, indent=1), encoding="utf-8")
    return 0


def main() -> int:
    """Read the options, dump or compare."""
    threads.one_for_linear_algebra()
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="command", required=True)
    sub = commands.add_parser("dump", help="write what the tree says")
    sub.add_argument("file", type=Path)
    sub.add_argument("--looks", type=int, default=200, help="how many assessments")
    sub.add_argument("--sheets", type=int, default=500, help="how many packaging sheets")
    sub.add_argument("--no-screens", action="store_true", help="without pages, feeds, messages and commands")
    sub = commands.add_parser("compare", help="print what differs between two files; status 1 if anything does")
    sub.add_argument("before", type=Path)
    sub.add_argument("after", type=Path)
    sub.add_argument("--renamed", nargs="+", default=[], metavar="OLD=NEW", help="names in paths that changed")
    args = parser.parse_args()
    return dump(args) if args.command == "dump" else compare(args.before, args.after, args.renamed)


if __name__ == "__main__":
    sys.exit(main())
