"""Measured fermentations, read from a folder of tidy tables.

A set is two files. ``NAME.csv`` has one row a reading: ``batch``, ``hours_since_pitch``, ``gravity_sg``,
``temperature_c`` and, where there are any, ``sugar_g_per_l``, ``ethanol_pct_vol`` and ``notes``. ``NAME_batches.csv``
has one row a batch: ``batch``, ``reached_end`` (yes, near or no) and either ``finish_h`` with ``t50_h``, ``t75_h``,
``t90_h`` and ``chilled_from_h``, or, where readings are sparse, ``t_end_h`` and ``t_end_bracket`` (``... between 96 and
144 h``, ``9..12 h``). ``yeast``, ``original_gravity_sg``, ``cultivar`` (learn one, judge the other) and ``drink`` are
used where they are there; without ``drink`` the file's name decides (beer, wine; anything else is "other").
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

from analysis.model import Batch, Drink, FinishedBatch
from analysis.schemas import READINGS

PITCHED: datetime = datetime(2020, 1, 1, tzinfo=UTC)
"""Hours are all that the sets give: the day is made up."""
SPARSE_H = 2.0
"""Readings further apart than this were taken by hand."""
LOOKS_EVERY_H = 6.0
SHARES = {"50%": 0.5, "75%": 0.75, "90%": 0.9}


@dataclass(frozen=True)
class Measured:
    """One measured batch. Hours since pitching.

    `finish_h` is the interval in which it ended, both the same where the readings tell it to the hour; None where it
    did not end. `group` is what it shares with others of its kind (a cultivar), empty where the set is learnt by
    halves.
    """

    source: str
    name: str
    group: str
    batch: Batch
    hours: tuple[float, ...]
    readings: pl.DataFrame
    finish_h: tuple[float, float] | None
    until_h: float
    stages_h: dict[str, float]
    sparse: bool

    @property
    def finished(self) -> FinishedBatch:
        """As an earlier batch, to learn from: all readings, those in the cold too."""
        return FinishedBatch(self.batch, self.readings)

    def looks(self) -> list[tuple[float, str]]:
        """When it is looked at before the chill, and which of the named stages that is."""
        named = {hour: stage for stage, hour in self.stages_h.items()}
        if self.sparse:
            every = [h for h in self.hours if h > 0]
        else:
            every = [float(h) for h in np.arange(LOOKS_EVERY_H, self.until_h, LOOKS_EVERY_H)]
        return [(h, named.get(h, "")) for h in sorted({*every, *named}) if h <= self.until_h]

    def left_sg(self, hour: float) -> float:
        """What fell after this hour, before the chill, by half-day medians of the readings (or the readings)."""
        gravity = self.readings["gravity_sg"].to_numpy()
        hours = np.array(self.hours)
        keep = (hours <= self.until_h) & ~np.isnan(gravity)
        at = float(np.interp(hour, hours[keep], gravity[keep]))
        return at - float(np.median(gravity[keep & (hours >= self.until_h - (0.0 if self.sparse else 6.0))]))


def load(folder: Path) -> list[Measured]:
    """Every batch of every set of a folder.

    Raises
    ------
    ValueError
        If the folder holds no set, or one of its tables misses a column.
    """
    tables = [p for p in sorted(folder.glob("*_batches.csv")) if p.with_name(p.name.replace("_batches", "")).exists()]
    if not tables:
        raise ValueError(f"{folder} holds no measured set: give a folder with NAME.csv and NAME_batches.csv")
    return [one for table in tables for one in _set(table)]


def _set(table: Path) -> list[Measured]:
    source = table.name.removesuffix("_batches.csv")
    rows = _rows(table.with_name(f"{source}.csv"), "batch", "hours_since_pitch")
    out = []
    for facts in _rows(table, "batch", "reached_end"):
        its = [r for r in rows if r["batch"] == facts["batch"] and "different sample" not in r.get("notes", "")]
        if its:
            out.append(_one(source, facts, its))
    return out


def _rows(path: Path, *needed: str) -> list[dict[str, str]]:
    lines = [one for one in path.read_text(encoding="utf-8").splitlines() if not one.startswith("#")]
    rows = list(csv.DictReader(lines))
    missing = [name for name in needed if not rows or name not in rows[0]]
    if missing:
        raise ValueError(f"{path} has no column {', '.join(missing)}")
    return rows


def _one(source: str, facts: dict[str, str], rows: list[dict[str, str]]) -> Measured:
    hours = np.array([float(r["hours_since_pitch"]) for r in rows])
    gravity = np.array([_gravity(r) for r in rows])
    sparse = bool(np.median(np.diff(hours)) > SPARSE_H)
    chilled = _number(facts, "chilled_from_h")
    until = float(chilled if chilled is not None else hours[-1])
    frame = pl.DataFrame(
        {
            "measured_at": [PITCHED + timedelta(hours=float(h)) for h in hours],
            "gravity_sg": gravity,
            "temperature_c": [_number(r, "temperature_c") for r in rows],
            "by_hand": np.full(hours.size, sparse),
        },
        schema=READINGS,
    )
    batch = Batch(
        pitched_at=PITCHED,
        original_gravity_sg=_number(facts, "original_gravity_sg") or float(np.nanmax(gravity[:3])),
        yeast=facts.get("yeast") or None,
        drink=_drink(source, facts),
    )
    return Measured(
        source,
        facts["batch"],
        facts.get("cultivar", ""),
        batch,
        tuple(float(h) for h in hours),
        frame,
        _finish(facts, hours),
        until,
        _stages(facts, hours, gravity, until),
        sparse,
    )


def _drink(source: str, facts: dict[str, str]) -> Drink:
    if facts.get("drink"):
        return facts["drink"]  # type: ignore[return-value]  # checked by Batch
    return "ale" if source.startswith("beer") else "wine" if source.startswith("wine") else "other"


def _number(row: dict[str, str], name: str) -> float | None:
    return float(row[name]) if row.get(name) else None


def _gravity(row: dict[str, str]) -> float:
    """Measured gravity, or one estimated from sugar (g/L) and alcohol (% vol) as the wines' is, without its acids."""
    measured = _number(row, "gravity_sg")
    if measured is not None:
        return measured
    sugar, alcohol = _number(row, "sugar_g_per_l"), _number(row, "ethanol_pct_vol")
    return float("nan") if sugar is None else 1.0 + 0.000385 * sugar - 0.0013 * (alcohol or 0.0)


