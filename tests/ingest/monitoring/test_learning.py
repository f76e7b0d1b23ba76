"""What ended batches teach, when it is learnt, and who is judged by it."""

from __future__ import annotations

from datetime import timedelta

import pytest

import analysis
import ingest.monitoring.outlook
from ingest.model import (
    BatchRecord,
)
from ingest.monitoring.outlook import Outlooks
from tests.ingest.monitoring.cellars import NOW, add_batch


def test_what_earlier_batches_taught_survives_a_restart(store, monkeypatch):
    add_batch(store, "Old one", 12, ended=True)
    learned = Outlooks(store).learn()
    assert learned is not None
    monkeypatch.setattr("analysis.learn", lambda *_, **__: pytest.fail("learned again"))
    assert Outlooks(store).learn().to_json() == learned.to_json()


def test_a_batch_that_ends_is_learned_from_together_with_all_others(store, monkeypatch):
    """One after the other they would teach less: what users get is what the evaluation measures."""
    first = add_batch(store, "Old one", 12, ended=True)
    outlooks = Outlooks(store)
    outlooks.learn()
    taken = []
    real = analysis.learn

    def counting(finished, **more):
        batches = list(finished)
        taken.append([one.name for one in batches])
        assert more.get("start") is None
        return real(batches, **more)

    monkeypatch.setattr(analysis, "learn", counting)
    second = add_batch(store, "Second", 11, ended=True)
    outlooks.learn()
    assert sorted(taken[0]) == sorted([first.batch_id, second.batch_id])
    outlooks.learn()
    assert len(taken) == 1
    assert outlooks.lessons() == {first.batch_id: "course", second.batch_id: "course"}


def test_an_ended_batch_is_judged_without_what_it_taught_itself(store, monkeypatch):
    own = add_batch(store, "Old one", 12, ended=True)
    other = add_batch(store, "Second", 11, ended=True)
    outlooks = Outlooks(store)
    outlooks.learn()
    by = []
    real = analysis.assess

    def seen(*given, priors, **more):
        by.append(set(priors.lessons()))
        return real(*given, priors=priors, **more)

    monkeypatch.setattr(analysis, "assess", seen)
    outlooks.of(own.batch_id, now=NOW)
    running = add_batch(store, "Quay", 1.2)
    outlooks.of(running.batch_id, now=NOW)
    assert by == [{other.batch_id}, {own.batch_id, other.batch_id}]


def test_of_many_batches_the_newest_of_each_drink_teach_in_the_order_in_which_they_ended(monkeypatch):
    monkeypatch.setattr("analysis.inference.KEPT_PER_DRINK", 2)
    ended = [
        BatchRecord(name=f"{drink} {k}", vessel_id="v", drink=drink, pitched_at=NOW, ended_at=NOW + timedelta(days=k))
        for k in (5, 4, 3, 2, 1)
        for drink in ("ale", "cider")
    ]
    taken = [one.name for one in ingest.monitoring.outlook._newest_of_each_drink(ended)]
    assert sorted(taken) == ["ale 4", "ale 5", "cider 4", "cider 5"]
    assert [name[-1] for name in taken] == ["4", "4", "5", "5"]


def test_what_was_learned_changes_what_is_shown_at_the_next_look(store):
    record = add_batch(store, "Quay", 1.2)
    outlooks = Outlooks(store)
    before = outlooks.of(record.batch_id, now=NOW)
    add_batch(store, "Old one", 12, ended=True)
    assert outlooks.of(record.batch_id, now=NOW).assessment is not before.assessment  # an entry
    unlearned = outlooks.of(record.batch_id, now=NOW)
    assert outlooks.learn() is not None
    learned = outlooks.of(record.batch_id, now=NOW)
    assert learned.assessment is not unlearned.assessment
    assert outlooks.of(record.batch_id, now=NOW, wait=False) is learned


def test_an_assessment_that_began_before_the_learning_ended_does_not_stand(store, monkeypatch):
    record = add_batch(store, "Quay", 1.2)
    add_batch(store, "Old one", 12, ended=True)
    outlooks = Outlooks(store)
    by: list[bool] = []
    real = analysis.assess

    def meanwhile(*given, priors, **more):
        by.append(priors is not None)
        if len(by) == 1:
            outlooks.learn()  # as another thread would
        return real(*given, priors=priors, **more)

    monkeypatch.setattr(analysis, "assess", meanwhile)
    outlooks.of(record.batch_id, now=NOW)
    outlooks.of(record.batch_id, now=NOW)
    assert by == [False, True]


def test_nothing_is_learned_from_a_finished_batch_that_cannot_be_read_and_from_the_others_it_is(store, monkeypatch):
    odd = add_batch(store, "Odd", 12, ended=True)
    add_batch(store, "Sound", 11, ended=True)
    real = store.batch

    def refusing(batch_id):
        if batch_id == odd.batch_id:
            raise ValueError("out of the blue")
        return real(batch_id)

    monkeypatch.setattr(store, "batch", refusing)
    assert Outlooks(store).learn() is not None
