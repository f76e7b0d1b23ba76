"""What we say about a batch: one sentence for the verdict, and the words for its phases.

Three things are kept apart in every sentence: when it likely finishes, whether it has finished, and for how long it
has been seen to hold.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import numpy as np

from analysis.display_units import DisplayUnits, chance, chance_percent, chance_word, number, percent
from analysis.evidence import (
    CannotBe,
    ColdForIt,
    EvenFall,
    FloatOff,
    NotBegun,
    NothingYet,
    SameFigure,
    Silent,
    Swings,
    slow_swing,
)
from analysis.model import STEADY_SG, Assessment, EventKind, Forecast, Phase, Range, Trend
from analysis.thresholds import FLOAT_OFF_SG, FLOAT_SEEN_OFF_SG, LAG_USUAL_H, LAG_WORRY_H
from analysis.wording.formatting import Voice, capital, fineness, hours, lasted

PHASE_WORDS: Final[dict[Phase, str]] = {
    "lag": "Not begun",
    "active": "Active",
    "slowing": "Slowing",
    "steady": "Steady",
    "finished": "Finished",
    "stalled": "Stalled",
    "chilled": "Chilled",
    "creeping": "Falling again",
}

EVENT_WORDS: Final[dict[EventKind, str]] = {
    "pitch": "Pitched",
    "dry hop": "Dry hops in",
    "hops out": "Hops out",
    "crash": "Chilled",
    "warm": "Warmed",
    "feed": "Sugar or honey added",
    "dilute": "Water added",
    "nutrient": "Nutrient added",
    "transfer": "Transferred",
    "sample": "Sample taken",
    "float moved": "Float moved or cleaned",
    "forced test": "Forced test",
    "package": "Packaged",
    "note": "Note",
}

_SAME_FALL_SG: Final = 0.0015
"""SG; closer than this, two ways to tell what is still to fall are the same but for their rounding. No source."""
_UNLIKELY: Final = 0.1
"""Chance; with less, nothing is said to be perhaps done. Source: the scale of words for chances, very unlikely."""
_LIKELY: Final = 0.66
"""Chance; of what is called finished with less, that a point may still come is said too. Source: the scale of words."""
_MUCH_A_MONTH_SG: Final = 0.010
"""SG; what falls by more is a matter of days, and a month of it is no forecast. No source."""
_STILL_COMES_DOWN: Final = "by its course it should have ended, yet the readings still come down"

NO_GRAVITY: Final = "No gravity yet: what is heard from this vessel tells none."
NO_READINGS: Final = "No readings yet: nothing has been heard from this vessel since pitching."


def expected_finish(finish: Forecast, voice: Voice, brief: bool = False) -> str:
    """The likely finish: ``likely done Tuesday evening (Monday night to Thursday noon)``; `brief` drops the range."""
    late = finish.p90
    if late is not None and late <= voice.now:
        return "likely done by now"
    fine = fineness(finish.p10, late or finish.last)
    middle = voice.when(finish.p50, fine)
    if late is None:
        return f"done about {middle} if it goes on, not before {voice.when(finish.p10, fine)}"
    if finish.p10 <= voice.now:
        return f"perhaps done already, very likely by {voice.when(late, fine)}"
    if brief:
        return f"likely done {middle}"
    return f"likely done {middle} ({voice.between(finish.p10, late, fine)})"


def finish_words(a: Assessment, finish: Forecast, voice: Voice, brief: bool = False) -> str:
    """The same for a batch that is judged: what has very unlikely finished is not said to be perhaps done already."""
    late = finish.p90
    if a.finished or a.p_finished is None or a.p_finished >= _UNLIKELY or finish.p10 > voice.now or late is None:
        return expected_finish(finish, voice, brief)
    if late <= voice.now:
        return _STILL_COMES_DOWN
    return f"very likely done by {voice.when(late, fineness(finish.p10, late))}"


def range_told(finish: Forecast, voice: Voice) -> str:
    """The range in full; one that may never come has no later end."""
    if finish.p90 is None:
        never = chance_percent(1.0 - finish.chances[-1])
        return f"Nine times out of ten after {voice.exact(finish.p10)}; that it stops short of the end: {never}."
    return f"Eight times out of ten between {voice.exact(finish.p10)} and {voice.exact(finish.p90)}."


def held(assessment: Assessment, hold_h: float) -> str:
    """For how long gravity has been seen to hold: ``held 31 of 48 h``."""
    if assessment.hold_met:
        return f"held {hours(assessment.held_h)}, {number(hold_h)} asked"
    return f"held {number(int(assessment.held_h))} of {hours(hold_h)}"


def how_sure(a: Assessment, units: DisplayUnits, *, ended: bool = False) -> str:
    """How sure it is that it has finished, or had when the batch `ended`, in brackets; empty without a chance."""
    if a.p_finished is None:
        return ""
    return f" ({_perhaps_not_all(a, units, ended=ended) or chance_percent(a.p_finished)})"


def _perhaps_not_all(a: Assessment, units: DisplayUnits, *, ended: bool = False) -> str:
    """What may come after all of what is called finished: two points will not, one may."""
    open_yet = a.finished and a.p_finished is not None and a.p_finished < _LIKELY
    come = "might still have come" if ended else "may still come"
    return f"though {units.one_point()} {come}" if open_yet else ""


def verdict(assessment: Assessment, hold_h: float, voice: Voice, brief: bool = False) -> str:
    """The verdict as one sentence that a friend could say; `brief` is for lists."""
    a = assessment
    if a.newest_reading_at is None:
        return NO_READINGS if a.marked.is_empty() else NO_GRAVITY
    doubt = next((one for one in a.evidence if isinstance(one, EvenFall | CannotBe)), None)
    if doubt is not None and not a.finished:
        return f"{_doubt(doubt, voice)}: take a hand sample."
    swings = next((one for one in a.evidence if isinstance(one, Swings)), None)
    if swings is not None and swings.slowly and not a.stalled and not a.finished:
        return f"{_doubt(swings, voice)}, so that neither a hold nor an end can be seen: take a hand sample."
    if swings is not None and not a.stalled:
        return f"{_by_phase(a, hold_h, voice, brief)} {_doubt(swings, voice)}: take a hand sample."
    return _by_phase(a, hold_h, voice, brief)


def _doubt(one: EvenFall | CannotBe | Swings, voice: Voice) -> str:
    match one:
        case EvenFall():
            return (
                f"Falls evenly, by {voice.units.fall(one.per_day_sg)} a day for {one.hours / 24:.0f} days, as a "
                "drifting float does or a slow fermentation"
            )
        case CannotBe():
            shows, original = voice.gravity(one.gravity_sg), voice.gravity(one.original_sg)
            return (
                f"The float shows {shows}, {'above' if one.above else 'too far below'} the {original} before pitching"
            )
        case Swings():
            return f"The float swings{' up and down' * one.slowly} by {voice.units.about_fall(one.by_sg)}"


def _by_phase(a: Assessment, hold_h: float, voice: Voice, brief: bool) -> str:
    match a.phase:
        case "lag":
            return _not_begun(a, voice, brief)
        case "active":
            return _falling("Still fermenting", a, voice, brief)
        case "slowing":
            return _falling("Slowing down", a, voice, brief)
        case "steady":
            return _standing(a, hold_h, voice)
        case "finished":
            if a.trend is not None and a.trend.seems_to_fall:
                return _seems_to_fall(a, a.trend, voice)
            if a.hold_met:
                level = held_level(a)
                at = f" at {voice.gravity(level)}" if level is not None else ""
                return f"Finished: the gravity has held{at} for {hours(a.held_h)}."
            return _standing(a, hold_h, voice)
        case "stalled":
            return _stalled(a, voice)
        case "chilled":
            return _chilled(a, voice, brief)
        case "creeping":
            return _creeping(a, voice)


def _not_begun(a: Assessment, voice: Voice, brief: bool) -> str:
    if any(isinstance(one, NothingYet) for one in a.evidence):
        return "Too few readings yet: too early to give a date."
    none = next((one for one in a.evidence if isinstance(one, NotBegun)), None)
    same = next((one for one in a.evidence if isinstance(one, SameFigure)), None)
    since = (
        f", {lasted(timedelta(hours=none.hours))} after pitching"
        if none is not None and none.hours >= LAG_USUAL_H
        else ""
    )
    if same is not None:
        shown, span = voice.gravity(same.gravity_sg), lasted(timedelta(hours=same.hours))
        return f"No fall yet{since}: the float has shown {shown} to the last digit for {span}. Take a hand sample."
    if none is not None and none.hours >= LAG_WORRY_H:
        return f"No fall yet{since}: look to yeast, warmth and oxygen."
    if a.finish is None:
        return f"No fall yet{since}: too early to give a date."
    return f"No fall yet; {expected_finish(a.finish, voice, brief)}."


def _falling(opening: str, a: Assessment, voice: Voice, brief: bool) -> str:
    left = a.remaining_fall_sg
    if a.finish is None or left is None:
        if left is None or a.phase == "active":
            return f"{opening}: too early to give a date."
        return f"{opening}: {_to_go(a, left, voice)} to go, but the readings do not yet say when."
    finish = finish_words(a, a.finish, voice, brief)
    if finish == _STILL_COMES_DOWN:
        return f"{opening}: {finish}."
    return f"{opening}: {_to_go(a, left, voice)} to go, {finish}."


def _to_go(a: Assessment, left: Range, voice: Voice) -> str:
    if left.p50 >= STEADY_SG and left.p90 - left.p10 > max(0.5 * left.p50, 0.004):
        now, end = a.gravity_sg, a.terminal_gravity_sg
        if now is not None and end is not None and now.p50 > end.p90:
            falls = (now.p50 - end.p90, now.p50 - end.p10)
            if max(abs(falls[0] - left.p10), abs(falls[1] - left.p90)) < _SAME_FALL_SG:
                return voice.units.apart_from_range(now.p50, end.p10, end.p90)
        return voice.units.fall_between(left.p10, left.p90)
    return voice.units.about_fall(left.p50)


def _above_its_end(a: Assessment, voice: Voice) -> str | None:
    """By how much it stands above its likely end, where that is worth telling: as both figures are printed."""
    left, now, end = a.remaining_fall_sg, a.gravity_sg, a.terminal_gravity_sg
    if left is None or left.p50 < 2 * STEADY_SG:
        return None
    if now is not None and end is not None and now.p50 - end.p50 >= STEADY_SG:
        return f"about {voice.units.apart(now.p50, end.p50)} above where it should end"
    return f"{voice.units.about_fall(left.p50)} above where it should end"


def _standing(a: Assessment, hold_h: float, voice: Voice) -> str:
    p, before = a.p_finished, a.before_hops
    crept = a.creep is not None and a.creep.fall_sg.p50 >= STEADY_SG
    if before is not None and (before.finished or before.held_h >= hold_h) and not (a.hold_met and crept):
        was = "Finished" if before.finished else f"Held {hours(before.held_h)}"
        sure = "" if p is None else f" ({chance_percent(p)} that no more will fall)"
        return f"{was} before the hops; watching since {voice.since(before.hopped_at)}{sure}: {held(a, hold_h)}."
    if p is None:
        return f"Standing still; {held(a, hold_h)}."
    if though := _perhaps_not_all(a, voice.units):
        return f"Done, {though} ({chance_percent(p)} that none does); {held(a, hold_h)}."
    if p < 0.33:
        return f"Standing still, but probably not done ({chance_percent(p)} that it is); {held(a, hold_h)}."
    if p < 0.66:
        return f"Standing still: done or not is open ({chance_percent(p)} that it is); {held(a, hold_h)}."
    return f"{capital(chance_word(p))} done ({chance_percent(p)}); {held(a, hold_h)}."


def _seems_to_fall(a: Assessment, trend: Trend, voice: Voice) -> str:
    """It counts as ended, and yet its readings come down: the doubt stands in the sentence."""
    sure = "" if a.p_finished is None else f" ({chance_percent(a.p_finished)} that it has ended)"
    days, span = (30.0, "month") if 30.0 * trend.fall_sg_day < _MUCH_A_MONTH_SG else (1.0, "day")
    size = voice.units.about_fall(days * trend.fall_sg_day)
    return f"Seems to have ended, yet it comes down by {size} a {span}{sure}: watch on before you close it in."


def _stalled(a: Assessment, voice: Voice) -> str:
    at = f" at {voice.gravity(a.gravity_sg.p50)}" if a.gravity_sg else ""
    cold = next((one for one in a.evidence if isinstance(one, ColdForIt)), None)
    why = "" if cold is None else f"; at {voice.temperature(cold.temperature_c)} it is cold for it"
    return f"Stalled{at}, {_above_its_end(a, voice) or 'above where it should end'}{why}."


def _chilled(a: Assessment, voice: Voice, brief: bool) -> str:
    cold = f" at {voice.temperature(a.temperature_c)}" if a.temperature_c is not None else ""
    if a.finished:
        return f"Chilled{cold}, and done before it was chilled{how_sure(a, voice.units)}."
    above = _above_its_end(a, voice)
    short = f", {above}" if above else ""
    if brief:
        return f"Chilled{cold}{short}: stands still because it is cold."
    return f"Chilled{cold}{short}: it stands still because it is cold, which does not say that it has finished."


def _creeping(a: Assessment, voice: Voice) -> str:
    if a.creep is None:
        return "Falling again after it had steadied."
    size = voice.units.fall_between(a.creep.fall_sg.p10, a.creep.fall_sg.p90)
    return f"Falling again since {voice.since(a.creep.since)}: {size} so far."


def three_notions(assessment: Assessment, hold_h: float, voice: Voice) -> list[tuple[str, str, str]]:
    """Finish, finished and hold, kept apart: (question, answer, small print) for each."""
    a = assessment
    finish = "Too early to say" if a.phase in ("lag", "active") else "Not to be said yet"
    exact = "The range appears once the fall has shown its course."
    if any(isinstance(one, EvenFall | CannotBe) for one in a.evidence) or slow_swing(a.evidence):
        exact = "The float is in doubt: a hand sample comes first."
    if a.stalled:
        finish, exact = "No date while it is stalled", "A range comes back when the gravity falls again."
    if a.finished:
        finish, exact = "Done by now, as far as can be told", "How sure that is stands in the next answer."
    elif a.finish is not None:
        finish = capital(finish_words(a, a.finish, voice))
        exact = range_told(a.finish, voice)
    done = "Cannot be told yet"
    if a.p_finished is not None and (though := _perhaps_not_all(a, voice.units)):
        done = f"Yes, {though} ({chance_percent(a.p_finished)})"
    elif a.p_finished is not None:
        done = capital(chance(a.p_finished)) if not a.finished else f"Yes, {chance(a.p_finished)}"
    elif a.finished:
        done = "Yes"
    since = (
        f"Within {voice.units.one_point()} since {voice.exact(a.held_since)}." if a.held_since else "It still moves."
    )
    if a.held_since is None and any(isinstance(one, Silent) for one in a.evidence):
        since = "It still moved when it was last read."
    if a.held_since is None and a.before_hops is not None and a.phase in ("steady", "finished"):
        since = f"Watched anew since the hops went in, {voice.exact(a.before_hops.hopped_at)}."
    if a.stalled and a.held_since is None:
        since = "The readings scatter too much, or are too few, to show it."
    if not a.stalled and any(isinstance(one, EvenFall) for one in a.evidence):
        since = "Within a point for so long, and yet it falls evenly."
    if a.phase == "lag":
        few = any(isinstance(one, NothingYet) for one in a.evidence)
        since = "Too few readings to tell." if few else "The fall has not begun."
    hold = capital(held(a, hold_h)) if a.held_h >= 1 else f"Not yet: 0 of {hours(hold_h)}"
    return [
        ("When does it finish?", finish, exact),
        ("Has it finished?", done, f"The chance that no more than {voice.units.one_point()} of fall is still to come."),
        ("Has it been seen to hold?", hold, since),
    ]


def likely_gravity(assessment: Assessment, voice: Voice) -> str | None:
    """The likely gravity, and beside it what the float shows where that is another; None where nothing is known."""
    if assessment.gravity_sg is None:
        return None
    likely, shown_sg = voice.gravity(assessment.gravity_sg.p50), float_shows(assessment)
    return likely if shown_sg is None else f"{likely} (the float shows {voice.gravity(shown_sg)})"


def float_shows(assessment: Assessment) -> float | None:
    """What the float shows by now where it is off, SG; None where it is not, or a sample sets it.

    It is told by how far the readings lie off the course, each at its own time: in a steep fall those of the last
    hours lie above where the gravity is by now, whether the float is right or not.
    """
    by_hand = assessment.by_hand
    off = next((one for one in assessment.evidence if isinstance(one, FloatOff)), None)
    if off is None or (by_hand is not None and not by_hand.why_not):
        return None
    return off.gravity_sg + off.off_sg


def gravity_rule(assessment: Assessment, voice: Voice) -> str | None:
    """By which hand sample the likely gravity goes, and from when the float is set by it; or why it does not count."""
    by = assessment.by_hand
    if by is None or assessment.gravity_sg is None:
        return None
    sample = f"the hand sample of {voice.exact(by.at)}"
    if by.why_not == "float apart":
        return f"{capital(sample)}, {voice.gravity(by.gravity_sg)}, does not set the float, so it stands beside it."
    if by.why_not:
        what = EVENT_WORDS[by.why_not].lower()
        return f"{capital(sample)} was taken before “{what}”, so it says nothing of the gravity since: take another."
    if by.since is None:
        return f"By {sample}; no float has been read since."
    told = f"By {sample}: it sets what the float read since {voice.exact(by.since)}, and from then on."
    if by.hops is None:
        return told
    went = "in" if by.hops == "dry hop" else "out"
    return f"{told} Hops went {went} after it and may have shifted the float: a new sample settles it."


def held_level(a: Assessment) -> float | None:
    """Where it has held, SG, as all figures beside it say: where the float is off, not what the float shows."""
    if a.held_sg is None or float_shows(a) is not None:
        return a.gravity_sg.p50 if a.gravity_sg is not None else None
    return same_figure(a, a.held_sg)


def same_figure(assessment: Assessment, read_sg: float) -> float:
    """What was read, SG, or the likely gravity where they lie within a point: then all sentences tell one figure."""
    likely = assessment.gravity_sg
    counts = assessment.by_hand is not None and not assessment.by_hand.why_not
    return likely.p50 if counts and likely is not None and abs(likely.p50 - read_sg) < FLOAT_OFF_SG else read_sg


def offset_words(assessment: Assessment, voice: Voice) -> str | None:
    """Why the inferred course runs beside what the float shows, for the picture; None where it does not."""
    off = next((one for one in assessment.evidence if isinstance(one, FloatOff)), None)
    by_hand, beside_sg = assessment.by_hand, assessment.beside_sg
    if by_hand is not None and not by_hand.why_not:
        return _before_the_sample(assessment, by_hand.since, voice)
    if off is None:
        if beside_sg is None or abs(beside_sg) < FLOAT_SEEN_OFF_SG:
            return None
        way, most = "low" if beside_sg < 0 else "high", voice.units.one_point()
        return f"Dots lie a little {way}: the float's likely offset, less than {most}"
    size, way = voice.units.apart(off.gravity_sg + off.off_sg, off.gravity_sg), "low" if off.off_sg < 0 else "high"
    return f"Dots lie about {size} {way}: the float's likely offset"


def _before_the_sample(a: Assessment, since: datetime | None, voice: Voice) -> str | None:
    """The same of dots from before a hand sample sets the float; those since then lie on the line."""
    if since is None or a.beside_sg is None or abs(a.beside_sg) < FLOAT_SEEN_OFF_SG or a.gravity_sg is None:
        return None
    level = a.gravity_sg.p50
    size = f"about {voice.units.apart(level + a.beside_sg, level)}" if abs(a.beside_sg) >= FLOAT_OFF_SG else "a little"
    way = "low" if a.beside_sg < 0 else "high"
    return f"Earlier dots lie {size} {way}: the hand sample sets the float since {voice.exact(since)}"


def phase_word(assessment: Assessment) -> str:
    """The phase in a word or two; where too few readings tell one, that."""
    if assessment.phase == "lag" and any(isinstance(one, NothingYet) for one in assessment.evidence):
        return "Too early to say"
    return PHASE_WORDS[assessment.phase]


def seen_attenuation(assessment: Assessment) -> float | None:
    """Apparent attenuation as a fraction; None where there is none to speak of, such as before a fall was seen."""
    return None if assessment.phase == "lag" else assessment.apparent_attenuation


def attenuation(share: float | None) -> str:
    """Apparent attenuation in percent, and why where it passes 100 %."""
    if share is None or share <= 1.0:
        return percent(share)
    return f"{percent(share)} (past 100\u202f%, since alcohol is lighter than water)"


def curve_in_words(assessment: Assessment, voice: Voice, *, ended: bool = False) -> str:
    """What the curve shows, for those who do not see it; of a batch that has `ended` no forecast."""
    a = assessment
    if a.newest_reading_at is None or a.marked.is_empty():
        return "No readings yet."
    gravity = a.marked["gravity_sg"].to_numpy()
    used = np.flatnonzero(a.marked["set_aside"].is_null().to_numpy() & np.isfinite(gravity))
    if not used.size:
        return "No gravity readings that could be used yet."
    first, last = int(used[0]), int(used[-1])
    since, until = (voice.exact(a.marked["measured_at"][i]) for i in (first, last))
    if first == last:
        return f"One reading so far: {voice.gravity(float(gravity[first]))} on {since}."
    shown_sg = float_shows(a)
    before, now = float(gravity[first]), shown_sg if shown_sg is not None else same_figure(a, float(gravity[last]))
    if abs(before - now) < STEADY_SG:
        text = f"The readings have stood at {voice.gravity(now)} from {since} to {until}."
    else:
        text = f"The readings went from {voice.gravity(before)} on {since} to {voice.gravity(now)} on {until}."
    if a.finished or ended:
        return text
    if a.terminal_gravity_sg is not None:
        t = a.terminal_gravity_sg
        text += f" It likely ends between {voice.gravity(t.p10)} and {voice.gravity(t.p90)}."
    if a.finish is not None:
        text += f" {capital(finish_words(a, a.finish, voice))}."
    return text


def phases_in_words(assessment: Assessment, voice: Voice) -> str:
    """Each phase and the day it began, also of those too short for a word in the picture; empty of one alone."""
    spans = assessment.phases
    if len(spans) < 2:
        return ""
    told = [f"{PHASE_WORDS[s.phase].lower()} from {voice.dated(voice.local(s.began_at).date())}" for s in spans]
    return f"{capital(', '.join(told))}."


def age(when_heard_ago: str, silent: bool) -> str:
    """The age of the last reading; one that is too old says so."""
    return f"silent, {when_heard_ago}" if silent else when_heard_ago
