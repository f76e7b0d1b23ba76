"""What can be asked of a cellar: its entries, its batches as the analysis sees them, readings, last words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Final, TypeVar

import polars as pl

from analysis.model import Batch, Event, FinishedBatch
from analysis.schemas import READINGS
from ingest.calibration import (
    Calibrated,
    Stay,
    calibrate,
    calibrated_alone,
    is_dip,
    one_sample,
    samples_said,
)
from ingest.errors import EntryError
from ingest.model import (
    BatchRecord,
    CalibrationRecord,
    Device,
    HandSample,
    Placement,
    Preferences,
    Record,
    Vessel,
    Yeast,
    usable_hold_h,
)
from ingest.store import lineage, report_rows
from ingest.store.device_status import DeviceStatus, LastWords
from ingest.store.duckdb_file import StoreFile
from ingest.store.entries import Span
from ingest.store.journal import Entries
from ingest.store.report_rows import QUANTITIES

R = TypeVar("R", bound=Record)

_FAR: Final = datetime.max.replace(tzinfo=UTC)
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)
_NOTHING_CHOSEN: Final = Preferences()

_AS_SENT: Final = """
SELECT
    make_timestamptz(measured_s::BIGINT * 1000000 + measured_us) AS measured_at,
    make_timestamptz(measured_s::BIGINT * 1000000 + measured_us + delay_s::BIGINT * 1000000) AS received_at,
    inclination_deg, gravity_sg, temperature_c, battery_v, battery_pct, signal_dbm, sequence, time_flag, extra
