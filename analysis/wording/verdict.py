"""What we say about a batch: one sentence for the verdict, and the words for its phases.

Three things are kept apart in every sentence: when it likely finishes, whether it has finished, and for how long it
has been seen to hold.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.display_units import chance, chance_percent, chance_word, number
from analysis.model import STEADY_SG, Assessment, EventKind, Forecast, Phase
from analysis.wording.formatting import Voice, capital, fineness, hours

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

NO_READINGS: Final = "No readings yet: nothing has been heard from this vessel since pitching."


def expected_finish(finish: Forecast, voice: Voice, brief: bool = False) -> str:
    """The likely finish: ``likely done Tuesday evening (Monday night to Thursday noon)``; `brief` drops the range."""
    ceiling = finish.chances[-1]
    if ceiling < 0.5:
        return f"more likely than not it stops short ({chance_percent(1 - ceiling)})"
    if finish.p90 <= voice.now:
        return "likely done by now"
    fine = fineness(finish.p10, finish.p90)
    middle = voice.when(finish.p50, fine)
    if ceiling < 0.9:
        return f"done about {middle} if it goes on, not before {voice.when(finish.p10, fine)}"
    if finish.p10 <= voice.now:
        return f"perhaps done already, very likely by {voice.when(finish.p90, fine)}"
    if brief:
        return f"likely done {middle}"
    return f"likely done {middle} ({voice.between(finish.p10, finish.p90, fine)})"


def held(assessment: Assessment, hold_h: float) -> str:
    """For how long gravity has been seen to hold: ``held 31 of 48 h``."""
    if assessment.hold_met:
        return f"held {hours(assessment.held_h)}, {number(hold_h)} asked"
    return f"held {number(int(assessment.held_h))} of {hours(hold_h)}"


def verdict(assessment: Assessment, hold_h: float, voice: Voice, brief: bool = False) -> str:
    """The verdict as one sentence that a friend could say; `brief` is for lists."""
    a = assessment
    if a.newest_reading_at is None:
        return NO_READINGS
    if a.impossible_sg is not None:
        at = voice.gravity(a.impossible_sg)
        return f"The readings stand at {at}, which this batch cannot have: nothing is concluded."
    match a.phase:
        case "lag":
            return _not_begun(a, voice, brief)
        case "active":
            return _falling("Still fermenting", a, voice, brief)
        case "slowing":
            return _falling("Slowing down", a, voice, brief)
        case "steady":
            return _standing(a, hold_h)
        case "finished":
            if a.hold_met:
                level = a.held_sg if a.held_sg is not None else a.gravity_sg.p50 if a.gravity_sg else None
                at = f" at {voice.gravity(level)}" if level is not None else ""
                return f"Finished: the gravity has held{at} for {hours(a.held_h)}."
            return _standing(a, hold_h)
        case "stalled":
            return _stalled(a, voice)
        case "chilled":
            return _chilled(a, voice, brief)
        case "creeping":
            return _creeping(a, voice)


def _not_begun(a: Assessment, voice: Voice, brief: bool) -> str:
    if a.finish is None or a.finish.p90 - a.finish.p10 > (a.finish.p50 - a.now) * 2:
        return "No fall yet: too early to give a date."
    return f"No fall yet; {expected_finish(a.finish, voice, brief)}."


def _falling(opening: str, a: Assessment, voice: Voice, brief: bool) -> str:
    left = a.remaining_fall_sg
    if a.finish is None or left is None:
        return f"{opening}: too early to give a date."
    if left.p50 < STEADY_SG:
        return f"{opening}: {voice.units.about_fall(left.p50)} to go, {expected_finish(a.finish, voice, brief)}."
    to_go = voice.units.about_fall(left.p50)
    if left.p90 - left.p10 > 0.5 * left.p50 and left.p90 - left.p10 > 0.004:
        to_go = voice.units.fall_between(left.p10, left.p90)
    return f"{opening}: {to_go} to go, {expected_finish(a.finish, voice, brief)}."


def _standing(a: Assessment, hold_h: float) -> str:
    p = a.p_finished
    if p is None:
        return f"Standing still; {held(a, hold_h)}."
    if p < 0.33:
        return f"Standing still, but probably not done ({chance_percent(p)} that it is); {held(a, hold_h)}."
    if p < 0.66:
        return f"Standing still: done or not is open ({chance_percent(p)} that it is); {held(a, hold_h)}."
    return f"{capital(chance_word(p))} done ({chance_percent(p)}); {held(a, hold_h)}."


def _stalled(a: Assessment, voice: Voice) -> str:
    at = f" at {voice.gravity(a.gravity_sg.p50)}" if a.gravity_sg else ""
    if a.remaining_fall_sg and a.remaining_fall_sg.p50 >= 2 * STEADY_SG:
        return f"Stalled{at}, {voice.units.about_fall(a.remaining_fall_sg.p50)} above where it should end."
    return f"Stalled{at}, above where it should end."


def _chilled(a: Assessment, voice: Voice, brief: bool) -> str:
    cold = f" at {voice.temperature(a.temperature_c)}" if a.temperature_c is not None else ""
    if a.finished:
        sure = "" if a.p_finished is None else f" ({chance_percent(a.p_finished)})"
        return f"Chilled{cold}, and done before it was chilled{sure}."
    if brief:
        return f"Chilled{cold}: stands still because it is cold."
    return f"Chilled{cold}: it stands still because it is cold, which does not say that it has finished."


def _creeping(a: Assessment, voice: Voice) -> str:
    if a.creep is None:
        return "Falling again after it had steadied."
    size = voice.units.fall_between(a.creep.fall_sg.p10, a.creep.fall_sg.p90)
    return f"Falling again since {voice.since(a.creep.since)}: {size} so far."


def three_notions(assessment: Assessment, hold_h: float, voice: Voice) -> list[tuple[str, str, str]]:
    """Finish, finished and hold, kept apart: (question, answer, small print) for each."""
    a = assessment
    finish = "Too early to say"
    exact = "The range appears once the fall has shown its course."
    if a.stalled:
        finish, exact = "No date while it is stalled", "A range comes back when the gravity falls again."
    if a.finish is not None:
        finish = capital(expected_finish(a.finish, voice))
        exact = f"Eight times out of ten between {voice.exact(a.finish.p10)} and {voice.exact(a.finish.p90)}."
    done = "Cannot be told yet"
    if a.p_finished is not None and a.by_hold:
        done = f"Yes, by how long it has held ({chance_percent(a.p_finished)})"
    elif a.p_finished is not None:
        done = capital(chance(a.p_finished)) if not a.finished else f"Yes, {chance(a.p_finished)}"
    elif a.finished:
        done = "Yes"
    since = (
        f"Within {voice.units.one_point()} since {voice.exact(a.held_since)}." if a.held_since else "It still moves."
    )
    if a.stalled and a.held_since is None:
        since = "The readings scatter too much, or are too few, to show it."
    if a.phase == "lag":
        since = "The fall has not begun."
    hold = capital(held(a, hold_h)) if a.held_h >= 1 else f"Not yet: 0 of {hours(hold_h)}"
    return [
        ("When does it finish?", finish, exact),
        ("Has it finished?", done, f"The chance that no more than {voice.units.one_point()} of fall is still to come."),
        ("Has it been seen to hold?", hold, since),
    ]


def curve_in_words(assessment: Assessment, voice: Voice) -> str:
    """What the curve shows, for those who do not see it."""
    a = assessment
    if a.newest_reading_at is None or a.marked.is_empty():
        return "No readings yet."
    gravity = a.marked["gravity_sg"].to_numpy()
    used = np.flatnonzero(a.marked["set_aside"].is_null().to_numpy() & np.isfinite(gravity))
    if not used.size:
        return "No gravity readings that could be used yet."
    first, last = int(used[0]), int(used[-1])
    before, now = float(gravity[first]), float(gravity[last])
    since, until = (voice.exact(a.marked["measured_at"][i]) for i in (first, last))
    if abs(before - now) < STEADY_SG:
        text = f"The readings have stood at {voice.gravity(now)} from {since} to {until}."
    else:
        text = f"The readings went from {voice.gravity(before)} on {since} to {voice.gravity(now)} on {until}."
    if a.finished:
        return text
    if a.terminal_gravity_sg is not None:
        t = a.terminal_gravity_sg
        text += f" It likely ends between {voice.gravity(t.p10)} and {voice.gravity(t.p90)}."
    if a.finish is not None:
        text += f" {capital(expected_finish(a.finish, voice))}."
    return text


def age(when_heard_ago: str, silent: bool) -> str:
    """The age of the last reading; one that is too old says so."""
    return f"silent, {when_heard_ago}" if silent else when_heard_ago
