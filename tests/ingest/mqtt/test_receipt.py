from __future__ import annotations

import json
import logging
from datetime import UTC, datetime, timedelta

import pytest

from ingest.decoding import decode
from ingest.mqtt.receipt import ReceiptClock

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


class Clocks:
    """A clock that can be set, and a steady one."""

    def __init__(self) -> None:
        self.steady_s, self.set_by = 0.0, timedelta(0)

    def now(self) -> datetime:
        return T + timedelta(seconds=self.steady_s) + self.set_by


@pytest.fixture
def clocks() -> Clocks:
    return Clocks()


@pytest.fixture
def receipt(clocks: Clocks) -> ReceiptClock:
    return ReceiptClock(clocks.now, lambda: clocks.steady_s)


def heard(receipt: ReceiptClock, said: datetime | None) -> tuple[datetime, str | None]:
    at, not_after = receipt.read()
    body = {"gravity_sg": 1.05} | ({} if said is None else {"measured_at": said.isoformat()})
    payload = json.dumps(body).encode()
    [report] = decode("tunroom/report/f", payload, received_at=at, not_after=not_after).reports
    return report.measured_at, report.time_flag


def test_two_messages_never_share_an_instant(receipt, clocks):
    first = receipt.read()
    second = receipt.read()
    assert (first.at, second.at) == (T, T + timedelta(microseconds=1))
    clocks.steady_s = 1.0
    assert receipt.read() == (T + timedelta(seconds=1), None)


def test_a_clock_that_is_set_back_two_hours_does_not_date_right_devices_early(receipt, clocks, caplog):
    assert heard(receipt, T) == (T, None)
    clocks.steady_s, clocks.set_by = 60.0, -2 * HOUR
    right = T + timedelta(seconds=60)
    with caplog.at_level(logging.WARNING):
        assert heard(receipt, right) == (right, None)
        assert heard(receipt, right + timedelta(seconds=1)) == (right + timedelta(seconds=1), None)
    assert caplog.text.count("set back by 2:00:00") == 1
    measured_at, flag = heard(receipt, right + HOUR)  # ahead of both
    assert (flag, measured_at < right - HOUR) == ("clock ahead", True)
    clocks.steady_s, clocks.set_by = 120.0, timedelta(0)  # put right
    assert receipt.read().not_after is None


def test_after_a_day_the_earlier_course_is_no_longer_believed(receipt, clocks):
    clocks.set_by = -2 * HOUR
    assert receipt.read().not_after is not None
    clocks.steady_s = 24 * 3600.0 + 1
    assert receipt.read().not_after is None
    assert receipt.read().not_after is None


def test_a_clock_that_goes_forward_is_followed(receipt, clocks, caplog):
    clocks.steady_s, clocks.set_by = 60.0, 2 * HOUR
    with caplog.at_level(logging.WARNING):
        assert receipt.read() == (clocks.now(), None)
    assert "went forward by 2:00:00" in caplog.text
