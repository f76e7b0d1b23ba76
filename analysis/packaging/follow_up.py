"""After packaging: the test bottle, what to do with the rest of the lot, and what the next batch takes from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final, Literal, get_args

from analysis.thresholds import GUSHED_FALL_SG, TEST_AFTER_DAYS

Result = Literal["flat", "right", "gushing"]
RESULTS: Final[tuple[Result, ...]] = get_args(Result)


HOW_TO_TEST: Final = (
    "Stand one bottle in the fridge for a day, so that less gas is free when it opens.",
    "Wear eye and hand cover, hold a cloth over the closure, and open it slowly over a sink.",
    "Say whether it was flat, right or gushing.",
)

_ADVICE: Final[dict[Result, tuple[str, ...]]] = {
    "flat": (
        "Keep the lot at 18 to 22 °C for another week or two and test again: most flat bottles only want warmth and "
        "time.",
        "Turn the bottles once, so that the yeast is loose again.",
        "Do not add sugar before a second bottle is flat too after three weeks; late carbonation adds up.",
    ),
    "right": (
        "Move the lot to a cool place: below 10 °C what may still ferment goes slowly.",
        "Open another bottle in a month; a lot that was right after a week can still creep.",
    ),
    "gushing": (
        "Warning for the rest of the lot: the pressure may still rise. Do not shake, warm or carry the bottles about.",
        "Wear eye and hand cover, cover the crate with a heavy cloth, and move it to the coldest place you have.",
        "Chill every bottle to near 0 °C for a day, then vent it: lift the closure just enough to hiss, and close it "
        "again; repeat until it only sighs.",
        "Whoever has bottles from this lot must know today. If a bottle has burst, leave the rest covered until cold.",
        "Defer to local codes and licensed practice; when in doubt, do not handle warm bottles at all.",
    ),
}


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What a test bottle showed, and when it was opened."""

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


def lesson(earlier: Sequence[FollowUp]) -> tuple[float, str | None]:
    """What earlier lots with this yeast teach: the fall to count at least, and the sentence for the sheet."""
    gushed = [f for f in earlier if f.result == "gushing"]
    if not gushed:
        return 0.0, None
    when = max(f.at for f in gushed)
    return GUSHED_FALL_SG, (
        f"An earlier lot with this yeast gushed (test bottle of {when.isoformat()}): at least "
        f"{1000 * GUSHED_FALL_SG:.0f} points of further fall are counted here. Make a forced test."
    )
