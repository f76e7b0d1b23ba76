"""The demo's trials: one that ended with a tasting and the blends after it, and one that is under way."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from analysis.wording import tasting as words
from dashboard.queries import tastings
from ingest.model import BatchRecord, EventRecord, HandSample, TrialRecord, Vessel
from ingest.store import Store
from ingest.tastings import Arm, Share
from sample_data import trial_story as story

_ALLERGENS: Final = ("cereals containing gluten",)
_UNDER_WAY: Final = "Window amber"


def enter(store: Store, anchor: datetime, seed: int = 7) -> None:
    """Enter both, through the store calls that the screens use."""
    batches = [_jug(store, n, anchor) for n in range(len(story.JUGS))]
    trial = store.save(
        TrialRecord(
            name="Four hops in one pale",
            question="Which hop is liked best in a pale ale?",
            arms=tuple((jug.hop, batch_id) for jug, batch_id in zip(story.JUGS, batches, strict=True)),
            decides="tasting",
            made_at=anchor - story.PITCHED,
        )
    )
    rng = np.random.default_rng([seed, 4])
    alone = np.eye(len(batches))
    _taste(store, trial, "Four jugs at one table", _arms(batches, alone), anchor - story.TASTED, rng)
    blends = np.vstack([alone[0], np.array(story.BLENDS)])
    _taste(store, trial, "Blends of the four jugs", _arms(batches, blends), anchor - story.BLENDED, rng)
    _under_way(store, anchor)


def _jug(store: Store, n: int, anchor: datetime) -> str:
    jug = story.JUGS[n]
    vessel = store.save(Vessel(name=f"Jug {n + 1}", volume_l=story.JUG_L))
    record = store.save(
        BatchRecord(
            name=f"{story.WORT}, {jug.hop}",
            vessel_id=vessel.vessel_id,
            drink="ale",
            yeast=story.YEAST,
            volume_l=story.FILLED_L,
            original_gravity_sg=story.ORIGINAL_GRAVITY_SG,
            pitched_at=anchor - story.PITCHED,
            ended_at=anchor - story.ENDED,
            split_of=story.WORT,
            plan={"dry_hops": 1},
        )
    )
    hopped = EventRecord(
        batch_id=record.batch_id,
        kind="dry hop",
        at=anchor - story.HOPPED,
        amount_g=jug.grams,
        hop_variety=jug.hop,
        hop_form="pellets",
    )
    packaged = EventRecord(batch_id=record.batch_id, kind="package", at=anchor - story.ENDED)
    samples = [
        HandSample(batch_id=record.batch_id, at=anchor - story.PITCHED + timedelta(days=day), value=value)
        for day, value in story.SAMPLES_SG
    ]
    store.save_many([hopped, packaged, *samples], f"Entered what was done to {record.name}")
    return record.batch_id


def _arms(batches: list[str], shares: np.ndarray) -> tuple[Arm, ...]:
    hops = [jug.hop for jug in story.JUGS]
    found: list[Arm] = []
    for row in shares:
        parts: tuple[Share, ...] = tuple((key, float(x)) for key, x in zip(batches, row, strict=True) if x > 0)
        name = hops[int(np.argmax(row))] if len(parts) == 1 else words.shares_words(tuple(map(float, row)), hops)
        found.append((name, parts))
    return tuple(found)


def _taste(
    store: Store, trial: TrialRecord, name: str, arms: tuple[Arm, ...], at: datetime, rng: np.random.Generator
) -> None:
    draft = tastings.Draft(name, "score", arms, story.TASTERS, _ALLERGENS, "none added", trial.trial_id)
    made = tastings.make(store, draft)
    order = trial.batch_ids
    for n, taster in enumerate(tastings.tasters_of(store, made)):
        said = []
        for place, glass in enumerate(taster.served):
            code, arm = made.glasses[glass]
            shares = np.array([dict(arms[arm][1]).get(batch_id, 0.0) for batch_id in order])
            found = story.JUGS[int(np.argmax(shares))].aromas[: 1 + (n + place) % 2]
            given = story.score(n, shares, place, rng)
            said.append(replace(tastings.draft_of(store, taster, code), score=given, aromas=found))
        tastings.keep_ballot(store, made, taster, said)
    store.save(replace(made, at=at, ended_at=at + timedelta(hours=2)))


def _under_way(store: Store, anchor: datetime) -> None:
    """The wort that stands in two vessels with a yeast each."""
    parts = [each for each in store.active_batches() if each.name == _UNDER_WAY and each.yeast]
    if len(parts) > 1:
        store.save(
            TrialRecord(
                name=_UNDER_WAY,
                question="Which yeast finishes sooner?",
                arms=tuple((each.yeast or "", each.batch_id) for each in parts),
                decides="finish_h",
                made_at=anchor,
            )
        )
