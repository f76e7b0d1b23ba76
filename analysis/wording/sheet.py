"""The findings of the packaging sheet as whole sentences, in the person's units."""

from __future__ import annotations

from typing import Final

from analysis.display_units import DisplayUnits, percent
from analysis.packaging import SWEETENERS, Finding, Remark, safety
from analysis.packaging import findings as f
from analysis.packaging import pressure_findings as p
from analysis.thresholds import (
    CAUTION_VOLUMES,
    HEAD_SPACE_KPA,
    NEW_BOTTLE_TEST_KPA,
    RATING_MARGIN,
    STOP_VOLUMES,
    UNRATED_KEG_KPA,
)
from analysis.wording import sheet_cautions, sheet_ferment
from analysis.wording.sheet_doses import DOSE_REMARKS, dose_words
from analysis.wording.sheet_gaps import gap_worded

_REMARKS: Final[dict[Remark, str]] = {
    Remark.NOT_FINISHED: "It has not finished: no bottle before it has.",
    Remark.FINISH_NOT_SAID: "It is not said whether it has finished: do not fill a bottle until you know.",
    Remark.HOLD_NOT_MET: ("The gravity has not been seen to hold for as long as you asked: no bottle before it has."),
    Remark.HOLD_NOT_SAID: ("It is not said whether the gravity was seen to hold: do not fill a bottle until you know."),
    Remark.NO_HAND_SAMPLE: (
        "No hand sample confirms the gravity: a float that is stuck or fouled looks just like a finish."
    ),
    Remark.DIASTATIC: (
        "A diastatic yeast eats dextrins and creeps for weeks: more gas than this sheet expects may come."
    ),
    Remark.MIXED_CULTURE: "A mixed culture goes on for months: more gas than this sheet expects may come.",
    Remark.PRESSURE_UNKNOWN: (
        "Neither a carbonation nor the warmest temperature is given, so the pressure is unknown: do not fill a bottle "
        "until you know."
    ),
    Remark.COUNTED_AS_STILL: "No carbonation is wished for: it is counted as still, with what it already holds.",
    Remark.HEATING_AT_UNKNOWN_VOLUMES: (
        sheet_cautions.HEATING + sheet_cautions.HEATING_UNKNOWN + sheet_cautions.HEATING_PRACTICE
    ),
    Remark.KEG_NOT_SEEN_TO_HOLD: (
        "It has not been seen to finish and hold: only a keg with a working relief valve, its pressure checked daily, "
        "may be filled now, and kept cold."
    ),
    Remark.KEG_CULTURE_GOES_ON: "This culture may go on for weeks: keep the keg cold and check its pressure.",
    Remark.KEG_FALL_UNKNOWN: (
        "What may still ferment is not known: it is counted down to the lowest plausible gravity."
    ),
    Remark.SERVING_TEMPERATURE_UNKNOWN: (
        "The serving temperature is not given: enter it, or no pressure to set can be said."
    ),
    Remark.CARBONATION_UNKNOWN: "The carbonation is not given: enter it, or no pressure to set can be said.",
    Remark.NO_PRIMING_BEFORE_THE_FINISH: "No priming sugar goes into a keg before it has finished.",
    Remark.NO_PRIMING_BEFORE_THE_HOLD: "No priming sugar goes into a keg before its gravity has been seen to hold.",
    Remark.STRONG_FOR_BALLING: (
        "Balling's relations were made for beer; at this strength the alcohol may be off by half a per cent."
    ),
    Remark.BOTTLES: sheet_cautions.BOTTLES,
    Remark.TEST_BOTTLE: sheet_cautions.TEST_BOTTLE,
    Remark.KEG: sheet_cautions.KEG,
    Remark.GAS_IN_THE_ROOM: sheet_cautions.GAS_IN_THE_ROOM,
    Remark.SULFITE_HANDLING: sheet_cautions.SULFITE_HANDLING,
    Remark.SULFITE_ASTHMA: sheet_cautions.SULFITE_ASTHMA,
    Remark.SULFITE_LABEL: sheet_cautions.SULFITE_LABEL,
    Remark.SORBATE: sheet_cautions.SORBATE,
    Remark.NOT_IN_BEER: sheet_cautions.NOT_IN_BEER,
    Remark.DEFER: sheet_cautions.DEFER,
    Remark.CLOSURES: sheet_cautions.CLOSURES,
    Remark.REGULATOR: sheet_cautions.REGULATOR,
    Remark.FRESH_YEAST: sheet_cautions.FRESH_YEAST,
    Remark.LOW_ACID: sheet_cautions.LOW_ACID,
    Remark.TOO_LITTLE_ACID: sheet_cautions.TOO_LITTLE_ACID,
    Remark.CLEANERS: sheet_cautions.CLEANERS,
    Remark.LABEL: sheet_cautions.LABEL,
    Remark.LABEL_GRAIN: sheet_cautions.LABEL_GRAIN,
}

