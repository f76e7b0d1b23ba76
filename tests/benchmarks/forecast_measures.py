"""Running methods over runs, and the columns of the table."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl

from sample_data.runs import Run
from tests.benchmarks.forecast_cuts import cuts_of
from tests.benchmarks.forecast_methods import GUESS_H, METHODS

CALLED_EARLY_SG = 0.002
WITHIN_H = 144.0
STAGES = ("50%", "75%", "90%", "24 h before")


def look(
    run: Run, names: Sequence[str], priors: Any, set_name: str = "", every_h: float | None = None
) -> list[dict[str, object]]:
    """One row for each look and method."""
    rows: list[dict[str, object]] = []
    kept: dict[str, Any] = {}
    for cut in cuts_of(run, every_h):
        readings, batch, now = run.readings(cut.hour), run.known(cut.hour), run.when(cut.hour)
        era = run.era(cut.hour)
        for name in names:
            began = time.perf_counter()
            said = METHODS[name][1](readings, batch, now, priors, kept.get(name))
            took = time.perf_counter() - began
            kept[name] = said.kept
            p10, p50, p90 = said.finish_h or (None, None, None)
            rows.append(
                {
                    "set": set_name, "run": run.name, "kind": run.kind, "drink": batch.drink,
                    "scenario": run.scenario, "family": run.family, "method": name,
                    "hour": cut.hour, "stage": cut.stage, "era": run.eras.index(era), "era_from": era.from_h,
                    "finish": era.finish_h,
                    "foreseeable": era.foreseeable and era.finish_h is not None and run.stalled_h is None,
                    "resumed": era.foreseeable and run.stalled_h is not None,
                    "passed": run.finished(cut.hour), "remaining": run.remaining(cut.hour),
                    "stands": run.stalled(cut.hour),
                    "stall_from": run.stalled_h[0] if run.stalled_h else None,
                    "finished": said.finished, "stalled": said.stalled, "p_finished": said.p_finished,
                    "p10": p10, "p50": p50, "p90": p90, "phase": said.phase, "seconds": took,
                }
            )  # fmt: skip
    return rows


SCHEMA = {
    "finish": pl.Float64, "p10": pl.Float64, "p50": pl.Float64, "p90": pl.Float64, "stall_from": pl.Float64,
    "p_finished": pl.Float64, "remaining": pl.Float64,
}  # fmt: skip


def as_frame(rows: list[dict[str, object]]) -> pl.DataFrame:
    """The looks as a frame, with the forecast that counts: a fixed guess where there is none."""
    frame = pl.DataFrame(rows, schema_overrides=SCHEMA, infer_schema_length=None)
    guess = pl.col("drink").replace_strict(GUESS_H, return_dtype=pl.Float64)
    return frame.with_columns(
        has=pl.col("p50").is_not_null(),
        q10=pl.coalesce("p10", guess),
        q50=pl.coalesce("p50", guess),
        q90=pl.coalesce("p90", guess),
    ).with_columns(error=pl.col("q50") - pl.col("finish"))


def _pinball(quantile: float, said: pl.Expr) -> pl.Expr:
    gap = pl.col("finish") - said
    return pl.max_horizontal(quantile * gap, (quantile - 1) * gap)


def forecast_columns(frame: pl.DataFrame) -> dict[str, float]:
    """Errors, pinball loss, coverage and width, over foreseeable looks."""
    seen = frame.filter("foreseeable")
    ahead = seen.filter(~pl.col("passed"))
    out: dict[str, float] = {}
    for stage in STAGES:
        part = seen.filter(pl.col("stage") == stage)
        out[f"error {stage}"] = _number(part["error"].abs().median())
        out[f"bias {stage}"] = _number(part["error"].median())
        said = part.filter("has")
        out[f"coverage {stage}"] = _number(_inside(said))
    at90 = seen.filter(pl.col("stage") == "90%")["error"].abs()
    out["p90 error 90%"] = _number(at90.quantile(0.9))
    loss = (_pinball(0.1, pl.col("q10")) + _pinball(0.5, pl.col("q50")) + _pinball(0.9, pl.col("q90"))) / 3
    for name, part in (("", ahead), (" all", seen)):
        out[f"pinball{name}"] = _number(part.select(loss.mean()).item())
        said = part.filter("has")
        out[f"coverage{name}"] = _number(_inside(said))
        out[f"width{name}"] = _number((said["p90"] - said["p10"]).mean())
    out["missing"] = _number(1 - ahead["has"].mean()) if len(ahead) else float("nan")  # type: ignore[operator]
    return out


def _inside(said: pl.DataFrame) -> float | None:
    if said.is_empty():
        return None
    # Looks come in steps; half a minute of rounding is no miss.
    inside = said.select((pl.col("finish") >= pl.col("p10") - 0.01) & (pl.col("finish") <= pl.col("p90") + 0.01))
    return float(inside.to_series().mean())  # type: ignore[arg-type]


def verdict_columns(frame: pl.DataFrame) -> dict[str, float]:
    """False calls, delays, flips, Brier score, and stalls; counts are totals over the frame."""
    out: dict[str, float] = {}
    early = frame.filter(pl.col("finished") & (pl.col("remaining") >= CALLED_EARLY_SG))
    out["called early"] = early["run"].n_unique()
    out["called early, stalled or chilled"] = early.filter(pl.col("finish").is_null())["run"].n_unique()
    delays, unsaid = [], 0
    for _, part in frame.sort("hour").group_by(["run", "era"], maintain_order=True):
        finish = part["finish"][0]
        ends = part["foreseeable"][0] or part["resumed"][0]
        if finish is None or not ends or part["hour"].max() < finish + WITHIN_H - 12:  # type: ignore[operator]
            continue
        good = part.filter(pl.col("finished") & (pl.col("remaining") < CALLED_EARLY_SG))
        within = good.filter(pl.col("hour") <= finish + WITHIN_H + 0.01)
        if within.is_empty():
            unsaid += 1
        else:
            delays.append(max(within["hour"][0] - max(finish, part["era_from"][0]), 0.0))
    out["delay"] = float(np.median(delays)) if delays else float("nan")
    out["delay p90"] = float(np.quantile(delays, 0.9)) if delays else float("nan")
    out["not said"] = unsaid
    ordered = frame.sort(["run", "hour"])
    flips = ordered.select(
        pl.col("finished").shift(1).over("run").fill_null(False) & ~pl.col("finished") & (pl.col("remaining") < 0.001)
    ).to_series()
    out["flips"] = int(flips.sum())
    out["brier"] = _number(
        frame.select(((pl.col("p_finished") - pl.col("passed").cast(pl.Float64)) ** 2).mean()).item()
    )
    stalls = frame.filter("stands")
    caught = stalls.filter("stalled")["run"].unique()
    wrong = frame.filter(pl.col("stalled") & ~pl.col("stands"))["run"].n_unique()
    truly = stalls["run"].n_unique()
    out["stalls"], out["stalls caught"], out["stalls wrongly"] = truly, len(caught), wrong
    out["stall recall"] = len(caught) / truly if truly else float("nan")
    out["stall precision"] = len(caught) / (len(caught) + wrong) if len(caught) + wrong else float("nan")
    first = stalls.filter("stalled").group_by("run").agg((pl.col("hour") - pl.col("stall_from")).min().alias("wait"))
    out["stall wait"] = _number(first["wait"].median())
    out["stall wait p90"] = _number(first["wait"].quantile(0.9))
    return out


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)
