"""What a tasting says, once it is over: who said what of which drink, and what that comes to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2s

import numpy as np

from analysis.trials import (
    Agreement,
    Judged,
    Scores,
    TastingResult,
    Triangle,
    agreement,
    as_scores,
    scores,
    triangle,
)
from analysis.wording import tasting as words
from ingest.model import TrialRecord
from ingest.store import Store
from ingest.tastings import Taster, Tasting, TastingAnswer


@dataclass(frozen=True, slots=True)
class TastingSaid:
    """What one taster said of one drink, once it may be told."""

    taster: str
    arm: int
    place: int
    answer: TastingAnswer


@dataclass(frozen=True, slots=True)
class TastingOutcome:
    """What a tasting says; each part None where it says nothing, or is not of its kind."""

    names: tuple[str, ...]
    said: tuple[TastingSaid, ...]
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


def codes_of(tasting: Tasting, taster: Taster) -> list[str]:
    """The codes that a taster gets, in the order of serving."""
    return [tasting.glasses[n][0] for n in taster.served]


def tasting_over(store: Store, tasting: Tasting) -> bool:
    """Whether it has ended, as it stands now: by the host, since everybody is done, or since it was removed."""
    here = store.get(Tasting, tasting.tasting_id)
    if here is None or here.ended_at is not None:
        return True
    tasters = tasters_of(store, tasting)
    return bool(tasters) and all(each.done_at is not None for each in tasters)


def unanswered(store: Store, tasting: Tasting, taster: Taster) -> list[str]:
    """The codes of which a taster has said nothing yet."""
    said = answers_of(store, taster)
    return [code for code in codes_of(tasting, taster) if not _answered(tasting, said, code)]


def _answered(tasting: Tasting, said: Mapping[str, TastingAnswer], code: str) -> bool:
    answer = said.get(code)
    if answer is None:
        return False
    if answer.passed or tasting.method == "triangle":
        return True
    return (answer.score if tasting.method == "score" else answer.rank) is not None


def outcome_of(store: Store, tasting: Tasting) -> TastingOutcome | None:
    """What the tasting says; None until it is over, so that no page can tell it before."""
    if not tasting_over(store, tasting):
        return None
    tasters = tasters_of(store, tasting)
    said = tuple(_told(store, tasting, tasters))
    points = _points(tasting, tasters, said)
    seed = int.from_bytes(blake2s(tasting.tasting_id.encode(), digest_size=6).digest())
    judged = _judged(tasters, said, points)
    names = tuple(name for name, _ in tasting.arms)
    if tasting.method == "triangle":
        return TastingOutcome(names, said, None, None, _triangle(tasters, said), len({e.taster for e in said}))
    found = scores(judged, len(names), seed)
    return TastingOutcome(names, said, found, agreement(points, seed), None, len({each.taster for each in judged}))


def judged_of(store: Store, tasting: Tasting) -> list[Judged]:
    """Every score of a tasting that is over; an order as points. Empty before, and of a triangle."""
    if not tasting_over(store, tasting) or tasting.method == "triangle":
        return []
    tasters = tasters_of(store, tasting)
    said = tuple(_told(store, tasting, tasters))
    return _judged(tasters, said, _points(tasting, tasters, said))


def _judged(tasters: Sequence[Taster], said: Sequence[TastingSaid], points: np.ndarray) -> list[Judged]:
    return [
        Judged(t, each.arm, each.place, float(points[t, each.arm]))
        for t, taster in enumerate(tasters)
        for each in said
        if each.answer.taster_id == taster.taster_id and not np.isnan(points[t, each.arm])
    ]


def _told(store: Store, tasting: Tasting, tasters: Iterable[Taster]) -> Iterable[TastingSaid]:
    for taster in tasters:
        answers = answers_of(store, taster)
        for place, glass in enumerate(taster.served):
            code, arm = tasting.glasses[glass]
            if code in answers and _answered(tasting, answers, code):
                yield TastingSaid(taster.name, arm, place, answers[code])


def _points(tasting: Tasting, tasters: Sequence[Taster], said: Sequence[TastingSaid]) -> np.ndarray:
    """Shape (tasters, arms): points of 100, NaN where somebody did not get or passed a glass."""
    found = np.full((len(tasters), len(tasting.arms)), np.nan)
    row = {taster.taster_id: n for n, taster in enumerate(tasters)}
    for each in said:
        value = each.answer.score if tasting.method == "score" else each.answer.rank
        if value is not None and not each.answer.passed:
            found[row[each.answer.taster_id], each.arm] = value
    return np.array([as_scores(r) for r in found]) if tasting.method == "rank" else found


def _triangle(tasters: Sequence[Taster], said: Sequence[TastingSaid]) -> Triangle | None:
    right = answered = 0
    for taster in tasters:
        own = [each for each in said if each.answer.taster_id == taster.taster_id]
        chosen = [each for each in own if each.answer.odd]
        if len(own) != 3 or len(chosen) != 1:
            continue
        answered += 1
        right += sum(each.arm == chosen[0].arm for each in own) == 1
    return triangle(right, answered) if answered else None


def tasting_of(store: Store, trial: TrialRecord) -> TastingResult | None:
    """What the newest tasting of a trial's arms came to; None while none has been held.

    The one place by which tastings reach a trial's page, its report and its conclusion. A tasting that was not made for
    the trial counts too where it has drinks of two of its arms; blends and drinks of other batches are left out.
    """
    held = sorted(store.all(Tasting), key=lambda each: each.at, reverse=True)
    for each in held:
        arms = _arms(each, trial)
        found = outcome_of(store, each) if len(set(arms.values())) > 1 else None
        if found is not None and found.judges:
            return _of_arms(each, found, arms, trial)
    return None


def _arms(tasting: Tasting, trial: TrialRecord) -> dict[int, str]:
    """The trial's arm of each drink that is one batch of it."""
    of_batch = {batch_id: arm for arm in trial.arm_names for batch_id in trial.batches_of(arm)}
    alone = {n: shares[0][0] for n, (_, shares) in enumerate(tasting.arms) if len(shares) == 1}
    return {n: of_batch[batch_id] for n, batch_id in alone.items() if batch_id in of_batch}


