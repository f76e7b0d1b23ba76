"""Trials among the other entries: kept, undone, exported, and true when a batch goes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from ingest.errors import EntryError
from ingest.model import BatchRecord, TrialRecord, Vessel
from ingest.store import Store
from ingest.transfer import export_cellar, import_cellar

T = datetime(2026, 3, 1, 10, tzinfo=UTC)


@pytest.fixture
def cellar():
    with Store.in_memory() as store:
        for n in "123":
            store.save(Vessel(vessel_id=f"v{n}", name=f"Jug {n}"))
            store.save(BatchRecord(batch_id=f"b{n}", name=f"Part {n}", vessel_id=f"v{n}", pitched_at=T))
        yield store


TRIAL = TrialRecord(
    trial_id="t",
    name="Two yeasts",
    question="Which is drier?",
    arms=(("Marrow", "b1"), ("Dune", "b2"), ("marrow", "b3")),
)


def test_arms_are_their_names_and_batches_of_one_name_are_replicates():
    assert TRIAL.arm_names == ("Marrow", "Dune")
    assert TRIAL.batches_of("Marrow") == ("b1", "b3")


@pytest.mark.parametrize(
    ("arms", "why"),
    [
        ((("Marrow", "b1"), ("Marrow", "b2")), "all batches are of one arm"),
        ((("Marrow", "b1"), ("Dune", "b1")), "a batch is in it twice"),
        (((" \n", "b1"), ("Dune", "b2")), "an arm has no name"),
        (tuple((f"arm {n}", f"b{n}") for n in range(25)), "it has 25 batches"),
    ],
)
def test_arms_that_make_no_trial_are_refused_with_what_to_do(arms, why):
    with pytest.raises(EntryError, match=why) as refused:
        TrialRecord(name="x", arms=arms)
    assert refused.value.field == "arms"
    assert refused.value.usual


def test_a_trial_of_a_batch_that_is_not_there_is_refused(cellar):
    with pytest.raises(EntryError, match="there is no batch 'gone'"):
        cellar.save(replace(TRIAL, arms=(("a", "b1"), ("b", "gone"))))


def test_two_trials_of_one_name_are_refused(cellar):
    cellar.save(TRIAL)
    with pytest.raises(EntryError, match="there is another trial named Two yeasts"):
        cellar.save(replace(TRIAL, trial_id="other", name="two yeasts"))


def test_a_batch_that_is_removed_leaves_its_trial_and_comes_back_with_undo(cellar):
    cellar.save(TRIAL)
    cellar.remove(cellar.get(BatchRecord, "b3"))
    assert cellar.get(TrialRecord, "t").arms == (("Marrow", "b1"), ("Dune", "b2"))
    cellar.remove(cellar.get(BatchRecord, "b2"))
    assert cellar.all(TrialRecord) == []  # one arm is no trial
    cellar.undo()
    cellar.undo()
    assert cellar.all(TrialRecord) == [TRIAL]


def test_a_trial_is_in_the_export_and_comes_back_whole(cellar, tmp_path):
    cellar.save(TRIAL)
    export_cellar(cellar, tmp_path / "out")
    with Store.in_memory() as other:
        import_cellar(other, tmp_path / "out")
        assert other.all(TrialRecord) == [TRIAL]
        assert import_cellar(other, tmp_path / "out").entries_new == 0


def test_a_trial_survives_the_file_being_closed(cellar, tmp_path):
    with Store.open(tmp_path) as store:
        for record in (*cellar.all(Vessel), *cellar.all(BatchRecord), TRIAL):
            store.save(record)
    with Store.open(tmp_path) as store:
        assert store.all(TrialRecord) == [TRIAL]
