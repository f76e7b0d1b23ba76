"""The evidence for a verdict, and the advice, as sentences in the units of whoever reads them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import assert_never

from analysis import evidence as kinds
from analysis.display_units import DisplayUnits
from analysis.evidence import Advice, Evidence
from analysis.wording import additions, evidence_past
from analysis.wording import evidence_figures as figures
from analysis.wording.formatting import NOT_JUDGED


def sentences(said: Iterable[Evidence], units: DisplayUnits, *, ended: bool = False) -> tuple[str, ...]:
    """The evidence, one sentence each, in the order given; of a batch that has `ended` as it stood then."""
    tell = evidence_past.sentence if ended else sentence
    return tuple(tell(one, units) for one in said)


def advice_sentences(said: Iterable[Advice], units: DisplayUnits) -> tuple[str, ...]:
    """The advice, one sentence each, in the order given."""
    return tuple(advice(one, units) for one in said)


def sentence(one: Evidence, units: DisplayUnits) -> str:
    """One piece of evidence in the reader's units."""
    match one:
        case kinds.NotJudged():
            return NOT_JUDGED
        case kinds.NothingYet():
            return _nothing_yet(one)
        case kinds.Moved():
            return _moved(one, units)
        case kinds.FellSince():
            return _fell_since(one, units)
        case kinds.SlowFall():
            return _slow_fall(one, units)
        case kinds.Attenuated():
            share = one.attenuation
            said = f"{figures.percent(share)} apparent attenuation so far; {figures.where(one)}."
            return said + figures.above_all(share)
        case kinds.StillToFall():
            return _still_to_fall(one, units)
        case kinds.TooCold():
            return _too_cold(one, units)
        case kinds.TailTakes():
            return _tail_takes(one)
        case kinds.TemperatureToCome():
            return _temperature_to_come(one, units)
        case kinds.StoppedShort():
            return _stopped_short(one, units)
        case kinds.StandsByCurve():
            return (
                f"It has stood for about {one.stood_h:.0f} h, going by the course as a whole;"
                f" from one half-day to the next the readings show {one.seen_h} h of it."
            )
        case kinds.Crept():
            fall = figures.fall(one.fall_sg, one.gravity_sg, units)
            return f"Since the dry hop it has fallen by about {fall} beyond the fermentation itself."
        case kinds.FloatOff():
            return _float_off(one, units)
        case kinds.Silent():
            return (
                f"Nothing was read for {figures.lasted(one.hours)}: what happened since nobody knows; so it stood then."
            )
        case kinds.NotBegun():
            return _not_begun(one, units)
        case kinds.ColdForIt():
            return _cold_for_it(one, units)
        case kinds.EvenFall() | kinds.Swings() | kinds.SameFigure() | kinds.CannotBe():
            return doubt(one, units)
        case kinds.AllExtract():
            return additions.all_extract(one, units)
        case kinds.AdditionDiffers():
            return additions.differs(one, units)
        case kinds.AdditionByReadings():
            return additions.by_readings(one, units)
        case _:
            assert_never(one)


def _temperature_to_come(one: kinds.TemperatureToCome, units: DisplayUnits) -> str:
    return (
        f"Earlier batches of this drink were about {units.warmer_by(abs(one.by_c), 0)}"
        f" {'warmer' if one.by_c > 0 else 'colder'} from here on, those that were kept alike so far;"
        " the dates reckon with it."
    )


def _not_begun(one: kinds.NotBegun, units: DisplayUnits) -> str:
    return (
        f"No fall has been seen in the {figures.lasted(one.hours)} since pitching; the readings stand at"
        f" {units.gravity(one.gravity_sg)}. A hold counts only after a fall."
    )


def _stopped_short(one: kinds.StoppedShort, units: DisplayUnits) -> str:
    return (
        f"It stopped {figures.stopped(one, units)}; chance that it is a halt and not the end:"
        f" {figures.chance(one.p_halted)}."
    )


def doubt(one: kinds.EvenFall | kinds.Swings | kinds.SameFigure | kinds.CannotBe, units: DisplayUnits) -> str:
    """What is odd about the float, and what else looks like that."""
    match one:
        case kinds.EvenFall():
            return (
                f"The float falls evenly, by about {figures.a_day(one.per_day_sg, units)} a day for"
                f" {one.hours / 24:.0f} days, without slowing down: a float that drifts does that, and a fermentation"
                " that goes on slowly. A hand sample tells which."
            )
        case kinds.Swings():
            return (
                f"The float has gone up and down by about {figures.swing(one.by_sg, units)} for {one.hours / 24:.0f}"
                " days, which the liquid cannot: gas bubbles, foam or a swinging temperature lift a float. A hand"
                " sample, degassed, tells where it stands."
            )
        case kinds.SameFigure():
            return (
                f"The float has shown {units.gravity(one.gravity_sg)} to the last digit for {figures.lasted(one.hours)}"
                ": it may be stuck, lie against the wall, or repeat an old reading."
            )
        case kinds.CannotBe():
            why = "more than it began with" if one.above else "less than is left when every sugar is eaten"
            return (
                f"The float shows {units.gravity(one.gravity_sg)}, which is {why} ({units.gravity(one.original_sg)}"
                " before pitching): the float or that gravity is wrong."
            )


