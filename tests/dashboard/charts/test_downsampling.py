from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from dashboard.charts.downsampling import thinned
from tests.examples import examples

START = datetime(2026, 3, 1, tzinfo=UTC)


def series(values: list[float | None]) -> pl.DataFrame:
    at = [START + timedelta(minutes=15 * n) for n in range(len(values))]
    schema = {"at": pl.Datetime("us", "UTC"), "value": pl.Float64()}
    return pl.DataFrame({"at": at, "value": values}, schema=schema)


def test_a_short_series_comes_back_whole():
    frame = series([1.0, 3.0, 2.0])
    assert_frame_equal(thinned(frame, "at", "value", 10), frame)


def test_ten_million_points_would_become_as_many_as_the_width_shows():
    frame = series(list(np.random.default_rng(0).normal(size=100_000)))
    assert thinned(frame, "at", "value", 300).height <= 4 * 300


def test_a_single_spike_is_kept():
    values: list[float | None] = [1.0] * 50_000
    values[31_234] = 1.2
    kept = thinned(series(values), "at", "value", 100)
    assert kept["value"].max() == 1.2


@settings(max_examples=examples(20))
@given(st.lists(st.one_of(st.none(), st.floats(0.9, 1.2)), min_size=60, max_size=400), st.integers(3, 12))
def test_extremes_and_ends_are_kept_and_no_row_is_invented(values, bins):
    frame = series(values)
    kept = thinned(frame, "at", "value", bins)
    assert kept.height <= max(4 * bins, frame.height if frame.height <= 4 * bins else 0)
    assert kept["value"].max() == frame["value"].max()
    assert kept["value"].min() == frame["value"].min()
    assert kept["at"][0] == frame["at"][0]
    assert kept["at"][-1] == frame["at"][-1]
    assert kept["at"].is_sorted()
    assert kept.join(frame, on=["at", "value"], how="anti", nulls_equal=True).is_empty()
