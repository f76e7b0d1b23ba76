"""Small logs of the invented cellar, as files: ``python -m sample_data.logs`` writes them to ``sample_data/logs``.

Each has the columns ``measured_at`` (UTC), ``gravity_sg`` (20/20 °C, calibrated and corrected for temperature) and
``temperature_c``; all numbers are simulated.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl

from analysis.units import temperature_corrected_sg
from sample_data.cellar import demo_cellar
from sample_data.demo_model import DemoBatch, DemoCellar

FOLDER = Path(__file__).parent / "logs"
ANCHOR = datetime(2026, 3, 20, 12, 0, tzinfo=UTC)
STATES = {
    "invented-ale-active.csv": "active",
    "invented-ale-awaiting-hops.csv": "awaiting hops",
    "invented-ale-creeping.csv": "creeping",
    "invented-ale-stalled.csv": "stalled",
    "invented-cider-finished.csv": "finished",
    "invented-mead-fed.csv": "feeding",
}


def log_of(cellar: DemoCellar, batch: DemoBatch) -> pl.DataFrame:
    """The batch's float, every hour until the anchor, as gravity at 20/20 °C."""
    device = next(d for d in cellar.devices if batch in d.stays and d.kind == "float")
    said = device.samples(batch.pitched_at, cellar.anchor, every_s=3600)
    warm = np.array([s.temperature_c for s in said])
    if device.reports_inclination:
        degrees, gravity = np.array(device.calibration).T
        read = np.polyval(np.polyfit(degrees, gravity, 2), [s.inclination_deg for s in said])
    else:
        read = np.array([s.gravity_sg for s in said], dtype=float)
    return pl.DataFrame(
        {
            "measured_at": [s.measured_at.strftime("%Y-%m-%dT%H:%M:%SZ") for s in said],
            "gravity_sg": np.round(np.asarray(temperature_corrected_sg(read, warm)), 4),
            "temperature_c": warm,
        }
    )


def logs() -> dict[str, pl.DataFrame]:
    """All logs by file name."""
    cellar = demo_cellar(ANCHOR, 7)
    return {
        name: log_of(cellar, next(b for b in cellar.current() if b.state == state)) for name, state in STATES.items()
    }


def main() -> None:
    """Write the files."""
    for name, frame in logs().items():
        frame.write_csv(FOLDER / name)


if __name__ == "__main__":
    main()
