"""What the tests of messages share: where they go, an outlook, a last word."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from analysis.evidence import NothingYet
from analysis.model import Assessment, Batch, Range
from analysis.planning.plan import Plan
from ingest.model import BatchRecord, Vessel
from ingest.monitoring.outlook import Outlook
from ingest.store.store import DeviceStatus

NOW = datetime(2026, 3, 3, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
ADDRESS = "json://127.0.0.1:1/"


class Post:
    """Takes what is sent, or refuses it."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, str]] = []
        self.open = True

    def __call__(self, urls: Sequence[str], title: str, body: str) -> bool:
        assert list(urls) == [ADDRESS]
        if self.open:
            self.sent.append((title, body))
        return self.open

    @property
    def titles(self) -> list[str]:
        return [title for title, _ in self.sent]


def assessed(now: datetime, **given: Any) -> Assessment:
    """An active batch, unless the test says otherwise."""
    usual: dict[str, Any] = {
        "now": now,
        "phase": "active",
        "finished": False,
        "stalled": False,
        "p_finished": 0.02,
        "finish": None,
        "held_since": None,
        "held_h": 0.0,
        "hold_met": False,
        "gravity_sg": Range(1.011, 1.012, 1.013),
        "terminal_gravity_sg": None,
        "remaining_fall_sg": Range(0.0, 0.0002, 0.0006),
        "original_gravity_sg": None,
        "apparent_attenuation": None,
        "temperature_c": 19.0,
        "evidence": (NothingYet(usable=1),),
        "newest_reading_at": now,
    }
    return Assessment(**{**usual, **given})


def outlook(vessel_name: str = "Vessel 3", *, plan: Plan | None = None, now: datetime = NOW, **given: Any) -> Outlook:
    vessel = Vessel(vessel_id="vessel-3", name=vessel_name, temperature_low_c=18.0, temperature_high_c=21.0)
    record = BatchRecord(batch_id="batch-7", name="Saison", vessel_id="vessel-3", pitched_at=NOW - 200 * HOUR)
    return Outlook(
        record=record,
        vessel=vessel,
        batch=Batch(pitched_at=record.pitched_at, drink="ale"),
        readings=pl.DataFrame(),
        assessment=assessed(now, **given),
        plan=plan or Plan(made_at=now, reason="Because."),
        computed_at=now,
    )


def heard(**given: Any) -> DeviceStatus:
    usual: dict[str, Any] = {
        "device_id": "float-1",
        "kind": "float",
        "known": True,
        "vessel_id": "vessel-3",
        "measured_at": NOW,
        "received_at": NOW,
    }
    return DeviceStatus(**{**usual, **given})
