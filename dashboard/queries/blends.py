"""Blending: what all tastings say of some batches and their blends, what to try next, and the next batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from analysis.trials import Blend, Dose, Judged, NextBatch, Shares, blend, next_batch
from analysis.wording import tasting as words
from dashboard.queries import tastings
from ingest.model import BatchRecord, EventRecord
from ingest.store import Store
from ingest.tastings import Arm, Tasting

UNNAMED_HOPS = "hops without a name"


def named(store: Store, tasting: Tasting) -> dict[str, str]:
    """The batches of a tasting by id, by the name under which each was tasted alone, here or elsewhere, or its own."""
    every = sorted({batch_id for _, shares in tasting.arms for batch_id, _ in shares})
    found: dict[str, str] = {}
    for each in (tasting, *store.all(Tasting)):
        for name, shares in each.arms:
            if len(shares) == 1:
                found.setdefault(shares[0][0], name)
    records = {batch_id: store.get(BatchRecord, batch_id) for batch_id in every}
    return {
        batch_id: found.get(batch_id) or (record.name if record is not None else batch_id)
        for batch_id, record in records.items()
    }


def said_of(store: Store, tasting: Tasting, batch_ids: Sequence[str]) -> Blend | None:
    """What this tasting and all others by the same method say of blending these batches.

    Tastings count by those of their drinks that hold nothing else.
    """
    judged: list[Judged] = []
    tasted: list[Shares] = []
    taster = 0
    for each in store.all(Tasting):
        if each.method != tasting.method:
            continue
        made_of = {n: _shares(parts, batch_ids) for n, (_, parts) in enumerate(each.arms)}
        held = {n: shares for n, shares in made_of.items() if shares is not None}
        if len(held) < 2:
            continue
        for shares in held.values():
            if shares not in tasted:
                tasted.append(shares)
        scores = tastings.judged_of(store, each)
        judged += [replace(j, arm=tasted.index(held[j.arm]), taster=taster + j.taster) for j in scores if j.arm in held]
        taster += 1 + max((j.taster for j in scores), default=0)
    return blend(judged, tasted) if judged else None


def _shares(parts: Sequence[tuple[str, float]], batch_ids: Sequence[str]) -> Shares | None:
    given = dict(parts)
    if not set(given) <= set(batch_ids):
        return None
    return tuple(round(given.get(key, 0.0), 6) for key in batch_ids)


def session(
    store: Store, tasting: Tasting, names: Mapping[str, str], proposals: Sequence[Shares], best_alone: str
) -> Tasting:
    """A bench session: the blends to try and the best drink alone, tasted as any other drinks by the same people."""
    ids = list(names)
    arms: list[Arm] = [(names[best_alone], ((best_alone, 1.0),))]
    for shares in proposals:
        parts = tuple((key, share) for key, share in zip(ids, shares, strict=True) if share > 0)
        arms.append((words.shares_words(shares, list(names.values())), parts))
    draft = tastings.Draft(
        name=f"Blends after {tasting.name}",
        method=tasting.method,
        arms=tuple(arms),
        tasters=tuple(each.name for each in tastings.tasters_of(store, tasting)),
        allergens=tasting.allergens,
        sulfites=tasting.sulfites,
        trial_id=tasting.trial_id,
    )
    return tastings.make(store, draft)


def doses_of(store: Store, batch_id: str) -> list[Dose]:
    """Dry hops of a batch in grams a litre, with those of the batches it was divided from, by variety."""
    record = store.get(BatchRecord, batch_id)
    found: dict[str, float | None] = {}
    until = None
    while record is not None:
        for event in store.all(EventRecord, batch_id=record.batch_id, kind="dry hop"):
            if until is not None and event.at >= until:
                continue
            variety = event.hop_variety or UNNAMED_HOPS
            found[variety] = _plus(found.get(variety, 0.0), event.amount_g, record.volume_l)
        until = record.divided_at
        record = store.get(BatchRecord, record.divided_from) if record.divided_from else None
    return [Dose(variety, grams) for variety, grams in found.items()]


def _plus(so_far: float | None, grams: float | None, litres: float | None) -> float | None:
    """Grams a litre with one more dose; None once any part is not known."""
    return None if so_far is None or grams is None or not litres else so_far + grams / litres


def scaled(store: Store, batch_ids: Sequence[str], shares: Shares, litres: float) -> NextBatch:
    """A blend as litres of each batch, and as grams of each hop for a batch of so many litres."""
    return next_batch(shares, [doses_of(store, key) for key in batch_ids], litres)
