"""Batches whose readings are in, to be judged."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from ingest.model import (
    BatchRecord,
    Device,
    Placement,
    Report,
    Vessel,
)
from ingest.store.store import Store

# Half past: plans are brought up to the hour, and no test may happen to stride over one.
NOW = (datetime.now(UTC) - timedelta(hours=1)).replace(minute=30, second=0, microsecond=0)


def add_batch(store: Store, name: str, days: float, *, ended: bool = False) -> BatchRecord:
    pitched_at = NOW - timedelta(days=days)
    vessel = store.save(Vessel(name=f"Vessel of {name}"))
    record = store.save(
        BatchRecord(
            name=name,
            vessel_id=vessel.vessel_id,
            drink="ale",
            yeast="Marrow",
            original_gravity_sg=1.050,
            pitched_at=pitched_at,
            ended_at=NOW - timedelta(hours=2) if ended else None,
        )
    )
    store.save(Device(device_id=f"float {name}", kind="float"))
    store.save(Placement(device_id=f"float {name}", vessel_id=vessel.vessel_id, from_at=pitched_at))
    store.keep([said(name, pitched_at, h) for h in np.arange(0.5, days * 24 - 2, 0.5)])
    return record


def said(name: str, pitched_at: datetime, hour: float) -> Report:
    gravity = 1.050 - 0.028 / (1 + np.exp(-(hour - 30) / 5)) - 0.010 * (1 - np.exp(-max(hour - 26, 0) / 16))
    at = pitched_at + timedelta(hours=float(hour))
    noise = 0.0003 * np.sin(hour * 37.7)
    return Report(
        device_id=f"float {name}",
        measured_at=at,
        received_at=at,
        gravity_sg=float(gravity + noise),
        temperature_c=20.0,
    )