FROM report
"""

AS_SENT: Final = pl.Schema(
    {
        "measured_at": pl.Datetime("us", "UTC"),
        "received_at": pl.Datetime("us", "UTC"),
        **{name: pl.Float64() for name in QUANTITIES},
        "sequence": pl.Int64(),
        "time_flag": pl.String(),
        "extra": pl.String(),
    }
)
"""Readings as a device sent them."""


class Questions:
    """The half of the store that changes nothing."""

    def __init__(self, file: StoreFile) -> None:
        self._file = file
        self._entries = Entries(file)
        self._words = LastWords()
        self._keys: dict[str, int] = {}
        self._floats_of = self._entries.book
        self._floats: dict[tuple[str, datetime | None], list[str]] = {}
        """Which floats are in which batch, as long as nothing is entered: a row of vessels asks it of each other."""

    def all(self, cls: type[R], **equals: object) -> list[R]:
        """Every entry of a class whose fields have these values."""
        return self._entries.book.all(cls, **equals)

    def get(self, cls: type[R], key: str) -> R | None:
        """The entry with this id."""
        return self._entries.book.get(cls, key)

    def preferences(self) -> Preferences:
        """The person's choices, or the defaults."""
        return self.get(Preferences, "cellar") or _NOTHING_CHOSEN

    # -- batches

    def batch_in(self, vessel_id: str, at: datetime | None = None) -> BatchRecord | None:
        """The batch in this vessel at an instant (now where None)."""
        when = at or datetime.now(UTC)
        return next((span.batch for span in self.batches_in(vessel_id) if span.has(when)), None)

    def batches_in(self, vessel_id: str) -> list[Span]:
        """Which batches were in this vessel, and when."""
        return self._entries.book.spans_in(vessel_id)

    def vessels_of(self, record: BatchRecord) -> list[Span]:
        """In which vessels a batch was, one after the other."""
        return self._entries.book.spans(record)

    def active_batches(self) -> list[BatchRecord]:
        """Batches that have not ended, the earliest pitched first."""
        return sorted(self.all(BatchRecord, ended_at=None), key=lambda b: b.pitched_at)

    def finished_batches(self) -> list[BatchRecord]:
        """Batches that have ended, the latest first."""
        ended = [(b.ended_at, b) for b in self.all(BatchRecord) if b.ended_at is not None]
        return [b for _, b in sorted(ended, key=lambda pair: pair[0], reverse=True)]

    def batch(self, batch_id: str) -> Batch:
        """The batch as the analysis sees it: its record, its yeast's range and its events."""
        record = self._batch_record(batch_id)
        low, high = record.expected_low, record.expected_high
        yeast = next((y for y in self.all(Yeast) if y.name == record.yeast), None)
        if yeast is not None and low is None and high is None:
            low, high = yeast.attenuation_low, yeast.attenuation_high
        low, high = (low if low is not None else high), (high if high is not None else low)
        line = lineage.line_of(self._entries.book, record)
        logged = lineage.events_of(self._entries.book, line)
        events = [Event(e.kind, e.at, e.gravity_sg, e.note, added=e.addition) for e in logged]
        if not any(e.kind == "pitch" for e in events):
            events.append(Event("pitch", record.pitched_at))
        events += self._implied_events(record)
        return Batch(
            pitched_at=record.pitched_at,
            original_gravity_sg=record.original_gravity_sg,
            yeast=record.yeast,
            drink=record.drink,
            expected_attenuation=None if low is None or high is None else (min(low, high), max(low, high)),
            events=tuple(events),
            diastatic=record.diastatic or (yeast is not None and yeast.diastatic),
            mixed_culture=record.mixed_culture,
            hold_h=usable_hold_h(record, self.preferences())[0],
            float_changed_at=self._calibrated_at(record),
            volume_l=lineage.pitched_volume_l(line),
        )

    def _calibrated_at(self, record: BatchRecord) -> tuple[datetime, ...]:
        """When the gravity of a float in the batch got another calibration while it was there."""
        stays = self.device_stays(record)
        return tuple(
            sorted(
                made.from_at
                for made in self.all(CalibrationRecord)
                if made.from_at is not None and made.kind != "temperature offset"
                for device_id, since, end in stays
                if device_id == made.device_id and since < made.from_at and (end is None or made.from_at < end)
            )
        )

    def _implied_events(self, record: BatchRecord) -> list[Event]:
        """What other entries say has happened: a sample was taken, another float was put in."""
        line = lineage.line_of(self._entries.book, record)
        samples = lineage.samples_of(self._entries.book, line)
        whole = replace(record, volume_l=lineage.pitched_volume_l(line))
        said = samples_said(samples, whole, lineage.events_of(self._entries.book, line))
        implied = [Event("sample", s.at, said[s.sample_id].gravity_sg, degassed=s.degassed) for s in samples]
        came = sorted(
            since
            for device_id, since, _ in self.device_stays(record)
            if (device := self.get(Device, device_id)) is not None and device.kind == "float"
        )
        if record.divided_at is not None and self._went_elsewhere(record):
            implied.append(Event("transfer", record.divided_at))
        return implied + [Event("float moved", since) for since in came[1:]]

    def _went_elsewhere(self, part: BatchRecord) -> bool:
        """Whether a part left the vessel of the batch that it was divided from."""
        parent = self.get(BatchRecord, part.divided_from or "")
        if parent is None or part.divided_at is None:
            return True
        there = [span.vessel_id for span in self.vessels_of(parent) if span.from_at <= part.divided_at]
        return not there or there[-1] != self.vessels_of(part)[0].vessel_id

    def finished(self, batch_id: str) -> FinishedBatch:
        """A batch with all its readings, to learn from."""
        return FinishedBatch(self.batch(batch_id), self.readings_of(batch_id).select(READINGS.names()), batch_id)

    def _batch_record(self, batch_id: str) -> BatchRecord:
        record = self.get(BatchRecord, batch_id)
        if record is None:
            raise EntryError("batch_id", f"there is no batch {batch_id!r}", "It may have been removed.")
        return record

    def _places(self, record: BatchRecord) -> Iterator[tuple[lineage.Span, Span]]:
        """The batch and those that it was divided from, each with the vessels in which it was."""
        for one in lineage.line_of(self._entries.book, record):
            for span in self.vessels_of(one.record):
                yield one, span

    def device_stays(self, record: BatchRecord) -> list[tuple[str, datetime, datetime | None]]:
        """Which device was in the batch from when to when: in the vessel in which the batch was at that time.

        Of a part, in those of the batch that it was divided from up to then.
        """
        stays = []
        for one, span in self._places(record):
            for placement in self.all(Placement, vessel_id=span.vessel_id):
                start = max(placement.from_at, span.from_at, one.since)
                ends = [t for t in (placement.to_at, span.to_at, one.until) if t is not None]
                end = min(ends) if ends else None
                if end is None or start < end:
                    stays.append((placement.device_id, start, end))
        return stays

    def _goes_round(self, device: Device) -> bool:
        """Whether it is a float that was put in more than once: it takes a new offset whenever it is."""
        return device.kind == "float" and len(self.all(Placement, device_id=device.device_id)) > 1

    # -- readings

    def readings_of(self, batch_id: str, *, until: datetime | None = None) -> pl.DataFrame:
        """The batch's readings, calibrated: the columns of `analysis.schemas.READINGS` and `device_id`, by time.

        Hand samples are rows with `by_hand` true and the sample's id as device.
        """
        return self.calibrated(batch_id, until=until).readings

    def calibrated(self, batch_id: str, *, until: datetime | None = None) -> Calibrated:
        """The batch's readings with how they came about: anchors, whose temperature counts, and what is doubtful.

        What was read, sampled or done after `until` has no part in it.
        """
        record = self._batch_record(batch_id)
        last = _FAR if until is None else until
        line = lineage.line_of(self._entries.book, record)
        spans: dict[str, list[pl.DataFrame]] = {}
        for device_id, since, end in self.device_stays(record):
            to = last if end is None else min(last, end - _MICROSECOND)  # who leaves at an instant is gone then
            sent = self.readings_as_sent(device_id, since=since, until=to)
            device = self.get(Device, device_id)
            if device is not None and self._goes_round(device) and is_dip(since, end):
                sent = one_sample(sent, since)
            spans.setdefault(device_id, []).append(sent)
        stays = [
            Stay(device, pl.concat(frames).sort("measured_at"))
            for device_id, frames in spans.items()
            if (device := self.get(Device, device_id)) is not None
        ]
        return calibrate(
            stays,
            vessel=self.get(Vessel, record.vessel_id),
            batch=record,
            events=[e for e in lineage.events_of(self._entries.book, line) if e.at <= last],
            samples=[s for s in lineage.samples_of(self._entries.book, line) if s.at <= last],
            calibrations=self.all(CalibrationRecord),
        )

    def readings_as_sent(
        self, device_id: str, *, since: datetime | None = None, until: datetime | None = None
    ) -> pl.DataFrame:
        """What a device said from `since` to `until` (both included), as it said it, by time; schema `AS_SENT`."""
        low = 0 if since is None else report_rows.microseconds(max(since, _EPOCH))
        high = report_rows.microseconds(_FAR if until is None else max(until, _EPOCH))
        frame = self._file.frame(
            _AS_SENT + "WHERE device_key = ? AND measured_s BETWEEN ? AND ? "
            "AND measured_s::BIGINT * 1000000 + measured_us BETWEEN ? AND ? ORDER BY measured_s, measured_us",
            [self._keys.get(device_id, 0), low // 1_000_000, min(high // 1_000_000, 2**32 - 1), low, high],
        )
        return frame.cast(AS_SENT)

    def device_ids(self) -> list[str]:
        """Every device that has ever sent a reading, known or not."""
        return sorted(self._keys)

    def batch_and_calibrated(self, batch_id: str) -> tuple[Batch, Calibrated]:
        """A batch and its readings with the same entries behind them: a sample that sets a float is in both.

        While somebody enters without a pause, what is found at the third try is given, and the next look takes up the
        rest.
        """
        for _ in range(3):
            revision = self._entries.revision
            found = self.batch(batch_id), self.calibrated(batch_id)
            if self._entries.revision == revision:
                break
        return found

    def calibrated_alone(self, device_id: str) -> pl.DataFrame:
        """All that a device sent (`AS_SENT`), and what its own calibrations make of it; see `ingest.calibration`.

        A device that nobody has entered yet counts as a float without calibration.
        """
        device = self.get(Device, device_id) or Device(device_id=device_id, kind="float")
        return calibrated_alone(device, self.readings_as_sent(device_id), self.all(CalibrationRecord))

    def newest_reading_at(self, batch_id: str, *, by_hand: bool = True) -> datetime | None:
        """When the batch was last measured, from memory; without `by_hand` by a device."""
        record = self._batch_record(batch_id)
        newest = [
            min(heard, end) if end is not None else heard
            for device_id, start, end in self.device_stays(record)
            if (heard := self._words.newest(device_id)) is not None and heard >= start
        ]
        if by_hand:
            line = lineage.line_of(self._entries.book, record)
            newest += [s.at for s in lineage.samples_of(self._entries.book, line)]
        return max(newest, default=None)

    def own_reading_at(self, batch_id: str) -> datetime | None:
        """When the batch itself was last measured: of a part, not what it has from before the division."""
        record = self._batch_record(batch_id)
        newest = [s.at for s in self.all(HandSample, batch_id=batch_id)]
        for device_id, start, end in self.device_stays(record):
            device, heard = self.get(Device, device_id), self._words.newest(device_id)
            if device is None or device.kind != "float" or heard is None or heard < start:
                continue
            last = min(heard, end) if end is not None else heard
            if last > record.here_from:
                newest.append(last)
        return max(newest, default=None)

    def floats_in(self, batch_id: str, since: datetime | None = None) -> list[str]:
        """The floats that were in the batch itself at `since` or later (now where None)."""
        now, book = datetime.now(UTC), self._entries.book
        if self._floats_of is not book:
            self._floats_of, self._floats = book, {}
        if (known := self._floats.get((batch_id, since))) is not None:
            return known
        record = self._batch_record(batch_id)
        when = max(since or now, record.here_from)
        stays = self.device_stays(record)
        found = [
            device_id
            for device_id, start, end in stays
            if start <= max(when, now) and (end is None or end > when)
            if (device := self.get(Device, device_id)) is not None and device.kind == "float"
        ]
        if all(start <= now and (end is None or end <= now) for _, start, end in stays):  # else the time decides
            self._floats[batch_id, since] = found
        return found

    def speaks_for_itself(self, record: BatchRecord) -> bool:
        """Whether a batch may teach and be compared: it was measured itself, and its parts do not tell of it."""
        return not self.parts_of(record.batch_id) and self.own_reading_at(record.batch_id) is not None

    def parts_of(self, batch_id: str) -> list[BatchRecord]:
        """The parts into which a batch was divided."""
        return self.all(BatchRecord, divided_from=batch_id)

    def device_statuses(self, vessel_id: str | None = None) -> list[DeviceStatus]:
        """What each device last said, known or not, from memory; with `vessel_id` only those that sit there."""
        now = datetime.now(UTC)
        vessels = {
            p.device_id: p.vessel_id
            for p in self.all(Placement)
            if p.from_at <= now and (p.to_at is None or now < p.to_at)
        }
        asked = None if vessel_id is None else {device for device, at in vessels.items() if at == vessel_id}
        return self._words.say({d.device_id: d for d in self.all(Device)}, vessels, now, asked)