def agreement_facts(found: TastingOutcome) -> dict[str, object]:
    """How far the tasters agree as JSON says it; empty where that cannot be told."""
    said = found.agreement
    if said is None:
        return {}
    return {
        "kendall_w": said.kendall_w,
        "statistic": said.statistic,
        "degrees_of_freedom": said.degrees_of_freedom,
        "p_value": said.p_value,
    }


def outcome_facts(tasting: Tasting, found: TastingOutcome) -> dict[str, object]:
    """A tasting as JSON says it; of a triangle, how many were right and with what chance."""
    facts: dict[str, object] = {
        "tasting_id": tasting.tasting_id,
        "name": tasting.name,
        "method": tasting.method,
        "tasters": found.judges,
        "drinks": tasting_facts(found),
    }
    if found.triangle is not None:
        facts |= {"right": found.triangle.right, "p_value": found.triangle.p_value, "power": found.triangle.power}
    return facts


def _of_arms(tasting: Tasting, found: TastingOutcome, arms: Mapping[int, str], trial: TrialRecord) -> TastingResult:
    agreed, facts = agreement_facts(found), outcome_facts(tasting, found)
    if found.triangle is not None:
        return TastingResult(words.told_apart(found.triangle), facts, agreed)
    if found.scores is None:
        return TastingResult(words.NOTHING_TOLD, facts, agreed)
    names = [arm for arm in trial.arm_names if arm in arms.values()]
    worth = np.column_stack(
        [found.scores.draws[:, [n for n, of in arms.items() if of == arm]].mean(axis=1) for arm in names]
    )
    chances = np.bincount(np.argmax(worth, axis=1), minlength=len(names)) / len(worth)
    best = tuple((arm, float(p)) for arm, p in zip(names, chances, strict=True))
    sentence = " ".join(filter(None, (words.leading(best), words.few(found.judges))))
    return TastingResult(sentence, facts, agreed, best)


def tasting_facts(found: TastingOutcome) -> list[dict[str, object]]:
    """Each drink of a tasting as JSON says it."""
    rows: list[dict[str, object]] = []
    for n, name in enumerate(found.names):
        row: dict[str, object] = {"drink": name, "passed": found.passed(n), "aromas": dict(found.aromas(n))}
        if found.scores is not None:
            arm = found.scores.arms[n]
            span = {"p10": arm.score.p10, "p50": arm.score.p50, "p90": arm.score.p90}
            row |= {"points": span, "chance_best": arm.p_best, "judged": arm.judged}
        rows.append(row)
    return rows
