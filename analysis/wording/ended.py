"""What is said of a batch that has ended, packaged or not: how it stood then, and no forecast of what nobody sees."""

from __future__ import annotations

from analysis.display_units import chance, chance_percent
from analysis.model import STEADY_SG, Assessment
from analysis.wording.formatting import Voice, capital, hours
from analysis.wording.verdict import held, held_level, how_sure

NEVER_READ = "Nothing told its gravity."


def ended_verdict(a: Assessment, hold_h: float, voice: Voice) -> str:
    """How it stood when it ended, in a sentence."""
    if a.newest_reading_at is None:
        return NEVER_READ
    if a.gravity_sg is None or a.phase == "lag":
        return "No fall had been seen."
    match a.phase:
        case "stalled":
            to_its_end = _to_go(a, voice, ", with {} to where it should have ended")
            return f"It stood still at {voice.gravity(a.gravity_sg.p50)}{to_its_end}."
        case "chilled" if not a.finished:
            return f"It stood still because it was cold{_to_go(a, voice)}."
        case "creeping":
            return f"It was falling again{_to_go(a, voice)}."
    if a.finished and a.hold_met:
        level = held_level(a) or a.gravity_sg.p50
        return f"Finished: the gravity had held at {voice.gravity(level)} for {hours(a.held_h)}."
    if a.finished:
        return f"It had finished, as far as could be told{how_sure(a, voice.units, ended=True)}; {held(a, hold_h)}."
    if a.phase in ("active", "slowing"):
        return f"It was still fermenting{_to_go(a, voice)}."
    sure = "" if a.p_finished is None else f" ({chance_percent(a.p_finished)} that it was)"
    return f"It stood still, and whether it was done was open{sure}; {held(a, hold_h)}."


def ended_notions(a: Assessment, hold_h: float, voice: Voice) -> list[tuple[str, str, str]]:
    """Finish, finished and hold, kept apart, of a batch that has ended: (question, answer, small print) for each."""
    when, exact = "It was not seen to finish", "What came after its end nobody saw."
    if a.finished:
        when, exact = "By its end, as far as could be told", "How sure that was stands in the next answer."
        if a.finish is not None and a.finish.p90 is not None:
            when = f"About {voice.day(a.finish.p50)}"
            exact = f"Eight times out of ten between {voice.exact(a.finish.p10)} and {voice.exact(a.finish.p90)}."
    had = "Could not be told" if a.p_finished is None else capital(chance(a.p_finished))
    since = "No fall had been seen." if a.phase == "lag" else "It still moved."
    if a.held_since:
        since = f"Within {voice.units.one_point()} since {voice.exact(a.held_since)}."
    return [
        ("When did it finish?", when, exact),
        ("Had it finished?", f"Yes, {had[:1].lower()}{had[1:]}" if a.finished and a.p_finished is not None else had,
         f"The chance that no more than {voice.units.one_point()} of fall was still to come."),
        ("Had it been seen to hold?", capital(held(a, hold_h)), since),
    ]  # fmt: skip


def packaged_early(a: Assessment, voice: Voice) -> str | None:
    """What to mind of a batch that was packaged before it was seen to have ended; None where it was."""
    if a.finished:
        return None
    left = a.remaining_fall_sg
    if left is None or a.gravity_sg is None:
        seen = "Nothing shows that it had ended when it was packaged"
    elif left.p50 >= STEADY_SG:
        seen = f"It was packaged with {voice.units.about_fall(left.p50)} to go"
    elif left.p90 >= STEADY_SG:
        seen = "It was packaged before it was seen to have ended"
    else:
        return None
    return (
        f"{seen}: what is sealed of it may build pressure until it bursts. Keep the lot cold and people away from it,"
        " do not shake it, and open a test bottle with care, as its sheet says."
    )


def _to_go(a: Assessment, voice: Voice, how: str = ", with {} to go") -> str:
    left = a.remaining_fall_sg
    if left is None or left.p50 < STEADY_SG:
        return ""
    return how.format(voice.units.about_fall(left.p50))
