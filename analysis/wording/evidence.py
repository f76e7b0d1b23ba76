"""The evidence for a verdict, and the advice, as sentences in the units of whoever reads them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, assert_never

from analysis import evidence as kinds
from analysis.display_units import DisplayUnits
from analysis.evidence import Advice, Evidence
from analysis.wording import additions
from analysis.wording.formatting import NOT_JUDGED

_NOTHING_SG: Final = 0.00005
"""SG; what is printed as 0.0000 is said in words."""


def sentences(said: Iterable[Evidence], units: DisplayUnits) -> tuple[str, ...]:
    """The evidence, one sentence each, in the order given."""
    return tuple(sentence(one, units) for one in said)


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
            return (
                f"{_percent(one.attenuation)} apparent attenuation so far; {_where(one)}.{above_all(one.attenuation)}"
            )
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
            fall = _fall(one.fall_sg, one.gravity_sg, units)
            return f"Since the dry hop it has fallen by about {fall} beyond the fermentation itself."
        case kinds.FloatOff():
            return _float_off(one, units)
        case kinds.Silent():
            return f"Nothing was read for {_lasted(one.hours)}: what happened since nobody knows; so it stood then."
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
        f"No fall has been seen in the {_lasted(one.hours)} since pitching; the readings stand at"
        f" {units.gravity(one.gravity_sg)}. A hold counts only after a fall."
    )


def _stopped_short(one: kinds.StoppedShort, units: DisplayUnits) -> str:
    return (
        f"It stopped about {units.apart(one.end_sg + one.above_sg, one.end_sg)} above the likely end of"
        f" {units.gravity(one.end_sg)}; chance that it is a halt and not the end: {_chance(one.p_halted)}."
    )


def doubt(one: kinds.EvenFall | kinds.Swings | kinds.SameFigure | kinds.CannotBe, units: DisplayUnits) -> str:
    """What is odd about the float, and what else looks like that."""
    match one:
        case kinds.EvenFall():
            return (
                f"The float falls evenly, by about {_a_day(one.per_day_sg, units)} a day for"
                f" {one.hours / 24:.0f} days, without slowing down: a float that drifts does that, and a fermentation"
                " that goes on slowly. A hand sample tells which."
            )
        case kinds.Swings():
            return (
                f"The float has gone up and down by about {_swing(one.by_sg, units)} for {one.hours / 24:.0f} days,"
                " which the liquid cannot: gas bubbles, foam or a swinging temperature lift a float. A hand sample,"
                " degassed, tells where it stands."
            )
        case kinds.SameFigure():
            return (
                f"The float has shown {units.gravity(one.gravity_sg)} to the last digit for {_lasted(one.hours)}:"
                " it may be stuck, lie against the wall, or repeat an old reading."
            )
        case kinds.CannotBe():
            why = "more than it began with" if one.above else "less than is left when every sugar is eaten"
            return (
                f"The float shows {units.gravity(one.gravity_sg)}, which is {why} ({units.gravity(one.original_sg)}"
                " before pitching): the float or that gravity is wrong."
            )


def above_all(attenuation: float) -> str:
    """Why apparent attenuation can pass 100 %, where it does; with a space before it."""
    if attenuation <= 1.0:
        return ""
    return (
        " Apparent attenuation passes 100\u202f% where a drink ends lighter than water: alcohol is lighter, so that a"
        " hydrometer sinks deeper than the sugar left would let it."
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
    usual = units.span(one.low_c, one.high_c, "temperature")
    kind = "drink" if one.drink == "other" else one.drink
    article = "an" if kind == "ale" else "a"
    then = ""
    if one.fermented_c is not None:
        by = units.colder_by(one.temperature_c, one.fermented_c)
        then = f", {by} colder than where it fermented ({units.temperature(one.fermented_c)})"
    return (
        f"It is at {units.temperature(one.temperature_c)}{then}; usual for {article} {kind} is {usual} (common"
        " practice). Cold alone can hold a yeast up."
    )


def _a_day(fall_sg: float, units: DisplayUnits) -> str:
    return units.fall_to(fall_sg, 1.010)


def _swing(by_sg: float, units: DisplayUnits) -> str:
    return _points(by_sg, 1.010, units)


def _lasted(hours: float) -> str:
    return f"{hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"


def _nothing_yet(one: kinds.NothingYet) -> str:
    usable = one.usable
    many = (
        "no gravity reading" if usable == 0 else "one gravity reading" if usable == 1 else f"{usable} gravity readings"
    )
    return f"Too early to say anything: so far there {'are' if usable > 1 else 'is'} {many} to go by."


def _moved(one: kinds.Moved, units: DisplayUnits) -> str:
    moved, error = abs(one.moved_sg), one.error_sg
    if units.gravity_unit != "SG":
        by = f"{units.fall_amount(moved, one.gravity_sg):.2f} ± {units.fall_to(error, one.gravity_sg)}"
    else:
        by = f"{moved:.4f} ± {error:.4f} SG"
    return (
        f"Over the last {one.hours} h the gravity moved by {by}"
        f" ({'of at least' if one.enough else 'of'} {one.asked_h:.0f} h asked)."
    )


def _fell_since(one: kinds.FellSince, units: DisplayUnits) -> str:
    if units.gravity_unit != "SG":
        by = units.fall_to(one.fell_sg, one.gravity_sg)
    else:
        by = f"{1000 * one.fell_sg:.1f} points"
    return (
        f"It has fallen by {by} since it {'was called' if one.called else 'seemed'} finished {_ago(one.ago_h)} ago."
        " What was read counts: it is not finished until it has held anew."
    )


def _slow_fall(one: kinds.SlowFall, units: DisplayUnits) -> str:
    if units.gravity_unit != "SG":
        fell = units.fall_amount(one.fall_sg_day, one.gravity_sg)
        day = f"{fell:.2f} ± {units.fall_to(one.error_sg_day, one.gravity_sg)}"
        stored = units.fall_to(one.stored_sg, one.gravity_sg - one.stored_sg, 1)
    else:
        day = f"{1000 * one.fall_sg_day:.2f} ± {1000 * one.error_sg_day:.2f} points"
        stored = f"{1000 * one.stored_sg:.0f} points"
    over = f"by a straight line through the last {one.days:.0f} days"
    if one.sure:
        in_all = _fall(one.fell_sg, one.gravity_sg, units)
        return (
            f"It seemed to have ended, and has gone on falling by {day} a day, {in_all} in all, {over}: more than"
            " floats drift. It is not finished until it has held anew."
        )
    return (
        f"Since it seemed to have ended it has fallen by {day} a day, {over}; that may be the float, but if it goes on"
        f" it makes {stored} within {one.stored_days:.0f} days in a closed package."
    )


def _still_to_fall(one: kinds.StillToFall, units: DisplayUnits) -> str:
    low, middle, high = one.left_p10_sg, one.left_p50_sg, one.left_p90_sg
    if units.gravity_unit != "SG":
        limit = units.fall_to(one.limit_sg, one.gravity_sg)
        low, middle, high = (units.fall_amount(fall, one.gravity_sg - fall) for fall in (low, middle, high))
        left = f"{middle:.2f} {units.gravity_unit} ({low:.2f} to {high:.2f})"
    else:
        limit, left = f"{one.limit_sg:.3f} SG", f"{middle:.4f} SG ({low:.4f} to {high:.4f})"
    if one.left_p90_sg < _NOTHING_SG:
        left = "next to nothing"  # not 0.0000: nobody has seen that
    return f"Chance that less than {limit} is left: {_chance(one.p_finished)}; still to fall: {left}."


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
        f"The float reads about {units.apart(one.gravity_sg + one.off_sg, one.gravity_sg)}"
        f" {'above' if one.off_sg > 0 else 'below'} what we take for the true"
        " gravity, going by the original gravity, hand samples and what is usual; a hand sample settles it."
    )


def _where(one: kinds.Attenuated) -> str:
    if one.same_yeast:
        source = f"of your last {_batches(one.same_yeast)} with this yeast"
    elif one.same_drink:
        source = f"of your earlier {_batches(one.same_drink)} of this drink"
    else:
        source = "that is usual for this drink"
    if one.expected_by_brewer:
        source += " and of the range you expect"
    return f"{one.place} the {_percent(one.low)} to {_percent(one.high)} {source}"


def _fall(fall_sg: float, down_to_sg: float, units: DisplayUnits) -> str:
    return f"{fall_sg:.4f} SG" if units.gravity_unit == "SG" else units.fall_to(fall_sg, down_to_sg)


def _points(fall_sg: float, down_to_sg: float, units: DisplayUnits) -> str:
    if units.gravity_unit != "SG":
        return units.fall_to(fall_sg, down_to_sg, 1)
    count = f"{1000 * fall_sg:.0f}"
    return f"{count} {'point' if count == '1' else 'points'}"


def _ago(hours: float) -> str:
    return f"about {hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"


def _batches(count: int) -> str:
    return "batch" if count == 1 else f"{count} batches"


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u202f%"


def _chance(p: float) -> str:
    """As a percentage; nothing that is inferred is quite impossible or quite certain."""
    return "less than 1\u202f%" if p < 0.01 else "more than 99\u202f%" if p > 0.99 else _percent(p)
