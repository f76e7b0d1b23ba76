from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from analysis import Event, Range
from analysis.packaging import forced_end, forced_test_agrees, inputs_of, may_ferment
from analysis.schemas import COURSE, UTC_TIME
from tests.analysis.packaging.test_follow_up import NOW, brew, finished


@pytest.mark.parametrize(("drink", "end_sg", "counts"), [
    ("ale", 1.012, True), ("ale", 1.030, False), ("mead", 0.998, True), ("mead", 1.020, False), ("cider", 1.015, False),
])  # fmt: skip
def test_a_forced_test_far_above_what_the_drink_reaches_shows_nothing(drink: str, end_sg: float, counts: bool) -> None:
    batch = replace(brew(Event("forced test", NOW, end_sg)), drink=drink)
    assert (forced_end(batch, 1.050, NOW) is not None) is counts
    assert forced_test_agrees(batch, 1.050, end_sg, NOW) is counts


def test_a_forced_test_to_come_counts_for_nothing_yet() -> None:
    later = brew(Event("forced test", NOW.replace(year=NOW.year + 1), 1.011))
    assert forced_end(later, 1.050, NOW) is None


def test_the_whole_posterior_reaches_what_may_ferment() -> None:
    # Nine courses in ten have ended; one has eight points to go, which the upper end alone does not tell.
    falls = (0.0,) * 37 + (0.008,) * 3
    assessment = replace(finished(), remaining_falls_sg=falls, remaining_fall_sg=Range(0.0, 0.0, 0.0))
    drink = may_ferment(inputs_of(assessment, brew(), fresh=True)).of("drink")
    assert drink.p90_volumes == 0
    assert drink.p50_volumes == 0
    assert drink.worst_volumes > 3.5  # 0.49 volumes a point


def test_in_a_steep_fall_the_sheet_goes_by_the_gravity_of_now_as_the_pages_do() -> None:
    # 0.6 points an hour: the readings of the last half day lie 3.6 points above what it is by now, and none is off.
    hours = [float(n) for n in range(13)]
    at = pl.Series([NOW - timedelta(hours=12 - n) for n in hours]).cast(UTC_TIME)
    fall = [1.0300 - 0.0006 * n for n in hours]
    now_sg = fall[-1]
    falling = replace(
        finished(),
        newest_reading_at=NOW,
        gravity_sg=Range(now_sg, now_sg, now_sg),
        course=pl.DataFrame(
            {"at": at, **{f"gravity_{p}_sg": fall for p in ("p10", "p50", "p90")}}, schema_overrides=COURSE
        ),
        marked=pl.DataFrame(
            {"measured_at": at, "gravity_sg": fall, "set_aside": [None] * 13},
            schema_overrides={"set_aside": pl.String()},
        ),
    )
    assert inputs_of(falling, brew(), fresh=True).final_gravity_sg == pytest.approx(now_sg)
    high = replace(falling, marked=falling.marked.with_columns(pl.col("gravity_sg") + 0.003))
    assert inputs_of(high, brew(), fresh=True).final_gravity_sg == pytest.approx(now_sg + 0.003)
