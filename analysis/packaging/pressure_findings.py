"""What the packaging sheet finds of gas and pressure, as values in volumes and kPa above the atmosphere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class HoldsMoreThanWished:
    """Volumes of CO2 already dissolved, and those wished for."""

    held_volumes: float
    wished_volumes: float


@dataclass(frozen=True, slots=True)
class WarmestUnknown:
    """The warmest temperature is not given; `counted` where more may still be dissolved than is wished for."""

    counted: HoldsMoreThanWished | None


@dataclass(frozen=True, slots=True)
class MoreThanOrdinaryBottles:
    """More volumes are to be expected than ordinary bottles are filled with."""

    volumes: float


@dataclass(frozen=True, slots=True)
class Heating:
    """What filled bottles reach when heated."""

    volumes: float
    gauge_kpa: float


@dataclass(frozen=True, slots=True)
class HeatedAboveRating:
    """Heated, they pass their rating; `rating_kpa` is None where none is known, `with_air` where the neck holds air."""

    gauge_kpa: float
    with_air: bool
    rating_kpa: float | None
    trusted_kpa: float


@dataclass(frozen=True, slots=True)
class ExpectedAboveTrust:
    """More pressure is to be expected than a bottle of unknown rating is trusted with."""

    gauge_kpa: float
    storage_c: float
    with_air: bool
    trusted_kpa: float


@dataclass(frozen=True, slots=True)
class VolumesAboveLimit:
    """Volumes above what a bottle of unknown rating gets a stop (else a caution) for."""

    volumes: float
    stops: bool


@dataclass(frozen=True, slots=True)
class WorstAboveNewBottleTest:
    """The worst case passes the test of new bottles."""

    gauge_kpa: float
    with_air: bool


@dataclass(frozen=True, slots=True)
class WorstAboveTrust:
    """The worst case passes what a bottle of unknown rating is trusted with."""

    volumes: float
    gauge_kpa: float
    with_air: bool


@dataclass(frozen=True, slots=True)
class BottleRatingUnknown:
    """No rating is given: counted as the lowest commonly sold of the kind; `kind` is None where it is not given."""

    kind: str | None
    counted_kpa: float


@dataclass(frozen=True, slots=True)
class StillWineBottle:
    """A bottle for still wine is to hold a carbonated drink."""

    volumes: float


@dataclass(frozen=True, slots=True)
class BottleRatingNotBelieved:
    """No bottle of the kind is made to work at such a pressure."""

    rating_kpa: float
    counted_kpa: float


@dataclass(frozen=True, slots=True)
class ExpectedAboveRating:
    """The pressure to expect passes the rating, by itself or together with the air in the neck."""

    gauge_kpa: float
    storage_c: float
    rating_kpa: float
    only_with_air: bool


@dataclass(frozen=True, slots=True)
class ExpectedNearRating:
    """The pressure to expect leaves less than the margin free."""

    gauge_kpa: float
    storage_c: float
    rating_kpa: float
    with_air: bool


@dataclass(frozen=True, slots=True)
class ChanceAboveRating:
    """The chance that the pressure passes the rating."""

    chance: float
    rating_kpa: float


@dataclass(frozen=True, slots=True)
class SeldomAboveRating:
    """About once in ten thousand the pressure passes the rating."""

    rating_kpa: float
    with_air: bool


@dataclass(frozen=True, slots=True)
class WorstAboveRating:
    """The worst case passes the rating, with all of the fermentable sweetener eaten where there is one."""

    gauge_kpa: float
    rating_kpa: float
    with_air: bool
    sweetener: str | None


@dataclass(frozen=True, slots=True)
class KegRating:
    """What a keg is held against, and whether that is its own rating."""

    gauge_kpa: float
    known: bool


@dataclass(frozen=True, slots=True)
class SettingAboveRating:
    """The pressure to set passes the keg's rating."""

    volumes: float
    serving_c: float
    gauge_kpa: float
    rating: KegRating


@dataclass(frozen=True, slots=True)
class VesselAboveRating:
    """The vessel already stands above the keg's rating."""

    gauge_kpa: float
    rating: KegRating


@dataclass(frozen=True, slots=True)
class WarmedKeg:
    """What a keg reaches where it stands warmest, as expected or `at_worst`, above its rating or `near` it.

    `eaten` says that the sweetener is counted as eaten.
    """

    gauge_kpa: float
    storage_c: float
    rating: KegRating
    at_worst: bool
    near: bool
    sweetener: str | None
    eaten: bool


@dataclass(frozen=True, slots=True)
class KegRatingNotBelieved:
    """Small kegs are not marked for such a pressure."""

    rating_kpa: float
    counted_kpa: float


OF_PRESSURE: Final = (
    HoldsMoreThanWished,
    WarmestUnknown,
    MoreThanOrdinaryBottles,
    Heating,
    HeatedAboveRating,
    ExpectedAboveTrust,
    VolumesAboveLimit,
    WorstAboveNewBottleTest,
    WorstAboveTrust,
    BottleRatingUnknown,
    StillWineBottle,
    BottleRatingNotBelieved,
    ExpectedAboveRating,
    ExpectedNearRating,
    ChanceAboveRating,
    SeldomAboveRating,
    WorstAboveRating,
    KegRating,
    SettingAboveRating,
    VesselAboveRating,
    WarmedKeg,
    KegRatingNotBelieved,
)
"""Every finding of this module: a package may burst."""
