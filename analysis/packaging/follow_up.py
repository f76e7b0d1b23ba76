"""After packaging: the test bottle, what to do with the rest of the lot, and what the next batch takes from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final, Literal, get_args

from analysis.thresholds import GUSHED_FALL_SG, TEST_AFTER_DAYS

Result = Literal["flat", "right", "gushing", "burst"]
RESULTS: Final[tuple[Result, ...]] = get_args(Result)
DANGEROUS: Final[frozenset[Result]] = frozenset({"gushing", "burst"})
"""Results that warn whoever has a package of the same lot, wort or yeast."""


HOW_TO_TEST: Final = (
    "Stand one bottle in the fridge for a day, so that less gas is free when it opens.",
    "Wear eye and hand cover, hold a cloth over the closure, and open it slowly over a sink.",
    "Say whether it was flat, right or gushing; a bottle that broke by itself counts as burst.",
)

_TELL: Final = (
    "Whoever has bottles from this lot must know today: call them, and tell them what stands here.",
    "Defer to local codes and licensed practice; when in doubt, do not handle warm bottles at all.",
)
_LEAVE: Final = (
    "Leave the bottles where they stand: do not carry, shake, open or warm them. Keep people and animals away, and "
    "cover the crates with a heavy cloth, with eye, face and hand cover, from the side."
)
_COOL: Final = (
    "Let the cold come to them: cool the room, or let the night air in, until they have been near 0 °C for a day. If "
    "the place cannot be cooled, leave them covered and ask somebody of licensed practice before anybody moves them."
)
_VENT: Final = (
    "Only then, one cold bottle at a time, over a sink and with the same cover: take a crown cap off, as it cannot be "
    "lifted and closed again, wait until it only sighs, and put a new cap on. Open a swing top and close it again. A "
    "cork or a can is not vented: empty it, or leave it cold."
)

_ADVICE: Final[dict[Result, tuple[str, ...]]] = {
    "flat": (
        "Keep the lot at 18 to 22 °C for another week or two and test again: most flat bottles only want warmth and "
        "time.",
        "Turn the bottles once, so that the yeast is loose again.",
        "One flat bottle does not speak for the others: where the sugar was not well stirred in, its neighbour may "
        "hold too much. Open the next one with the same care.",
        "Do not add sugar before a second bottle is flat too after three weeks; late carbonation adds up.",
    ),
    "right": (
        "Move the lot to a cool place: below 10 °C what may still ferment goes slowly.",
        "Open another bottle in a month; a lot that was right after a week can still creep.",
    ),
    "gushing": (
        "Warning for the rest of the lot: its pressure may be too high, and may still rise.",
        _LEAVE,
        _COOL,
        _VENT,
        "What still ferments builds the pressure again, so open another one, cold, after a week. To empty the whole "
        "lot, cold, is the way that leaves no doubt.",
        "A keg of the lot: keep it cold, and let its gas off slowly by the relief valve, with your face away.",
        *_TELL,
    ),
    "burst": (
        "Warning for the rest of the lot: any of the other bottles may burst too, also without being touched.",
        _LEAVE,
        _COOL,
        "Only then, one cold bottle at a time, over a sink and with the same cover: open it and empty it. Keep none.",
        "Take up broken glass with thick gloves and a shovel; throw away what stood open near by, as splinters fly "
        "far, and air the room. A cut that is deep, or anything in an eye, wants the emergency service at once.",
        "A keg of the lot: keep it cold, and let its gas off slowly by the relief valve, with your face away.",
        *_TELL,
    ),
}


@dataclass(frozen=True, slots=True)
class Cause:
    """What may be behind a result, and how to tell it from the others (common practice, no source)."""

    what: str
    how_to_tell: str


_TOO_MUCH_GAS: Final = (
    Cause(
        "Too much priming sugar, or sugar not evenly stirred in",
        "the gravity of a degassed sample is what it was at packaging; weigh the sum again. Uneven: other bottles are "
        "flat.",
    ),
    Cause(
        "A fermentation that had not ended",
        "the gravity is lower than at packaging, all bottles rise alike, and a forced test of the rest goes down too.",
    ),
    Cause(
        "Dry hops that set sugar free",
        "the gravity is lower than at packaging, and the lot of the same wort without hops stands still.",
    ),
    Cause(
        "A diastatic or wild yeast",
        "the gravity goes below the forced test and on for weeks; it tastes thin, often of cloves or smoke.",
    ),
    Cause(
        "Bacteria",
        "it is sour, ropy or hazy, or has a ring in the neck. Some bottles only: a dirty bottle; all: a dirty vessel "
        "or hose.",
    ),
    Cause(
        "Crystals, grit or hop particles, or malt that was damaged by mould",
        "it gushes although the gravity has not moved and it is neither sour nor sharp; specks or haze are on the "
        "glass.",
    ),
    Cause("A warm, shaken or overfull bottle", "a second one, a day in the fridge and not moved, opens well."),
)

_CAUSES: Final[dict[Result, tuple[Cause, ...]]] = {
    "right": (),
    "flat": (
        Cause("Too cold, or too early", "it has stood below 18 °C, or for less than two weeks."),
        Cause("Too little live yeast", "it was stored cold for long, filtered, stabilised or very strong."),
        Cause("A closure that leaks", "no hiss at all, and others of the lot are right."),
        Cause("Too little sugar, or sugar not evenly stirred in", "weigh the sum again; other bottles are livelier."),
    ),
    "gushing": _TOO_MUCH_GAS,
    "burst": (
        *_TOO_MUCH_GAS[:-1],
        Cause(
            "Glass that was weak",
            "its base or shoulder was scratched or knocked, it is thin, a swing top, or made for still wine. The "
            "pressure may be right, and the other bottles of this make are in doubt.",
        ),
        Cause("Heat, or a bottle filled to the brim", "it stood in the sun or by a heater, or had no head space."),
    ),
}


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What a test bottle showed, and when it was opened or found."""

    result: Result
    at: date
    note: str = ""

    def __post_init__(self) -> None:
        if self.result not in RESULTS:
            raise ValueError(f"result {self.result!r} is not one of: {', '.join(RESULTS)}")

    def as_dict(self) -> dict[str, Any]:
        """As it is kept with the batch."""
        return {"result": self.result, "at": self.at.isoformat(), "note": self.note}

    @classmethod
    def from_dict(cls, kept: Any) -> FollowUp | None:
        """The follow-up that was kept, None where there is none that can be read."""
        try:
            return cls(kept["result"], date.fromisoformat(kept["at"]), str(kept.get("note", "")))
        except (TypeError, KeyError, ValueError, AttributeError):
            return None


def bottle_day(packaged_on: date) -> date:
    """The day on which to open the test bottle."""
    return packaged_on + timedelta(days=TEST_AFTER_DAYS)


def advice(result: Result) -> tuple[str, ...]:
    """What to do with the rest of the lot."""
    return _ADVICE[result]


def possible_causes(result: Result) -> tuple[Cause, ...]:
    """What may be behind it: none of them is assumed."""
    return _CAUSES[result]


def lesson(earlier: Sequence[FollowUp]) -> tuple[float, str | None]:
    """What earlier lots with this yeast or wort teach: the fall to count at least, and the sentence for the sheet."""
    bad = [f for f in earlier if f.result in DANGEROUS]
    if not bad:
        return 0.0, None
    newest = max(bad, key=lambda f: f.at)
    did = "burst" if newest.result == "burst" else "gushed"
    return GUSHED_FALL_SG, (
        f"An earlier lot with this yeast or wort {did} (test bottle of {newest.at.isoformat()}). Why is not known "
        f"here, so at least {1000 * GUSHED_FALL_SG:.0f} points of further fall are counted. Make a forced test."
    )
