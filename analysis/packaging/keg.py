"""Go, caution or stop for kegs: the pressure to set, what warmth and further fermentation would make of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.packaging.carbonation import keg_gauge_kpa, package_gauge_kpa
from analysis.packaging.findings import (
    CreepMayCome,
    KegSweetenerFerments,
    MalicAcidCounted,
    Remark,
    SweetenerDoseUnknown,
    Weighed,
    caution,
    note,
    stop,
)
from analysis.packaging.inputs import SheetInputs
from analysis.packaging.may_ferment import Gas, gas, malic_acid_g_per_l
from analysis.packaging.pressure_findings import (
    KegRating,
    KegRatingNotBelieved,
    SettingAboveRating,
    VesselAboveRating,
    WarmedKeg,
)
from analysis.packaging.priming import carbonation_doubts
from analysis.packaging.refermentation import culture_goes_on, end_findings
from analysis.packaging.sulfite_dose import sulfite_doubts
from analysis.packaging.sweetening import fermentable, stabilised
from analysis.thresholds import HIGHEST_KEG_KPA, HOTTEST_C, RATING_MARGIN, UNRATED_KEG_KPA


@dataclass(frozen=True, slots=True)
class Keg:
    """What is said about kegs; `gauge_kpa`, the setting, is None where it is refused or cannot be said."""

    gauge_kpa: float | None
    worst_gauge_kpa: float
    findings: tuple[Weighed, ...]


def keg(inputs: SheetInputs, residual: float | None) -> Keg:
    """What to expect of a keg; `residual` volumes are dissolved, None where the warmest temperature is not given."""
    rating = _rating(inputs)
    setting = None
    if inputs.carbonation_volumes is not None and inputs.serving_c is not None:
        setting = keg_gauge_kpa(inputs.carbonation_volumes, inputs.serving_c, inputs.altitude_m or 0.0)
    inside = gas(inputs, residual)
    hottest = HOTTEST_C if inputs.storage_c is None else inputs.storage_c
    findings = (
        *(() if rating.known else (caution(Remark.KEG_RATING_UNKNOWN),)),
        *_vessel(inputs, rating),
        *_setting(inputs, setting, rating),
        *end_findings(inputs, "keg"),
        *_fermentation(inputs, inside),
        *_sweetener(inputs),
        *_primed(inputs),
        *carbonation_doubts(inputs, residual),
        *sulfite_doubts(inputs),
        *_warmed(inputs, inside, hottest, rating),
        *_not_believed(inputs, rating),
    )
    fits = setting is not None and setting <= rating.gauge_kpa
    return Keg(setting if fits else None, package_gauge_kpa(inside.worst, hottest, inputs.held_at_m), findings)


def _rating(inputs: SheetInputs) -> KegRating:
    """What the keg is held against: its rating as far as one is believed, else the weakest usual one."""
    given = inputs.keg_rating_kpa
    believed = min(UNRATED_KEG_KPA if given is None else given, HIGHEST_KEG_KPA)
    return KegRating(believed, known=given is not None)


def _vessel(inputs: SheetInputs, rating: KegRating) -> Iterator[Weighed]:
    standing = inputs.vessel_gauge_kpa or 0.0
    if standing > rating.gauge_kpa:
        yield stop(VesselAboveRating(standing, rating), refuse=rating.known)


def _setting(inputs: SheetInputs, setting: float | None, rating: KegRating) -> Iterator[Weighed]:
    if inputs.carbonation_volumes is None:
        yield caution(Remark.CARBONATION_UNKNOWN)
    elif inputs.serving_c is None:
        yield caution(Remark.SERVING_TEMPERATURE_UNKNOWN)
    elif setting is not None and setting > rating.gauge_kpa:
        above = SettingAboveRating(inputs.carbonation_volumes, inputs.serving_c, setting, rating)
        yield stop(above, refuse=rating.known)


def _fermentation(inputs: SheetInputs, inside: Gas) -> Iterator[Weighed]:
    if inputs.finished is not True or inputs.hold_met is not True:
        yield caution(Remark.KEG_NOT_SEEN_TO_HOLD)
    if inputs.hand_sample is not True:
        yield caution(Remark.NO_HAND_SAMPLE)
    if inputs.diastatic or inputs.mixed_culture:
        yield (caution if culture_goes_on(inputs) else note)(Remark.KEG_CULTURE_GOES_ON)
    creep, acid = inside.ferments.of("hops").worst_volumes, inside.ferments.of("malic acid").worst_volumes
    if creep > 0:
        yield note(CreepMayCome(creep))
    if acid > 0:
        yield note(MalicAcidCounted(malic_acid_g_per_l(inputs), acid, assumed=inputs.malic_acid_g_per_l is None))
    if not stabilised(inputs).counts and inputs.remaining_fall_sg is None:
        yield caution(Remark.KEG_FALL_UNKNOWN)


def _sweetener(inputs: SheetInputs) -> Iterator[Weighed]:
    sweet, held = fermentable(inputs), stabilised(inputs)
    if sweet is None:
        return
    if sweet.volumes is None:
        yield stop(SweetenerDoseUnknown(sweet.name, "keg"), refuse=False)
    if not held.counts:
        yield caution(KegSweetenerFerments(sweet.name, held.why_not))


def _primed(inputs: SheetInputs) -> Iterator[Weighed]:
    """Sugar on top of a fermentation that still runs adds to a pressure that nobody can say."""
    if inputs.priming_sugar is None and inputs.priming_shares is None:
        return
    for said, unmet in (
        (inputs.finished, Remark.NO_PRIMING_BEFORE_THE_FINISH),
        (inputs.hold_met, Remark.NO_PRIMING_BEFORE_THE_HOLD),
    ):
        if said is not True:
            yield stop(unmet, refuse=said is False)


def _warmed(inputs: SheetInputs, inside: Gas, hottest_c: float, rating: KegRating) -> Iterator[Weighed]:
    """What the closed keg reaches in the warmest place it may stand, as expected and at worst."""
    altitude_m = inputs.held_at_m
    warm = package_gauge_kpa(inside.expected, hottest_c, altitude_m)
    worst = package_gauge_kpa(inside.worst, hottest_c, altitude_m)
    room = (1 - RATING_MARGIN) * rating.gauge_kpa
    sweet = fermentable(inputs)

    def reaches(*, at_worst: bool, near: bool) -> WarmedKeg:
        return WarmedKeg(
            gauge_kpa=worst if at_worst else warm,
            storage_c=hottest_c,
            rating=rating,
            at_worst=at_worst,
            near=near,
            sweetener=None if sweet is None else sweet.name,
            eaten=at_worst or (sweet is not None and inside.live),
        )

    if max(warm, worst) > rating.gauge_kpa:
        yield stop(reaches(at_worst=warm <= rating.gauge_kpa, near=False), refuse=rating.known)
    elif rating.known and max(warm, worst) > room:  # without a rating it is at most a caution already
        yield caution(reaches(at_worst=warm <= room, near=True))


def _not_believed(inputs: SheetInputs, rating: KegRating) -> Iterator[Weighed]:
    if inputs.keg_rating_kpa is not None and inputs.keg_rating_kpa > rating.gauge_kpa:
        yield caution(KegRatingNotBelieved(inputs.keg_rating_kpa, rating.gauge_kpa))
