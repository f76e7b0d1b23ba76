"""What the tests of the store share."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from ingest.model import Report
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


def report(n: int = 0, **said: object) -> Report:
    at = T + n * timedelta(minutes=15)
    given: dict[str, object] = {"device_id": "float-1", "measured_at": at, "received_at": at, "gravity_sg": 1.05}
    return Report(**{**given, **said})  # type: ignore[arg-type]


def as_sent(store: Store, device_id: str = "float-1") -> list[dict[str, object]]:
    return store.readings_as_sent(device_id).to_dicts()
