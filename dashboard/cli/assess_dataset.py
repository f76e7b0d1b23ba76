"""`tunroom assess --dataset DIR`: every batch of a dataset, on processes of this machine or on a Dask cluster."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dashboard.cli.options import with_bar
from ingest.errors import EntryError


def add_options(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--dataset", type=Path, metavar="DIR", help="instead of a log: judge all that export --partitioned wrote there"
    )
    sub.add_argument(
        "--scheduler", metavar="ADDRESS", help="with --dataset: let this Dask cluster do it, such as tls://host:8786"
    )
    sub.add_argument(
        "--workers", type=_count, metavar="NUMBER", help="with --dataset: processes on this machine (one a processor)"
    )


def is_wanted(arguments: argparse.Namespace) -> bool:
    """Whether a dataset is to be judged, and not a log.

    Raises
    ------
    EntryError
        If both are given, or neither, or what belongs to the one beside the other.
    """
    if (arguments.log is None) == (arguments.dataset is None):
        raise EntryError("log", "give either a log or --dataset", "Such as: tunroom assess readings.csv")
    if arguments.dataset is None and (arguments.scheduler is not None or arguments.workers is not None):
        raise EntryError("scheduler", "one log is judged at once, by this process", "Leave --scheduler, --workers out.")
    if arguments.scheduler is not None and arguments.workers is not None:
        raise EntryError("workers", "the cluster has workers of its own", "Leave --workers or --scheduler out.")
    return arguments.dataset is not None


def run(arguments: argparse.Namespace) -> int:
    from ingest.dataset import judge_all

    live = sys.stderr.isatty()

    def progress(text: str) -> None:
        if live:  # where it goes into a file, nobody watches it grow
            print(f"\r{with_bar(text):<78}", end="", file=sys.stderr, flush=True)

    now = arguments.now or datetime.now(UTC)
    judged = judge_all(
        arguments.dataset, now=now, scheduler=arguments.scheduler, workers=arguments.workers, progress=progress
    )
    if live:
        print(file=sys.stderr)
    if arguments.json:
        print(json.dumps(judged, indent=2, ensure_ascii=False))
        return 0
    for each in judged:
        print(f"{each['cellar']}: {each['name']}: {_sentence(each)}")
    counted = Counter(each["phase"] or "not judged" for each in judged)
    print(f"{len(judged)} batches: {', '.join(f'{number} {phase}' for phase, number in counted.most_common())}")
    return 0


def _sentence(judged: dict[str, Any]) -> str:
    if judged["problem"] is not None:
        return f"could not be judged ({judged['problem']})"
    likely = judged["finish_p50"]
    when = f", finished around {likely[:10]} (UTC)" if likely else ""
    return f"{judged['phase']}{when}, as of {judged['judged_at'][:10]}"


def _count(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 1024:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is not a number of processes; give 1 to 1024")
