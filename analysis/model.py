"""The nouns of the analysis; the schemas of the frames that pass between its functions are in `analysis.schemas`.

Gravity is specific gravity at 20/20 °C (`gravity_sg`), temperature is °C, instants are aware datetimes in UTC,
durations are hours unless the name says otherwise. A *point* is 0.001 SG.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, get_args

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

from analysis.evidence import Advice, Evidence

# Nouns of the trade as much as thresholds: who takes the nouns from here takes these with them.
from analysis.thresholds import CONTACT_DAYS as CONTACT_DAYS
from analysis.thresholds import HOLD_H as HOLD_H
from analysis.thresholds import STEADY_SG as STEADY_SG
from analysis.thresholds import TREND_BEYOND, TREND_SG_DAY

# Commands that must answer at once need these nouns too: numpy and polars are loaded where they are used.
Floats: TypeAlias = "NDArray[np.float64]"

Drink = Literal["ale", "lager", "mead", "cider", "wine", "other"]
DRINKS: Final[tuple[Drink, ...]] = get_args(Drink)

EventKind = Literal[
    "pitch",
    "dry hop",
    "hops out",
    "crash",
    "warm",
    "feed",
    "dilute",
    "nutrient",
    "transfer",
    "sample",
    "float moved",
    "forced test",
    "package",
    "note",
]
EVENT_KINDS: Final[tuple[EventKind, ...]] = get_args(EventKind)
MAY_SHIFT_FLOAT: Final[frozenset[EventKind]] = frozenset(
    {"float moved", "transfer", "dry hop", "hops out", "feed", "dilute"}
)
"""Events that can shift a float, or change the gravity at once."""

Substance = Literal[
    "sucrose",
    "dextrose",
    "dextrose monohydrate",
    "honey",
    "dry malt extract",
    "malt syrup",
    "juice",
    "concentrate",
    "fruit",
    "water",
    "spirit",
    "another batch",
]
SUBSTANCE_NAMES: Final[tuple[Substance, ...]] = get_args(Substance)

Phase = Literal["lag", "active", "slowing", "steady", "finished", "stalled", "chilled", "creeping"]
PHASES: Final[tuple[Phase, ...]] = get_args(Phase)


def as_utc(when: datetime, name: str = "time") -> datetime:
    """`when` in UTC.

    Raises
    ------
    ValueError
        If it has no time zone.
    """
    if when.tzinfo is None:
        raise ValueError(f"{name} has no time zone: {when!r}; attach one first, for example tzinfo=UTC")
    return when.astimezone(UTC)


@dataclass(frozen=True, slots=True)
class Added:
    """What was added to a batch, and how much; see `analysis.additions`.

    `mass_kg` or `volume_l` (at 20 °C) is the amount, `gravity_sg` the gravity of what was added itself (juice,
    concentrate, another batch), `abv_pct` its alcohol in % by volume (a spirit, another batch). None where not known.
    """

    substance: Substance
    mass_kg: float | None = None
    volume_l: float | None = None
    gravity_sg: float | None = None
    abv_pct: float | None = None

    def __post_init__(self) -> None:
        if self.substance not in SUBSTANCE_NAMES:
            raise ValueError(f"substance {self.substance!r} is not one of: {', '.join(SUBSTANCE_NAMES)}")
        for name in ("mass_kg", "volume_l"):
            amount = getattr(self, name)
            if amount is not None and not 0 < amount < 1e6:
                raise ValueError(f"{name} of the {self.substance} is {amount}; give an amount above zero, or none")
        if self.gravity_sg is not None and not 0.98 <= self.gravity_sg <= 1.5:
            raise ValueError(f"gravity_sg of the {self.substance} is {self.gravity_sg}; juice has about 1.040 to 1.100")
        if self.abv_pct is not None and not 0 <= self.abv_pct <= 100:
            raise ValueError(f"abv_pct of the {self.substance} is {self.abv_pct}; a spirit has about 37 to 60")


@dataclass(frozen=True, slots=True)
class Event:
    """Something done to a batch.

    `gravity_sg` is the gravity that belongs to the event, where one does: the end gravity of a forced test,
    the gravity right after a feed or a dilution, the hand-read gravity of a sample. `added` says what a feed or a
    dilution was, where that is known. `degassed` is False of a sample that is known to have kept its gas: bubbles lift
    a hydrometer, so it agrees with nothing.
    """

    kind: EventKind
    at: datetime
    gravity_sg: float | None = None
    note: str = ""
    degassed: bool = True
    added: Added | None = None

    def __post_init__(self) -> None:
        if self.kind not in EVENT_KINDS:
            raise ValueError(f"event kind {self.kind!r} is not one of: {', '.join(EVENT_KINDS)}")
        object.__setattr__(self, "at", as_utc(self.at, "event time"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One fermentation, as far as the analysis needs to know it.

    `expected_attenuation` is a range of apparent attenuation as fractions, for example ``(0.74, 0.79)``.
    `hold_h` is how long the gravity must be seen to hold before the batch counts as ready.
    `diastatic` (a yeast that eats dextrins) and `mixed_culture` mean that the gravity may creep for weeks.
    `float_changed_at` are the instants at which the float got another calibration: since then it is not the float that
    an earlier hand sample agreed with.
    `volume_l` is what was pitched, before anything was added.
    """

    pitched_at: datetime
    original_gravity_sg: float | None = None
    yeast: str | None = None
    drink: Drink = "other"
    expected_attenuation: tuple[float, float] | None = None
    events: tuple[Event, ...] = ()
    diastatic: bool = False
    mixed_culture: bool = False
    hold_h: float = HOLD_H
    float_changed_at: tuple[datetime, ...] = ()
    volume_l: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "pitched_at", as_utc(self.pitched_at, "pitched_at"))
        object.__setattr__(self, "events", tuple(sorted(self.events, key=lambda e: e.at)))
        if self.drink not in DRINKS:
            raise ValueError(f"drink {self.drink!r} is not one of: {', '.join(DRINKS)}")
        gravity = self.original_gravity_sg
        if gravity is not None and not 0.99 <= gravity <= 1.25:
            raise ValueError(f"original_gravity_sg is {gravity}; the usual range is 1.020 to 1.160")
        if self.expected_attenuation is not None:
            low, high = self.expected_attenuation
            if not 0 < low <= high <= 1.4:
                raise ValueError(
                    f"expected_attenuation is {low}, {high}; give fractions, low then high, such as 0.74, 0.79"
                )
        if not 0 < self.hold_h <= 24 * 60:
            raise ValueError(f"hold_h is {self.hold_h}; the usual range is 24 to 96 hours")


