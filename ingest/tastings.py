"""The nouns of a tasting, as they are stored: the tasting with its glasses, the tasters, and what each says of a glass.

They are entries as any other (see `ingest.model`): kept, removed, undone, exported and imported with the rest.
"""

from __future__ import annotations

import math
import secrets
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, Literal, get_args

from ingest.errors import EntryError
from ingest.record_checks import in_range, need_name, new_id, to_utc

Method = Literal["score", "rank", "triangle"]
METHODS: Final[tuple[Method, ...]] = get_args(Method)
Sulfites = Literal["not known", "added", "none added"]
SULFITES: Final[tuple[Sulfites, ...]] = get_args(Sulfites)

TOKEN_BYTES: Final = 16
"""Random bytes in a taster's address: the 128 bits that OWASP's guide asks for of a session's name."""

LONGEST_NOTE: Final = 500
"""Characters of a taster's note on a glass."""
LONGEST_WORD: Final = 30
"""Characters of an aroma."""
MOST_AROMAS: Final = 20

Share = tuple[str, float]
"""The id of a batch, and its share of the drink by volume."""
Arm = tuple[str, tuple[Share, ...]]
"""What stands in a glass: its name for whoever keeps the cellar, and the batches in it; a blend has several."""
Glass = tuple[str, int]
"""A code, and which arm is in the glass, counted from 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasting:
    """Drinks that are tasted blind. Scores, ranks or a triangle; who tastes sees codes and nothing of the rest."""

    tasting_id: str = field(default_factory=lambda: new_id("tasting"))
    name: str
    method: Method = "score"
    at: datetime
    arms: tuple[Arm, ...]
    glasses: tuple[Glass, ...]
    allergens: tuple[str, ...] = ()
    """What is in any of the drinks, as tasters are told before they taste; empty: nobody has said."""
    sulfites: Sulfites = "not known"
    trial_id: str | None = None
    ended_at: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        to_utc(self)
        need_name(self.name)
        if self.method not in METHODS:
            raise EntryError("method", f"{self.method!r} is not one of: {', '.join(METHODS)}")
        if self.sulfites not in SULFITES:
            raise EntryError("sulfites", f"{self.sulfites!r} is not one of: {', '.join(SULFITES)}")
        if len(self.arms) < 2 or (self.method == "triangle" and len(self.arms) != 2):
            wanted = "exactly two" if self.method == "triangle" else "at least two"
            raise EntryError("arms", f"it has {len(self.arms)} drinks and needs {wanted}", "Choose others.")
        for name, shares in self.arms:
            if not shares or abs(math.fsum(share for _, share in shares) - 1.0) > 1e-6:
                raise EntryError("arms", f"the shares of {name} do not add up to 100 %", "Change one of them.")
            if any(share <= 0 for _, share in shares):
                raise EntryError("arms", f"a share of {name} is not above 0", "Leave that batch out.")
        codes = [code for code, _ in self.glasses]
        if len(set(codes)) != len(codes) or {arm for _, arm in self.glasses} != set(range(len(self.arms))):
            raise EntryError("glasses", "each drink needs a glass with a code of its own", "Make the tasting anew.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Taster:
    """Somebody who tastes, the glasses they get in the order of serving (numbers from 0), and their address."""

    taster_id: str = field(default_factory=lambda: new_id("taster"))
    tasting_id: str
    name: str
    served: tuple[int, ...]
    token: str = field(default_factory=lambda: secrets.token_urlsafe(TOKEN_BYTES), repr=False)
    done_at: datetime | None = None

    def __post_init__(self) -> None:
        to_utc(self)
        need_name(self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class TastingAnswer:
    """What a taster says of one glass: a score, a rank (1 is the best), or that they pass it."""

    answer_id: str
    """The taster's id, a stroke, and the code: one answer a glass."""
    tasting_id: str
    taster_id: str
    code: str
    at: datetime
    score: float | None = None
    rank: int | None = None
    odd: bool = False
    passed: bool = False
    aromas: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        to_utc(self)
        in_range("score", self.score, 0, 100, "A score is from 0 to 100.")
        if self.rank is not None and self.rank < 1:
            raise EntryError("rank", f"the rank {self.rank} is below 1", "The best has 1.")
        if len(self.note) > LONGEST_NOTE:
            raise EntryError("note", f"the note has {len(self.note)} characters", f"Keep it to {LONGEST_NOTE}.")
        if len(self.aromas) > MOST_AROMAS or any(not 0 < len(word) <= LONGEST_WORD for word in self.aromas):
            usual = f"Give up to {MOST_AROMAS}, each of at most {LONGEST_WORD} characters."
            raise EntryError("aromas", "there are too many aromas, or one is too long", usual)


def answer_id(taster: Taster, code: str) -> str:
    """The id of a taster's answer on a glass."""
    return f"{taster.taster_id}/{code}"
