"""From reports as sent to readings: calibration, whose temperature counts, temperature correction, hand samples.

Everything here happens when readings are read, so that a corrected calibration corrects the past.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from analysis import calibration
from analysis.model import Floats
from analysis.schemas import READINGS
from analysis.units import temperature_corrected_sg
from ingest.calibration.hand_sample_offset import Anchor, Sampled, anchors, shifts
from ingest.calibration.hand_samples import samples_said
from ingest.model import BatchRecord, CalibrationKind, CalibrationRecord, Device, EventRecord, HandSample, Vessel

CALIBRATED: Final = pl.Schema({**READINGS, "device_id": pl.String(), "extrapolated": pl.Boolean()})
"""The readings of a batch; `extrapolated` marks gravities beyond the ends of the float's calibration."""

Flags = NDArray[np.bool_]

JOIN_WITHIN_S: Final = 2 * 3600.0
"""A probe's temperature counts for a float's reading between two of its own no further apart than this, seconds."""


@dataclass(frozen=True, slots=True)
class Stay:
    """What a device sent from its time in the batch (schema `ingest.store.store.AS_SENT`, by time)."""

    device: Device
    sent: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Calibrated:
    """The readings of one batch, and how they came about.

    `readings` has the schema `CALIBRATED`, by time; a hand sample is a row with `by_hand` and the sample's id as
    device. `temperature_from` is the device whose temperature counts as the liquid's, None where each float's own does.
    `notes` are sentences about what is doubtful.
    """

    readings: pl.DataFrame
    anchors: tuple[Anchor, ...] = ()
    temperature_from: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Track:
    """One device's readings on their way, as arrays over its reports."""

    device: Device
    times_s: Floats
    temperature_c: Floats
    gravity_sg: Floats
    extrapolated: Flags
    notes: list[str] = field(default_factory=list)

    @property
    def has_gravity(self) -> bool:
        return bool(np.any(~np.isnan(self.gravity_sg)))

    @property
    def name(self) -> str:
        return self.device.name or self.device.device_id


def calibrate(
    stays: Sequence[Stay],
    *,
    vessel: Vessel | None,
    batch: BatchRecord,
    events: Sequence[EventRecord] = (),
    samples: Sequence[HandSample] = (),
    calibrations: Sequence[CalibrationRecord] = (),
) -> Calibrated:
    """The readings of one batch from what its devices sent and its person sampled."""
    tracks = [_track(stay, calibrations) for stay in stays]
    source = whose_temperature(tracks, vessel)
    floats = _without_doubles([t for t in tracks if t.device.kind == "float"])
    said = samples_said(samples, batch, events)
    anchoring = [
        Sampled(s.sample_id, s.at, gravity)
        for s in samples
        if s.anchors_float and s.degassed and (gravity := said[s.sample_id].gravity_sg) is not None
    ]
    notes = [f"{said[s.sample_id].doubt}" for s in samples if said[s.sample_id].doubt]
    found: list[Anchor] = []
    frames: list[pl.DataFrame] = []
    for track in floats:
        _correct_for_temperature(track, source)
        here = anchors(track.device.device_id, track.times_s, track.gravity_sg, anchoring)
        used = [a for a in here if a.used]
        track.gravity_sg = track.gravity_sg + shifts(track.times_s, used, events)
        found += here
        notes += track.notes
        frames.append(_frame(track))
    if source is not None and source not in floats:
        frames.append(_frame(source))
    frames.append(_by_hand(samples, {key: value.gravity_sg for key, value in said.items()}))
    notes += [a.why_not for a in found if a.why_not]
    return Calibrated(
        readings=pl.concat(frames).sort("measured_at", "device_id"),
        anchors=tuple(found),
        temperature_from=None if source is None else source.device.device_id,
        notes=tuple(dict.fromkeys(notes)),
    )


