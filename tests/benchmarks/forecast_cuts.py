"""Where a run is looked at, and the sets of runs, made once and kept in a temporary folder."""

from __future__ import annotations

import hashlib
import pickle
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis import model
from analysis.model import FinishedBatch
from sample_data import cellars, kinetics, notebooks, published, scenarios, sensors, tails, wide
from sample_data import runs as runs_module
from sample_data.runs import Run, hour_of_share
from sample_data.scenarios import make_set

NEAR_H = 36.0
AFTER_H = 144.0


@dataclass(frozen=True)
class Cut:
    """One look: at which hour, and which of the named stages it is ("" for the ones in between)."""

    hour: float
    stage: str


def cuts_of(run: Run, every_h: float | None = None) -> list[Cut]:
    """All looks at a run, in time order.

    Where the true fall has reached 50, 75 and 90 % of its total and 24 h before the finish; every 12 h between, every
    6 h from 36 h before a finish to six days after it. `every_h` makes a coarser series for a quick look.
    """
    finishes = [e.finish_h for e in run.eras if e.finish_h is not None]
    goal = run.eras[-1] if run.scenario.startswith("stall") else run.eras[0]
    fall = np.minimum(run.fall_sg, goal.total_fall_sg)
    until = min(run.end_h, max(finishes) + AFTER_H) if finishes and run.chilled_early_h is None else run.end_h
    if (run.stalled_h is not None and goal.finish_h is None) or run.chilled_early_h is not None:
        fall = run.fall_sg[run.times_h <= until]
    named = {f"{share:.0%}": hour_of_share(run.times_h, fall, share) for share in (0.5, 0.75, 0.9)}
    if goal.finish_h is not None and run.chilled_early_h is None:
        named["24 h before"] = goal.finish_h - 24
    cuts = {round(hour, 2): stage for stage, hour in named.items() if hour <= until}
    hour = named["50%"]
    while True:
        near = any(-NEAR_H <= hour - f < 48 for f in finishes)
        last = bool(finishes) and hour >= max(finishes) - NEAR_H
        hour += every_h or (6 if (near or last) and run.chilled_early_h is None else 12)
        if hour > until:
            break
        cuts.setdefault(round(hour, 2), "")
    return [Cut(h, s) for h, s in sorted(cuts.items()) if h > 6]


def _stamp() -> str:
    modules = (cellars, kinetics, model, notebooks, published, scenarios, sensors, tails, wide, runs_module)
    text = b"".join(Path(str(m.__file__)).read_bytes() for m in modules)
    return hashlib.sha256(text).hexdigest()[:12]


def load_set(seed: int, family: str, runs: int = 252, earlier: int = 48) -> tuple[list[Run], list[FinishedBatch]]:
    """A set from the temporary folder, made first if it is not there or the generator has changed."""
    folder = Path(tempfile.gettempdir()) / "tunroom-forecast-sets"
    folder.mkdir(exist_ok=True)
    path = folder / f"{family}-{seed}-{runs}-{earlier}-{_stamp()}.pickle"
    if path.exists():
        return pickle.loads(path.read_bytes())  # type: ignore[no-any-return]  # noqa: S301
    made = make_set(seed, runs, earlier, family)
    fresh = path.with_suffix(f".{np.random.default_rng().integers(1 << 40)}")
    fresh.write_bytes(pickle.dumps(made))
    fresh.rename(path)
    return made
