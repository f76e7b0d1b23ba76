"""The demo's trials: one that lies behind, with its tasting and the blend that came of it, and one under way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from analysis.trials import glass_codes, serving_orders
from dashboard.demo.batches import enter_batch
from ingest.model import BatchRecord, Record, TrialRecord, Vessel
from ingest.monitoring import origin
from ingest.store import Store
from ingest.tastings import Arm, Taster, Tasting, TastingAnswer, answer_id
from sample_data.hop_trial import (
    BLENDED_AGO_DAYS,
    BLENDS,
    FRIENDS,
    HOPS,
    TASTED_AGO_DAYS,
    DemoHopTrial,
    DemoSitting,
)

NEXT: Final = "Lantern pale"
"""The batch that was made after the trial."""
_HELD: Final = timedelta(hours=3)
"""How long the friends sat."""


def enter(store: Store, trial: DemoHopTrial, anchor: datetime, seed: int) -> None:
    """Enter both trials; the batches of the one under way are there already."""
    ids = [
        enter_batch(store, batch, store.save(Vessel(name=batch.vessel_name, volume_l=trial.jug_l)).vessel_id).batch_id
        for batch in trial.batches
    ]
    singles = TrialRecord(
        name="Four single hops",
        question="Which of four hops suits the pale ale best?",
        arms=tuple(zip(HOPS, ids, strict=True)),
        decides="tasting",
        equal="one wort, one yeast, 12 g in each jug, three days of contact",
        made_at=trial.batches[0].pitched_at,
    )
    store.save(singles)
    arms: list[Arm] = [(hop, ((batch_id, 1.0),)) for hop, batch_id in zip(HOPS, ids, strict=True)]
    tasted, blended = (anchor - timedelta(days=days) for days in (TASTED_AGO_DAYS, BLENDED_AGO_DAYS))
    _enter_sitting(store, "Four single hops", arms, trial.singles, tasted, seed, singles)
    blends = [_blend(shares, ids) for shares in BLENDS]
    _enter_sitting(store, "Blends of two hops", blends, trial.blends, blended, seed + 1, singles)
    best = ids[int(np.argmax(trial.singles.scores.mean(axis=0)))]
    for made_next in (b for b in store.all(BatchRecord) if b.name == NEXT):
        came_of = origin(singles, store.get(BatchRecord, best))
        store.save(replace(made_next, plan={**made_next.plan, **came_of}))
    under_way = [b for b in store.all(BatchRecord) if b.split_of == "Window amber"]
    store.save(
        TrialRecord(
            name="Marrow against Dune",
            question="Which of the two yeasts is done sooner?",
            arms=tuple((b.yeast or "", b.batch_id) for b in under_way),
            made_at=min(b.pitched_at for b in under_way),
        )
    )


def _blend(shares: Sequence[float], ids: Sequence[str]) -> Arm:
    """A blend, named by its shares, or one hop by itself."""
    parts = [(hop, batch_id, share) for hop, batch_id, share in zip(HOPS, ids, shares, strict=True) if share > 0]
    name = " and ".join(f"{100 * share:.0f} % {hop}" for hop, _, share in parts) if len(parts) > 1 else parts[0][0]
    return name, tuple((batch_id, share) for _, batch_id, share in parts)


def _enter_sitting(
    store: Store, name: str, arms: list[Arm], said: DemoSitting, at: datetime, seed: int, trial: TrialRecord
) -> None:
    """A tasting that is over, with what everybody said, as one change."""
    tasting = Tasting(
        name=name,
        at=at,
        arms=tuple(arms),
        glasses=tuple((code, n) for n, code in enumerate(glass_codes(len(arms), seed))),
        allergens=("cereals containing gluten",),
        sulfites="none added",
        trial_id=trial.trial_id,
        ended_at=at + _HELD,
    )
    orders = serving_orders(len(arms), len(FRIENDS), seed)
    records: list[Record] = [tasting]
    for row, (friend, order) in enumerate(zip(FRIENDS, orders, strict=True)):
        taster = Taster(tasting_id=tasting.tasting_id, name=friend, served=order, done_at=at + _HELD)
        records += [taster, *_answers(tasting, taster, said.scores[row], said.aromas[row])]
    store.save_many(records, f"Tasted {name}")


def _answers(
    tasting: Tasting, taster: Taster, scores: np.ndarray, aromas: Sequence[tuple[str, ...]]
) -> list[TastingAnswer]:
    return [
        TastingAnswer(
            answer_id=answer_id(taster, code),
            tasting_id=tasting.tasting_id,
            taster_id=taster.taster_id,
            code=code,
            at=tasting.at + timedelta(minutes=20 * (taster.served.index(n) + 1)),
            score=float(scores[n]),
            aromas=aromas[n],
        )
        for n, (code, _) in enumerate(tasting.glasses)
    ]
