"""What batches, trials and tastings came to, in words and files."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from dashboard.cli.commands import carry_out
from dashboard.cli.options import AddCommand, shows_units
from ingest.errors import ImportFileError


def add_milestones(command: AddCommand) -> None:
    sub = command(
        "milestones",
        _milestones,
        "tell lag, rates, times, attenuation and alcohol of batches, with their errors",
        "Of all batches that were measured unless some are named. Works while the server runs.",
    )
    sub.add_argument("batches", nargs="*", metavar="BATCH", help="a batch's id or name, or its vessel's name")
    writes_data(sub)
    shows_units(sub)
    sub.add_argument("--json", action="store_true", help="answer as JSON")


def add_report(command: AddCommand) -> None:
    sub = command(
        "report",
        _report,
        "tell what a trial, a batch or a tasting came to, as a page to print, as JSON or in words",
        "The page is one HTML file without anything from elsewhere; it prints on A4 and Letter. Works while the server "
        "runs.",
    )
    sub.add_argument("kind", choices=("trial", "batch", "tasting"), help="what it is about")
    sub.add_argument(
        "name", metavar="NAME", help="its name or id, or how it begins; of a batch its name, id or vessel's name"
    )
    sub.add_argument("--html", type=Path, metavar="FILE", help="write the page there")
    writes_data(sub, "milestones (of a tasting: what was said)")
    sub.add_argument("--json", action="store_true", help="answer as JSON")


def _report(arguments: argparse.Namespace) -> int:
    answer = carry_out(arguments, "report", {"kind": arguments.kind, "name": arguments.name})
    if arguments.html is not None:
        from dashboard.report import report_html

        _to(arguments.html, lambda: arguments.html.write_text(report_html(answer["page"]), encoding="utf-8"))
    write_data(arguments, answer["rows"], said=arguments.kind == "tasting")
    if arguments.json:
        print(json.dumps(answer["facts"], indent=2, ensure_ascii=False))
        return 0
    page = answer["page"]
    print(page["title"])
    for line in (page["lead"], *page["paragraphs"]):
        print(f"  {line}")
    for title, items in page["lists"]:
        if items:
            print(f"{title}:")
        for item in items:
            print(f"  {item}")
    return 0


def writes_data(parser: argparse.ArgumentParser, what: str = "milestones") -> None:
    """Let a command write the rows behind its answer as files."""
    parser.add_argument("--csv", type=Path, metavar="FILE", help=f"write the {what} there as CSV")
    parser.add_argument("--parquet", type=Path, metavar="FILE", help=f"write the {what} there as Parquet")


def _milestones(arguments: argparse.Namespace) -> int:
    rows = carry_out(arguments, "milestones", {"batches": arguments.batches})
    write_data(arguments, rows)
    if arguments.json:
        print(json.dumps(rows, indent=2, ensure_ascii=False))
        return 0
    from analysis.display_units import DisplayUnits
    from analysis.wording import milestone_said, milestone_title, milestones_from

    units = DisplayUnits(**dict(arguments.unit))
    by_batch: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        by_batch.setdefault(row["batch_id"], []).append(row)
    for of_one in by_batch.values():
        print(of_one[0]["batch"])
        found = milestones_from(of_one)
        for name in found.told:
            print(f"  {milestone_title(name)}: {milestone_said(name, found.get(name), units)}")
    if not by_batch:
        print("No milestone is reached yet.")
    return 0


def write_data(arguments: argparse.Namespace, rows: Sequence[Mapping[str, Any]], *, said: bool = False) -> None:
    """Write the rows where the command line asks for it: milestones, or what was `said` at a tasting."""
    if arguments.csv is None and arguments.parquet is None:
        return
    import polars as pl

    from ingest.monitoring import MILESTONE_FILE, SAID_FILE
    from ingest.transfer.csv_text import for_spreadsheets

    frame = pl.DataFrame(list(rows), schema=SAID_FILE if said else MILESTONE_FILE)
    if arguments.csv is not None:
        _to(arguments.csv, lambda: for_spreadsheets(frame).write_csv(arguments.csv))
    if arguments.parquet is not None:
        _to(arguments.parquet, lambda: frame.write_parquet(arguments.parquet, compression="zstd"))


def _to(path: Path, write: Any) -> None:
    try:
        write()
    except OSError as error:
        problem = f"it cannot be written ({error.strerror or error})"
        raise ImportFileError(str(path), "the file", problem, "Choose another place.") from None
