"""What the packaging sheet finds: reasons, cautions and refusals as values, with their numbers in SI units.

No sentence is made here; `analysis.wording.sheet.worded` says each of them in the person's units. A verdict follows
from how severe the findings are, in `verdict_of`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum, IntEnum, auto
from typing import Literal

from analysis.packaging.dose_findings import (
    AlcoholAndPriming,
    MolecularAt,
    NoSulfiteLimitHere,
    PresentSo2Unclear,
    PrimingStrengthUnknown,
    PrimingTooWeak,
    PrimingVaries,
    SorbateAndPriming,
    SorbateNotPermitted,
    StabilisingFact,
    SulfiteAndPriming,
    TooLittleSorbate,
    TotalSo2Unknown,
)
from analysis.packaging.gap_findings import InputMissing, LowAlcohol
from analysis.packaging.inputs import Package
from analysis.packaging.pressure_findings import (
    BottleRatingNotBelieved,
    BottleRatingUnknown,
    ChanceAboveRating,
    ExpectedAboveRating,
    ExpectedAboveTrust,
    ExpectedNearRating,
    HeatedAboveRating,
    Heating,
    HoldsMoreThanWished,
    KegRatingNotBelieved,
    MoreThanOrdinaryBottles,
    SeldomAboveRating,
    SettingAboveRating,
    StillWineBottle,
    VesselAboveRating,
    VolumesAboveLimit,
    WarmedKeg,
    WarmestUnknown,
    WorstAboveNewBottleTest,
    WorstAboveRating,
    WorstAboveTrust,
)
from analysis.packaging.safety import Verdict

Missing = Literal["drink", "original gravity"]


class Severity(IntEnum):
    """How far a finding holds the package back."""

    NOTE = 0
    """Worth knowing; changes no verdict."""
    CAUTION = 1
    """At most a caution from here on."""
    STOP = 2
    """A stop that knowing more may lift; stands among the cautions."""
    REFUSAL = 3
    """A stop that cannot be got round; stands among the refusals."""


class Remark(Enum):
    """Findings without a number of their own."""

    NOT_FINISHED = auto()
    FINISH_NOT_SAID = auto()
    HOLD_NOT_MET = auto()
    HOLD_NOT_SAID = auto()
    NO_HAND_SAMPLE = auto()
    DIASTATIC = auto()
    MIXED_CULTURE = auto()
    STABILISED_SO_NO_PRIMING = auto()
    PRESSURE_UNKNOWN = auto()
    COUNTED_AS_STILL = auto()
    HEATING_AT_UNKNOWN_VOLUMES = auto()
    KEG_NOT_SEEN_TO_HOLD = auto()
    KEG_CULTURE_GOES_ON = auto()
    KEG_FALL_UNKNOWN = auto()
    KEG_RATING_UNKNOWN = auto()
    SERVING_TEMPERATURE_UNKNOWN = auto()
    CARBONATION_UNKNOWN = auto()
    NO_PRIMING_BEFORE_THE_FINISH = auto()
    NO_PRIMING_BEFORE_THE_HOLD = auto()
    NO_YEAST_SO_NO_PRIMING = auto()
    HEAT_ONLY_ONCE_CARBONATED = auto()
    PRIMING_ALCOHOL_UNKNOWN = auto()
    PRIMING_SUGAR_ASSUMED = auto()
    STABILISED_BEER = auto()
    STABILISED_MIXED_CULTURE = auto()
    STABILISED_WITH_FRESH_YEAST = auto()
    STRONG_FOR_BALLING = auto()
    ADD_ACID_IN_THIRDS = auto()
    SULFITE_OF_UNSAID_DRINK = auto()
    SULFITE_IN_BEER = auto()
    SORBATE_BEFORE_THE_FINISH = auto()
    SORBATE_OF_UNSAID_DRINK = auto()
    TABLET_CONTENT_UNKNOWN = auto()
    # What stands beside the figures on every sheet of its kind.
    CREEP = auto()
    BOTTLES = auto()
    TEST_BOTTLE = auto()
    KEG = auto()
    GAS_IN_THE_ROOM = auto()
    SULFITE_HANDLING = auto()
    SULFITE_ASTHMA = auto()
    SULFITE_LABEL = auto()
    SORBATE = auto()
    NOT_IN_BEER = auto()
    DEFER = auto()
    CLOSURES = auto()
    REGULATOR = auto()
    FRESH_YEAST = auto()
    LOW_ACID = auto()
    TOO_LITTLE_ACID = auto()
    CLEANERS = auto()
    LABEL = auto()
    LABEL_GRAIN = auto()


# --- where it ended --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FinalGravityUnknown:
    """It cannot be judged whether it has ended."""

    package: Package


@dataclass(frozen=True, slots=True)
class AboveForcedTest:
    """It stands above the end of its forced test."""

    final_sg: float
    test_sg: float


@dataclass(frozen=True, slots=True)
class AboveExpectedEnd:
    """It stands above where drink and yeast are expected to end; `is_beer` says which way out there is."""

    final_sg: float
    highest_sg: float
    package: Package
    is_beer: bool


@dataclass(frozen=True, slots=True)
class AboveStrictestEnd:
    """It stands above where the strictest ends of what it could be, as something of it is not given."""

    missing: Missing
    final_sg: float
    highest_sg: float
    package: Package


@dataclass(frozen=True, slots=True)
class EndUnjudged:
    """Something is missing to judge where it should have ended."""

    missing: Missing


@dataclass(frozen=True, slots=True)
class ForcedTestUnchecked:
    """Something is missing to check the forced test with."""

    test_sg: float
    missing: Missing


@dataclass(frozen=True, slots=True)
class ForcedTestDoubted:
    """The forced test ended well above what drink and yeast reach."""

    test_sg: float
    highest_sg: float


@dataclass(frozen=True, slots=True)
class ForcedTestUnsure:
    """The forced test stands high and is not said to have had fresh yeast: it counts in part, or for nothing."""

    test_sg: float
    in_part: bool


@dataclass(frozen=True, slots=True)
class CreepMayCome:
    """What dry hops may still start, at worst, in volumes of CO2."""

    volumes: float


@dataclass(frozen=True, slots=True)
class MalicAcidCounted:
    """Malic acid that bacteria may turn to gas; `assumed` where none is given."""

    g_per_l: float
    volumes: float
    assumed: bool


@dataclass(frozen=True, slots=True)
class FallUnknown:
    """What may still ferment is not known; counted down to `lowest_sg`, or not at all where it is None."""

    lowest_sg: float | None


# --- sweetener and stabilising ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StabilisingUnjudged:
    """What stabilising depends on is not given."""

    missing: tuple[StabilisingFact, ...]


@dataclass(frozen=True, slots=True)
class TooLittleToStabilise:
    """The molecular SO2 in mg/L is below what holds microbes back."""

    molecular_ppm: float


@dataclass(frozen=True, slots=True)
class PhTooHighToStabilise:
    """At this pH a usual dose stabilises nothing."""

    ph: float


NotStabilised = (
    Literal[Remark.STABILISED_BEER, Remark.STABILISED_MIXED_CULTURE, Remark.STABILISED_WITH_FRESH_YEAST]
    | StabilisingUnjudged
    | TooLittleToStabilise
    | TooLittleSorbate
    | PhTooHighToStabilise
)
"""Why a drink that is said to be stabilised counts as holding live yeast."""


@dataclass(frozen=True, slots=True)
class SweetenerFerments:
    """A fermentable sweetener must not meet live yeast in a bottle."""

    sweetener: str
    why_not_stabilised: NotStabilised | None


@dataclass(frozen=True, slots=True)
class KegSweetenerFerments:
    """A fermentable sweetener meets live yeast in a keg."""

    sweetener: str
    why_not_stabilised: NotStabilised | None


@dataclass(frozen=True, slots=True)
class StabilisingCanFail:
    """A fermentable sweetener in a drink that counts as stabilised."""

    sweetener: str


@dataclass(frozen=True, slots=True)
class SweetenerDoseUnknown:
    """The gas of a fermentable sweetener cannot be counted."""

    sweetener: str
    package: Package


@dataclass(frozen=True, slots=True)
class AboutSweetener:
    """What is to be known of a sweetener."""

    sweetener: str


@dataclass(frozen=True, slots=True)
class CannotLiftGravity:
    """The sweetener does not move the gravity as far as is wished."""

    sweetener: str
    wanted_sg: float


# --- what is weighed -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ScaleTooCoarse:
    """Steps of the scale too coarse for this much of these hops."""

    step_g: float
    total_g: float


@dataclass(frozen=True, slots=True)
class SulfiteOverLimit:
    """SO2 in all, at or over a legal limit; both in mg/L."""

    total_ppm: float
    limit_ppm: float
    drink: str | None
    jurisdiction: str
    source: str


@dataclass(frozen=True, slots=True)
class DoseCounted:
    """How the dose of sulfite, in mg/L, is counted."""

    dose_ppm: float
    counted_as: Literal["so2", "salt"]
    basis: Literal["added", "free", "total"]


@dataclass(frozen=True, slots=True)
class OnlyAntioxidant:
    """At this pH only this much of the SO2, in mg/L, is molecular."""

    ph: float
    total_ppm: float
    molecular_ppm: float


@dataclass(frozen=True, slots=True)
class MolecularInBeer:
    """Much of the SO2, in mg/L, is molecular, though in a beer."""

    total_ppm: float
    molecular_ppm: float


@dataclass(frozen=True, slots=True)
class LittleMolecular:
    """Molecular SO2, in mg/L, below what holds microbes back."""

    molecular_ppm: float


@dataclass(frozen=True, slots=True)
class SorbateOverLimit:
    """Potassium sorbate, and the sorbic acid in it, at or over a legal limit; all in mg/L."""

    salt_ppm: float
    acid_ppm: float
    limit_ppm: float
    source: str


Finding = (
    Remark
    | InputMissing
    | LowAlcohol
    | FinalGravityUnknown
    | AboveForcedTest
    | AboveExpectedEnd
    | AboveStrictestEnd
    | EndUnjudged
    | ForcedTestUnchecked
    | ForcedTestDoubted
    | ForcedTestUnsure
    | CreepMayCome
    | MalicAcidCounted
    | BottleRatingUnknown
    | StillWineBottle
    | FallUnknown
    | StabilisingUnjudged
    | TooLittleToStabilise
    | PhTooHighToStabilise
    | SweetenerFerments
    | KegSweetenerFerments
    | StabilisingCanFail
    | SweetenerDoseUnknown
    | AboutSweetener
    | CannotLiftGravity
    | HoldsMoreThanWished
    | WarmestUnknown
    | MoreThanOrdinaryBottles
    | Heating
    | HeatedAboveRating
    | ExpectedAboveTrust
    | VolumesAboveLimit
    | WorstAboveNewBottleTest
    | WorstAboveTrust
    | BottleRatingNotBelieved
    | ExpectedAboveRating
    | ExpectedNearRating
    | ChanceAboveRating
    | SeldomAboveRating
    | WorstAboveRating
    | SettingAboveRating
    | VesselAboveRating
    | WarmedKeg
    | KegRatingNotBelieved
    | ScaleTooCoarse
    | SulfiteOverLimit
    | DoseCounted
    | OnlyAntioxidant
    | MolecularInBeer
    | LittleMolecular
    | SorbateOverLimit
    | PresentSo2Unclear
    | TotalSo2Unknown
    | MolecularAt
    | NoSulfiteLimitHere
    | SorbateNotPermitted
    | TooLittleSorbate
    | SorbateAndPriming
    | SulfiteAndPriming
    | AlcoholAndPriming
    | PrimingStrengthUnknown
    | PrimingTooWeak
    | PrimingVaries
)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A finding and how far it holds the package back."""

    finding: Finding
    severity: Severity


