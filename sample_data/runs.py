"""One simulated fermentation with its readings, and what is true about it at any moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from analysis.model import Batch
from sample_data.kinetics import Floats
from sample_data.sensors import Float

POINT = 0.001
START = datetime(2031, 3, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Era:
    """A stretch of time over which the same events are known.

    `finish_h` is the first moment after which true gravity falls by less than a point for good, absent later
    events; None where the batch stands before its end (stalled, or chilled too early). `total_fall_sg` is how far
    it would fall in the end if nothing held it up.
    """

    from_h: float
    finish_h: float | None
    total_fall_sg: float
    foreseeable: bool = True


@dataclass(frozen=True)
class Run:
    """A fermentation, its truth and its rows. Hours count from pitching."""

    name: str
    kind: str
    scenario: str
    family: str
    batch: Batch
    at_h: Floats
    received_h: Floats
    gravity_sg: Floats
    row_temperature_c: Floats
    by_hand: np.ndarray
    times_h: Floats
    fall_sg: Floats
    true_gravity_sg: Floats
    eras: tuple[Era, ...]
    stalled_h: tuple[float, float] | None = None
    chilled_early_h: float | None = None
    end_h: float = 0.0
    device: Float | None = None
    liquid_c: Floats | None = None
    """Temperature of the liquid before its own heat, on `times_h`."""

    def era(self, hour: float) -> Era:
        """The era that `hour` falls into."""
        return [e for e in self.eras if e.from_h <= hour + 1e-9][-1]

    def fallen(self, hour: float) -> float:
        """True fall so far, SG."""
        return float(np.interp(hour, self.times_h, self.fall_sg))

    def remaining(self, hour: float) -> float:
        """True fall still to come if nothing holds it up, SG."""
        return self.era(hour).total_fall_sg - self.fallen(hour)

    def finished(self, hour: float) -> bool:
        """Whether the finish has truly passed."""
        finish = self.era(hour).finish_h
        return finish is not None and hour >= finish

    def stalled(self, hour: float) -> bool:
        """Whether it truly stands still before its end."""
        return self.stalled_h is not None and self.stalled_h[0] <= hour <= self.stalled_h[1]

    def when(self, hour: float) -> datetime:
        """The instant of an hour."""
        return self.batch.pitched_at + timedelta(hours=hour)

    def hour(self, when: datetime) -> float:
        """The hour of an instant."""
        return (when - self.batch.pitched_at).total_seconds() / 3600

    def known(self, hour: float) -> Batch:
        """The batch as it was known at `hour`: without later events."""
        b, now = self.batch, self.when(hour)
        return Batch(
            pitched_at=b.pitched_at,
            original_gravity_sg=b.original_gravity_sg,
            yeast=b.yeast,
            drink=b.drink,
            expected_attenuation=b.expected_attenuation,
            events=tuple(e for e in b.events if e.at <= now),
            diastatic=b.diastatic,
            mixed_culture=b.mixed_culture,
            hold_h=b.hold_h,
        )

    def readings(self, until_h: float) -> pl.DataFrame:
        """The rows that had arrived by `until_h` (schema `analysis.schemas.READINGS`), in order of arrival."""
        seen = np.flatnonzero(self.received_h <= until_h)
        seen = seen[np.argsort(self.received_h[seen], kind="stable")]
        start = np.datetime64(self.batch.pitched_at.replace(tzinfo=None), "us")
        stamps = start + (self.at_h[seen] * 3.6e9).astype("timedelta64[us]")
        return pl.DataFrame(
            {
                "measured_at": pl.Series(stamps).dt.replace_time_zone("UTC"),
                "gravity_sg": self.gravity_sg[seen],
                "temperature_c": pl.Series(self.row_temperature_c[seen]).fill_nan(None),
                "by_hand": self.by_hand[seen].astype(bool),
            }
        )


def finish_hour(times_h: Floats, fall_sg: Floats, total_sg: float | None = None) -> float:
    """The first moment after which less than a point is still to fall."""
    total = float(fall_sg[-1]) if total_sg is None else total_sg
    reached = np.flatnonzero(total - fall_sg < POINT)
    return float(times_h[reached[0]]) if len(reached) else float(times_h[-1])


def hour_of_share(times_h: Floats, fall_sg: Floats, share: float) -> float:
    """When this share of the whole fall has been reached."""
    index = int(np.searchsorted(fall_sg, share * fall_sg[-1]))
    return float(times_h[min(index, len(times_h) - 1)])