def calibrated_alone(device: Device, sent: pl.DataFrame, calibrations: Sequence[CalibrationRecord]) -> pl.DataFrame:
    """One device's reports with what its own calibrations and temperature make of them.

    Returns
    -------
    pl.DataFrame
        `sent` and the columns `calibrated_gravity_sg`, `calibrated_temperature_c` and `extrapolated`; no other device,
        and no hand sample, has a part in it.
    """
    track = _track(Stay(device, sent), calibrations)
    _correct_for_temperature(track, None)
    return sent.with_columns(
        pl.Series("calibrated_gravity_sg", track.gravity_sg, pl.Float64()).fill_nan(None),
        pl.Series("calibrated_temperature_c", track.temperature_c, pl.Float64()).fill_nan(None),
        pl.Series("extrapolated", track.extrapolated),
    )


def whose_temperature(tracks: Sequence[_Track], vessel: Vessel | None) -> _Track | None:
    """The device whose temperature counts as the liquid's; None: each float's own.

    The vessel's choice; else the probe in the liquid that said most.
    """
    chosen = None if vessel is None else vessel.temperature_from
    warm = [t for t in tracks if np.any(~np.isnan(t.temperature_c))]
    for track in warm:
        if track.device.device_id == chosen:
            return track
    probes = [t for t in warm if t.device.kind == "probe" and t.device.situation == "in the liquid"]
    return max(probes, key=lambda t: t.times_s.size, default=None)


def _track(stay: Stay, calibrations: Sequence[CalibrationRecord]) -> _Track:
    sent = stay.sent
    track = _Track(
        device=stay.device,
        times_s=sent["measured_at"].dt.epoch("us").to_numpy() / 1e6,
        temperature_c=_numbers(sent, "temperature_c"),
        gravity_sg=_numbers(sent, "gravity_sg"),
        extrapolated=np.zeros(sent.height, dtype=np.bool_),
    )
    of_device = [c for c in calibrations if c.device_id == stay.device.device_id]
    inclination = _numbers(sent, "inclination_deg")
    for within, record in _periods(of_device, "inclination", track.times_s):
        curve = calibration.inclination_curve(record.points)
        here = within & ~np.isnan(inclination)
        track.gravity_sg[here] = curve.gravity_sg(inclination[here])
        track.extrapolated[here] = curve.extrapolated(inclination[here])
        outside = int(np.count_nonzero(track.extrapolated[here]))
        if outside:
            track.notes.append(
                f"{track.name}: {outside} readings lie outside the calibrated inclinations, {curve.low_deg:g}° to "
                f"{curve.high_deg:g}°; there the curve is only extended. Add a calibration point further out."
            )
    bare = ~np.isnan(inclination) & np.isnan(track.gravity_sg)
    if np.any(bare):
        track.notes.append(
            f"{track.name}: {int(np.count_nonzero(bare))} readings have an inclination but no calibration, "
            "so they give no gravity. Enter its calibration points."
        )
    kinds: tuple[Literal["gravity offset", "temperature offset"], ...] = ("gravity offset", "temperature offset")
    for kind in kinds:
        values = track.gravity_sg if kind == "gravity offset" else track.temperature_c
        for within, record in _periods(of_device, kind, track.times_s):
            values[within] = calibration.offset(kind, record.points).at(values[within])
    return track


def _periods(
    records: Sequence[CalibrationRecord], kind: CalibrationKind, times_s: Floats
) -> list[tuple[Flags, CalibrationRecord]]:
    """Each calibration of a kind with the readings it is valid for: from its start until the next one's."""
    of_kind = sorted((r for r in records if r.kind == kind), key=lambda r: _start(r.from_at))
    starts = [*(_start(r.from_at) for r in of_kind), np.inf]
    return [
        ((times_s >= start) & (times_s < end), record)
        for record, (start, end) in zip(of_kind, pairwise(starts), strict=True)
    ]


def _start(from_at: datetime | None) -> float:
    return -np.inf if from_at is None else from_at.timestamp()


