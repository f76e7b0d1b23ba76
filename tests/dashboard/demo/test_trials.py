"""The demo's trials, entered as a person would."""

from __future__ import annotations

from datetime import UTC, datetime

from dashboard.demo.demo import enter
from ingest.model import BatchRecord, TrialRecord
from ingest.monitoring import tasting_of
from ingest.store import Store
from sample_data.cellar import demo_cellar


def test_the_demo_has_a_tasted_trial_and_one_under_way():
    with Store.in_memory() as store:
        enter(store, demo_cellar(datetime(2026, 3, 1, 12, tzinfo=UTC)))
        tasted, going = store.all(TrialRecord)
        assert all(store.get(BatchRecord, key).ended_at is not None for key in tasted.batch_ids)
        assert all(store.get(BatchRecord, key).ended_at is None for key in going.batch_ids)
        found = tasting_of(store, tasted)
        assert found.facts["judges"] == 6
        assert [name for name, _ in sorted(found.best, key=lambda each: each[1])] == ["Marrow", "Dune"]
        assert 0.5 < dict(found.best)["Dune"] < 1.0
        assert tasting_of(store, going) is None
