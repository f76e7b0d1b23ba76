"""Go, caution or stop for bottles: the pressure to come, the worst case beside it, and every reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.packaging import safety
from analysis.packaging.carbonation import heated_gauge_kpa, package_gauge_kpa, pressure_spread
from analysis.packaging.findings import (
    AboutSweetener,
    CreepMayCome,
    FallUnknown,
    MalicAcidCounted,
    Remark,
    StabilisingCanFail,
    SweetenerDoseUnknown,
    SweetenerFerments,
    Weighed,
    caution,
    note,
    stop,
)
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.kinds import STILL, bottle_rating
from analysis.packaging.may_ferment import Gas, gas, held_volumes, malic_acid_g_per_l
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
    MoreThanOrdinaryBottles,
    SeldomAboveRating,
    StillWineBottle,
    VolumesAboveLimit,
    WarmestUnknown,
    WorstAboveNewBottleTest,
    WorstAboveRating,
    WorstAboveTrust,
)
from analysis.packaging.priming import carbonation_doubts
from analysis.packaging.refermentation import culture_goes_on, end_findings, lowest_plausible
from analysis.packaging.sulfite_dose import sulfite_doubts
from analysis.packaging.sweetening import SWEETENERS, fermentable, stabilised
from analysis.thresholds import (
    CAUTION_VOLUMES,
    FILL_VOLUMES,
    HEAD_SPACE_KPA,
    HOTTEST_C,
    LEAST_CHANCE,
    NEW_BOTTLE_TEST_KPA,
    RARE_FALL,
    RATING_MARGIN,
    SAME_VOLUMES,
    STILL_VOLUMES,
    STOP_VOLUMES,
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
        _, heated = heated_gauge_kpa(pressure.volumes, safety.PASTEURISING_C, inputs.held_at_m)
    findings = (
        *_package(inputs),
        *_fermentation(inputs),
        *_sweetener(inputs),
        *carbonation_doubts(inputs, residual),
        *sulfite_doubts(inputs),
        *_gas(inputs, residual, inside),
        *(() if pressure is None else _held_against(inputs, pressure)),
        *_heated(inputs, pressure, heated),
    )
    return Bottle(pressure, heated, findings)


def _package(inputs: SheetInputs) -> Iterator[Weighed]:
    """What speaks against the bottles themselves."""
    rating, wished = bottle_rating(inputs), inputs.carbonation_volumes
    if not rating.known:
        yield caution(BottleRatingUnknown(inputs.bottle_kind, rating.gauge_kpa))
    elif rating.doubted and inputs.bottle_rating_kpa is not None:
        yield caution(BottleRatingNotBelieved(inputs.bottle_rating_kpa, rating.gauge_kpa))
    if inputs.bottle_kind == STILL and wished is not None and wished > STILL_VOLUMES:
        yield stop(StillWineBottle(wished))


def _rating(inputs: SheetInputs) -> float:
    return bottle_rating(inputs).gauge_kpa


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
        yield (caution if culture_goes_on(inputs) else note)(Remark.DIASTATIC)
    if inputs.mixed_culture:
        yield (caution if culture_goes_on(inputs) else note)(Remark.MIXED_CULTURE)
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
    altitude_m = inputs.held_at_m
    drink, creep = inside.ferments.of("drink"), inside.ferments.of("hops").p90_volumes
    base = inside.expected - drink.p90_volumes - creep
    spread = pressure_spread(
        base,
        storage_c,
        fall_p90_volumes=drink.p90_volumes,
        falls_volumes=drink.likely_volumes,
        creep_p90_volumes=creep,
        altitude_m=altitude_m,
    )
    rated = inputs.bottle_rating_kpa is not None
    return Pressure(
        volumes=inside.expected,
        worst_volumes=inside.worst,
        gauge_kpa=package_gauge_kpa(inside.expected, storage_c, altitude_m),
        worst_gauge_kpa=package_gauge_kpa(inside.worst, storage_c, altitude_m),
        rare_gauge_kpa=package_gauge_kpa(_rare_volumes(base, inside), storage_c, altitude_m),
        storage_c=storage_c,
        chance_above_rating=round(spread.chance_above(_rating(inputs)), 4) if rated else None,
        distribution=tuple(
            PressurePoint(float(c), round(float(p), 1)) for c, p in zip(spread.chances, spread.gauge_kpa, strict=True)
        ),
    )


def _rare_volumes(base: float, inside: Gas) -> float:
    """Volumes that come about once in ten thousand; no cause gives more than its worst."""
    both = (inside.ferments.of("drink"), inside.ferments.of("hops"))
    return base + FILL_VOLUMES + sum(min(RARE_FALL * part.p90_volumes, part.worst_volumes) for part in both)


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
    yield from counted(inputs, inside)


def counted(inputs: SheetInputs, inside: Gas) -> Iterator[Weighed]:
    """What is counted beside the drink's own sugar; its pressure is judged like any other."""
    creep, acid = inside.ferments.of("hops"), inside.ferments.of("malic acid")
    if creep.worst_volumes > 0:
        yield note(CreepMayCome(creep.worst_volumes))
    if acid.worst_volumes > 0:
        grams = malic_acid_g_per_l(inputs)
        yield note(MalicAcidCounted(grams, acid.worst_volumes, assumed=inputs.malic_acid_g_per_l is None))


def _held_against(inputs: SheetInputs, pressure: Pressure) -> Iterator[Weighed]:
    """The pressure against the rating, or against what bottles of unknown rating are trusted with."""
    if inputs.bottle_rating_kpa is None:
        yield from _unrated(inputs, pressure)
        return
    rating = _rating(inputs)
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
    air, gauge, worst = _air(inputs), pressure.gauge_kpa, pressure.worst_gauge_kpa
    chance = pressure.chance_above_rating or 0.0
    if chance >= LEAST_CHANCE and gauge <= rating:
        yield caution(ChanceAboveRating(chance, rating))
    elif pressure.rare_gauge_kpa + air > rating >= gauge:
        yield caution(SeldomAboveRating(rating, with_air=air > 0))
    if worst + air > rating:
        sweet = fermentable(inputs)
        eaten = None if sweet is None else sweet.name
        yield caution(WorstAboveRating(worst, rating, with_air=air > 0, sweetener=eaten))


def _unrated(inputs: SheetInputs, pressure: Pressure) -> Iterator[Weighed]:
    """By the same sums as the weakest ordinary bottle, and by volumes; never better than a caution."""
    air, trusted, gauge, worst = _air(inputs), _rating(inputs), pressure.gauge_kpa, pressure.worst_gauge_kpa
    with_air = air > 0
    if gauge + air > trusted:
        yield stop(ExpectedAboveTrust(gauge, pressure.storage_c, with_air, trusted), refuse=False)
    if pressure.volumes > STOP_VOLUMES:
        yield stop(VolumesAboveLimit(pressure.volumes, stops=True))
    elif pressure.volumes > CAUTION_VOLUMES:
        yield caution(VolumesAboveLimit(pressure.volumes, stops=False))
    if worst + air > NEW_BOTTLE_TEST_KPA:
        yield stop(WorstAboveNewBottleTest(worst, with_air), refuse=False)
    elif worst + air > trusted:
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
        trusted = _rating(inputs)
        yield stop(HeatedAboveRating(heated_kpa, air > 0, trusted if known else None, trusted), refuse=known)