_NARROW: Final = " A forced test would narrow this."
_KEG_WAY_OUT: Final = (
    "Keep it cold and enter that as the hottest place it may stand, or show by a forced test that less is left; a "
    "relief valve is the last resort, not a plan."
)


def worded(finding: Finding, units: DisplayUnits) -> str:
    """The finding as a sentence or two.

    Parameters
    ----------
    finding
        One of the packaging sheet's.
    units
        The person's, for gravity, temperature and pressure.
    """
    if isinstance(finding, Remark):
        return _unrated(finding, units) or _in_units(finding, units) or DOSE_REMARKS.get(finding) or _REMARKS[finding]
    gap = gap_worded(finding)
    if gap is not None:
        return gap
    for say in (
        _end,
        sheet_ferment.worded,
        _sweetener,
        _gas,
        _rated_bottle,
        _unrated_bottle,
        _heated,
        _keg,
        dose_words,
    ):
        sentence = say(finding, units)
        if sentence is not None:
            return sentence
    raise TypeError(f"no words for {finding!r}")


def _unrated(remark: Remark, units: DisplayUnits) -> str | None:
    if remark is Remark.KEG_RATING_UNKNOWN:
        return (
            f"First read the keg's marking and enter its rating in {units.pressure_unit}: with an unknown rating there "
            f"is no go, and until then it counts as {units.pressure(UNRATED_KEG_KPA)}."
        )
    return None


def _in_units(remark: Remark, units: DisplayUnits) -> str | None:
    """Published figures, in the person's units."""
    if remark is Remark.HEATING_AT_UNKNOWN_VOLUMES:
        reached = sheet_cautions.HEATING_UNKNOWN.format(
            pressure=units.about(sheet_cautions.HEATED_KPA, "pressure"),
            temperature=units.about(safety.PASTEURISING_C, "temperature"),
        )
        return f"{sheet_cautions.HEATING}{reached}{sheet_cautions.HEATING_PRACTICE}"
    if remark is Remark.CREEP:
        return sheet_cautions.CREEP.format(
            dose=units.about(sheet_cautions.CREEP_HOPS_G_PER_L, "concentration"),
            temperature=units.about(sheet_cautions.CREEP_C, "temperature"),
        )
    return None


