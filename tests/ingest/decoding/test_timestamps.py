from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.decoding import timestamps
from ingest.decoding.timestamps import Said
from ingest.errors import Fault
from ingest.model import CLOCK_AHEAD, CLOCK_UNSET, GUESSED_UNIT, NO_CLOCK, RELATIVE

NOW = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
NOW_S = NOW.timestamp()


def read(value: object, unit: timestamps.TimeUnit | None = None, *, declared: bool = True) -> Said | Fault:
    return timestamps.read(value, "$.measured_at", unit, declared=declared)


# RFC 3339, section 5.8: its own examples, with the instants worked out by hand in UTC.
@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        ("1990-12-31T23:59:60Z", datetime(1991, 1, 1, tzinfo=UTC)),  # a leap second
        ("1990-12-31T15:59:60-08:00", datetime(1991, 1, 1, tzinfo=UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000, UTC)),
    ],
)
def test_the_examples_of_rfc_3339_are_read(text: str, utc: datetime) -> None:
    said = read(text)
    assert isinstance(said, Said)
    assert said.seconds == pytest.approx(utc.timestamp(), abs=1e-6)


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        ("2026-03-01T10:00:00", "has no time zone"),
        ("yesterday", "no time as in RFC 3339"),
        ("2026-02-30T10:00:00Z", "is no time"),
        ("2026-03-01T10:00:00+24:00", "impossible offset"),
        (True, "expected a time"),
        ({"s": 1}, "expected a time"),
        (1e300, "is no time"),
        (10**400, "is no time"),
    ],
)
def test_what_is_no_time_is_a_fault_that_says_so(value: object, problem: str) -> None:
    fault = read(value)
    assert isinstance(fault, Fault)
    assert problem in fault.problem


def test_seconds_and_milliseconds_are_told_apart_by_declaration() -> None:
    assert read(1772359200.5, "s") == Said(1772359200.5)
    assert read(1772359200500, "ms") == Said(1772359200.5)
    assert read(1772359200) == Said(1772359200.0)


def test_a_guessed_unit_is_flagged() -> None:
    assert read(1772359200500) == Said(1772359200.5, flag=GUESSED_UNIT)
    assert read(1772359200, declared=False) == Said(1772359200.0, flag=GUESSED_UNIT)


def test_a_plausible_time_is_taken_as_it_is() -> None:
    assert timestamps.settle([Said(NOW_S - 3600)], NOW) == [(NOW - timedelta(hours=1), None)]


def test_a_clock_a_little_ahead_is_drift() -> None:
    assert timestamps.settle([Said(NOW_S + 120)], NOW) == [(NOW + timedelta(seconds=120), None)]


@pytest.mark.parametrize(
    ("said", "flag"),
    [
        (None, NO_CLOCK),
        (Said(0), CLOCK_UNSET),
        (Said(946_684_800 + 500), CLOCK_UNSET),  # 2000-01-01, where some chips start
        (Said(NOW_S + 86_400), CLOCK_AHEAD),
        (Said(0, relative=True), NO_CLOCK),
        (Said(600, relative=True), CLOCK_AHEAD),
    ],
)
def test_an_implausible_clock_gives_the_time_of_receipt_and_a_flag(said: Said | None, flag: str) -> None:
    assert timestamps.settle([said], NOW) == [(NOW, flag)]


def test_relative_times_count_back_from_receipt() -> None:
    settled = timestamps.settle([Said(-7200, relative=True), Said(-3600, relative=True), Said(0, relative=True)], NOW)
    assert settled == [
        (NOW - timedelta(hours=2), RELATIVE),
        (NOW - timedelta(hours=1), RELATIVE),
        (NOW, NO_CLOCK),
    ]


def test_a_buffer_dated_by_an_unset_clock_keeps_its_distances() -> None:
    settled = timestamps.settle([Said(100.0), Said(1000.0), Said(1900.0)], NOW)
    assert settled == [(NOW - timedelta(seconds=s), CLOCK_UNSET) for s in (1800, 900, 0)]


def test_a_buffer_dated_by_a_clock_ahead_is_moved_as_one() -> None:
    settled = timestamps.settle([Said(NOW_S + 80_000), Said(NOW_S + 86_400)], NOW)
    assert settled == [(NOW - timedelta(seconds=6400), CLOCK_AHEAD), (NOW, CLOCK_AHEAD)]


def test_what_came_before_the_clock_was_set_lies_before_what_came_after() -> None:
    settled = timestamps.settle([Said(10.0), Said(910.0), Said(NOW_S - 600)], NOW)
    assert [flag for _, flag in settled] == [CLOCK_UNSET, CLOCK_UNSET, None]
    assert settled[1][0] - settled[0][0] == timedelta(seconds=900)
    assert settled[1][0] < settled[2][0] == NOW - timedelta(seconds=600)


def test_readings_without_any_time_keep_the_order_of_the_message() -> None:
    settled = timestamps.settle([None, None, None], NOW)
    assert [when for when, _ in settled] == sorted({when for when, _ in settled})
    assert settled[-1] == (NOW, NO_CLOCK)


times = st.none() | st.builds(Said, st.floats(-1e10, 1e11), st.booleans())


@given(st.lists(times, min_size=1, max_size=10))
def test_no_settled_instant_lies_further_ahead_than_drift(said: list[Said | None]) -> None:
    for when, _ in timestamps.settle(said, NOW):
        assert when <= NOW + timedelta(seconds=timestamps.AHEAD_S)


@given(st.lists(st.floats(0, 1e8), min_size=2, max_size=10), st.sampled_from([0.0, NOW_S + 1e6]))
def test_one_clock_however_wrong_keeps_its_order(offsets: list[float], wrong_by: float) -> None:
    settled = timestamps.settle([Said(wrong_by + offset) for offset in sorted(offsets)], NOW)
    instants_settled = [when for when, _ in settled]
    assert instants_settled == sorted(instants_settled)
    assert instants_settled[-1] == NOW