def _finish(facts: dict[str, str], hours: np.ndarray) -> tuple[float, float] | None:
    if facts["reached_end"] != "yes":
        return None
    exact = _number(facts, "finish_h")
    if exact is not None:
        return exact, exact
    bracket = re.search(r"(\d+(?:\.\d+)?)\s*(?:and|\.\.)\s*(\d+(?:\.\d+)?) h", facts.get("t_end_bracket", ""))
    if bracket:
        return float(bracket[1]), float(bracket[2])
    end = float(facts["t_end_h"])
    return float(hours[hours < end][-1]), end


def _stages(facts: dict[str, str], hours: np.ndarray, gravity: np.ndarray, until_h: float) -> dict[str, float]:
    """Hours at the shares of the fall: as the set has them, or the first reading at or after each."""
    if facts["reached_end"] != "yes":
        return {}
    told = {stage: _number(facts, f"t{stage[:2]}_h") for stage in SHARES}
    if all(hour is not None for hour in told.values()):
        return {stage: hour for stage, hour in told.items() if hour is not None}
    known = (hours <= until_h) & ~np.isnan(gravity)
    share = (gravity[known][0] - gravity[known]) / (gravity[known][0] - gravity[known].min())
    found = {stage: float(hours[known][int(np.argmax(share >= least))]) for stage, least in SHARES.items()}
    # One sparse reading cannot be two stages: the later one counts.
    later = list(found.items())
    return {a: at for (a, at), (_, after) in pairwise([*later, ("", np.inf)]) if at != after}
