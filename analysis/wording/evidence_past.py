"""The evidence of a batch that has ended, as it stood then: nothing in it is still to come."""

from __future__ import annotations

from typing import assert_never

from analysis import evidence as kinds
from analysis.display_units import DisplayUnits
from analysis.evidence import Evidence
from analysis.wording import additions
from analysis.wording import evidence_figures as figures

_NOT_JUDGED = "This batch could not be judged, for a reason that the program's log tells: nothing is said of it."


def sentence(one: Evidence, units: DisplayUnits) -> str:
    """One piece of evidence in the past tense, in the reader's units."""
    match one:
        case kinds.NotJudged():
            return _NOT_JUDGED
        case kinds.NothingYet():
            there_was = "there were" if one.usable > 1 else "there was"
            return f"Too little to say anything: {there_was} {figures.readings(one.usable)} to go by."
        case kinds.Silent():
            return (
                f"Nothing was read in its last {figures.lasted(one.hours)}: what happened then nobody knows; so it"
                " stood before."
            )
        case kinds.StandsByCurve():
            return (
                f"It had stood for about {one.stood_h:.0f} h, going by the course as a whole; from one half-day to the"
                f" next the readings showed {one.seen_h} h of it."
            )
        case kinds.TailTakes():
            return _tail_took(one)
        case kinds.TemperatureToCome():
            return (
                f"Earlier batches of this drink were about {units.warmer_by(abs(one.by_c), 0)}"
                f" {'warmer' if one.by_c > 0 else 'colder'} from there on, those that were kept alike so far."
            )
        case kinds.EvenFall() | kinds.Swings() | kinds.SameFigure() | kinds.CannotBe():
            return _doubt(one, units)
        case kinds.AllExtract():
            return additions.all_extract(one, units)
        case kinds.AdditionDiffers():
            return additions.differed(one, units)
        case kinds.AdditionByReadings():
            return additions.by_readings_then(one, units)
        case _:
            return _of_gravity(one, units)


_OfGravity = (
    kinds.Moved
    | kinds.FellSince
    | kinds.SlowFall
    | kinds.Attenuated
    | kinds.StillToFall
    | kinds.TooCold
    | kinds.StoppedShort
    | kinds.Crept
    | kinds.FloatOff
    | kinds.NotBegun
    | kinds.ColdForIt
)


def _of_gravity(one: _OfGravity, units: DisplayUnits) -> str:
    match one:
        case kinds.Moved():
            return f"Over its last {one.hours} h the gravity moved by {figures.moved(one, units)}."
        case kinds.FellSince():
            called = "was called" if one.called else "seemed"
            return (
                f"It fell by {figures.fell(one, units)} in its last {figures.lasted(one.ago_h)}, after it {called}"
                " finished: by what was read it was not, and had not held anew."
            )
        case kinds.SlowFall():
            return _slow_fall(one, units)
        case kinds.Attenuated():
            share = one.attenuation
            return f"{figures.percent(share)} apparent attenuation; {figures.where(one)}.{figures.above_all(share)}"
        case kinds.StillToFall():
            limit, left = figures.still_to_fall(one, units)
            chance = figures.chance(one.p_finished)
            return f"Chance that less than {limit} was left when it ended: {chance}; likely left by then: {left}."
        case kinds.TooCold():
            return (
                f"At {units.temperature(one.temperature_c)} it was {units.warmer_by(one.colder_c)} colder than where it"
                " fermented: a plateau in the cold is no evidence, so this rests on what was read before the cooling"
                " began."
            )
        case kinds.StoppedShort():
            chance = figures.chance(one.p_halted)
            return f"It stopped {figures.stopped(one, units)}; chance that it was a halt and not the end: {chance}."
        case kinds.Crept():
            fall = figures.fall(one.fall_sg, one.gravity_sg, units)
            return f"After the dry hop it fell by about {fall} beyond the fermentation itself."
        case kinds.FloatOff():
            return (
                f"The float read {figures.float_off(one, units)} what we take for the true gravity, going by the"
                " original gravity, hand samples and what is usual."
            )
        case kinds.NotBegun():
            return (
                f"No fall was seen in the {figures.lasted(one.hours)} from pitching on; the readings stood at"
                f" {units.gravity(one.gravity_sg)}. A hold counts only after a fall."
            )
        case kinds.ColdForIt():
            return f"It was at {figures.how_cold(one, units)}. Cold alone can hold a yeast up."
        case _:
            assert_never(one)


def _slow_fall(one: kinds.SlowFall, units: DisplayUnits) -> str:
    day, stored = figures.slow_fall(one, units)
    over = f"by a straight line through the last {one.days:.0f} days"
    if one.sure:
        in_all = figures.fall(one.fell_sg, one.gravity_sg, units)
        return (
            f"It seemed to have ended, and went on falling by {day} a day, {in_all} in all, {over}: more than floats"
            " drift. It was not finished."
        )
    return (
        f"After it seemed to have ended it fell by {day} a day, {over}; that may have been the float, but if it goes on"
        f" it makes {stored} within {one.stored_days:.0f} days in a closed package."
    )


def _tail_took(one: kinds.TailTakes) -> str:
    alike = "one earlier batch" if one.batches == 1 else f"{one.batches} earlier batches"
    return (
        f"The last stretch, from nine tenths of the fall to the end, was to take about {one.times:.1f} times as long as"
        f" the stretch from half to nine tenths, going by {alike} of its kind."
    )


def _doubt(one: kinds.EvenFall | kinds.Swings | kinds.SameFigure | kinds.CannotBe, units: DisplayUnits) -> str:
    match one:
        case kinds.EvenFall():
            return (
                f"The float fell evenly, by about {figures.a_day(one.per_day_sg, units)} a day for"
                f" {one.hours / 24:.0f} days, without slowing down: a float that drifts does that, and a fermentation"
                " that goes on slowly."
            )
        case kinds.Swings():
            return (
                f"The float went up and down by about {figures.swing(one.by_sg, units)} for {one.hours / 24:.0f} days,"
                " which the liquid cannot: gas bubbles, foam or a swinging temperature lift a float."
            )
        case kinds.SameFigure():
            return (
                f"The float showed {units.gravity(one.gravity_sg)} to the last digit for {figures.lasted(one.hours)}:"
                " it may have been stuck, have lain against the wall, or have repeated an old reading."
            )
        case kinds.CannotBe():
            why = "more than it began with" if one.above else "less than is left when every sugar is eaten"
            return (
                f"The float showed {units.gravity(one.gravity_sg)}, which is {why} ({units.gravity(one.original_sg)}"
                " before pitching): the float or that gravity was wrong."
            )
        case _:
            assert_never(one)
