"""The evidence for a verdict, and the advice, as sentences in the units of whoever reads them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, assert_never

from analysis import evidence as kinds
from analysis.evidence import Advice, Evidence
from analysis.model import Assessment
from analysis.units import c_to_f, sg_to_plato
from analysis.wording import additions
from analysis.wording.formatting import NOT_JUDGED


class Units(Protocol):
    """What a sentence asks of the reader's units; `analysis.display_units` has it."""

    @property
    def gravity_unit(self) -> str:
        """``SG`` or ``°P``."""

    @property
    def temperature_unit(self) -> str:
        """``°C`` or ``°F``."""

    def gravity(self, gravity_sg: float) -> str:
        """A gravity with its unit."""


def sentences(said: Iterable[Evidence], units: Units) -> tuple[str, ...]:
    """The evidence, one sentence each, in the order given."""
    return tuple(sentence(one, units) for one in said)


def advice_sentences(said: Iterable[Advice], units: Units) -> tuple[str, ...]:
    """The advice, one sentence each, in the order given."""
    return tuple(advice(one, units) for one in said)


def sentence(one: Evidence, units: Units) -> str:
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
        case kinds.Attenuated():
            return f"{_percent(one.attenuation)} apparent attenuation so far; {_where(one)}."
        case kinds.StillToFall():
            return _still_to_fall(one, units)
        case kinds.HeldByPractice():
            return (
                f"It has held for the {one.hold_h:.0f} h of common practice, about where such a batch ends:"
                " what may still come is little more than a float can show."
            )
        case kinds.TooCold():
            return _too_cold(one, units)
        case kinds.TailTakes():
            return _tail_takes(one)
        case kinds.TemperatureToCome():
            return (
                f"Earlier batches of this drink were about {_degrees(abs(one.by_c), units, 0)}"
                f" {'warmer' if one.by_c > 0 else 'colder'} from here on, those that were kept alike so far;"
                " the dates reckon with it."
            )
        case kinds.StoppedShort():
            return (
                f"It stopped about {_points(one.above_sg, one.end_sg, units)} above the likely end of"
                f" {units.gravity(one.end_sg)}; chance that it is a halt and not the end: {_chance(one.p_halted)}."
            )
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
        case kinds.AllExtract():
            return additions.all_extract(one, units)
        case kinds.AdditionDiffers():
            return additions.differs(one, units)
        case kinds.AdditionByReadings():
            return additions.by_readings(one, units)
        case _:
            assert_never(one)


def gravity_now(assessment: Assessment, units: Units) -> str:
    """The gravity that is taken for true and, where a float lies a point from it, what that reads.

    The evidence says why they differ. Empty where nothing was inferred.
    """
    if assessment.gravity_sg is None:
        return ""
    gravity_sg = assessment.gravity_sg.p50
    off = next((one for one in assessment.evidence if isinstance(one, kinds.FloatOff)), None)
    read = "" if off is None else f" (the float reads {units.gravity(gravity_sg + off.off_sg)})"
    return units.gravity(gravity_sg) + read


def advice(one: Advice, units: Units) -> str:
    """One piece of advice in the reader's units."""
    match one:
        case Advice.HAND_SAMPLE:
            return "Take a hand sample first: a stuck float looks the same."
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
        case _:
            assert_never(one)


def _nothing_yet(one: kinds.NothingYet) -> str:
    usable = one.usable
    many = (
        "no gravity reading" if usable == 0 else "one gravity reading" if usable == 1 else f"{usable} gravity readings"
    )
    return f"Too early to say anything: so far there {'are' if usable > 1 else 'is'} {many} to go by."


def _moved(one: kinds.Moved, units: Units) -> str:
    moved, error = abs(one.moved_sg), one.error_sg
    if units.gravity_unit == "°P":
        by = f"{_plato(moved, one.gravity_sg):.2f} ± {_plato(error, one.gravity_sg):.2f} °P"
    else:
        by = f"{moved:.4f} ± {error:.4f} SG"
    return (
        f"Over the last {one.hours} h the gravity moved by {by}"
        f" ({'of at least' if one.enough else 'of'} {one.asked_h:.0f} h asked)."
    )


