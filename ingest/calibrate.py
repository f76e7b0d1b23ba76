"""From reports as sent to readings: calibration, temperature correction, hand samples, float and probe joined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import polars as pl

from analysis.model import READINGS
from ingest.model import BatchRecord, CalibrationRecord, Device, EventRecord, HandSample, Vessel

CALIBRATED: Final = pl.Schema({**READINGS, "device_id": pl.String()})
"""What `readings` gives."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A device's reports from its time in the batch (schema `AS_SENT`)."""

    device: Device | None
    device_id: str
    sent: pl.DataFrame


def readings(
    stays: Sequence[Stay],
    *,
    vessel: Vessel | None,
    batch: BatchRecord,
    events: Sequence[EventRecord],
    samples: Sequence[HandSample],
    calibrations: Sequence[CalibrationRecord],
) -> pl.DataFrame:
    """The readings of one batch, by time; schema `CALIBRATED`."""
    frames = [
        stay.sent.select(
            "measured_at",
            "gravity_sg",
            "temperature_c",
            pl.lit(False).alias("by_hand"),
            pl.lit(stay.device_id).alias("device_id"),
        )
        for stay in stays
    ]
    frames.append(
        pl.DataFrame(
            [
                {
                    "measured_at": s.at,
                    "gravity_sg": s.value,
                    "temperature_c": None,
                    "by_hand": True,
                    "device_id": s.sample_id,
                }
                for s in samples
                if s.unit == "SG" and s.instrument == "hydrometer"
            ],
            schema=CALIBRATED,
        )
    )
    return pl.concat([f.cast(CALIBRATED) for f in frames]).sort("measured_at")  # type: ignore[arg-type]
