"""Fewer points where the screen has fewer pixels, with every extreme kept."""

from __future__ import annotations

from datetime import datetime
from typing import Final

import polars as pl

WIDTH_PX: Final = 600
"""Bins across a figure; each keeps up to four points, more than a wide screen can tell apart."""


def thinned(
    frame: pl.DataFrame,
    time: str,
    value: str,
    bins: int = WIDTH_PX,
    within: tuple[datetime, datetime] | None = None,
) -> pl.DataFrame:
    """`frame` with at most four rows for each of `bins` equal spans of time: first, last, lowest and highest.

    With `within`, that span has all the bins for itself, and what lies before and after it as many each, so that a
    reader who zooms in sees more. Rows come back in time order, unchanged; a frame that is small enough comes back
    whole. A null value never displaces an extreme, and a row without time is dropped.

    References
    ----------
    Jugel, Jerzak, Hackenbroich and Markl, "M4: A Visualization-Oriented Time Series Data Aggregation",
    Proceedings of the VLDB Endowment 7 (10), 2014: these four rows a pixel column draw the same line.
    """
    if frame.height <= 4 * bins:
        return frame.sort(time)
    if within is not None:
        before, after = pl.col(time) < within[0], pl.col(time) > within[1]
        parts = (frame.filter(before), frame.filter(~before & ~after), frame.filter(after))
        return pl.concat([thinned(part, time, value, bins) for part in parts])
    frame = frame.filter(pl.col(time).is_not_null()).sort(time).with_row_index("_row")
    stamps = frame[time].dt.epoch("us")
    first, last = stamps[0], stamps[-1]
    width = max((last - first) / bins, 1)
    keep = (
        frame.select(
            pl.col("_row"),
            pl.col(value).alias("_value"),
            ((pl.col(time).dt.epoch("us") - first) / width).floor().clip(upper_bound=bins - 1).alias("_bin"),
        )
        .group_by("_bin")
        .agg(
            pl.col("_row").min().alias("first"),
            pl.col("_row").max().alias("last"),
            pl.col("_row").get(pl.col("_value").arg_min()).alias("lowest"),
            pl.col("_row").get(pl.col("_value").arg_max()).alias("highest"),
        )
    )
    rows = pl.concat([keep[name] for name in ("first", "last", "lowest", "highest")]).drop_nulls().unique()
    return frame.filter(pl.col("_row").is_in(rows.implode())).drop("_row")
