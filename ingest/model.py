"""The nouns of the cellar, as they are stored. Each class is one table; each instance is one row.

Ids are short text without spaces, made by `new_id` unless a device brings its own. All instants are aware, in UTC.
Reports are stored as the device sent them; calibration, temperature correction and unit conversion happen when
readings are read, so that a corrected calibration corrects the past.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any, Final, Literal, get_args

from analysis.display_units import (
    DisplayUnits,
    GravityUnit,
    MassUnit,
    PressureUnit,
    TemperatureUnit,
    VolumeUnit,
)
from analysis.model import (
    CONTACT_DAYS,
    DRINKS,
    EVENT_KINDS,
    HOLD_H,
    SUBSTANCE_NAMES,
    Added,
    Drink,
    EventKind,
    Substance,
)
from analysis.planning import Constraints
from analysis.thresholds import HIGHEST_PLACE_M, LOWEST_PLACE_M
from ingest.errors import EntryError, in_units
from ingest.record_checks import LEAST_HOLD_H, MOST_HOLD_H, Usual, in_range, need_name, to_utc
from ingest.record_checks import check_hold_h as check_hold_h
from ingest.record_checks import new_id as new_id
from ingest.tastings import Taster, Tasting, TastingAnswer
from ingest.trial_records import TrialRecord as TrialRecord

DeviceKind = Literal["float", "probe"]
DEVICE_KINDS: Final[tuple[DeviceKind, ...]] = get_args(DeviceKind)
Situation = Literal["in the liquid", "around the vessel"]
SITUATIONS: Final[tuple[Situation, ...]] = get_args(Situation)


HopForm = Literal["whole cones", "pellets", "lupulin concentrate", "extract"]
HOP_FORMS: Final[tuple[HopForm, ...]] = get_args(HopForm)
"""How hops are sold; words of the trade."""

NO_CLOCK: Final = "no clock"
RELATIVE: Final = "relative time"
CLOCK_UNSET: Final = "clock unset"
CLOCK_AHEAD: Final = "clock ahead"
GUESSED_UNIT: Final = "unit of time guessed"
TIMES_OF_RECEIPT: Final = frozenset({NO_CLOCK, RELATIVE, CLOCK_UNSET, CLOCK_AHEAD})
"""Time flags of reports whose instant hangs on when they arrived: a second delivery names another instant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One thing a device said, as it said it.

    `measured_at` is the device's own time where plausible, else the time of receipt, and `time_flag` then says why.
    `extra` holds keys that nobody asked for, kept and shown.
    """

    device_id: str
    measured_at: datetime
    received_at: datetime
    inclination_deg: float | None = None
    gravity_sg: float | None = None
    temperature_c: float | None = None
    battery_v: float | None = None
    battery_pct: float | None = None
    signal_dbm: float | None = None
    sequence: int | None = None
    time_flag: str | None = None
    extra: dict[str, Any] = field(default_factory=dict)
    topic: str = field(default="", compare=False, repr=False)
    payload: bytes = field(default=b"", compare=False, repr=False)
    """The message itself: not stored with the reading, kept where a quantity contradicts what is stored."""

    def __post_init__(self) -> None:
        if self.measured_at.tzinfo is not UTC or self.received_at.tzinfo is not UTC:  # one is made for every message
            to_utc(self)

    @property
    def own_instant(self) -> bool:
        """Whether `measured_at` comes from the device, so that a second delivery names the same instant."""
        return self.time_flag not in TIMES_OF_RECEIPT


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejection:
    """A message that could not be taken in: its bytes, topic and every fault as ``path: problem. remedy``."""

    rejection_id: str = field(default_factory=lambda: new_id("rejected"))
    topic: str
    payload: bytes
    received_at: datetime
    faults: tuple[str, ...]
    resolved_at: datetime | None = None

    def __post_init__(self) -> None:
        to_utc(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A small text kept under a key."""

    key: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A float (floating hydrometer) or a probe (temperature sensor)."""

    device_id: str
    kind: DeviceKind
    name: str = ""
    situation: Situation = "in the liquid"
    corrects_temperature: bool = False
    """Whether its gravity is already corrected for temperature; if so we do not do it again."""
    first_seen_at: datetime | None = None

    def __post_init__(self) -> None:
        to_utc(self)
        if self.kind not in DEVICE_KINDS:
            raise EntryError("kind", f"a device is a float or a probe, not {self.kind!r}")
        if self.situation not in SITUATIONS:
            raise EntryError("situation", f"a device is {' or '.join(SITUATIONS)}, not {self.situation!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A place where one batch at a time ferments."""

    vessel_id: str = field(default_factory=lambda: new_id("vessel"))
    name: str
    volume_l: float | None = None
    temperature_low_c: float | None = None
    temperature_high_c: float | None = None
    temperature_from: str | None = None
    """Id of the device whose temperature counts as the liquid's; None: a probe in the liquid, else the float."""

    def __post_init__(self) -> None:
        need_name(self.name)
        in_range("volume_l", self.volume_l, 0.1, 100_000, Usual("volume", 1, 2000, "A small vessel holds {}."))
        for name in ("temperature_low_c", "temperature_high_c"):
            usual = Usual("temperature", 0, 40, "Fermentations usually stand at {}.")
            in_range(name, getattr(self, name), -5, 60, usual)
        low, high = self.temperature_low_c, self.temperature_high_c
        if low is not None and high is not None and low > high:
            raise in_units(
                "temperature_low_c",
                lambda units: (
                    f"the range runs from {units.typed(low, 'temperature')} to {units.typed(high, 'temperature')}; "
                    "swap the two",
                    "",
                ),
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Yeast:
    """A yeast as the person names it, with the apparent attenuation its maker or their notes say."""

    yeast_id: str = field(default_factory=lambda: new_id("yeast"))
    name: str
    attenuation_low: float | None = None
    attenuation_high: float | None = None
    diastatic: bool = False

    def __post_init__(self) -> None:
        need_name(self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRecord:
    """One fermentation, from pitching until it is packaged or given up. `vessel_id` is where it is now, or was last.

    Where it was before is told by its stays (`BatchStay`).

    Batches that were split from one wort share `split_of` (any text, such as the brew's name).
    """

    batch_id: str = field(default_factory=lambda: new_id("batch"))
    name: str
    vessel_id: str
    drink: Drink = "ale"
    yeast: str | None = None
    volume_l: float | None = None
    original_gravity_sg: float | None = None
    pitched_at: datetime
    ended_at: datetime | None = None
    expected_low: float | None = None
    expected_high: float | None = None
    diastatic: bool = False
    mixed_culture: bool = False
    split_of: str | None = None
    hold_h: float | None = None
    contact_days: float | None = None
    plan: dict[str, Any] = field(default_factory=dict)
    """Wishes for this batch that differ from the cellar's (keys as in `analysis.planning.plan.Constraints`)."""
    notes: str = ""
    divided_from: str | None = None
    """Id of the batch of which it is a part; that one's course up to `divided_at` is its own."""
    divided_at: datetime | None = None
    merged_into: str | None = None
    """Id of the batch into which it went; that one has it as an addition."""

    def __post_init__(self) -> None:
        to_utc(self)
        need_name(self.name)
        if (self.divided_from is None) != (self.divided_at is None):
            raise EntryError("divided_at", "a part needs both its batch and the time of the division", "Give both.")
        if self.divided_at is not None and self.divided_at < self.pitched_at:
            raise EntryError("divided_at", "the division lies before pitching", "Check the two dates.")
        if self.drink not in DRINKS:
            raise EntryError("drink", f"{self.drink!r} is not one of: {', '.join(DRINKS)}")
        in_range("original_gravity_sg", self.original_gravity_sg, 1.0, 1.2, Usual("gravity", 1.02, 1.16))
        in_range("volume_l", self.volume_l, 0.1, 100_000, Usual("volume", 1, 2000, "A small batch is {}."))
        for name in ("expected_low", "expected_high"):
            usual = Usual("share", 0.65, 0.85, "Most beers end at {}, ciders near 100.")
            in_range(name, getattr(self, name), 0.2, 1.4, usual)
        if self.ended_at is not None and self.ended_at < self.pitched_at:
            raise EntryError("ended_at", "the batch ends before it was pitched", "Check the two dates.")
        if self.divided_at is not None and self.ended_at is not None and self.ended_at < self.divided_at:
            raise EntryError("ended_at", "the part ends before it was divided off", "Check the two dates.")

    @property
    def here_from(self) -> datetime:
        """Since when it has been in its vessel: a part since the division, others since pitching."""
        return self.divided_at or self.pitched_at

    @property
    def lot(self) -> str:
        """What batches of one wort have in common: the text they share, else the batch's own id."""
        return self.split_of or self.batch_id


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchStay:
    """From when on a batch was in which vessel, until its next stay or its end.

    A batch without any was in its own vessel since pitching. A stay that began by a transfer has that event's id.
    """

    stay_id: str = field(default_factory=lambda: new_id("stay"))
    batch_id: str
    vessel_id: str
    from_at: datetime

    def __post_init__(self) -> None:
        to_utc(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Which device sat in which vessel from when to when; a reading finds its batch by time."""

    placement_id: str = field(default_factory=lambda: new_id("placement"))
    device_id: str
    vessel_id: str
    from_at: datetime
    to_at: datetime | None = None

    def __post_init__(self) -> None:
        to_utc(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRecord:
    """An event of a batch; see `analysis.model.Event`.

    Of a feed or a dilution `added` is what it was, `amount_g` or `amount_l` how much, as it was typed in `amount_unit`;
    `added_gravity_sg` and `added_abv_pct` are its own gravity and strength.
    """

    event_id: str = field(default_factory=lambda: new_id("event"))
    batch_id: str
    kind: EventKind
    at: datetime
    gravity_sg: float | None = None
    amount_g: float | None = None
    note: str = ""
    added: Substance | None = None
    amount_l: float | None = None
    amount_unit: str | None = None
    added_gravity_sg: float | None = None
    added_abv_pct: float | None = None
    hop_variety: str | None = None
    """Of dry hops: the variety as it was typed, in which form, and for how many days they are meant to stay in."""
    hop_form: HopForm | None = None
    contact_days: float | None = None

    def __post_init__(self) -> None:
        to_utc(self)
        if self.hop_form is not None and self.hop_form not in HOP_FORMS:
            raise EntryError("hop_form", f"{self.hop_form!r} is not one of: {', '.join(HOP_FORMS)}")
        in_range("contact_days", self.contact_days, 0.0, 60.0, "Dry hops usually stay in for 2 to 5 days.")
        if self.kind not in EVENT_KINDS:
            raise EntryError("kind", f"event kind {self.kind!r} is not one of: {', '.join(EVENT_KINDS)}")
        if self.added is not None and self.added not in SUBSTANCE_NAMES:
            raise EntryError("added", f"{self.added!r} is not one of: {', '.join(SUBSTANCE_NAMES)}")
        in_range("amount_l", self.amount_l, 0.0, 100_000, "Leave it empty if there was no amount.")
        in_range("added_gravity_sg", self.added_gravity_sg, 0.98, 1.5, "Juice has about 1.040 to 1.100.")
        in_range("added_abv_pct", self.added_abv_pct, 0.0, 100.0, "A spirit has about 37 to 60, another batch 4 to 15.")

    @property
    def addition(self) -> Added | None:
        """What was added, as the analysis sees it; None where it is not known what it was."""
        if self.added is None or self.kind not in ("feed", "dilute"):
            return None
        mass_kg = self.amount_g / 1000.0 if self.amount_g is not None and 0 < self.amount_g < 1e9 else None
        volume_l = self.amount_l if self.amount_l is not None and self.amount_l > 0 else None
        return Added(self.added, mass_kg, volume_l, self.added_gravity_sg, self.added_abv_pct)


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A picture of a batch, re-encoded (see `ingest.photos`); its bytes are kept apart, under the same id."""

    photo_id: str = field(default_factory=lambda: new_id("photo"))
    batch_id: str
    at: datetime
    caption: str = ""
    width_px: int
    height_px: int

    def __post_init__(self) -> None:
        to_utc(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """The bytes of a photo, JPEG."""

    photo_id: str
    data: bytes


Instrument = Literal["hydrometer", "refractometer"]
INSTRUMENTS: Final[tuple[Instrument, ...]] = get_args(Instrument)


@dataclass(frozen=True, slots=True, kw_only=True)
class HandSample:
    """A gravity read by hand, as it was read.

    A hydrometer's `value` is in `unit` "SG", "°P", "°Bx" or "kg/m³", read at `temperature_c` on a scale made for
    `reference` ("20/20 °C", "60/60 °F", "15/15 °C", "20/4 °C"); a refractometer's is in "°Bx".
    """

    sample_id: str = field(default_factory=lambda: new_id("sample"))
    batch_id: str
    at: datetime
    instrument: Instrument = "hydrometer"
    value: float
    unit: str = "SG"
    temperature_c: float | None = None
    reference: str = "20/20 °C"
    degassed: bool = True
    anchors_float: bool = True
    """Whether the vessel's float is set by this sample: what it read since its last change, and from then on."""
    note: str = ""

    def __post_init__(self) -> None:
        to_utc(self)
        if self.instrument not in INSTRUMENTS:
            raise EntryError("instrument", f"{self.instrument!r} is not one of: {', '.join(INSTRUMENTS)}")


CalibrationKind = Literal["inclination", "gravity offset", "temperature offset"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRecord:
    """A device's calibration, valid from `from_at` (None: always) until the next one of its kind.

    `points` are pairs: (inclination °, gravity SG), (device said SG, truly SG) or (device said °C, truly °C).
    """

    calibration_id: str = field(default_factory=lambda: new_id("calibration"))
    device_id: str
    kind: CalibrationKind
    from_at: datetime | None = None
    points: tuple[tuple[float, float], ...]
    note: str = ""

    def __post_init__(self) -> None:
        to_utc(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessmentRecord:
    """What we said about a batch, and when: the history behind the cellar's own track record."""

    batch_id: str
    made_at: datetime
    phase: str
    finished: bool
    stalled: bool
    hold_met: bool
    p_finished: float | None = None
    held_h: float = 0.0
    gravity_sg: float | None = None
    finish_p10: datetime | None = None
    finish_p50: datetime | None = None
    finish_p90: datetime | None = None
    hop_day: str | None = None
    packaging_day: str | None = None
    detail: dict[str, Any] = field(default_factory=dict)
    program_version: str | None = None
    """The version of tunroom that said so; None of what was said before it was noted."""

    def __post_init__(self) -> None:
        to_utc(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Preferences:
    """The person's choices for the whole cellar; one row."""

    preferences_id: str = "cellar"
    cellar_name: str = "My cellar"
    time_zone: str = "UTC"
    gravity_unit: GravityUnit = "SG"
    temperature_unit: TemperatureUnit = "°C"
    volume_unit: VolumeUnit = "L"
    pressure_unit: PressureUnit = "bar"
    jurisdiction: str = "EU"
    hold_h: float = HOLD_H
    contact_days: float = CONTACT_DAYS
    confidence: float = 0.8
    hop_weekdays: tuple[int, ...] = (0, 1, 2, 3, 4, 5, 6)
    """Weekdays on which the person can hop, Monday is 0."""
    package_weekdays: tuple[int, ...] = (0, 1, 2, 3, 4, 5, 6)
    busy_dates: tuple[str, ...] = ()
    """Dates (YYYY-MM-DD) on which nothing can be done."""
    notify_urls: tuple[str, ...] = ()
    notify_kinds: tuple[str, ...] = ()
    quiet_from: time | None = None
    quiet_to: time | None = None
    calendar_token: str = ""
    mass_unit: MassUnit = "g"
    altitude_m: float | None = None
    """Of the cellar, for what a package has to hold; None where it was not said."""

    def __post_init__(self) -> None:
        need_name(self.cellar_name)
        if self.altitude_m is not None and not LOWEST_PLACE_M <= self.altitude_m <= HIGHEST_PLACE_M:
            raise EntryError("altitude_m", f"{self.altitude_m:g} m is out of range", "Usual is 0 to 3000 m.")
        try:
            Constraints(
                hold_h=self.hold_h,
                contact_days=self.contact_days,
                confidence=self.confidence,
                hop_weekdays=self.hop_weekdays,
                package_weekdays=self.package_weekdays,
                busy_dates=tuple(date.fromisoformat(d) for d in self.busy_dates),
                time_zone=self.time_zone,
            )
        except ValueError as error:
            raise EntryError(str(error).partition(" ")[0], str(error)) from None

    @property
    def units(self) -> DisplayUnits:
        """The units in which everything is printed for this person."""
        return DisplayUnits(
            self.gravity_unit, self.temperature_unit, self.pressure_unit, self.volume_unit, self.mass_unit
        )


def usable_hold_h(record: BatchRecord, preferences: Preferences) -> tuple[float, str | None]:
    """How long the gravity of this batch must hold, hours, and a sentence where what is stored cannot be used.

    The batch's own wish counts, else the cellar's; a stored one that is no span of time gives way to the usual one, so
    that a hold of nothing clears nothing.
    """
    hold_h, whose = preferences.hold_h, "the cellar"
    if record.hold_h is not None:
        hold_h, whose = record.hold_h, "this batch"
    if LEAST_HOLD_H <= hold_h <= MOST_HOLD_H:
        return hold_h, None
    return HOLD_H, (
        f"The hold kept for {whose}, {hold_h:g} hours, cannot be used; {HOLD_H:g} hours count instead. "
        f"Enter one of {LEAST_HOLD_H:g} hours or more."
    )


_OfTheCellar = Device | Vessel | Yeast | CalibrationRecord | Preferences
_OfTrials = TrialRecord | Tasting | Taster | TastingAnswer
Record = _OfTheCellar | BatchRecord | BatchStay | Placement | EventRecord | HandSample | Photo | _OfTrials
"""What a person enters; each is saved, removed and undone by the same store calls."""
