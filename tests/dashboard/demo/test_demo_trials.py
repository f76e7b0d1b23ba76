"""The demo's finished trial: six tasters, four hops, and a blend that came of it."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from dashboard.demo import demo, trials
from dashboard.queries import blends, tastings
from ingest.model import TrialRecord
from ingest.monitoring import tasting_of
from ingest.store.store import Store
from sample_data import trial_story as story
from sample_data.cellar import demo_cellar

ANCHOR = datetime(2031, 5, 14, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def store():
    with Store.in_memory() as made:
        demo.enter(made, demo_cellar(ANCHOR, 7))
        trials.enter(made, ANCHOR)
        yield made


def test_one_trial_is_decided_by_a_tasting_and_one_is_under_way(store):
    found = {each.name: each for each in store.all(TrialRecord)}
    assert set(found) == {"Four hops in one pale", "Window amber"}
    said = tasting_of(store, found["Four hops in one pale"])
    assert said is not None
    assert said.facts["tasters"] == 6
    chances = dict(said.best)
    assert max(chances, key=chances.get) == "Moss"
    assert tasting_of(store, found["Window amber"]) is None
    assert found["Window amber"].arm_names == ("Marrow", "Dune")


def test_the_blends_after_it_say_which_shares_are_liked_best(store):
    bench = tastings.newest_first(store)[0]
    assert bench.name == "Blends of the four jugs"
    ids = list(store.all(TrialRecord)[0].batch_ids)
    found = blends.said_of(store, bench, ids)
    assert found is not None
    # The invented truth: halves of Moss and Tansy are worth most among these.
    truth = max(story.BLENDS, key=lambda shares: story.worth_of(np.array(shares)))
    assert truth == (0.5, 0.0, 0.5, 0.0)
    assert found.liked[0] + found.liked[2] >= 0.8
    assert found.gain.p50 > 0
    scaled = blends.scaled(store, ids, found.liked, 20.0)
    assert sum(scaled.litres) == pytest.approx(20.0)
    assert scaled.hops_g["Moss"] == pytest.approx(5.0 * 20 * found.liked[0])  # 15 g in 3 L
