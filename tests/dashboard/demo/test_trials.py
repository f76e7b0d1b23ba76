from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from dashboard.demo import trials
from ingest.model import BatchRecord, TrialRecord, Vessel
from ingest.monitoring import outcome_of, trial_of
from ingest.store import Store
from ingest.tastings import Taster, Tasting
from sample_data.hop_trial import BLENDS, FRIENDS, HOPS, hop_trial

ANCHOR = datetime(2026, 11, 28, 12, tzinfo=UTC)


@pytest.fixture
def store():
    with Store.in_memory() as made:
        for n, (name, yeast) in enumerate(
            [("Window amber", "Marrow"), ("Window amber", "Dune"), (trials.NEXT, "Dune")]
        ):
            vessel = made.save(Vessel(name=f"Vessel {n + 2}"))
            made.save(
                BatchRecord(
                    name=name, vessel_id=vessel.vessel_id, yeast=yeast, pitched_at=ANCHOR - timedelta(days=3),
                    split_of=name,
                )
            )  # fmt: skip
        trials.enter(made, hop_trial(ANCHOR, 7), ANCHOR, 7)
        yield made


def test_one_trial_lies_behind_with_its_tasting_and_its_blend_and_one_is_under_way(store):
    behind, under_way = sorted(store.all(TrialRecord), key=lambda trial: trial.made_at)
    assert behind.arm_names == HOPS
    assert under_way.arm_names == ("Marrow", "Dune")
    singles, blends = sorted(store.all(Tasting), key=lambda tasting: tasting.at)
    assert {singles.trial_id, blends.trial_id} == {behind.trial_id}
    assert [len(shares) for _, shares in blends.arms] == [sum(share > 0 for share in each) for each in BLENDS]
    assert len(store.all(Taster)) == 2 * len(FRIENDS)
    for tasting in (singles, blends):
        outcome = outcome_of(store, tasting)
        assert outcome is not None
        assert outcome.judges == len(FRIENDS)
        assert outcome.scores is not None


def test_the_next_batch_came_of_the_trial(store):
    (made_next,) = [b for b in store.all(BatchRecord) if b.name == trials.NEXT]
    trial = trial_of(store, made_next)
    assert trial is not None
    assert trial.name == "Four single hops"


def test_a_trial_says_the_same_whenever_it_is_told():
    first, again = hop_trial(ANCHOR, 7), hop_trial(ANCHOR, 7)
    assert [b.hand_samples for b in first.batches] == [b.hand_samples for b in again.batches]
    assert (first.singles.scores == again.singles.scores).all()