def _end(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case f.FinalGravityUnknown(package):
            return (
                "The final gravity is not given, so it cannot be judged whether it has ended: do not fill a "
                f"{package} until you know."
            )
        case f.AboveForcedTest(final, tested):
            return (
                f"The gravity, {units.gravity(final)}, is above the end of its forced test, {units.gravity(tested)}: "
                "it is not done."
            )
        case f.AboveExpectedEnd(final, highest, package, is_beer):
            return (
                f"The gravity, {units.gravity(final)}, is above where this drink is expected to end, "
                f"{units.gravity(highest)} or lower: what is left may ferment in the {package}. Make a forced test, or "
                f"{'filter it free of yeast' if is_beer else 'stabilise it'}."
            )
        case f.AboveStrictestEnd(missing, final, highest, package):
            return (
                f"The {missing} is not given. The gravity, {units.gravity(final)}, is above {units.gravity(highest)}, "
                f"where the strictest of what it could be ends: do not fill a {package} until you know."
            )
        case f.EndUnjudged(missing):
            return f"The {missing} is not given, so it cannot be judged whether it ended where it should."
        case f.ForcedTestUnchecked(tested, missing):
            return (
                f"The {missing} is not given, so the forced test of {units.gravity(tested)} cannot be checked and "
                "counts for nothing: give it, or make a second forced test."
            )
        case f.ForcedTestDoubted(tested, highest):
            return (
                "Make a second forced test, warm and with plenty of fresh yeast: the one given ended at "
                f"{units.gravity(tested)}, well above the {units.gravity(highest)} or lower that drink and yeast "
                "reach. It may have failed, or the sample was not of this lot, so it counts for nothing here."
            )
        case f.FallUnknown(None):
            return "What may still ferment is not known: none of it is counted."
        case f.FallUnknown(float() as lowest):
            return (
                "What may still ferment is not known: it is counted down to the lowest plausible gravity, "
                f"{units.gravity(lowest)}."
            )
    return None


def _sweetener(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case f.SweetenerFerments(sweetener, why_not):
            return (
                f"{_first(why_not, units)}{sweetener.capitalize()} ferments: with live yeast it makes gas in any "
                f"bottle, still ones too. {sheet_cautions.WAYS_TO_SWEETEN}"
            )
        case f.KegSweetenerFerments(sweetener, why_not):
            return (
                f"{_first(why_not, units)}{sweetener.capitalize()} ferments with live yeast: keep the keg cold, check "
                "its pressure, and read its marking."
            )
        case f.StabilisingCanFail(sweetener):
            return (
                f"{sweetener.capitalize()} ferments, and stabilising can fail: keep these bottles cold and watch a "
                "test bottle."
            )
        case f.SweetenerDoseUnknown(sweetener, package):
            until = ": do not fill a keg until you know" if package == "keg" else ""
            return f"How much {sweetener} goes in is not known, so no pressure here counts it{until}."
        case f.AboutSweetener(sweetener):
            return SWEETENERS[sweetener].note
        case f.CannotLiftGravity(sweetener, wanted):
            return (
                f"{sweetener} cannot lift the gravity to {units.gravity(wanted)}; give its mass instead.".capitalize()
            )
    return None


def _first(why_not: f.NotStabilised | None, units: DisplayUnits) -> str:
    return "" if why_not is None else f"{worded(why_not, units)} "


def _gas(finding: Finding, _: DisplayUnits) -> str | None:
    match finding:
        case p.HoldsMoreThanWished(held, wished):
            return f"It already holds {held:.1f} volumes, more than the {wished:.1f} you wish for."
        case p.WarmestUnknown(counted):
            more = ""
            if counted is not None:
                more = (
                    f" Up to {counted.held_volumes:.1f} volumes may still be dissolved, more than the "
                    f"{counted.wished_volumes:.1f} you wish for, and are counted."
                )
            return (
                "The warmest temperature since it finished is not given: enter it, or no priming sugar can be said."
                f"{more}"
            )
        case p.MoreThanOrdinaryBottles(volumes):
            return (
                f"{volumes:.1f} volumes are to be expected, more than ordinary bottles are filled with (above "
                f"{STOP_VOLUMES}, common practice): use only bottles whose maker names such a use."
            )
    return None


def _rated_bottle(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case p.ExpectedAboveRating(gauge, storage_c, rating, only_with_air):
            together = f"{_air(True, units)}, together" if only_with_air else ","
            return f"{_expected(gauge, storage_c, units)}{together} above {_bottles_rating(rating, units)}."
        case p.ExpectedNearRating(gauge, storage_c, rating, with_air):
            return (
                f"{_expected(gauge, storage_c, units)}{_air(with_air, units)}, within {percent(RATING_MARGIN)} "
                f"of {_bottles_rating(rating, units)}."
            )
        case p.ChanceAboveRating(chance, rating):
            return f"The chance that the pressure passes {_bottles_rating(rating, units)} is {100 * chance:.1f}\u202f%."
        case p.SeldomAboveRating(rating, with_air):
            return (
                f"About once in ten thousand the pressure would pass {_bottles_rating(rating, units)}"
                f"{_air(with_air, units).replace(' and', ', counting', 1)}."
            )
        case p.WorstAboveRating(gauge, rating, with_air, sweetener):
            eaten = f" and with all the {sweetener} eaten" if sweetener is not None else ""
            return (
                f"In the worst case, down to the lowest plausible gravity{eaten}, it reaches {units.pressure(gauge)}"
                f"{_air(with_air, units)}, above {_bottles_rating(rating, units)}.{'' if eaten else _NARROW}"
            )
    return None


def _unrated_bottle(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case p.ExpectedAboveTrust(gauge, storage_c, with_air, trusted):
            return f"{_expected(gauge, storage_c, units)}{_air(with_air, units)}, above {_trusted(trusted, units)}."
        case p.VolumesAboveLimit(volumes, stops):
            limit = f"{STOP_VOLUMES}" if stops else f"{CAUTION_VOLUMES:.1f}"
            return (
                f"{volumes:.1f} volumes are to be expected, above {limit} in a bottle of unknown rating (common "
                "practice)."
            )
        case p.WorstAboveNewBottleTest(gauge, with_air):
            return (
                f"In the worst case it reaches {units.pressure(gauge)}{_air(with_air, units)}, more than the "
                f"{units.pressure(NEW_BOTTLE_TEST_KPA)} with which new beer bottles are tested for a minute."
                f"{_NARROW}"
            )
        case p.WorstAboveTrust(volumes, gauge, with_air):
            return (
                f"In the worst case it reaches {volumes:.1f} volumes, {units.pressure(gauge)}{_air(with_air, units)}."
                f"{_NARROW}"
            )
    return None


def _heated(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case p.Heating(volumes, gauge):
            return (
                f"{sheet_cautions.HEATING}These {volumes:.1f} volumes reach about {units.pressure(gauge)} at "
                f"{units.temperature(safety.PASTEURISING_C)}. {sheet_cautions.HEATING_PRACTICE}"
            )
        case p.HeatedAboveRating(gauge, with_air, rating, trusted):
            limit = _trusted(trusted, units) if rating is None else f"their rating of {units.pressure(rating)}"
            return (
                f"Heated, these bottles would reach about {units.pressure(gauge)}{_air(with_air, units)}, above "
                f"{limit}: do not heat them."
            )
    return None


def _expected(gauge_kpa: float, storage_c: float, units: DisplayUnits) -> str:
    return f"{units.pressure(gauge_kpa)} are to be expected at {units.temperature(storage_c)}"


def _air(with_air: bool, units: DisplayUnits) -> str:
    return f" and up to {units.pressure(HEAD_SPACE_KPA)} from air in the neck" if with_air else ""


def _bottles_rating(rating_kpa: float, units: DisplayUnits) -> str:
    return f"the bottle's rating of {units.pressure(rating_kpa)}"


def _trusted(trusted_kpa: float, units: DisplayUnits) -> str:
    return f"the {units.pressure(trusted_kpa)} that bottles of unknown rating are trusted with"


def _keg(finding: Finding, units: DisplayUnits) -> str | None:
    usual = f"{units.pressure(50)} to {units.pressure(200)}"
    match finding:
        case p.SettingAboveRating(volumes, serving_c, gauge, rating):
            return (
                f"Holding {volumes:.1f} volumes at {units.temperature(serving_c)} takes {units.pressure(gauge)}, above "
                f"{_kegs_rating(rating, units)}. Usual is {usual}: serve it colder, or wish for less."
            )
        case p.VesselAboveRating(gauge, rating):
            return (
                f"The vessel stands at {units.pressure(gauge)}, above {_kegs_rating(rating, units)}. Vent it first; "
                f"usual in a keg is {usual}."
            )
        case p.WarmedKeg(gauge, storage_c, rating, at_worst, near, sweetener, eaten):
            all_of_it = "" if not eaten else " and all ferments that may"
            if eaten and sweetener is not None:
                all_of_it = f" and all the {sweetener} ferments"
            down = ", down to the lowest plausible gravity," if at_worst else ""
            held = f"near {_kegs_rating(rating, units)}. Keep it cold."
            if not near:
                held = f"above {_kegs_rating(rating, units)}. {_KEG_WAY_OUT}"
            return (
                f"If the keg warms to {units.temperature(storage_c)}{all_of_it}{down} it reaches "
                f"{units.pressure(gauge)}, {held}"
            )
        case p.KegRatingNotBelieved(rating_kpa, counted):
            return (
                f"A rating of {units.pressure(rating_kpa)} counts as {units.pressure(counted)}, the most that small "
                "kegs are marked for; read the marking again, with its unit."
            )
    return None


def _kegs_rating(rating: p.KegRating, units: DisplayUnits) -> str:
    said = units.pressure(rating.gauge_kpa)
    return f"the keg's rating of {said}" if rating.known else f"the {said} of a keg of unknown rating"