def note(finding: Finding) -> Weighed:
    """Worth knowing."""
    return Weighed(finding, Severity.NOTE)


def caution(finding: Finding) -> Weighed:
    """At most a caution from here on."""
    return Weighed(finding, Severity.CAUTION)


def stop(finding: Finding, *, refuse: bool = True) -> Weighed:
    """Refuse it; with `refuse` False the reason stands among the cautions."""
    return Weighed(finding, Severity.REFUSAL if refuse else Severity.STOP)


def verdict_of(findings: Iterable[Weighed]) -> Verdict:
    """Go, caution or stop, by the most severe finding."""
    worst = max((each.severity for each in findings), default=Severity.NOTE)
    if worst >= Severity.STOP:
        return "stop"
    return "caution" if worst == Severity.CAUTION else "go"


def refusals_of(findings: Iterable[Weighed]) -> tuple[Finding, ...]:
    """What is refused, in order."""
    return tuple(each.finding for each in findings if each.severity == Severity.REFUSAL)


def cautions_of(findings: Iterable[Weighed]) -> tuple[Finding, ...]:
    """What is said beside the refusals, in order."""
    return tuple(each.finding for each in findings if each.severity != Severity.REFUSAL)


def once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each finding where it stands first."""
    return tuple(dict.fromkeys(findings))