@dataclass(frozen=True, slots=True)
class FinishedBatch:
    """An earlier batch with all its readings (schema `READINGS`): what `learn` learns from.

    By its `name` its lesson is found again, so that it can be judged without it; empty where that is not asked for.
    """

    batch: Batch
    readings: pl.DataFrame
    name: str = ""


@dataclass(frozen=True, slots=True)
class Range:
    """The 10th, 50th and 90th percentile of a quantity."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """When something happens, as a distribution.

    `chances` are cumulative probabilities, increasing, and `instants` (seconds since 1970, UTC, never decreasing)
    the times by which each is reached. The last chance may stay below 1 where the event may never come; what is less
    likely than not to come at all has no date and is no forecast.
    """

    instants: tuple[float, ...]
    chances: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.instants) != len(self.chances) or len(self.instants) < 2:
            raise ValueError("a forecast needs at least two instants, each with its chance")
        if self.chances[-1] < 0.5:
            raise ValueError(
                f"a forecast needs an even chance that the event comes; its last is {self.chances[-1]:.2g}"
            )

    def when(self, chance: float) -> datetime | None:
        """The moment by which the event has come with this chance (linear between the stored instants).

        None for a chance beyond the last one: the event may never come.
        """
        return None if chance > self.chances[-1] + 1e-9 else self._at(chance)

    def _at(self, chance: float) -> datetime:
        import numpy as np

        return datetime.fromtimestamp(float(np.interp(chance, self.chances, self.instants)), UTC)

    @property
    def p10(self) -> datetime:
        """Only one chance in ten that it comes before this."""
        return self._at(0.1)

    @property
    def p50(self) -> datetime:
        """As likely before as after this."""
        return self._at(0.5)

    @property
    def p90(self) -> datetime | None:
        """Nine chances in ten that it comes before this; None where so much of the chance is not there."""
        return self.when(0.9)

    @property
    def last(self) -> datetime:
        """The latest moment that is told, for pictures and where something must stand: no chance belongs to it."""
        return self._at(self.chances[-1])

    def probability_by(self, when: datetime) -> float:
        """The chance that it comes at or before `when`."""
        seconds = as_utc(when, "when").timestamp()
        import numpy as np

        return float(np.interp(seconds, self.instants, self.chances, left=0.0))

    def later(self, by: timedelta) -> Forecast:
        """The same distribution, moved by a fixed time."""
        return Forecast(tuple(s + by.total_seconds() for s in self.instants), self.chances)


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """A phase and the time it began; it lasts until the next span, the last one until now."""

    phase: Phase
    began_at: datetime


@dataclass(frozen=True, slots=True)
class Creep:
    """Renewed fall after dry hops: its size so far and when it was first seen."""

    fall_sg: Range
    since: datetime


@dataclass(frozen=True, slots=True)
class HandReading:
    """A gravity read by hand, of a degassed sample."""

    at: datetime
    gravity_sg: float


@dataclass(frozen=True, slots=True)
class SetByHand:
    """The newest hand sample, and whether the gravity that is told goes by it.

    It corrects the float back to `since` and from then on; None where no float was read. `hops` is what may have
    shifted the float after it, in or out. `why_not` is empty where it counts: else the event since which it says
    nothing of the float, or "float apart" where the float was not set by it.
    """

    at: datetime
    gravity_sg: float
    since: datetime | None
    hops: EventKind | None = None
    why_not: EventKind | Literal["", "float apart"] = ""


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through the readings since the fermentation is said to have ended: its fall a day, and the error.

    It begins at `since_h` (hours since pitching) and is `days` long. The error knows of scatter, wandering, the last of
    the fermentation and warmth, but not of a float's drift: that is no faster than `TREND_SG_DAY`.
    """

    since_h: float
    days: float
    fall_sg_day: float
    error_sg_day: float

    @property
    def fell_sg(self) -> float:
        """By how much it has fallen along the line."""
        return self.fall_sg_day * self.days

    def falls(self, beyond: float = TREND_BEYOND) -> bool:
        """Whether it has surely fallen, by a point or more, faster than floats drift; `beyond` in standard errors."""
        surely = self.fall_sg_day - TREND_SG_DAY >= beyond * self.error_sg_day
        return surely and self.fell_sg >= STEADY_SG

    @property
    def seems_to_fall(self) -> bool:
        """Whether it falls by what matters in a closed package, beyond the error of the line."""
        return self.fall_sg_day >= max(TREND_SG_DAY, self.error_sg_day)

    @property
    def excluded(self) -> bool:
        """Whether a fall that matters is excluded, but for the error of the line."""
        return self.fall_sg_day + self.error_sg_day <= TREND_SG_DAY


