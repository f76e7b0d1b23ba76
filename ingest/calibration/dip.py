"""A float that visits a vessel for a short while: one sample, not a course."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import polars as pl

DIP_H: Final = 3.0
"""Hours; a stay that is over and was no longer is one sample: in less no fall shows beside the new offset that a float
takes whenever it is put in. Source: none known; chosen."""

DIP_SETTLES_H: Final = 0.2
"""Hours until bubbles have left a float that was just put in. Source: common practice, no published one."""


def is_dip(since: datetime, until: datetime | None) -> bool:
    """Whether a stay that is over was so short that its readings are one sample."""
    return until is not None and until - since <= timedelta(hours=DIP_H)


def one_sample(sent: pl.DataFrame, since: datetime) -> pl.DataFrame:
    """The stay's readings as one: the median of each quantity once the float has settled, at its middle.

    Parameters
    ----------
    sent
        What the float sent from its stay, schema `AS_SENT`, by time.
    since
        When it was put in.

    Returns
    -------
    pl.DataFrame
        At most one row. Where it sent nothing after settling, what it sent before counts.
    """
    if sent.height < 2:
        return sent
    settled = sent.filter(pl.col("measured_at") >= since + timedelta(hours=DIP_SETTLES_H))
    use = settled if settled.height else sent
    numbers = [name for name, kind in use.schema.items() if kind == pl.Float64()]
    middle = use[use.height // 2 :].head(1)
    return middle.with_columns(pl.lit(use[name].median(), pl.Float64()).alias(name) for name in numbers)