def advice(one: Advice, units: DisplayUnits) -> str:
    """One piece of advice in the reader's units."""
    match one:
        case Advice.HAND_SAMPLE:
            return "Take a hand sample first: a stuck float looks the same."
        case Advice.SAMPLE_TWICE:
            return (
                "Take a degassed hand sample now and another one after four days: it shows whether the gravity falls or"
                " the float drifts."
            )
        case Advice.WARM:
            warmer = "4 to 5 °F" if units.temperature_unit == "°F" else "2 to 3 °C"
            return f"If the sample agrees, warm the vessel by {warmer} and look again after a day."
        case Advice.ROUSE:
            return (
                "Gentle rousing of the yeast may help after that; it can let oxygen in, and a vessel full of gas can"
                " gush."
            )
        case Advice.FORCED_TEST_OF_A_STALL:
            return (
                "A forced fermentation test, a warm side sample with much fresh yeast, tells within two or three days"
                " where it can end."
            )
        case Advice.FORCED_TEST_OF_AN_END:
            return (
                "It cannot be told yet whether this is the end. A forced fermentation test, a warm side sample with"
                " much fresh yeast, settles it within two or three days."
            )
        case Advice.HAND_SAMPLE_OF_A_DOUBT:
            return (
                "Take a hand sample, degassed, and log it: what the float shows cannot be told from a fault of the"
                " float. Free it from foam, hops and the wall where you can reach it cleanly."
            )
        case Advice.WAIT_FOR_THE_FALL:
            return (
                "Wait: most begin within a day, and up to three are common in the cold, with little or old yeast, or in"
                " a strong wort or must (common practice)."
            )
        case Advice.SAMPLE_BEFORE_THE_FALL:
            return (
                "Take a hand sample first: a float that leans on the wall or is stuck looks the same. Foam, gas and a"
                " falling hydrometer say that it has begun."
            )
        case Advice.WARM_TO_BEGIN:
            return "Warm it slowly into the range that its yeast likes: cold yeast may not begin at all."
        case Advice.PITCH_ANEW:
            return (
                "If it has not begun after three days, rouse it, let oxygen in once, as long as nothing has fermented,"
                " and pitch fresh, lively yeast (common practice): what does not ferment spoils. Throw it away if it"
                " smells wrong or has grown a skin."
            )
        case _:
            assert_never(one)


def _cold_for_it(one: kinds.ColdForIt, units: DisplayUnits) -> str:
    return f"It is at {figures.how_cold(one, units)}. Cold alone can hold a yeast up."


def _nothing_yet(one: kinds.NothingYet) -> str:
    there_is = "there are" if one.usable > 1 else "there is"
    return f"Too early to say anything: so far {there_is} {figures.readings(one.usable)} to go by."


def _moved(one: kinds.Moved, units: DisplayUnits) -> str:
    return f"Over the last {one.hours} h the gravity moved by {figures.moved(one, units)}."


def _fell_since(one: kinds.FellSince, units: DisplayUnits) -> str:
    return (
        f"It has fallen by {figures.fell(one, units)} since it {'was called' if one.called else 'seemed'} finished"
        f" {_ago(one.ago_h)} ago. What was read counts: it is not finished until it has held anew."
    )


def _slow_fall(one: kinds.SlowFall, units: DisplayUnits) -> str:
    day, stored = figures.slow_fall(one, units)
    over = f"by a straight line through the last {one.days:.0f} days"
    if one.sure:
        in_all = figures.fall(one.fell_sg, one.gravity_sg, units)
        return (
            f"It seemed to have ended, and has gone on falling by {day} a day, {in_all} in all, {over}: more than"
            " floats drift. It is not finished until it has held anew."
        )
    return (
        f"Since it seemed to have ended it has fallen by {day} a day, {over}; that may be the float, but if it goes on"
        f" it makes {stored} within {one.stored_days:.0f} days in a closed package."
    )


def _still_to_fall(one: kinds.StillToFall, units: DisplayUnits) -> str:
    limit, left = figures.still_to_fall(one, units)
    return f"Chance that less than {limit} is left: {figures.chance(one.p_finished)}; still to fall: {left}."


def _too_cold(one: kinds.TooCold, units: DisplayUnits) -> str:
    return (
        f"At {units.temperature(one.temperature_c)} it is {units.warmer_by(one.colder_c)} colder than where it"
        " fermented: a plateau in the cold is no evidence, so this rests on what was read before the cooling began."
    )


def _tail_takes(one: kinds.TailTakes) -> str:
    alike = "one earlier batch" if one.batches == 1 else f"{one.batches} earlier batches"
    return (
        f"The last stretch, from nine tenths of the fall to the end, takes about {one.times:.1f} times"
        f" as long as the stretch from half to nine tenths, going by {alike} of its kind."
    )


def _float_off(one: kinds.FloatOff, units: DisplayUnits) -> str:
    return (
        f"The float reads {figures.float_off(one, units)} what we take for the true gravity, going by the original"
        " gravity, hand samples and what is usual; a hand sample settles it."
    )


def _ago(hours: float) -> str:
    return f"about {hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"
