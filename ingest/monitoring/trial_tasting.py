"""What the newest tasting of a trial's arms came to."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from analysis.model import Floats
from analysis.trials import Agreement, TastingResult
from analysis.wording import tasting as words
from ingest.model import TrialRecord
from ingest.store import Store
from ingest.tasted import Result, result
from ingest.tastings import Tasting

_LEAST_ARMS: Final = 2


def tasting_of(store: Store, trial: TrialRecord) -> TastingResult | None:
    """What the newest tasting of a trial's arms came to; None while none is over.

    A tasting is the trial's if it says so, or if it had glasses of two of its arms at least. The one place by which
    tastings reach a trial's page, its report and its conclusion.
    """
    for tasting in sorted(store.all(Tasting), key=lambda each: each.at, reverse=True):
        arms = _arms_of(tasting, trial)
        if tasting.trial_id not in (None, trial.trial_id) or len(set(arms.values())) < _LEAST_ARMS:
            continue
        found = result(store, tasting)
        if found is not None:
            return _told(tasting, found, arms)
    return None


def _arms_of(tasting: Tasting, trial: TrialRecord) -> dict[int, str]:
    """Which drinks of a tasting are which arm: those that hold one batch of it and nothing else."""
    of_batch = {batch_id: arm for arm in trial.arm_names for batch_id in trial.batches_of(arm)}
    alone = {n: shares[0][0] for n, (_, shares) in enumerate(tasting.arms) if len(shares) == 1}
    return {n: of_batch[batch_id] for n, batch_id in alone.items() if batch_id in of_batch}


def _told(tasting: Tasting, found: Result, arms: dict[int, str]) -> TastingResult:
    facts: dict[str, Any] = {
        "tasting_id": tasting.tasting_id,
        "name": tasting.name,
        "method": tasting.method,
        "at": tasting.at.isoformat(),
        "judges": found.judges,
    }
    if found.triangle is not None:
        told = found.triangle
        facts |= {"right": told.right, "tasters": told.tasters, "p_value": told.p_value, "needed": told.needed}
        facts["power"] = told.power
        return TastingResult(words.told_apart(told), facts, {})
    if found.scores is None:
        return TastingResult(words.NOTHING_TOLD, facts, _agreement(found.agreement))
    facts["drinks"] = [
        {
            "drink": name,
            "arm": arms.get(n),
            "points_p10": arm.score.p10,
            "points_p50": arm.score.p50,
            "points_p90": arm.score.p90,
            "chance_best": arm.p_best,
            "judged": arm.judged,
            "passed": found.passed(n),
            "aromas": dict(found.aromas(n)),
        }
        for n, (name, arm) in enumerate(zip(found.names, found.scores.arms, strict=True))
    ]
    sentences = [
        words.best(found.scores, found.names),
        words.agreed(found.agreement, len(found.names)),
        words.few(found.judges),
    ]
    sentence = " ".join(filter(None, sentences))
    return TastingResult(sentence, facts, _agreement(found.agreement), _best(found.scores.draws, arms))


def _best(draws: Floats, arms: dict[int, str]) -> tuple[tuple[str, float], ...]:
    """For each arm the chance that it is liked best; replicates of an arm count by their mean."""
    names = list(dict.fromkeys(arms.values()))
    worth = np.column_stack([draws[:, [n for n, arm in arms.items() if arm == name]].mean(axis=1) for name in names])
    first = np.bincount(np.argmax(worth, axis=1), minlength=len(names)) / worth.shape[0]
    return tuple((name, float(chance)) for name, chance in zip(names, first, strict=True))


def _agreement(found: Agreement | None) -> dict[str, Any]:
    """How far the tasters agreed, as JSON says it; empty where that cannot be told."""
    if found is None:
        return {}
    return {
        "kendall_w": found.kendall_w,
        "statistic": found.statistic,
        "degrees_of_freedom": found.degrees_of_freedom,
        "p_value": found.p_value,
        "tasters": found.tasters,
    }
