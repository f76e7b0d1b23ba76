"""The demo cellar's nouns: what stands in it, what happens, and what its devices send."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from scipy.special import ndtri

from analysis.units import temperature_corrected_sg
from sample_data.kinetics import Floats
from sample_data.sensors import wander

INTERVAL_S = 900


PAST_INTERVAL_S = 1800


@dataclass(frozen=True)
class DemoYeast:
    """An invented yeast and the apparent attenuation that its maker states."""

    name: str
    attenuation_low: float
    attenuation_high: float
    diastatic: bool = False


@dataclass(frozen=True)
class DemoVessel:
    """A vessel, its devices, and its wished temperatures."""

    name: str
    volume_l: float
    float_id: str
    temperature_low_c: float
    temperature_high_c: float


@dataclass(frozen=True)
class DemoEvent:
    """Something done to a batch."""

    kind: str
    at: datetime
    gravity_sg: float | None = None
    amount_g: float | None = None
    note: str = ""
    hop_variety: str | None = None


@dataclass(frozen=True)
class DemoHandSample:
    """A hydrometer reading, 20/20 °C, degassed."""

    at: datetime
    value_sg: float
    temperature_c: float


@dataclass(frozen=True)
class DemoBatch:
    """A batch as the person would have entered it; `state` says which part of the story it tells."""

    name: str
    vessel_name: str
    drink: str
    yeast: str
    volume_l: float
    original_gravity_sg: float
    pitched_at: datetime
    ended_at: datetime | None
    state: str
    expected_low: float | None = None
    expected_high: float | None = None
    split_of: str | None = None
    dry_hops: int = 0
    events: tuple[DemoEvent, ...] = ()
    hand_samples: tuple[DemoHandSample, ...] = ()
    truth_h: Floats = field(default_factory=lambda: np.empty(0), repr=False)
    truth_sg: Floats = field(default_factory=lambda: np.empty(0), repr=False)
    truth_c: Floats = field(default_factory=lambda: np.empty(0), repr=False)

    def true_at(self, when: Floats) -> tuple[Floats, Floats]:
        """True gravity and temperature at these seconds since 1970."""
        hours = (when - self.pitched_at.timestamp()) / 3600
        return np.interp(hours, self.truth_h, self.truth_sg), np.interp(hours, self.truth_h, self.truth_c)


@dataclass(frozen=True)
class DemoSample:
    """One report of a device; what it does not measure is None."""

    measured_at: datetime
    inclination_deg: float | None
    gravity_sg: float | None
    temperature_c: float
    battery_v: float
    signal_dbm: float


@dataclass(frozen=True)
class DemoDevice:
    """A float or a probe. `calibration` are pairs (inclination °, SG) for floats that report inclination."""

    device_id: str
    name: str
    kind: str
    situation: str
    vessel_name: str | None
    calibration: tuple[tuple[float, float], ...] = ()
    reports_inclination: bool = False
    stays: tuple[DemoBatch, ...] = field(default=(), repr=False)
    curve: tuple[float, float, float] = (25.0, 0.6, -0.0012)
    white_sg: float = 0.0003
    slow_sg: float = 0.00012
    offset_sg: float = 0.0
    room_c: float = 18.0
    seed: int = 0
    start: float = 0.0
    """Seconds since 1970 at which its own wandering noise begins."""
    wandering: Floats = field(default_factory=lambda: np.empty(0), repr=False)

    def samples(self, since: datetime, until: datetime, every_s: float | None = None) -> list[DemoSample]:
        """Its reports in (since, until], in order; by default as often as it measures by itself."""
        out: list[DemoSample] = []
        phase = self.seed % 600
        for begin, end, batch, usual_s in self._spans():
            step = every_s or usual_s
            low, high = max(begin, since.timestamp()), min(end, until.timestamp())
            first = np.floor((low - phase) / step) + 1
            last = np.floor((high - phase) / step)
            if last >= first:
                out += self._at(np.arange(first, last + 1) * step + phase, batch)
        return out

    def sample_at(self, when: datetime) -> DemoSample | None:
        """What it would say at this moment; None for a float that lies in no batch."""
        seconds = when.timestamp()
        for begin, end, batch, _ in self._spans():
            if begin < seconds <= end:
                return self._at(np.array([seconds]), batch)[0]
        return None

    def _spans(self) -> list[tuple[float, float, DemoBatch | None, float]]:
        if self.kind == "probe" and not self.stays:
            return [(self.start + 86400 * 140, float("inf"), None, 3600.0)]
        if not self.stays:
            return [(self.start + 86400 * 169, float("inf"), None, INTERVAL_S)]
        return [
            (
                b.pitched_at.timestamp() + 300,
                b.ended_at.timestamp() if b.ended_at else float("inf"),
                b,
                PAST_INTERVAL_S if b.ended_at else INTERVAL_S,
            )
            for b in self.stays
        ]

    def _at(self, seconds: Floats, batch: DemoBatch | None) -> list[DemoSample]:
        noise = [_normal(self.seed * 8 + k, seconds) for k in range(4)]
        days = (seconds - self.start) / 86400
        if batch is None:
            true = np.full(len(seconds), 0.9995)
            warm = self.room_c + 0.8 * np.sin(2 * np.pi * days) + 0.3 * np.sin(2 * np.pi * days / 9)
        else:
            true, warm = batch.true_at(seconds)
        warm_said = np.round(warm + 0.05 * noise[0], 2)
        battery = np.round(4.12 - 0.0042 * (days % 200) + 0.004 * noise[1], 3)
        signal = np.round(-64 - self.seed % 17 + 2.5 * noise[2])
        slow = np.interp(seconds, self.start + np.arange(len(self.wandering)) * INTERVAL_S, self.wandering)
        # Uncorrected: a float reads the density of a liquid that is not at 20 °C.
        said = 2 * true - np.asarray(temperature_corrected_sg(true, warm))
        said = said + self.offset_sg + slow + self.white_sg * noise[3]
        points = (said - 1) * 1000
        degrees = np.round(self.curve[0] + self.curve[1] * points + self.curve[2] * points**2, 2)
        gravity = np.round(said, 4)
        return [
            DemoSample(
                measured_at=datetime.fromtimestamp(float(s), UTC),
                inclination_deg=float(degrees[i]) if self.kind == "float" and self.reports_inclination else None,
                gravity_sg=float(gravity[i]) if self.kind == "float" and not self.reports_inclination else None,
                temperature_c=float(warm_said[i]),
                battery_v=float(battery[i]),
                signal_dbm=float(signal[i]),
            )
            for i, s in enumerate(seconds)
        ]


@dataclass(frozen=True)
class DemoCellar:
    """All of it. `batches` are in order of pitching, earlier and current ones."""

    anchor: datetime
    yeasts: tuple[DemoYeast, ...]
    vessels: tuple[DemoVessel, ...]
    batches: tuple[DemoBatch, ...]
    devices: tuple[DemoDevice, ...]

    def current(self) -> tuple[DemoBatch, ...]:
        """The batches that are in a vessel now."""
        return tuple(b for b in self.batches if b.ended_at is None)

    def earlier(self) -> tuple[DemoBatch, ...]:
        """The batches that have been packaged."""
        return tuple(b for b in self.batches if b.ended_at is not None)


def _normal(key: int, seconds: Floats) -> Floats:
    """Standard normal numbers that depend on the key and the second alone (the mixer of SplitMix64)."""
    with np.errstate(over="ignore"):
        z = np.round(seconds).astype(np.uint64) + np.uint64(key) * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z = z ^ (z >> np.uint64(31))
    return np.asarray(ndtri((z.astype(np.float64) + 0.5) / 2.0**64))


def make_device(
    device_id: str,
    kind: str,
    *,
    vessel_name: str | None,
    situation: str = "in the liquid",
    reports_inclination: bool = False,
    stays: tuple[DemoBatch, ...] = (),
    anchor: datetime,
    seed: int,
    name: str = "",
    noisy: float = 1.0,
) -> DemoDevice:
    """A device with its own curve, calibration points and wandering noise."""
    rng = np.random.default_rng([seed, 77])
    curve = (float(rng.normal(24.5, 0.8)), float(rng.normal(0.62, 0.02)), float(rng.normal(-0.0016, 0.0001)))
    points = []
    if reports_inclination:
        for sg in (0.992, 1.000, 1.018, 1.036, 1.054, 1.072, 1.090):
            x = (sg - 1) * 1000
            degrees = curve[0] + curve[1] * x + curve[2] * x**2 + rng.normal(0, 0.12)
            points.append((round(degrees, 1), sg))
    start = (anchor - timedelta(days=170)).timestamp()
    grid = np.arange(0, 24 * 300, INTERVAL_S / 3600)
    slow = 0.00012 * noisy
    return DemoDevice(
        device_id=device_id,
        name=name,
        kind=kind,
        situation=situation,
        vessel_name=vessel_name,
        calibration=tuple(points),
        reports_inclination=reports_inclination,
        stays=stays,
        curve=curve,
        white_sg=0.0003 * noisy,
        slow_sg=slow,
        offset_sg=float(rng.normal(0, 0.0005)),
        room_c=float(rng.uniform(15, 17)) if situation == "around the vessel" else 19.5,
        seed=seed,
        start=start,
        wandering=wander(grid, slow, 6.0, rng),
    )
