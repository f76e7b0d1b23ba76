"""Which readings to believe: sort, and mark those set aside with the reason why.

Nothing is deleted: a row that is not used keeps its place and says why in `set_aside`.
"""

from __future__ import annotations

from datetime import datetime
from typing import Final

import numpy as np
import polars as pl
from numpy.lib.stride_tricks import sliding_window_view

from analysis.errors import ReadingsError
from analysis.model import Batch, Floats
from analysis.readings.robust import SD_PER_MAD
from analysis.schemas import MARKED, READINGS, UTC_TIME
from analysis.thresholds import (
    FROZEN_H,
    FROZEN_LEAST_READINGS,
    FROZEN_LEAST_REPEATS,
    FROZEN_LOG_CHANCE,
    PLAUSIBLE_SG,
    SPIKE_FLOOR_SG,
    SPIKE_SIGMAS,
    SPIKE_WINDOW,
)

BEFORE_PITCHING: Final = "before pitching"
DUPLICATE: Final = "duplicate"
NO_GRAVITY: Final = "no gravity"
IMPOSSIBLE: Final = "impossible gravity"
SPIKE: Final = "spike"
STUCK: Final = "float stuck"
AFTER_PACKAGING: Final = "after packaging"


def checked(readings: pl.DataFrame) -> pl.DataFrame:
    """The four columns of `READINGS`, with `by_hand` added where it is missing.

    Raises
    ------
    ReadingsError
        If a column is missing or cannot be read as its type.
    """
    missing = {"measured_at", "gravity_sg"} - set(readings.columns)
    if missing:
        raise ReadingsError(
            f"readings lack the column {', '.join(sorted(missing))}; they need measured_at (UTC) and gravity_sg, "
            "and may have temperature_c and by_hand"
        )
    when = readings.schema["measured_at"]
    if not isinstance(when, pl.Datetime) or when.time_zone is None:
        raise ReadingsError(
            f"measured_at has the type {when}; it must be an instant with a time zone: "
            'use .dt.replace_time_zone("UTC") on a naive column'
        )
    columns = {
        "measured_at": readings["measured_at"],
        "gravity_sg": readings["gravity_sg"],
        "temperature_c": _column(readings, "temperature_c"),
        "by_hand": _column(readings, "by_hand"),
    }
    try:
        cast = {name: column.cast(READINGS[name]) for name, column in columns.items()}
    except pl.exceptions.PolarsError as problem:
        raise ReadingsError(f"readings have a column of the wrong type: {problem}") from problem
    return pl.DataFrame({**cast, "by_hand": cast["by_hand"].fill_null(False)})


def _column(readings: pl.DataFrame, name: str) -> pl.Series:
    if name in readings.columns:
        return readings[name]
    return pl.Series(name, [None] * len(readings), dtype=READINGS[name])


def mark(readings: pl.DataFrame, batch: Batch, *, now: datetime) -> pl.DataFrame:
    """Readings up to `now` in time order, each with the reason it is set aside, or null.

    Parameters
    ----------
    readings
        Schema `READINGS`, any order, duplicates allowed.

    Returns
    -------
    pl.DataFrame
        Schema `MARKED`. Rows after `now` are left out: they are the future.
    """
    frame = checked(readings)
    micros = frame["measured_at"].to_physical().fill_null(np.iinfo(np.int64).max).to_numpy()
    gravity, temperature = frame["gravity_sg"].to_numpy(), frame["temperature_c"].to_numpy()
    by_hand = frame["by_hand"].to_numpy()
    # The order must not depend on how the rows came in: every column has a say.
    order = np.lexsort((temperature, gravity, by_hand, micros))
    order = order[micros[order] <= int(now.timestamp() * 1e6)]
    if order.size == 0:
        return pl.DataFrame(schema=MARKED)
    micros, gravity, temperature, by_hand = micros[order], gravity[order], temperature[order], by_hand[order]
    hours = (micros - batch.pitched_at.timestamp() * 1e6) / 3.6e9
    reason = np.full(order.size, None, dtype=object)

    absent = ~np.isfinite(gravity)
    reason[absent] = NO_GRAVITY
    repeated = np.zeros(order.size, dtype=bool)
    repeated[1:] = (np.diff(hours) <= 0) & (by_hand[1:] == by_hand[:-1]) & ~absent[1:] & ~absent[:-1]
    reason[repeated] = DUPLICATE
    reason[~absent & (hours < 0)] = BEFORE_PITCHING
    with np.errstate(invalid="ignore"):
        reason[~absent & ((gravity < PLAUSIBLE_SG[0]) | (gravity > PLAUSIBLE_SG[1]))] = IMPOSSIBLE
    packaged = [e.at for e in batch.events if e.kind == "package" and e.at <= now]
    if packaged:
        end_h = (packaged[0] - batch.pitched_at).total_seconds() / 3600
        reason[~absent & (hours > end_h)] = AFTER_PACKAGING

    used = np.flatnonzero((reason == None) & ~by_hand)  # noqa: E711 - elementwise on an object array
    if used.size >= SPIKE_WINDOW:
        reason[used[spikes(gravity[used])]] = SPIKE
    used = np.flatnonzero((reason == None) & ~by_hand)  # noqa: E711
    if used.size >= FROZEN_LEAST_READINGS:
        reason[used[frozen(hours[used], gravity[used])]] = STUCK
    return pl.DataFrame(
        {
            "measured_at": pl.Series(micros).cast(UTC_TIME),
            "gravity_sg": pl.Series(gravity, nan_to_null=True),
            "temperature_c": pl.Series(temperature, nan_to_null=True),
            "by_hand": by_hand,
            "set_aside": pl.Series(reason.tolist(), dtype=pl.String),
        }
    )


