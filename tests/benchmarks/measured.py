"""How good forecasts and verdicts are on measured fermentations.

``python tests/benchmarks/measured.py DIR`` scores every set of the folder, without earlier batches and learnt: one half
of a set from the other, or one group (a cultivar) from the others. Intervals are 5 to 95 % by bootstrap over batches.
Errors are distances to the interval in which a batch ended; where nothing is foreseen, the look counts as missing.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from ingest import threads  # noqa: E402
from tests.benchmarks import measured_sets  # noqa: E402
from tests.benchmarks.forecast_measures import CALLED_EARLY_SG  # noqa: E402
from tests.benchmarks.measured_sets import SHARES, Measured  # noqa: E402

RESAMPLED = 400
_HORIZON_H = 24.0 * 120
"""A quantile beyond this (it may never end) counts as this."""


def looked_at(one: Measured, priors: Any, how: str) -> list[dict[str, object]]:
    """One row for each look at a batch."""
    from analysis import assess

    rows: list[dict[str, object]] = []
    previous = None
    low, high = one.finish_h or (None, None)
    for hour, stage in one.looks():
        now = one.batch.pitched_at + timedelta(hours=hour)
        said = assess(one.readings, one.batch, now=now, priors=priors, previous=previous)
        previous = said
        p10 = p50 = p90 = None
        if said.finish is not None:
            finish = said.finish
            instants = (finish.p10, finish.p50, finish.p90 or finish.last)
            p10, p50, p90 = (min((w - one.batch.pitched_at).total_seconds() / 3600, _HORIZON_H) for w in instants)
        rows.append(
            {
                "source": one.source, "batch": one.name, "how": how, "hour": hour, "stage": stage, "low": low,
                "high": high, "ahead": low is not None and hour < low, "finished": said.finished,
                "stalled": said.stalled, "left_sg": one.left_sg(hour), "p10": p10, "p50": p50, "p90": p90,
            }
        )  # fmt: skip
    return rows


def others(one: Measured, those: Sequence[Measured]) -> list[Measured]:
    """The batches that a batch is judged by: of the other groups of its set, or of the other half."""
    its_set = [x for x in those if x.source == one.source]
    if one.group:
        return [x for x in its_set if x.group != one.group]
    half = [x.name for x in its_set].index(one.name) % 2
    return [x for k, x in enumerate(its_set) if k % 2 != half]


def learnt(
    those: Sequence[Measured], start: Any, earlier: int | None = None, draws: int = 1, seed: int = 1
) -> list[dict[str, object]]:
    """Looks at every batch after the others of its set, or after so many of those that ended, drawn anew each time."""
    from analysis import learn

    rows: list[dict[str, object]] = []
    kept: dict[tuple[str, ...], Any] = {}
    rng = np.random.default_rng(seed)
    name = "learnt from the others" if earlier is None else f"learnt from {earlier}"
    for one in those:
        for _ in range(draws):
            pool = others(one, those)
            if earlier is not None:
                ended = [x for x in pool if x.finish_h is not None]
                pool = [ended[k] for k in sorted(rng.choice(len(ended), min(earlier, len(ended)), replace=False))]
            key = (one.source, *(x.name for x in pool))
            if key not in kept:
                kept[key] = learn([x.finished for x in pool], start=start)
            rows += looked_at(one, kept[key], name)
    return rows


def as_frame(rows: list[dict[str, object]]) -> pl.DataFrame:
    """The looks, with the distance from the middle forecast to the interval of the end, and the pinball loss.

    The distance is below zero where the forecast is early.
    """
    numbers = dict.fromkeys(("low", "high", "p10", "p50", "p90", "left_sg"), pl.Float64)
    frame = pl.DataFrame(rows, schema_overrides=numbers, infer_schema_length=None)
    return frame.with_columns(
        error=_off("p50"),
        inside=(pl.col("p10") <= pl.col("high") + 0.01) & (pl.col("p90") >= pl.col("low") - 0.01),
        width=pl.col("p90") - pl.col("p10"),
        pinball=sum((_loss(q, _off(p)) for p, q in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9))), pl.lit(0.0)) / 3.0,
    )


def _off(said: str) -> pl.Expr:
    late, early = pl.col(said) - pl.col("high"), pl.col(said) - pl.col("low")
    return pl.when(late > 0).then(late).when(early < 0).then(early).otherwise(early * 0.0)


def _loss(quantile: float, off: pl.Expr) -> pl.Expr:
    return pl.max_horizontal(-quantile * off, (1.0 - quantile) * off)


Columns = dict[str, float]


def columns(frame: pl.DataFrame) -> Columns:
    """The columns of the table, from the looks of one set."""
    ahead = frame.filter("ahead")
    out: Columns = {}
    for stage in SHARES:
        error = frame.filter(pl.col("stage") == stage)["error"]
        out[f"error {stage}"], out[f"bias {stage}"] = _number(error.abs().median()), _number(error.median())
    out["inside"], out["width"] = _number(ahead["inside"].mean()), _number(ahead["width"].mean())
    out["pinball"] = _number(ahead["pinball"].mean())
    out["missing"] = _number(ahead["p50"].is_null().mean())
    called = frame.filter("finished")
    wrong = called.filter((pl.col("left_sg") >= CALLED_EARLY_SG) | pl.col("low").is_null())
    out["early"] = wrong["batch"].n_unique()
    ended = frame.filter(pl.col("low").is_not_null())
    good = called.filter(pl.col("low").is_not_null() & (pl.col("left_sg") < CALLED_EARLY_SG))
    first = good.group_by("batch").agg((pl.col("hour") - pl.col("high")).min().alias("delay"))
    out["ended"], out["said"] = ended["batch"].n_unique(), first.height
    out["delay"] = _number(first["delay"].clip(0.0).median())
    out["stalled"] = frame.filter("stalled")["batch"].n_unique()
    return out


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)


def resampled(frame: pl.DataFrame, seed: int = 1) -> dict[str, tuple[float, float]]:
    """5 and 95 % of every column, over batches drawn with replacement."""
    rng = np.random.default_rng(seed)
    parts = frame.partition_by("batch")
    found: list[Columns] = []
    for _ in range(RESAMPLED):
        drawn = rng.integers(0, len(parts), len(parts))
        # Drawn twice, it is two batches.
        again = [parts[k].with_columns(batch=pl.lit(f"{k} {i}")) for i, k in enumerate(drawn)]
        found.append(columns(pl.concat(again)))
    every = {name: np.array([one[name] for one in found]) for name in found[0]}
    return {
        name: (float(np.nanquantile(v, 0.05)), float(np.nanquantile(v, 0.95)))
        for name, v in every.items()
        if not np.isnan(v).all()
    }


def table(frame: pl.DataFrame, intervals: Callable[[pl.DataFrame], dict[str, tuple[float, float]]] = resampled) -> str:
    """The table, a line for each set and way of learning, and below each line the intervals."""
    lines = [
        "set, how learnt (batches) | error at 50/75/90 % | bias at 50/75/90 % | right, width ahead | pinball |"
        " early | said of ended, delay | stalled | no forecast"
    ]
    for (source, how), part in frame.group_by("source", "how", maintain_order=True):
        c, i = columns(part), intervals(part)
        errors = " / ".join(f"{c[f'error {s}']:.1f}" for s in SHARES)
        biases = " / ".join(f"{c[f'bias {s}']:+.1f}" for s in SHARES)
        lines += [
            f"{source}, {how} ({part['batch'].n_unique()}) | {errors} | {biases} | {c['inside']:.2f},"
            f" {c['width']:.0f} h | {c['pinball']:.1f} | {c['early']:.0f} | {c['said']:.0f} of {c['ended']:.0f},"
            f" {c['delay']:.0f} h | {c['stalled']:.0f} | {c['missing']:.0%}",
            "    5 to 95 %: error "
            + " / ".join(_span(i, f"error {s}", ".0f") for s in SHARES)
            + f", right {_span(i, 'inside', '.2f')}, width {_span(i, 'width', '.0f')},"
            + f" pinball {_span(i, 'pinball', '.1f')}",
        ]
    return "\n".join(lines)


def _span(intervals: dict[str, tuple[float, float]], name: str, form: str) -> str:
    low, high = intervals.get(name, (float("nan"), float("nan")))
    return f"{low:{form}} to {high:{form}}"


def started(args: argparse.Namespace) -> Any:
    """What is believed without earlier batches: what ships, what would without one source, or nothing shipped."""
    from analysis import Priors
    from tests.benchmarks import ship_prior

    if args.general:
        return Priors(shipped={})
    if args.without:
        return Priors(shipped=ship_prior.shipped(list(ship_prior.sources(args.folder, args.without))))
    return Priors()


def main() -> None:
    """Read the options, score, print."""
    text = f"{__doc__}\n{measured_sets.__doc__}"
    parser = argparse.ArgumentParser(description=text, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder with NAME.csv and NAME_batches.csv")
    parser.add_argument("--only", default="", help="only sets whose name contains this")
    parser.add_argument("--cold", action="store_true", help="only without earlier batches")
    parser.add_argument(
        "--earlier",
        default="",
        help="after so many random earlier batches of the place (2,5) instead of all the others",
    )
    parser.add_argument("--draws", type=int, default=2, help="how often those are drawn for each batch")
    parser.add_argument("--without", default="", help="with a prior made anew from this folder without this source")
    parser.add_argument("--general", action="store_true", help="with the general prior alone: nothing shipped")
    parser.add_argument("--looks", type=Path, help="keep every look as Parquet")
    args = parser.parse_args()
    threads.one_for_linear_algebra()
    try:
        those = [one for one in measured_sets.load(args.folder) if args.only in one.source]
    except ValueError as problem:
        parser.error(str(problem))
    if not those:
        parser.error(f"no set of {args.folder} has {args.only!r} in its name")
    start = started(args)
    rows = [row for one in those for row in looked_at(one, start, "no earlier batches")]
    if not args.cold and not args.earlier:
        rows += learnt(those, start)
    for count in filter(None, args.earlier.split(",")):
        rows += learnt(those, start, int(count), args.draws)
    frame = as_frame(rows)
    if args.looks:
        frame.write_parquet(args.looks)
    print(table(frame))


if __name__ == "__main__":
    main()
