"""How good the forecasts and verdicts are, on simulated fermentations with the sins of real floats.

One command: ``python tests/benchmarks/forecast.py``. It prints the table for the project, the trade's rules and the
plain logistic. ``--held-out`` takes the seeds that were never used for tuning, half of them from a structurally
different simulator. Made sets and the looks of the last call are kept in the system's temporary folder.
"""

from __future__ import annotations

import argparse
import multiprocessing
import signal
import sys
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import polars as pl

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from ingest import threads  # noqa: E402
from sample_data.notebooks import kept_by_hand, notebook_of  # noqa: E402
from sample_data.runs import Run  # noqa: E402
from sample_data.scenarios import FAMILIES, HELD_OUT_FROM  # noqa: E402
from tests.benchmarks.forecast_cuts import load_set  # noqa: E402
from tests.benchmarks.forecast_measures import STAGES, as_frame, forecast_columns, look, verdict_columns  # noqa: E402
from tests.benchmarks.forecast_methods import METHODS  # noqa: E402

SET_RUNS = 252
_shared: dict[str, Any] = {}


def _start(names: list[str], priors: dict[str, Any], every_h: float | None) -> None:
    threads.one_for_linear_algebra()
    _shared.update(names=names, priors=priors, every_h=every_h)
    signal.signal(signal.SIGINT, signal.SIG_IGN if multiprocessing.parent_process() else signal.default_int_handler)


def _one(task: tuple[str, Run]) -> list[dict[str, object]]:
    set_name, run = task
    return look(run, _shared["names"], _shared["priors"].get(set_name), set_name, _shared["every_h"])


def chosen_sets(args: argparse.Namespace) -> list[tuple[int, str]]:
    """Seeds and families. Tuning sets are mechanistic; of the held-out sets every other one is of the second family."""
    if args.held_out:
        first = HELD_OUT_FROM + args.seed
        return [(first + k, "sugars" if k % 2 == 0 else "tails") for k in range(args.sets)]
    return [(args.seed + k, args.family) for k in range(args.sets)]