def hours_since(instants: pl.Series, start: datetime) -> Floats:
    """Hours from `start` to each instant."""
    micros = instants.to_physical().to_numpy().astype(np.float64)
    return (micros - start.timestamp() * 1e6) / 3.6e9


def spikes(gravity_sg: Floats) -> Floats:
    """Where a single reading stands far from the median of its neighbours.

    Parameters
    ----------
    gravity_sg : shape (n,)
        In time order, no NaN.

    Returns
    -------
    shape (n,)
        Boolean mask.
    """
    half = SPIKE_WINDOW // 2
    padded = np.concatenate([gravity_sg[half:0:-1], gravity_sg, gravity_sg[-2 : -half - 2 : -1]])
    middle = np.median(sliding_window_view(padded, SPIKE_WINDOW), axis=1)
    off = np.abs(gravity_sg - middle)
    usual = SD_PER_MAD * np.median(off)
    return np.asarray(off > max(SPIKE_FLOOR_SG, SPIKE_SIGMAS * usual))


def frozen(hours: Floats, gravity_sg: Floats) -> Floats:
    """Where a float that usually flickers repeats one value to the last digit for hours on end.

    A coarse display repeats itself too, most of all where the gravity stands: only a float that scatters by more than
    its last digit can be seen to be stuck, by a run of repeats far longer than that scatter and the repeats elsewhere
    explain.

    Returns
    -------
    shape (n,)
        Boolean mask; the first reading of a frozen run is kept.
    """
    same = np.concatenate([[False], np.abs(np.diff(gravity_sg)) < 1e-9])
    mask = np.zeros(gravity_sg.size, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], same.view(np.int8), [0]])))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        length = end - start
        if hours[end - 1] - hours[start - 1] < FROZEN_H:
            continue
        others = max(same.size - length, 1)
        elsewhere = min(max((same.sum() - length) / others, FROZEN_LEAST_REPEATS), 0.999)
        if length * np.log(elsewhere) > FROZEN_LOG_CHANCE:
            continue
        expected = _chance_of_repeat(np.delete(gravity_sg, np.s_[start:end]))
        mask[start:end] = length * np.log(max(elsewhere, expected)) < FROZEN_LOG_CHANCE
    return mask


def _chance_of_repeat(gravity_sg: Floats) -> float:
    """How often a float repeats itself where the gravity stands, by its last digit and its scatter."""
    digit, scatter = digit_and_scatter(gravity_sg)
    if scatter <= digit:
        return 1.0  # rounding alone may look like that much
    # Two readings of a normal scatter that is rounded to the digit, at worst about the middle of a step.
    return float(min(digit / (2.0 * np.sqrt(np.pi) * scatter), 1.0))


def digit_and_scatter(gravity_sg: Floats) -> tuple[float, float]:
    """The last digit that a float reports, and the standard deviation of its scatter, SG; zeros of too few readings.

    Parameters
    ----------
    gravity_sg : shape (n,)
        In time order, no NaN.
    """
    values = np.unique(np.round(gravity_sg, 9))
    if values.size < 3:
        return 0.0, 0.0
    bend = gravity_sg[2:] - 2.0 * gravity_sg[1:-1] + gravity_sg[:-2]  # a fall adds next to nothing to it
    return float(np.quantile(np.diff(values), 0.2)), SD_PER_MAD * float(np.median(np.abs(bend))) / np.sqrt(6.0)
