"""Tastings are entries as any other: kept, removed with their parts, undone, exported and imported."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from ingest import transfer
from ingest.errors import EntryError
from ingest.store.store import Store
from ingest.tastings import Taster, Tasting, TastingAnswer, answer_id

T = datetime(2026, 3, 1, 15, tzinfo=UTC)
ARMS = (("Amber", (("b1", 1.0),)), ("Half and half", (("b1", 0.5), ("b2", 0.5))))


def tasting(**more):
    given = {"name": "First", "at": T, "arms": ARMS, "glasses": (("351", 0), ("482", 1))}
    return Tasting(**{**given, **more})


def answer(taster: Taster, code: str, **more) -> TastingAnswer:
    return TastingAnswer(
        answer_id=answer_id(taster, code),
        tasting_id=taster.tasting_id,
        taster_id=taster.taster_id,
        code=code,
        at=T,
        **more,
    )


def filled(store: Store) -> Taster:
    one = store.save(tasting(allergens=("gluten",), sulfites="added", trial_id="trial-1"))
    taster = store.save(Taster(tasting_id=one.tasting_id, name="Ana", served=(1, 0)))
    store.save(answer(taster, "351", score=62.5, aromas=("pear", "ärdig"), note="dry; “good”"))
    store.save(answer(taster, "482", passed=True))
    return taster


def test_a_tasting_is_kept_over_a_restart(tmp_path):
    with Store.open(tmp_path) as store:
        taster = filled(store)
    with Store.open(tmp_path) as store:
        [one] = store.all(Tasting)
        assert one.arms == ARMS
        assert one.glasses == (("351", 0), ("482", 1))
        assert store.all(Taster) == [taster]
        said = {a.code: a for a in store.all(TastingAnswer)}
    assert said["351"].aromas == ("pear", "ärdig")
    assert said["351"].score == 62.5
    assert said["482"].passed
    assert said["482"].score is None


def test_removing_a_tasting_takes_all_of_it_and_undo_brings_all_back(store):
    filled(store)
    before = [store.all(cls) for cls in (Tasting, Taster, TastingAnswer)]
    store.remove(before[0][0])
    assert not store.all(Tasting) + store.all(Taster) + store.all(TastingAnswer)
    assert store.undo() == "Taken back: Removed tasting First"
    after = [store.all(cls) for cls in (Tasting, Taster, TastingAnswer)]
    assert [sorted(map(repr, each)) for each in after] == [sorted(map(repr, each)) for each in before]


def test_the_journal_names_glass_and_taster_but_not_what_was_said(store):
    filled(store)
    assert [change.sentence for change in store.changes(2)] == [
        "Added answer of Ana on glass 482",
        "Added answer of Ana on glass 351",
    ]


def test_an_export_holds_tastings_and_gives_them_back(store, tmp_path):
    filled(store)
    transfer.export_cellar(store, tmp_path / "out")
    with Store.in_memory() as other:
        transfer.import_cellar(other, tmp_path / "out")
        for cls in (Tasting, Taster, TastingAnswer):
            assert sorted(map(repr, other.all(cls))) == sorted(map(repr, store.all(cls)))
        assert other.all(Taster)[0].token == store.all(Taster)[0].token


def test_addresses_are_long_and_told_nowhere_by_accident():
    one, other = (Taster(tasting_id="t", name="Ana", served=(0, 1)) for _ in range(2))
    assert one.token != other.token
    assert len(one.token) >= 22  # 128 bits in base64
    assert one.token not in repr(one)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"arms": ARMS[:1], "glasses": (("351", 0),)}, "arms"),
        ({"method": "triangle", "arms": (*ARMS, ARMS[0]), "glasses": (("1", 0), ("2", 1), ("3", 2))}, "arms"),
        ({"arms": (("Amber", (("b1", 0.6),)), ARMS[1])}, "arms"),
        ({"arms": (("Amber", (("b1", 1.2), ("b2", -0.2))), ARMS[1])}, "arms"),
        ({"glasses": (("351", 0), ("351", 1))}, "glasses"),
        ({"glasses": (("351", 0), ("482", 0))}, "glasses"),
        ({"name": " "}, "name"),
        ({"method": "stars"}, "method"),
    ],
)
def test_a_tasting_that_makes_no_sense_is_refused(wrong, field):
    with pytest.raises(EntryError) as caught:
        tasting(**wrong)
    assert caught.value.field == field


@pytest.mark.parametrize("wrong", [{"score": 101.0}, {"score": -1.0}, {"rank": 0}, {"note": "x" * 501}])
def test_an_answer_out_of_range_is_refused(store, wrong):
    taster = filled(store)
    with pytest.raises(EntryError):
        answer(taster, "351", **wrong)


def test_an_answer_needs_its_taster(store):
    with pytest.raises(EntryError, match="there is no taster"):
        store.save(answer(Taster(tasting_id="t", name="Ana", served=(0,)), "351", score=50.0))