def _correct_for_temperature(track: _Track, source: _Track | None) -> None:
    """Give the track the liquid's temperature, and correct its gravity for it unless the device does so itself."""
    if source is not None and source is not track:
        theirs = _joined(track.times_s, source)
        track.temperature_c = np.where(np.isnan(theirs), track.temperature_c, theirs)
    if track.device.corrects_temperature:
        return
    known = ~np.isnan(track.gravity_sg) & (track.temperature_c >= -2) & (track.temperature_c <= 60)
    gravity = track.gravity_sg.copy()
    gravity[known] = temperature_corrected_sg(track.gravity_sg[known], track.temperature_c[known])
    track.gravity_sg = gravity


def _joined(times_s: Floats, source: _Track) -> Floats:
    """The source's temperature at other times, NaN where it has none near."""
    warm = ~np.isnan(source.temperature_c)
    at, value = source.times_s[warm], source.temperature_c[warm]
    joined = np.interp(times_s, at, value)
    after = np.clip(np.searchsorted(at, times_s), 0, at.size - 1)
    before = np.clip(after - 1, 0, at.size - 1)
    nearest = np.minimum(np.abs(at[after] - times_s), np.abs(times_s - at[before]))
    between = (at[after] - at[before] <= JOIN_WITHIN_S) & (times_s <= at[after]) & (times_s >= at[before])
    joined[~between & (nearest > JOIN_WITHIN_S / 2)] = np.nan
    return joined


def _without_doubles(floats: Sequence[_Track]) -> list[_Track]:
    """Where floats share the vessel at one time, only the one that said most counts; the others before and after."""
    kept: list[_Track] = []
    for track in sorted((t for t in floats if t.has_gravity), key=lambda t: -t.times_s.size):
        alone = np.ones(track.times_s.size, dtype=bool)
        for other in kept:
            alone &= (track.times_s < other.times_s[0]) | (track.times_s > other.times_s[-1])
            if not np.all(alone):
                other.notes.append(
                    f"{other.name} and {track.name} share the vessel; while both speak, {other.name} counts."
                )
        if np.any(alone):
            track.times_s, track.temperature_c, track.gravity_sg = (
                values[alone] for values in (track.times_s, track.temperature_c, track.gravity_sg)
            )
            track.extrapolated = track.extrapolated[alone]
            kept.append(track)
    without_gravity = [t for t in floats if not t.has_gravity and t.times_s.size]
    return kept + without_gravity


def _frame(track: _Track) -> pl.DataFrame:
    instants = np.round(track.times_s * 1e6).astype(np.int64)
    return pl.DataFrame(
        {
            "measured_at": pl.Series(instants).cast(pl.Datetime("us", "UTC")),
            "gravity_sg": pl.Series(track.gravity_sg, dtype=pl.Float64()).fill_nan(None),
            "temperature_c": pl.Series(track.temperature_c, dtype=pl.Float64()).fill_nan(None),
            "by_hand": pl.repeat(False, track.times_s.size, eager=True, dtype=pl.Boolean()),
            "device_id": pl.repeat(track.device.device_id, track.times_s.size, eager=True, dtype=pl.String()),
            "extrapolated": track.extrapolated,
        },
        schema=CALIBRATED,
    )


def _by_hand(samples: Sequence[HandSample], gravity: dict[str, float | None]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "measured_at": s.at,
                "gravity_sg": gravity[s.sample_id],
                # A sample is often read after it has warmed: its temperature is not the vessel's.
                "temperature_c": None,
                "by_hand": True,
                "device_id": s.sample_id,
                "extrapolated": False,
            }
            for s in samples
            if gravity[s.sample_id] is not None
        ],
        schema=CALIBRATED,
    )


def _numbers(frame: pl.DataFrame, name: str) -> Floats:
    return np.array(frame[name].to_numpy(), dtype=np.float64)
