"""Go, caution or stop for bottles: the pressure to come, the worst case beside it, and every reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.packaging import safety
from analysis.packaging.carbonation import heated_gauge_kpa, package_gauge_kpa, pressure_spread
from analysis.packaging.findings import (
    AboutSweetener,
    FallUnknown,
    Remark,
    StabilisingCanFail,
    SweetenerDoseUnknown,
    SweetenerFerments,
    Weighed,
    caution,
    note,
    stop,
)
from analysis.packaging.hops import hop_dose_g_per_l
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.pressure_findings import (
    BottleRatingNotBelieved,
    ChanceAboveRating,
    ExpectedAboveRating,
    ExpectedAboveTrust,
    ExpectedNearRating,
    HeatedAboveRating,
    Heating,
    HoldsMoreThanWished,
    MoreThanOrdinaryBottles,
    SeldomAboveRating,
    VolumesAboveLimit,
    WarmestUnknown,
    WorstAboveNewBottleTest,
    WorstAboveRating,
    WorstAboveTrust,
)
from analysis.packaging.priming import carbonation_doubts
from analysis.packaging.refermentation import Gas, believed_test, end_findings, gas, held_volumes, lowest_plausible
from analysis.packaging.sulfite_dose import sulfite_doubts
from analysis.packaging.sweetening import SWEETENERS, fermentable, stabilised
from analysis.thresholds import (
    CAUTION_VOLUMES,
    FILL_VOLUMES,
    HEAD_SPACE_KPA,
    HIGHEST_BOTTLE_KPA,
    HOTTEST_C,
    LEAST_CHANCE,
    NEW_BOTTLE_TEST_KPA,
    RARE_FALL,
    RATING_MARGIN,
    SAME_VOLUMES,
    STOP_VOLUMES,
    UNRATED_BOTTLE_KPA,
)


@dataclass(frozen=True, slots=True)
class PressurePoint:
    """The chance that a bottle stays at or below a gauge pressure."""

    chance: float
    gauge_kpa: float


@dataclass(frozen=True, slots=True)
class Pressure:
    """What a closed bottle holds and reaches where it stands warmest, as expected and in the worst case.

    `rare_gauge_kpa` comes about once in ten thousand; `chance_above_rating` is None where no rating is given.
    """

    volumes: float
    worst_volumes: float
    gauge_kpa: float
    worst_gauge_kpa: float
    rare_gauge_kpa: float
    storage_c: float
    chance_above_rating: float | None
    distribution: tuple[PressurePoint, ...]


@dataclass(frozen=True, slots=True)
class Bottle:
    """What is said about bottles; `findings` are the reasons behind the verdict, what is to be done first."""

    pressure: Pressure | None
    heated_gauge_kpa: float | None
    findings: tuple[Weighed, ...]


def bottle(inputs: SheetInputs, residual: float | None) -> Bottle:
    """What to expect of bottles; `residual` volumes are dissolved, None where the warmest temperature is not given."""
    inside = gas(inputs, residual)
    pressure = _pressure(inputs, residual, inside)
    heated = None
    if inputs.heat_treat and pressure is not None:
        _, heated = heated_gauge_kpa(pressure.volumes, safety.PASTEURISING_C, inputs.altitude_m or 0.0)
    first = (caution(Remark.BOTTLE_RATING_UNKNOWN),) if inputs.bottle_rating_kpa is None else ()
    findings = (
        *first,
        *_fermentation(inputs),
        *_sweetener(inputs),
        *carbonation_doubts(inputs, residual),
        *sulfite_doubts(inputs),
        *_gas(inputs, residual, inside),
        *(() if pressure is None else _held_against(inputs, pressure)),
        *_heated(inputs, pressure, heated),
    )
    return Bottle(pressure, heated, findings)


def _rating(inputs: SheetInputs) -> float:
    """What the bottles are held against: their rating as far as one is believed, else the weakest ordinary one."""
    given = UNRATED_BOTTLE_KPA if inputs.bottle_rating_kpa is None else inputs.bottle_rating_kpa
    return min(given, HIGHEST_BOTTLE_KPA)


def _air(inputs: SheetInputs) -> float:
    """What air in the neck may add, in kPa."""
    return 0.0 if inputs.purged else HEAD_SPACE_KPA


def _fermentation(inputs: SheetInputs) -> Iterator[Weighed]:
    for said, stopped, unsaid in (
        (inputs.finished, Remark.NOT_FINISHED, Remark.FINISH_NOT_SAID),
        (inputs.hold_met, Remark.HOLD_NOT_MET, Remark.HOLD_NOT_SAID),
    ):
        if said is False:
            yield stop(stopped)
        elif said is None:
            yield stop(unsaid, refuse=False)
    if inputs.hand_sample is not True:
        yield caution(Remark.NO_HAND_SAMPLE)
    if inputs.diastatic:
        yield caution(Remark.DIASTATIC)
    if inputs.mixed_culture:
        yield caution(Remark.MIXED_CULTURE)
    yield from end_findings(inputs, "bottle")


def _sweetener(inputs: SheetInputs) -> Iterator[Weighed]:
    held = stabilised(inputs)
    sweet = fermentable(inputs)
    if sweet is not None and not held.counts:
        yield stop(SweetenerFerments(sweet.name, held.why_not))
    elif sweet is not None:
        yield caution(StabilisingCanFail(sweet.name))
    if sweet is not None and sweet.volumes is None:
        yield caution(SweetenerDoseUnknown(sweet.name, "bottle"))
    if inputs.sweetener is not None and SWEETENERS[inputs.sweetener].note:
        yield note(AboutSweetener(inputs.sweetener))


def _pressure(inputs: SheetInputs, residual: float | None, inside: Gas) -> Pressure | None:
    """The pressure to come; None where neither a carbonation nor the warmest temperature is given."""
    if inputs.carbonation_volumes is None and residual is None:
        return None
    storage_c = HOTTEST_C if inputs.storage_c is None else inputs.storage_c
    base = inside.expected - inside.fall - inside.creep
    altitude_m = inputs.altitude_m or 0.0
    spread = pressure_spread(
        base, storage_c, fall_p90_volumes=inside.fall, creep_p90_volumes=inside.creep, altitude_m=altitude_m
    )
    rated = inputs.bottle_rating_kpa is not None
    return Pressure(
        volumes=inside.expected,
        worst_volumes=inside.worst,
        gauge_kpa=package_gauge_kpa(inside.expected, storage_c, altitude_m),
        worst_gauge_kpa=package_gauge_kpa(inside.worst, storage_c, altitude_m),
        rare_gauge_kpa=package_gauge_kpa(_rare_volumes(inputs, base, inside), storage_c, altitude_m),
        storage_c=storage_c,
        chance_above_rating=round(spread.chance_above(_rating(inputs)), 4) if rated else None,
        distribution=tuple(
            PressurePoint(float(c), round(float(p), 1)) for c, p in zip(spread.chances, spread.gauge_kpa, strict=True)
        ),
    )


def _rare_volumes(inputs: SheetInputs, base: float, inside: Gas) -> float:
    """Volumes that come about once in ten thousand; a forced test says how far there is anything left to ferment."""
    fall = RARE_FALL * inside.fall
    if believed_test(inputs) is not None:
        fall = min(fall, inside.worst_fall)
    return base + FILL_VOLUMES + fall + RARE_FALL * inside.creep


def _gas(inputs: SheetInputs, residual: float | None, inside: Gas) -> Iterator[Weighed]:
    """What is dissolved already beside the wish, and what the sums do not count."""
    wished, final = inputs.carbonation_volumes, inputs.final_gravity_sg
    if wished is None:
        if residual is None:
            yield stop(Remark.PRESSURE_UNKNOWN, refuse=False)
            return
        yield note(Remark.COUNTED_AS_STILL)
    elif residual is None:
        held = held_volumes(inputs, residual)
        yield caution(WarmestUnknown(HoldsMoreThanWished(held, wished) if held > wished + SAME_VOLUMES else None))
    elif residual > wished + SAME_VOLUMES:
        yield note(HoldsMoreThanWished(residual, wished))
    if inside.live and inputs.remaining_fall_sg is None:
        yield caution(FallUnknown(None if final is None else lowest_plausible(inputs, final)))
    if hop_dose_g_per_l(inputs) and inputs.hop_creep_fall_sg is None:
        yield caution(Remark.CREEP_NOT_COUNTED)


def _held_against(inputs: SheetInputs, pressure: Pressure) -> Iterator[Weighed]:
    """The pressure against the rating, or against what bottles of unknown rating are trusted with."""
    if inputs.bottle_rating_kpa is None:
        yield from _unrated(inputs, pressure)
        return
    rating = _rating(inputs)
    if inputs.bottle_rating_kpa > rating:
        yield note(BottleRatingNotBelieved(inputs.bottle_rating_kpa, rating))
    yield from _expected(inputs, pressure, rating)
    yield from _seldom(inputs, pressure, rating)
    if pressure.volumes > STOP_VOLUMES:
        yield caution(MoreThanOrdinaryBottles(pressure.volumes))


def _expected(inputs: SheetInputs, pressure: Pressure, rating: float) -> Iterator[Weighed]:
    gauge, air, storage_c = pressure.gauge_kpa, _air(inputs), pressure.storage_c
    if gauge > rating:
        yield stop(ExpectedAboveRating(gauge, storage_c, rating, only_with_air=False))
    elif gauge + air > rating:
        yield stop(ExpectedAboveRating(gauge, storage_c, rating, only_with_air=True))
    elif gauge + air > (1 - RATING_MARGIN) * rating:
        yield caution(ExpectedNearRating(gauge, storage_c, rating, with_air=air > 0))


def _seldom(inputs: SheetInputs, pressure: Pressure, rating: float) -> Iterator[Weighed]:
    air = _air(inputs)
    chance = pressure.chance_above_rating or 0.0
    if chance >= LEAST_CHANCE and pressure.gauge_kpa <= rating:
        yield caution(ChanceAboveRating(chance, rating))
    elif pressure.rare_gauge_kpa + air > rating >= pressure.gauge_kpa:
        yield caution(SeldomAboveRating(rating, with_air=air > 0))
    if pressure.worst_gauge_kpa + air > rating:
        sweet = fermentable(inputs)
        eaten = None if sweet is None else sweet.name
        yield caution(WorstAboveRating(pressure.worst_gauge_kpa, rating, with_air=air > 0, sweetener=eaten))


def _unrated(inputs: SheetInputs, pressure: Pressure) -> Iterator[Weighed]:
    """By the same sums as the weakest ordinary bottle, and by volumes; never better than a caution."""
    air, worst = _air(inputs), pressure.worst_gauge_kpa
    with_air = air > 0
    if pressure.gauge_kpa + air > UNRATED_BOTTLE_KPA:
        yield stop(ExpectedAboveTrust(pressure.gauge_kpa, pressure.storage_c, with_air), refuse=False)
    if pressure.volumes > STOP_VOLUMES:
        yield stop(VolumesAboveLimit(pressure.volumes, stops=True))
    elif pressure.volumes > CAUTION_VOLUMES:
        yield caution(VolumesAboveLimit(pressure.volumes, stops=False))
    if worst + air > NEW_BOTTLE_TEST_KPA:
        yield stop(WorstAboveNewBottleTest(worst, with_air), refuse=False)
    elif worst + air > UNRATED_BOTTLE_KPA:
        yield caution(WorstAboveTrust(pressure.worst_volumes, worst, with_air))


def _heated(inputs: SheetInputs, pressure: Pressure | None, heated_kpa: float | None) -> Iterator[Weighed]:
    if not inputs.heat_treat:
        return
    if pressure is None or heated_kpa is None:
        yield caution(Remark.HEATING_AT_UNKNOWN_VOLUMES)
        return
    yield caution(Heating(pressure.volumes, heated_kpa))
    air = _air(inputs)
    if heated_kpa + air > _rating(inputs):
        known = inputs.bottle_rating_kpa is not None
        yield stop(HeatedAboveRating(heated_kpa, air > 0, _rating(inputs) if known else None), refuse=known)