def progress(done: int, total: int, began: float) -> None:
    """One line that overwrites itself."""
    took = time.monotonic() - began
    left = took / max(done, 1) * (total - done)
    full = round(30 * done / total)
    if not sys.stderr.isatty() and done % max(total // 8, 1):
        return
    end = "" if sys.stderr.isatty() else "\n"
    sys.stderr.write(
        f"\r[{'#' * full}{'.' * (30 - full)}] {done}/{total} runs, {took:.0f} s, about {left:.0f} s left {end}"
    )
    sys.stderr.flush()


def evaluate(args: argparse.Namespace) -> pl.DataFrame:
    """Every look at every run of the chosen sets."""
    names = args.methods.split(",")
    tasks: list[tuple[str, Run]] = []
    priors: dict[str, Any] = {}
    for seed, family in chosen_sets(args):
        runs, earlier = load_set(seed, family)
        if args.by_hand:
            runs = [kept_by_hand(r, args.by_hand) for r in runs]
        if args.earlier_by_hand:
            earlier = [notebook_of(one, args.earlier_by_hand) for one in earlier]
        set_name = f"{family}-{seed}"
        if "ours" in names and not args.no_priors:
            from analysis import learn

            began = time.monotonic()
            priors[set_name] = learn(earlier[: args.earlier])
            sys.stderr.write(f"learned {set_name} in {time.monotonic() - began:.1f} s\n")
        picked = runs[: args.runs] if args.runs else runs
        if args.scenario:
            picked = [r for r in picked if args.scenario in r.scenario]
        if args.kind:
            picked = [r for r in picked if args.kind in r.kind]
        tasks += [(set_name, r) for r in picked]
    rows: list[dict[str, object]] = []
    began = time.monotonic()
    shared = (names, priors, args.every)
    try:
        if args.jobs > 1:
            # Not by fork: Polars' threads do not survive it.
            with get_context("spawn").Pool(args.jobs, _start, shared) as pool:
                for k, part in enumerate(pool.imap_unordered(_one, tasks, chunksize=2)):
                    rows += part
                    progress(k + 1, len(tasks), began)
        else:
            _start(*shared)
            for k, task in enumerate(tasks):
                rows += _one(task)
                progress(k + 1, len(tasks), began)
    except KeyboardInterrupt:
        sys.stderr.write("\ninterrupted: the table is of the runs so far, and its counts are too low\n")
    sys.stderr.write("\n")
    return as_frame(rows)


def stages(columns: dict[str, float], what: str, form: str) -> str:
    """One figure for each of the four named stages."""
    return " / ".join(format(columns[f"{what} {stage}"], form) for stage in STAGES)


def table(frame: pl.DataFrame) -> str:
    """The table, counts scaled to 252 runs; per-stage coverage and bias below it."""
    sets = frame["run"].n_unique() / SET_RUNS
    lines = [
        f"{'method':36} | error at 50/75/90/24h (h) | p90@90 | pinball ahead (all) | cover, width ahead (all) |"
        " early (of them no end) | delay p50/p90 | unsaid | flips | Brier | stalls: recall / precision, wait"
    ]
    more = []
    for name, (title, _) in METHODS.items():
        part = frame.filter(pl.col("method") == name)
        if part.is_empty():
            continue
        f, v = forecast_columns(part), verdict_columns(part)
        lines.append(
            f"{title:36} | {stages(f, 'error', '.1f'):>26} | {f['p90 error 90%']:6.0f} |"
            f" {f['pinball']:6.1f} ({f['pinball all']:.1f}) | {f['coverage']:.2f}, {f['width']:.0f}"
            f" ({f['coverage all']:.2f}, {f['width all']:.0f}) | {v['called early'] / sets:.1f}"
            f" ({v['called early, stalled or chilled'] / sets:.1f}) | {v['delay']:.0f} / {v['delay p90']:.0f} |"
            f" {v['not said'] / sets:.1f} | {v['flips'] / sets:.1f} | {v['brier']:.3f} |"
            f" {v['stall recall']:.2f} / {v['stall precision']:.2f}, {v['stall wait']:.0f} / {v['stall wait p90']:.0f}"
        )
        more.append(
            f"{title:36} | coverage {stages(f, 'coverage', '.2f')} | bias"
            f" {stages(f, 'bias', '+.1f')} h | no forecast {f['missing']:.0%} |"
            f" {part['seconds'].median() * 1000:.1f} ms a look"  # type: ignore[operator]
        )
    return "\n".join([*lines, "", *more])


def breakdown(frame: pl.DataFrame, by: str, method: str) -> str:
    """Where one method fails, by kind of drink or by scenario."""
    lines = [
        f"{by:20} runs | error 50/75/90/24h | bias 50/75/90/24h | cover | pinball | early | delay | unsaid | flips"
        " | wrongly stalled"
    ]
    for key, part in sorted(frame.filter(pl.col("method") == method).group_by(by)):
        f, v = forecast_columns(part), verdict_columns(part)
        lines.append(
            f"{key[0]!s:20} {part['run'].n_unique():4} | {stages(f, 'error', '.0f'):>18} |"
            f" {stages(f, 'bias', '+.0f'):>20} | {f['coverage']:.2f} | {f['pinball']:5.1f} |"
            f" {v['called early']} | {v['delay']:.0f}/{v['delay p90']:.0f} | {v['not said']} | {v['flips']} |"
            f" {v['stalls wrongly']}"
        )
    return "\n".join(lines)


def main() -> None:
    """Read the options, evaluate, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sets", type=int, default=4, help="how many sets of 252 runs")
    parser.add_argument("--runs", type=int, default=0, help="only the first so many runs of each set")
    parser.add_argument("--seed", type=int, default=1, help="first seed (held-out seeds count from their own start)")
    parser.add_argument("--held-out", action="store_true", help="seeds never used for tuning, two families")
    parser.add_argument("--family", choices=FAMILIES, default="sugars")
    parser.add_argument("--methods", default=",".join(METHODS), help="comma-separated: " + ", ".join(METHODS))
    parser.add_argument("--scenario", default="", help="only scenarios whose name contains this")
    parser.add_argument("--kind", default="", help="only kinds of drink whose name contains this")
    parser.add_argument("--no-priors", action="store_true", help="without the earlier batches")
    parser.add_argument(
        "--earlier", type=int, default=48, help="learn from only so many earlier batches: a young cellar"
    )
    parser.add_argument("--by-hand", type=float, help="read by hand once in so many hours, without a float")
    parser.add_argument("--earlier-by-hand", type=float, help="the same of the earlier batches")
    parser.add_argument("--every", type=float, default=None, help="hours between looks, for a coarser, quicker pass")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--by", default="", help="also break down by: kind, scenario, family, set (comma-separated)")
    parser.add_argument("--looks", type=Path, default=Path(tempfile.gettempdir()) / "tunroom-forecast-looks.parquet")
    args = parser.parse_args()
    frame = evaluate(args)
    frame.write_parquet(args.looks)
    print(f"{args.sets} sets, {frame['run'].n_unique()} runs; counts are of 252. Every look: {args.looks}\n")
    print(table(frame))
    if args.held_out:
        for family in ("sugars", "tails"):
            part = frame.filter(pl.col("family") == family)
            if not part.is_empty():
                print(f"\nonly family {family!r}\n{table(part)}")
    for by in filter(None, args.by.split(",")):
        for name in frame["method"].unique(maintain_order=True):
            print(f"\n{METHODS[name][0]}, by {by}\n{breakdown(frame, by, name)}")


if __name__ == "__main__":
    main()
