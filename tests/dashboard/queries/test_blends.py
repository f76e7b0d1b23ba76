"""Blends are tasted as any other drinks, and all tastings of the same batches count together."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.queries import blends, tastings
from ingest.model import BatchRecord, EventRecord, Vessel
from ingest.store.store import Store
from ingest.tastings import Tasting

T = datetime(2026, 3, 1, 15, tzinfo=UTC)
NAMES = ("Moss pale", "Fern pale")


@pytest.fixture
def store():
    with Store.in_memory() as made:
        vessel = made.save(Vessel(name="Tun", volume_l=60.0))
        whole = made.save(
            BatchRecord(
                batch_id="whole",
                name="Wort",
                vessel_id=vessel.vessel_id,
                volume_l=40.0,
                pitched_at=T,
                ended_at=T + timedelta(days=3),
            )
        )
        made.save(EventRecord(batch_id="whole", kind="dry hop", at=T, amount_g=20.0, hop_variety="Reed"))
        for n, (key, name, hop) in enumerate(zip(("b1", "b2"), NAMES, ("Moss", "Fern"), strict=True)):
            jug = made.save(Vessel(name=f"Jug {n}"))
            made.save(
                BatchRecord(
                    batch_id=key,
                    name=name,
                    vessel_id=jug.vessel_id,
                    volume_l=10.0,
                    pitched_at=T,
                    divided_from=whole.batch_id,
                    divided_at=T + timedelta(days=3),
                    ended_at=T + timedelta(days=20),
                )
            )
            at = T + timedelta(days=5)
            made.save(EventRecord(batch_id=key, kind="dry hop", at=at, amount_g=50.0 + 30 * n, hop_variety=hop))
        yield made


def taste(store: Store, made: Tasting, worth) -> None:
    for n, taster in enumerate(tastings.tasters_of(store, made)):
        said = []
        for place, code in enumerate(tastings.codes_of(made, taster)):
            shares = dict(made.arms[dict(made.glasses)[code]][1])
            score = worth(shares.get("b1", 0.0)) + 3 * (n % 2) + (place + n) % 3
            said.append(replace(tastings.draft_of(store, taster, code), score=float(score)))
        tastings.keep_ballot(store, made, taster, said)


def first(store: Store) -> Tasting:
    arms = tuple((name, ((key, 1.0),)) for key, name in zip(("b1", "b2"), NAMES, strict=True))
    people = tuple(f"Taster {n}" for n in range(8))
    return tastings.make(store, tastings.Draft("Which hop?", "score", arms, people, ("milk",), "added", "trial-7"))


def worth(x: float) -> float:
    return 50 + 10 * x + 6 * (1 - x) + 60 * x * (1 - x)


def test_a_bench_session_is_a_tasting_of_blends_and_all_sessions_count(store):
    made = first(store)
    assert blends.said_of(store, made, ["b1", "b2"]) is None  # nothing before the end
    taste(store, made, worth)
    names = blends.named(store, made)
    assert names == dict(zip(("b1", "b2"), NAMES, strict=True))
    alone = blends.said_of(store, made, list(names))
    assert alone is not None
    assert alone.tried == 0
    bench = blends.session(store, made, names, alone.proposals, "b1")
    assert (bench.trial_id, bench.allergens, bench.sulfites) == ("trial-7", ("milk",), "added")
    assert len(bench.arms) == 1 + len(alone.proposals)
    assert all(sum(share for _, share in shares) == pytest.approx(1.0) for _, shares in bench.arms)
    taste(store, bench, worth)
    found = blends.said_of(store, bench, list(names))
    assert found is not None
    assert found.tried == len(alone.proposals)
    # By hand: 10 x + 6 (1-x) + 60 x (1-x) is greatest at 64/120 = 0.53.
    assert abs(found.liked[0] - 0.53) <= 0.15
    assert found.p_better > 0.9
    assert blends.named(store, bench) == names


def test_a_tasting_with_other_drinks_counts_by_those_that_it_shares(store):
    made = first(store)
    taste(store, made, worth)
    assert blends.said_of(store, made, ["b1", "whole"]) is None  # only one of its drinks


def test_hops_of_a_batch_are_grams_a_litre_with_those_before_its_division(store):
    doses = {dose.variety: dose.grams_per_litre for dose in blends.doses_of(store, "b2")}
    assert doses == pytest.approx({"Fern": 8.0, "Reed": 0.5})
    scaled = blends.scaled(store, ["b1", "b2"], (0.5, 0.5), 30.0)
    # By hand: 15 L of 5 g/L, 15 L of 8 g/L, and 0.5 g/L in all of it.
    assert scaled.hops_g == pytest.approx({"Moss": 75.0, "Fern": 120.0, "Reed": 15.0})
    assert scaled.litres == pytest.approx((15.0, 15.0))


def test_hops_of_an_unknown_amount_are_said_to_be_unknown(store):
    store.save(EventRecord(batch_id="b1", kind="dry hop", at=T + timedelta(days=6), hop_variety="Moss"))
    assert blends.scaled(store, ["b1", "b2"], (0.5, 0.5), 30.0).hops_g["Moss"] is None
