"""A trial as it is stored: what was asked, and which batches are which arm."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from ingest.errors import EntryError
from ingest.record_checks import need_name, new_id, to_utc

MOST_VESSELS: Final = 24
"""Of one trial; so many a person can still tell apart, and taste in a few sittings."""
LONGEST_TEXT: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialRecord:
    """A question that is put to batches which differ in one thing.

    `arms` are pairs of an arm's name and the id of one of its batches: batches of one name are replicates. `decides` is
    the milestone by which it is decided (`analysis.trials.MilestoneName`), or ``"tasting"``. What the entries of the
    batches cannot show stands in `differs` and `equal`, in the person's words, separated by commas.
    """

    trial_id: str = field(default_factory=lambda: new_id("trial"))
    name: str
    question: str = ""
    arms: tuple[tuple[str, str], ...]
    decides: str = "finish_h"
    differs: str = ""
    equal: str = ""
    notes: str = ""
    made_at: datetime | None = None

    def __post_init__(self) -> None:
        to_utc(self)
        need_name(self.name)
        clean = tuple((_in_one_line(arm), batch_id) for arm, batch_id in self.arms)
        object.__setattr__(self, "arms", clean)
        if any(not arm for arm, _ in clean):
            raise EntryError("arms", "an arm has no name", "Call it by what it has of its own, such as its yeast.")
        ids = [batch_id for _, batch_id in clean]
        if len(set(ids)) < len(ids):
            raise EntryError("arms", "a batch is in it twice", "Each batch belongs to one arm.")
        if len({arm.casefold() for arm, _ in clean}) < 2:
            raise EntryError("arms", "all batches are of one arm", "Give those that differ another arm's name.")
        if len(clean) > MOST_VESSELS:
            raise EntryError("arms", f"it has {len(clean)} batches", f"At most {MOST_VESSELS} can be told apart.")
        for name in ("question", "differs", "equal", "notes"):
            if len(getattr(self, name)) > LONGEST_TEXT:
                raise EntryError(name, f"it has more than {LONGEST_TEXT} characters", "Say it more shortly.")

    @property
    def arm_names(self) -> tuple[str, ...]:
        """The arms in the order in which they were entered; names that differ in capitals alone are one arm."""
        first: dict[str, str] = {}
        for arm, _ in self.arms:
            first.setdefault(arm.casefold(), arm)
        return tuple(first.values())

    def batches_of(self, arm: str) -> tuple[str, ...]:
        """The ids of the batches of an arm."""
        return tuple(batch_id for name, batch_id in self.arms if name.casefold() == arm.casefold())

    @property
    def batch_ids(self) -> tuple[str, ...]:
        """The ids of all its batches."""
        return tuple(batch_id for _, batch_id in self.arms)


def _in_one_line(text: str) -> str:
    """The name of an arm as it can be shown: without line breaks and control characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