@dataclass(frozen=True, slots=True)
class BeforeHops:
    """How the gravity had held when the last hops went in, at `hopped_at`; they start the watch anew.

    `finished` says whether it counted as finished by then, or before hops that had changed nothing since.
    """

    hopped_at: datetime
    held_since: datetime
    held_h: float
    finished: bool


@dataclass(frozen=True, slots=True)
class Hysteresis:
    """What an assessment called the batch, which the next one may carry on from.

    `called_h` is when it was last called finished, hours since pitching; None where it never was. `dated` says whether
    a date was given. `before_hops` says whether it counted as finished when the last hops went in; None where that is
    to be worked out from the readings.
    """

    finished: bool = False
    stalled: bool = False
    called_h: float | None = None
    dated: bool = False
    before_hops: bool | None = None


def _no_readings() -> pl.DataFrame:
    from analysis.schemas import MARKED, empty

    return empty(MARKED)


def _no_course() -> pl.DataFrame:
    from analysis.schemas import COURSE, empty

    return empty(COURSE)


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """Everything we say about one batch at one moment.

    `finish` is the first moment after which true gravity falls by less than 0.001 SG for good, absent events not
    yet known; `finished` says that it has passed, on the evidence; `hold_met` says that gravity has also been
    watched to hold for `batch.hold_h`. A batch is `ready` when both are true and no slow fall shows.

    `original_gravity_sg` and `apparent_attenuation` count all extract, what was added on the way included.

    `evidence` can be checked by hand by a brewer; `analysis.wording.evidence` says it and `advice` in sentences.
    `marked` has the `MARKED` schema, `course` has the `COURSE` schema (empty where nothing can be inferred).
    `fingerprint` identifies the inputs, so that a
    `previous` assessment made from other data is dropped. `hysteresis` is what the next call may carry on from.
    """

    now: datetime
    phase: Phase
    finished: bool
    stalled: bool
    p_finished: float | None
    finish: Forecast | None
    held_since: datetime | None
    held_h: float
    hold_met: bool
    gravity_sg: Range | None
    terminal_gravity_sg: Range | None
    remaining_fall_sg: Range | None
    original_gravity_sg: Range | None
    apparent_attenuation: float | None
    temperature_c: float | None
    evidence: tuple[Evidence, ...]
    advice: tuple[Advice, ...] = ()
    phases: tuple[PhaseSpan, ...] = ()
    creep: Creep | None = None
    newest_reading_at: datetime | None = None
    held_sg: float | None = None
    """The level of the readings over the hold, as the log shows it; None where none holds."""
    hand_sample_agrees: bool | None = None
    """Whether a hand sample since the gravity steadied agrees with the float; None without one."""
    hand_samples: tuple[HandReading, ...] = ()
    """Every reading in use that was made by hand of a degassed sample, in time order."""
    by_hand: SetByHand | None = None
    """The newest hand sample, and whether `gravity_sg` goes by it; None without one."""
    followed_by_hand: bool = False
    """Whether no float was read since the gravity steadied: what is known of the hold, hand samples say."""
    trend: Trend | None = None
    """The slow trend since it is said to have ended; None before that and with too few readings since."""
    falls_again: bool = False
    """Whether that trend takes back that it has ended."""
    before_hops: BeforeHops | None = None
    """The hold that the last hops ended; None without hops, and where none had been seen."""
    volume_l: float | None = None
    """Volume after what was added, by mass balance; None where nothing was added, or not all amounts are known."""
    spirit_abv_pct: float = 0.0
    """Alcohol in % by volume that was added as such, beside what fermented."""
    remaining_falls_sg: tuple[float, ...] = ()
    """What may still fall, SG: equally likely values of the whole posterior, ascending; `remaining_fall_sg` is of the
    same. Empty where nothing can be inferred."""
    renewed: float = 0.0
    """The chance that it ferments anew, slowly, since it is said to have ended; of that, `remaining_falls_sg` knows."""
    beside_sg: float | None = None
    """By how much the float's newest readings lie above `course`, SG; None where they scatter about it, or there are
    none. Where a hand sample sets the float: those before."""
    marked: pl.DataFrame = field(default_factory=_no_readings)
    course: pl.DataFrame = field(default_factory=_no_course)
    fingerprint: str = ""
    hysteresis: Hysteresis = Hysteresis()

    @property
    def ready(self) -> bool:
        """Finished, seen to hold for as long as was asked, and without a slow fall since; no release to package."""
        slow = self.trend is not None and self.trend.seems_to_fall
        return self.finished and self.hold_met and not slow


def events_of(batch: Batch, *kinds: EventKind, until: datetime | None = None) -> Sequence[Event]:
    """The events of these kinds in time order, those after `until` left out."""
    return [e for e in batch.events if e.kind in kinds and (until is None or e.at <= until)]
