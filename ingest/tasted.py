"""What a tasting says, from what its tasters said; nothing before everybody is done, or the host ends it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2s

import numpy as np

from analysis.trials import Agreement, Judged, Scores, Triangle, agreement, as_scores, scores, triangle
from ingest.store import Store
from ingest.tastings import Taster, Tasting, TastingAnswer


@dataclass(frozen=True, slots=True)
class Said:
    """What one taster said of one drink, once it may be told."""

    taster: str
    arm: int
    place: int
    answer: TastingAnswer


@dataclass(frozen=True, slots=True)
class Result:
    """What a tasting says; each part None where it says nothing, or is not of its kind."""

    names: tuple[str, ...]
    said: tuple[Said, ...]
    scores: Scores | None
    agreement: Agreement | None
    triangle: Triangle | None
    judges: int
    """Tasters who judged anything."""

    def aromas(self, arm: int) -> list[tuple[str, int]]:
        """The aromas found in one drink, the most frequent first."""
        found = Counter(word for each in self.said if each.arm == arm for word in each.answer.aromas)
        return sorted(found.items(), key=lambda each: (-each[1], each[0]))

    def passed(self, arm: int) -> int:
        """How many passed this drink."""
        return sum(each.answer.passed for each in self.said if each.arm == arm)


def tasters_of(store: Store, tasting: Tasting) -> list[Taster]:
    """Who tastes, in the order in which they were named."""
    return list(store.all(Taster, tasting_id=tasting.tasting_id))


def answers_of(store: Store, taster: Taster) -> dict[str, TastingAnswer]:
    """What a taster has said so far, by code."""
    return {each.code: each for each in store.all(TastingAnswer, taster_id=taster.taster_id)}


def over(store: Store, tasting: Tasting) -> bool:
    """Whether it has ended, as it stands now: by the host, since everybody is done, or since it was removed."""
    here = store.get(Tasting, tasting.tasting_id)
    if here is None or here.ended_at is not None:
        return True
    tasters = tasters_of(store, tasting)
    return bool(tasters) and all(each.done_at is not None for each in tasters)


def result(store: Store, tasting: Tasting) -> Result | None:
    """What the tasting says; None until it is over, so that no page can tell it before."""
    if not over(store, tasting):
        return None
    tasters = tasters_of(store, tasting)
    said = tuple(_told(store, tasting, tasters))
    points = _points(tasting, tasters, said)
    seed = int.from_bytes(blake2s(tasting.tasting_id.encode(), digest_size=6).digest())
    judged = _judged(tasters, said, points)
    names = tuple(name for name, _ in tasting.arms)
    if tasting.method == "triangle":
        return Result(names, said, None, None, _triangle(tasters, said), len({e.taster for e in said}))
    found = scores(judged, len(names), seed)
    return Result(names, said, found, agreement(points, seed), None, len({each.taster for each in judged}))


def judged_of(store: Store, tasting: Tasting) -> list[Judged]:
    """Every score of a tasting that is over; an order as points. Empty before, and of a triangle."""
    if not over(store, tasting) or tasting.method == "triangle":
        return []
    tasters = tasters_of(store, tasting)
    said = tuple(_told(store, tasting, tasters))
    return _judged(tasters, said, _points(tasting, tasters, said))


def _judged(tasters: Sequence[Taster], said: Sequence[Said], points: np.ndarray) -> list[Judged]:
    return [
        Judged(t, each.arm, each.place, float(points[t, each.arm]))
        for t, taster in enumerate(tasters)
        for each in said
        if each.answer.taster_id == taster.taster_id and not np.isnan(points[t, each.arm])
    ]


def _told(store: Store, tasting: Tasting, tasters: Iterable[Taster]) -> Iterable[Said]:
    for taster in tasters:
        answers = answers_of(store, taster)
        for place, glass in enumerate(taster.served):
            code, arm = tasting.glasses[glass]
            if code in answers and answered(tasting, answers, code):
                yield Said(taster.name, arm, place, answers[code])


def answered(tasting: Tasting, said: Mapping[str, TastingAnswer], code: str) -> bool:
    """Whether a taster has said of this glass what the tasting asks, or passed it."""
    answer = said.get(code)
    if answer is None:
        return False
    if answer.passed or tasting.method == "triangle":
        return True
    return (answer.score if tasting.method == "score" else answer.rank) is not None


def _points(tasting: Tasting, tasters: Sequence[Taster], said: Sequence[Said]) -> np.ndarray:
    """Shape (tasters, arms): points of 100, NaN where somebody did not get or passed a glass."""
    found = np.full((len(tasters), len(tasting.arms)), np.nan)
    row = {taster.taster_id: n for n, taster in enumerate(tasters)}
    for each in said:
        value = each.answer.score if tasting.method == "score" else each.answer.rank
        if value is not None and not each.answer.passed:
            found[row[each.answer.taster_id], each.arm] = value
    return np.array([as_scores(r) for r in found]) if tasting.method == "rank" else found


def _triangle(tasters: Sequence[Taster], said: Sequence[Said]) -> Triangle | None:
    right = answered = 0
    for taster in tasters:
        own = [each for each in said if each.answer.taster_id == taster.taster_id]
        chosen = [each for each in own if each.answer.odd]
        if len(own) != 3 or len(chosen) != 1:
            continue
        answered += 1
        right += sum(each.arm == chosen[0].arm for each in own) == 1
    return triangle(right, answered) if answered else None
