"""Write a small cellar with a few rows of every table, by the code that is on the path.

For a version of the tables, before it is changed, from the top of a checkout of that version:

    PYTHONPATH=$PWD python tests/older/write.py tests/older

The file is called after the version, and packed, because DuckDB gives every table a block of its own.
"""

from __future__ import annotations

import gzip
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ingest.model import (
    AssessmentRecord,
    BatchRecord,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Placement,
    Preferences,
    Rejection,
    Report,
    Vessel,
    Yeast,
)
from ingest.store.migrations import NEWEST
from ingest.store.store import Store

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
READINGS = 480
HOUR = timedelta(hours=1)


def fill(store: Store) -> None:
    """A few rows of every table."""
    store.save(Preferences(cellar_name="The old cellar", time_zone="Europe/Vienna", gravity_unit="°P"))
    store.save(Device(device_id="float-1", kind="float", name="Heron"))
    store.save(Device(device_id="probe-1", kind="probe"))
    store.save(Vessel(vessel_id="v", name="Vessel 1", volume_l=25.0, temperature_high_c=22.0))
    store.save(Yeast(yeast_id="y", name="House ale", attenuation_low=0.72, attenuation_high=0.8))
    store.save(
        BatchRecord(
            batch_id="b", name="Saison", vessel_id="v", drink="ale", yeast="House ale", volume_l=20.0,
            original_gravity_sg=1.052, pitched_at=T, plan={"destination": "bottle"}, notes="First of the year.",
        )
    )  # fmt: skip
    store.save(Placement(placement_id="p", device_id="float-1", vessel_id="v", from_at=T))
    store.save(
        CalibrationRecord(calibration_id="c", device_id="float-1", kind="gravity offset", points=((1.05, 1.051),))
    )
    store.save(EventRecord(event_id="e", batch_id="b", kind="feed", at=T + 24 * HOUR, gravity_sg=1.03, amount_g=400.0))
    store.save(HandSample(sample_id="h", batch_id="b", at=T + 96 * HOUR, value=1.013, temperature_c=20.0))
    times = [T + n * HOUR / 4 for n in range(READINGS)]
    reports = [
        Report(
            device_id="float-1", measured_at=t, received_at=t + timedelta(seconds=2), gravity_sg=gravity(n),
            temperature_c=19.5 + n % 4 / 10, battery_v=3.9,
        )
        for n, t in enumerate(times)
    ]  # fmt: skip
    bad = Rejection(topic="tunroom/report/x", payload=b"{", received_at=T, faults=("$: no JSON",))
    store.keep(reports, [bad])
    said = AssessmentRecord(
        batch_id="b", made_at=T + 100 * HOUR, phase="falling", finished=False, stalled=False, hold_met=False,
        gravity_sg=1.0135, packaging_day="2026-03-14", detail={"reason": "It falls still."},
    )  # fmt: skip
    store.add_assessment(said)
    store.set_note("a note", "kept")
    if NEWEST >= 11:
        trials(store)
    store.save(Vessel(vessel_id="w", name="Vessel 2"))
    store.undo()


def trials(store: Store) -> None:
    """A trial of two batches, and its tasting."""
    from ingest.tastings import Taster, Tasting, TastingAnswer
    from ingest.trial_records import TrialRecord

    store.save(Vessel(vessel_id="v2", name="Vessel 3"))
    store.save(BatchRecord(batch_id="b2", name="Saison, ash", vessel_id="v2", drink="ale", pitched_at=T))
    store.save(TrialRecord(trial_id="t", name="Two woods", arms=(("Oak", "b"), ("Ash", "b2")), made_at=T))
    store.save(
        Tasting(
            tasting_id="ta", name="By the stove", at=T, trial_id="t", ended_at=T + HOUR,
            glasses=(("351", 0), ("482", 1)),
            arms=(("Oak", (("b", 1.0),)), ("Ash", (("b2", 1.0),))),
        )
    )  # fmt: skip
    store.save(Taster(taster_id="te", tasting_id="ta", name="Ana", served=(1, 0), token="A" * 22, done_at=T))
    said = {"tasting_id": "ta", "taster_id": "te", "at": T}
    store.save(TastingAnswer(answer_id="te/351", code="351", score=62.5, aromas=("pear",), **said))


def gravity(n: int) -> float:
    """A fall to 1.012, exactly as it was written."""
    return round(1.012 + 0.04 / (1 + 2.718 ** ((n - 160) / 40)), 4)


def main(folder: Path) -> None:
    """Write it and pack it."""
    with tempfile.TemporaryDirectory() as place:
        database = Path(place) / "tunroom.duckdb"
        with Store.open(database) as store:
            fill(store)
        (folder / f"tables-{NEWEST}.duckdb.gz").write_bytes(gzip.compress(database.read_bytes(), 9, mtime=0))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
