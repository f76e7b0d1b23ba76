"""What a finished batch teaches about those to come, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:  # a type alone: sentences do not load the inference
    from analysis.inference import Lesson

WHOLE: Final = "its whole course"

_TEACHES: Final[dict[Lesson, str]] = {
    "course": WHOLE,
    "by hand": "how fast it went, where it ended and about when, but not how it slowed down: it was read by hand",
    "additions": "how fast it went and where it ended, but not how it slowed down: something was added on the way",
    "beginning": "how fast it began, but not where it ends: it stopped or was chilled before that",
    "no readings": "nothing: it has no readings that count",
    "few readings": "nothing: fewer than four of its readings count",
    "cold": "nothing: it was hardly read before it was cold",
    "hardly fermented": "nothing: it stopped or was chilled before half of its fall",
    "unclear": "nothing: its readings leave its course open",
}


def teaches(lesson: Lesson) -> str:
    """What it teaches: ``its whole course``, ``nothing: fewer than four of its readings count``."""
    return _TEACHES[lesson]