def _fell_since(one: kinds.FellSince, units: Units) -> str:
    if units.gravity_unit == "°P":
        by = f"{_plato(one.fell_sg, one.gravity_sg):.2f} °P"
    else:
        by = f"{1000 * one.fell_sg:.1f} points"
    return (
        f"It has fallen by {by} since it {'was called' if one.called else 'seemed'} finished {_ago(one.ago_h)} ago."
        " What was read counts: it is not finished until it has held anew."
    )


def _still_to_fall(one: kinds.StillToFall, units: Units) -> str:
    low, middle, high = one.left_p10_sg, one.left_p50_sg, one.left_p90_sg
    if units.gravity_unit == "°P":
        limit = f"{_plato(one.limit_sg, one.gravity_sg):.2f} °P"
        low, middle, high = (_plato(fall, one.gravity_sg - fall) for fall in (low, middle, high))
        left = f"{middle:.2f} °P ({low:.2f} to {high:.2f})"
    else:
        limit, left = f"{one.limit_sg:.3f} SG", f"{middle:.4f} SG ({low:.4f} to {high:.4f})"
    return f"Chance that less than {limit} is left: {_chance(one.p_finished)}; still to fall: {left}."


def _too_cold(one: kinds.TooCold, units: Units) -> str:
    return (
        f"At {_temperature(one.temperature_c, units)} it is {_degrees(one.colder_c, units, 1)} colder than where it"
        " fermented: a plateau in the cold is no evidence, so this rests on what was read before the cooling began."
    )


def _tail_takes(one: kinds.TailTakes) -> str:
    alike = "one earlier batch" if one.batches == 1 else f"{one.batches} earlier batches"
    return (
        f"The last stretch, from nine tenths of the fall to the end, takes about {one.times:.1f} times"
        f" as long as the stretch from half to nine tenths, going by {alike} of its kind."
    )


def _float_off(one: kinds.FloatOff, units: Units) -> str:
    return (
        f"The float reads about {_points(abs(one.off_sg), one.gravity_sg, units)}"
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


def _plato(fall_sg: float, down_to_sg: float) -> float:
    """A fall to `down_to_sg` in °P: a degree is not the same number of points everywhere."""
    return float(sg_to_plato(down_to_sg + fall_sg) - sg_to_plato(down_to_sg))


def _fall(fall_sg: float, down_to_sg: float, units: Units) -> str:
    if units.gravity_unit == "°P":
        return f"{_plato(fall_sg, down_to_sg):.2f} °P"
    return f"{fall_sg:.4f} SG"


def _points(fall_sg: float, down_to_sg: float, units: Units) -> str:
    if units.gravity_unit == "°P":
        return f"{_plato(fall_sg, down_to_sg):.1f} °P"
    count = f"{1000 * fall_sg:.0f}"
    return f"{count} {'point' if count == '1' else 'points'}"


def _temperature(temperature_c: float, units: Units) -> str:
    if units.temperature_unit == "°F":
        return f"{c_to_f(temperature_c):.1f} °F"
    return f"{temperature_c:.1f} °C"


def _degrees(by_c: float, units: Units, decimals: int) -> str:
    """A difference of temperature."""
    if units.temperature_unit == "°F":
        return f"{c_to_f(by_c) - c_to_f(0.0):.{decimals}f} °F"
    return f"{by_c:.{decimals}f} °C"


def _ago(hours: float) -> str:
    return f"about {hours / 24:.0f} days" if hours >= 48 else f"{hours:.0f} h"


def _batches(count: int) -> str:
    return "batch" if count == 1 else f"{count} batches"


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u202f%"


def _chance(p: float) -> str:
    """As a percentage; nothing that is inferred is quite impossible or quite certain."""
    return "less than 1\u202f%" if p < 0.01 else "more than 99\u202f%" if p > 0.99 else _percent(p)
