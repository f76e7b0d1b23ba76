from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.track_record import Ended, Said, track_record

DONE = datetime(2026, 3, 10, 12, tzinfo=UTC)


def said(days_ahead: float, middle_off_d: float = 0.0, half_width_d: float = 1.0, packaging_off_d: float | None = 3.0):
    middle = DONE + timedelta(days=middle_off_d)
    return Said(
        made_at=DONE - timedelta(days=days_ahead),
        finish_p10=middle - timedelta(days=half_width_d),
        finish_p50=middle,
        finish_p90=middle + timedelta(days=half_width_d),
        packaging_at=None if packaging_off_d is None else DONE + timedelta(days=packaging_off_d),
    )


def batch(*forecasts: Said) -> Ended:
    return Ended(finished_at=DONE, hold_h=48, said=forecasts)


def test_a_range_with_the_finish_inside_has_held():
    record = track_record([batch(said(4))])
    assert (record.ranges, record.ranges_held, record.dates, record.dates_held) == (1, 1, 1, 1)
    assert record.miss_days == 0


def test_a_range_without_a_later_end_has_held_wherever_it_ended_after_its_beginning():
    open_ended = replace(said(4, half_width_d=0.1), finish_p90=None)
    assert track_record([batch(open_ended)]).ranges_held == 1
    assert track_record([batch(replace(open_ended, finish_p10=DONE + timedelta(hours=1)))]).ranges_held == 0


def test_a_packaging_day_before_the_hold_was_over_has_not_held():
    assert track_record([batch(said(4, packaging_off_d=1.9))]).dates_held == 0
    assert track_record([batch(said(4, packaging_off_d=2.0))]).dates_held == 1


def test_only_the_last_forecast_made_early_enough_is_judged():
    record = track_record([batch(said(9, middle_off_d=5), said(4, middle_off_d=2), said(1))])
    assert record.ranges_held == 0
    assert record.miss_days == pytest.approx(2)


def test_a_batch_that_was_only_forecast_late_does_not_count():
    record = track_record([batch(said(1))])
    assert (record.ranges, record.dates, record.miss_days) == (0, 0, None)


def test_a_forecast_without_a_day_counts_for_the_range_alone():
    record = track_record([batch(said(4, packaging_off_d=None))])
    assert (record.ranges, record.dates) == (1, 0)
