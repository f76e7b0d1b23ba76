"""CSV that a spreadsheet shows as what it is."""

from __future__ import annotations

import polars as pl

_STARTS_A_FORMULA = r"^([=+\-@\t\r])"


def for_spreadsheets(frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with an apostrophe before each text that a spreadsheet would run as a formula.

    A name such as `=HYPERLINK(…)` may have come in with a message of a stranger's device. Numbers are left alone.
    Source: CWE-1236, Improper Neutralization of Formula Elements in a CSV File.
    """
    return frame.with_columns(pl.col(pl.String).str.replace(_STARTS_A_FORMULA, "'${1}"))
