"""What yeasts, hops, doses and contact did to scores: which drinks may be compared, and which count at all."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from ingest.model import BatchRecord, EventRecord, Vessel
from ingest.monitoring import compare_tasted, contact_of, dose_of, tasted_drinks
from ingest.store.store import Store
from ingest.tastings import Taster, Tasting, TastingAnswer, answer_id

T = datetime(2026, 3, 1, 15, tzinfo=UTC)


def brew(store: Store, hop: str | None, *, grams: float | None = 30.0, yeast: str = "Marrow", wort: str | None = "W"):
    vessel = store.save(Vessel(name=f"Jug {len(store.all(Vessel)) + 1}", volume_l=10.0))
    made = BatchRecord(
        name=vessel.name,
        vessel_id=vessel.vessel_id,
        drink="ale",
        yeast=yeast,
        pitched_at=T - timedelta(days=30),
        ended_at=T - timedelta(days=9),
        volume_l=10.0,
        split_of=wort,
    )
    record = store.save(made)
    if hop is not None:
        at = record.pitched_at + timedelta(days=6)
        facts = {"amount_g": grams, "hop_variety": hop, "contact_days": 3.0}
        store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=at, **facts))
    return record


def taste(
    store: Store, points: dict[str, float], *, at: datetime = T, over: bool = True, method: str = "score", blends=()
):
    arms = (*((batch_id, ((batch_id, 1.0),)) for batch_id in list(points)[: len(points) - len(blends)]), *blends)
    glasses = tuple((str(100 + n), n) for n in range(len(arms)))
    made = Tasting(name="At the table", at=at, arms=arms, glasses=glasses, method=method, ended_at=at if over else None)
    records: list = [made]
    for n in range(4):
        taster = Taster(tasting_id=made.tasting_id, name=f"T{n}", served=tuple(range(len(arms))))
        records.append(taster)
        for (code, _), (rank, value) in zip(glasses, enumerate(points.values(), start=1), strict=True):
            said = {"score": value + 2 * ((n + rank) % 3)} if method == "score" else {"rank": rank}
            key = answer_id(taster, code)
            facts = {"tasting_id": made.tasting_id, "taster_id": taster.taster_id, "code": code, "at": at}
            records.append(TastingAnswer(answer_id=key, **facts, **said))
    store.save_many(records, "Tasted")
    return made


def test_hops_are_compared_beside_what_is_alike_in_all_else(store):
    moss, fern = brew(store, "Moss"), brew(store, "Fern")
    other_yeast, heavy, bare = brew(store, "Reed", yeast="Dune"), brew(store, "Sedge", grams=90.0), brew(store, None)
    taste(
        store,
        {r.batch_id: p for r, p in zip((moss, fern, other_yeast, heavy, bare), (80, 50, 90, 20, 60), strict=True)},
    )
    drinks = tasted_drinks(store)
    assert len(drinks) == 5
    found = compare_tasted(drinks, "hop variety")
    assert {mean.name for mean in found.comparison.means} == {"Moss", "Fern"}
    assert found.comparison.differences[0].amount.p50 < 0  # Fern before Moss, in the order of names
    # Nothing else ever stood beside one like it: two hops and two yeasts at once tell of neither.
    assert compare_tasted(drinks, "yeast") is None
    assert compare_tasted(drinks, "hop dose") is None


def test_neither_ranks_nor_blends_nor_open_tastings_count(store):
    moss, fern = (brew(store, hop) for hop in ("Moss", "Fern"))
    whole = taste(store, {moss.batch_id: 80, fern.batch_id: 50})
    taste(store, {moss.batch_id: 20, fern.batch_id: 90}, at=T + timedelta(days=2), over=False)
    taste(store, {fern.batch_id: 1, moss.batch_id: 2}, at=T + timedelta(days=3), method="rank")
    blends = [("half", ((moss.batch_id, share), (fern.batch_id, 1 - share))) for share in (0.3, 0.5)]
    mixed = taste(store, {moss.batch_id: 10, "a": 50, "b": 60}, at=T + timedelta(days=4), blends=blends)
    drinks = tasted_drinks(store)
    assert [each.tasting.tasting_id for each in drinks] == [whole.tasting_id, whole.tasting_id, mixed.tasting_id]
    found = compare_tasted(drinks, "hop variety")
    assert found.tastings == 1  # beside blends alone a batch tells nothing of hops
    assert found.comparison.differences[0].amount.p50 < 0


def test_a_bottle_tasted_twice_is_not_two_batches(store):
    def width(*batches) -> float:
        made = {taste(store, {m.batch_id: 80, f.batch_id: 50}).tasting_id for m, f in batches}
        here = [each for each in tasted_drinks(store) if each.tasting.tasting_id in made]
        found = compare_tasted(here, "hop variety")
        assert len(found.batches("Moss")) == len({m.batch_id for m, _ in batches})
        return found.comparison.differences[0].amount.p90 - found.comparison.differences[0].amount.p10

    one, two = ((brew(store, "Moss"), brew(store, "Fern")) for _ in range(2))
    assert width(one) > width(one, one) > 1.05 * width(one, two)


def test_what_is_not_known_and_another_wort_make_the_answer_wider(store):
    def width(**facts) -> float:
        pair = [brew(store, hop, **facts) for hop in ("Moss", "Fern")]
        if facts.get("wort", "") is None:
            pair = [store.save(replace(each, split_of=None)) for each in pair]
        made = taste(store, {pair[0].batch_id: 70, pair[1].batch_id: 50})
        here = [each for each in tasted_drinks(store) if each.tasting.tasting_id == made.tasting_id]
        amount = compare_tasted(here, "hop variety").comparison.differences[0].amount
        return amount.p90 - amount.p10

    plain = width()
    assert width(grams=None) > plain
    assert width(wort=None) > plain


@pytest.mark.parametrize(
    ("tell", "value", "step"),
    [
        (dose_of, None, None),
        (dose_of, 0.5, "up to 2 g/L"),
        (dose_of, 2.0, "up to 2 g/L"),
        (dose_of, 4.0, "2 to 5 g/L"),
        (dose_of, 12.0, "above 10 g/L"),
        (contact_of, None, None),
        (contact_of, 3.0, "2 to 4 days"),
        (contact_of, 9.0, "more than 7 days"),
    ],
)
def test_a_dose_and_a_contact_have_their_steps_and_unknown_ones_none(tell, value, step):
    assert tell(value) == step
