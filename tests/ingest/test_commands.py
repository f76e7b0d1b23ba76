from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from ingest.commands import import_
from ingest.model import BatchRecord, Vessel
from ingest.store import Store

PITCHED = datetime(2025, 3, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("rows", "teaches"),
    [(3, "nothing: fewer than four of its readings count"), (200, "its whole course")],
)
def test_an_import_says_what_an_ended_batch_now_teaches(tmp_path: Path, rows: int, teaches: str) -> None:
    hours = np.linspace(2.0, 240.0, rows)
    gravity = 1.010 + 0.040 / (1.0 + np.exp((hours - 45.0) / 9.0))
    log = tmp_path / "old.csv"
    lines = [f"{(PITCHED + timedelta(hours=h)).isoformat()},{g:.4f},19.0" for h, g in zip(hours, gravity, strict=True)]
    log.write_text("\n".join(["measured_at,gravity_sg,temperature_c", *lines]))
    with Store.in_memory() as store:
        vessel = store.save(Vessel(name="Vessel 3"))
        store.save(
            BatchRecord(
                name="Porter 3",
                vessel_id=vessel.vessel_id,
                drink="ale",
                original_gravity_sg=1.050,
                pitched_at=PITCHED,
                ended_at=PITCHED + timedelta(days=11),
            )
        )
        given = {"path": str(log), "device": "float-1", "batch": "Porter 3"}
        said = import_(store, given, lambda _: None)
    assert said["new"] == rows
    assert said["teaches"] == teaches
