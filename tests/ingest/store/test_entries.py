from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import EVENT_KINDS, Added
from ingest.errors import EntryError
from ingest.model import (
    BatchRecord,
    BatchStay,
    CalibrationRecord,
    Device,
    EventRecord,
    HandSample,
    Photo,
    Placement,
    Preferences,
    Rejection,
    TrialRecord,
    Vessel,
    Yeast,
)
from ingest.store.row_mapping import ENTRIES, from_row, to_json, to_row
from ingest.store.store import Store
from ingest.tastings import Taster, Tasting, TastingAnswer
from tests.examples import examples

T = datetime(2026, 3, 1, 10, tzinfo=UTC)
DAY = timedelta(days=1)

ONE_OF_EACH = (
    Device(device_id="float-1", kind="float", name="Old float", corrects_temperature=True, first_seen_at=T),
    Vessel(vessel_id="v1", name="Vessel 1", volume_l=23.5, temperature_low_c=17.0, temperature_from="float-1"),
    Yeast(yeast_id="y1", name="Märrow", attenuation_low=0.7, diastatic=True),
    BatchRecord(
        batch_id="b1", name="Harvest", vessel_id="v1", drink="cider", pitched_at=T, expected_low=0.9,
        plan={"contact_days": 4, "nested": {"a": [1, None]}}, notes="Ünïcode, 'quotes' and \n lines",
    ),
    Placement(placement_id="p1", device_id="float-1", vessel_id="v1", from_at=T, to_at=T + DAY),
    EventRecord(event_id="e1", batch_id="b1", kind="dry hop", at=T + DAY, amount_g=40.0, note="cold"),
    HandSample(sample_id="s1", batch_id="b1", at=T + DAY, value=12.0, unit="°P", reference="60/60 °F", degassed=False),
    CalibrationRecord(
        calibration_id="c1", device_id="float-1", kind="inclination", points=((25.0, 1.0), (40.0, 1.04), (55.0, 1.08))
    ),
    Preferences(quiet_from=time(22, 30), busy_dates=("2026-03-08",), hop_weekdays=(4, 5)),
    Photo(photo_id="f1", batch_id="b1", at=T + DAY, caption="the krausen", width_px=640, height_px=480),
    BatchStay(stay_id="st1", batch_id="b1", vessel_id="v1", from_at=T),
    Vessel(vessel_id="v2", name="Vessel 2"),
    BatchRecord(batch_id="b2", name="Harvest, right", vessel_id="v2", drink="cider", pitched_at=T),
    TrialRecord(
        trial_id="t1", name="Tüesday", question="Which is drier?", arms=(("Märrow", "b1"), ("Dune", "b2")), made_at=T,
        decides="tasting", differs="wood", equal="water", notes="two\n lines",
    ),
    Tasting(
        tasting_id="ta1", name="Wèlcome", at=T, arms=(("Märrow", (("b1", 1.0),)), ("Both", (("b1", 0.4), ("b2", 0.6)))),
        glasses=(("351", 0), ("482", 1)), allergens=("milk",), sulfites="added", trial_id="t1", ended_at=T + DAY,
    ),
    Taster(taster_id="te1", tasting_id="ta1", name="Ana", served=(1, 0), token="A" * 22, done_at=T + DAY),
    TastingAnswer(
        answer_id="te1/351", tasting_id="ta1", taster_id="te1", code="351", at=T, score=62.5, rank=2,
        aromas=("pear", "hëather"), note="dry, “good”\nand long",
    ),
)  # fmt: skip


@pytest.fixture
def store():
    with Store.in_memory() as opened:
        yield opened


@pytest.fixture
def cellar(store):
    for record in ONE_OF_EACH:
        store.save(record)
    return store


def everything(store: Store) -> dict[type, list[object]]:
    return {cls: sorted(store.all(cls), key=repr) for cls in ENTRIES}


def test_one_of_each_covers_every_kind_of_entry():
    assert {type(record) for record in ONE_OF_EACH} == set(ENTRIES)


@pytest.mark.parametrize("record", ONE_OF_EACH, ids=lambda r: type(r).__name__)
def test_a_record_survives_its_row_and_its_json(record):
    assert from_row(type(record), to_row(record)) == record
    assert from_row(type(record), to_json(record)) == record


def test_every_entry_is_found_again_after_the_cellar_was_closed(tmp_path):
    with Store.open(tmp_path) as store:
        for record in ONE_OF_EACH:
            assert store.save(record) == record
        before = everything(store)
    with Store.open(tmp_path) as store:
        assert everything(store) == before
        assert store.get(BatchRecord, "b1") == ONE_OF_EACH[3]
        assert store.all(EventRecord, batch_id="b1", kind="dry hop") == [ONE_OF_EACH[5]]
        assert store.preferences() == ONE_OF_EACH[8]


def test_what_was_added_survives_the_file_and_can_be_taken_back(tmp_path):
    with Store.open(tmp_path) as store:
        for record in ONE_OF_EACH[:4]:
            store.save(record)
        fed = EventRecord(
            event_id="e2", batch_id="b1", kind="feed", at=T + DAY, added="juice", amount_l=2.0, amount_unit="L",
            added_gravity_sg=1.046, added_abv_pct=0.0,
        )  # fmt: skip
        store.save(fed)
        store.save(replace(fed, amount_l=20.0))
    with Store.open(tmp_path) as store:
        assert store.get(EventRecord, "e2") == replace(fed, amount_l=20.0)
        store.undo()
        assert store.get(EventRecord, "e2") == fed
        [seen] = [e for e in store.batch("b1").events if e.kind == "feed"]
        assert seen.added == Added("juice", None, 2.0, 1.046, 0.0)
        store.undo()
        assert store.get(EventRecord, "e2") is None


def test_an_addition_that_cannot_be_is_refused(store):
    for wrong in ({"added": "lard"}, {"added_abv_pct": 140.0}, {"added_gravity_sg": 11.5}, {"amount_l": -1.0}):
        with pytest.raises(EntryError) as caught:
            EventRecord(batch_id="b1", kind="feed", at=T, **wrong)
        assert caught.value.field == next(iter(wrong))
    # An amount that means nothing is kept as it was entered, and counts as unknown.
    odd = EventRecord(batch_id="b1", kind="feed", at=T, added="honey", amount_g=0.0)
    assert odd.addition == Added("honey")


def test_preferences_have_defaults_until_someone_chooses(store):
    assert store.preferences() == Preferences()


def test_every_change_grows_the_revision_and_readings_do_not(cellar):
    before = cellar.revision
    cellar.save(ONE_OF_EACH[1])  # the same again: no change
    assert cellar.revision == before
    cellar.save(replace(ONE_OF_EACH[1], name="Other"))
    cellar.remove(ONE_OF_EACH[5])
    cellar.undo()
    assert cellar.revision == before + 3


def test_undo_takes_back_one_change_after_another_and_says_which(cellar):
    before = everything(cellar)
    cellar.save(replace(ONE_OF_EACH[1], name="Big vessel"))
    cellar.remove(ONE_OF_EACH[3])
    assert cellar.all(EventRecord) == cellar.all(HandSample) == []
    assert cellar.undo() == "Taken back: Removed batch Harvest in Big vessel"
    assert cellar.undo() == "Taken back: Changed vessel Big vessel"
    assert everything(cellar) == before
    assert [(c.sentence, c.undone) for c in cellar.changes(3)] == [
        ("Removed batch Harvest in Big vessel", True),
        ("Changed vessel Big vessel", True),
        ("Added answer of Ana on glass 351", False),
    ]
    for _ in ONE_OF_EACH:
        assert cellar.undo() is not None
    assert cellar.undo() is None
    assert all(not records for records in everything(cellar).values())


def test_undo_works_after_the_cellar_was_closed(tmp_path):
    with Store.open(tmp_path) as store:
        store.save(ONE_OF_EACH[0])
        store.remove(ONE_OF_EACH[0])
    with Store.open(tmp_path) as store:
        assert store.undo() == "Taken back: Removed device Old float"
        assert store.all(Device) == [ONE_OF_EACH[0]]


@given(
    st.lists(st.tuples(st.sampled_from(["save", "remove", "undo"]), st.integers(0, 2), st.integers(0, 3)), max_size=12)
)
@settings(max_examples=examples(15), deadline=None)
def test_memory_and_file_agree_after_any_changes(steps):
    with Store.in_memory() as store:
        for what, which, volume in steps:
            vessel = Vessel(vessel_id=f"v{which}", name=f"Vessel {which}", volume_l=1.0 + volume)
            match what:
                case "save":
                    store.save(vessel)
                case "remove":
                    store.remove(vessel)
                case _:
                    store.undo()
        remembered = everything(store)
        store._entries.recall()
        assert everything(store) == remembered


def test_many_entries_are_one_change(cellar):
    moved = [
        replace(ONE_OF_EACH[4], to_at=T + DAY / 2),
        Placement(device_id="float-1", vessel_id="v1", from_at=T + DAY / 2),
    ]
    before = everything(cellar)
    assert cellar.save_many(moved, "Moved the float") == 2
    assert cellar.undo() == "Taken back: Moved the float"
    assert everything(cellar) == before


def test_many_entries_are_checked_together_and_none_is_kept_where_one_is_refused(cellar):
    before = everything(cellar)
    with pytest.raises(EntryError, match="sits in Vessel 1 at that time"):
        cellar.save_many(
            [
                Vessel(vessel_id="v2", name="Vessel 2"),
                Placement(device_id="float-1", vessel_id="v2", from_at=T + DAY / 2),
            ],
            "Moved the float",
        )
    assert everything(cellar) == before
    newcomer = [Device(device_id="new", kind="probe"), Placement(device_id="new", vessel_id="v1", from_at=T)]
    assert cellar.save_many(newcomer, "Took up a probe") == 2  # the placement sees the device before it


@pytest.mark.parametrize(
    ("record", "field", "sentence"),
    [
        (Vessel(name="vessel 1"), "name", "another vessel named Vessel 1"),
        (Yeast(name="MÄRROW"), "name", "another yeast named Märrow"),
        (BatchRecord(name="B", vessel_id="v9", pitched_at=T), "vessel_id", "no vessel 'v9'"),
        (BatchRecord(name="B", vessel_id="v1", pitched_at=T + DAY), "vessel_id", "Vessel 1 is taken by Harvest"),
        (BatchRecord(name="B", vessel_id="v1", pitched_at=T - DAY), "vessel_id", "End that batch first"),
        (Placement(device_id="f9", vessel_id="v1", from_at=T), "device_id", "Add the device first"),
        (Placement(device_id="float-1", vessel_id="v9", from_at=T), "vessel_id", "Add the vessel first"),
        (Placement(device_id="float-1", vessel_id="v1", from_at=T, to_at=T), "to_at", "leaves before it came"),
        (
            Placement(device_id="float-1", vessel_id="v1", from_at=T + DAY / 2),
            "device_id",
            "Old float sits in Vessel 1",
        ),
        (EventRecord(batch_id="b9", kind="note", at=T), "batch_id", "Add the batch first"),
        (HandSample(batch_id="b1", at=T, value=1050), "value", "1050 SG is out of range. The usual range is 0.990"),
        (HandSample(batch_id="b1", at=T, value=12, unit="°Oe"), "unit", "a hydrometer reads in SG"),
        (HandSample(batch_id="b1", at=T, value=1.05, reference="warm"), "reference", "'warm' cannot be read"),
        (HandSample(batch_id="b1", at=T, value=1.05, temperature_c=90), "temperature_c", "at 0 to 60"),
        (
            CalibrationRecord(device_id="f9", kind="inclination", points=((1, 1), (2, 1.1))),
            "device_id",
            "Add the device",
        ),
        (
            CalibrationRecord(device_id="float-1", kind="inclination", points=((25, 1.0), (40, 1.05), (50, 1.02))),
            "points",
            "contradict one another",
        ),
    ],
)
def test_an_entry_that_contradicts_the_others_is_refused_beside_its_field(cellar, record, field, sentence):
    before = everything(cellar)
    with pytest.raises(EntryError, match=sentence) as refused:
        cellar.save(record)
    assert refused.value.field == field
    assert everything(cellar) == before


def test_batches_may_follow_one_another_in_a_vessel(cellar):
    cellar.save(replace(ONE_OF_EACH[3], ended_at=T + DAY))
    cellar.save(BatchRecord(name="Next", vessel_id="v1", pitched_at=T + DAY))
    assert len(cellar.all(BatchRecord, vessel_id="v1")) == 2


def test_a_vessel_that_holds_a_batch_stays(cellar):
    with pytest.raises(EntryError, match="Vessel 1 holds or held Harvest"):
        cellar.remove(ONE_OF_EACH[1])
    cellar.remove(ONE_OF_EACH[3])
    cellar.remove(ONE_OF_EACH[1])
    assert [v.vessel_id for v in cellar.all(Vessel)] == ["v2"]
    assert cellar.all(Placement) == []


def test_removing_what_is_not_there_changes_nothing(cellar):
    before = cellar.revision
    cellar.remove(Vessel(vessel_id="v9", name="Nowhere"))
    assert cellar.revision == before


def test_a_note_that_was_entered_is_undone_to_what_it_was():
    with Store.in_memory() as store:
        store.change_note("k", "one", "Wrote one")
        store.change_note("k", "two", "Wrote two")
        store.change_note("k", "two", "Wrote the same")
        assert [c.sentence for c in store.changes()] == ["Wrote two", "Wrote one"]
        assert store.undo() == "Taken back: Wrote two"
        assert store.get_note("k") == "one"
        store.change_note("k", None, "Removed it")
        assert store.get_note("k") is None
        store.undo()
        assert store.get_note("k") == "one"
        store.undo()
        assert store.get_note("k") is None


def test_undoing_one_change_leaves_a_later_one_of_somebody_else_alone():
    with Store.in_memory() as store:
        mine = store.save(Vessel(name="Mine"))
        [change] = store.changes()
        store.save(Vessel(name="Theirs"))
        assert store.undo(change.change_id) is None
        assert len(store.all(Vessel)) == 2
        store.undo()
        assert store.undo(change.change_id) == "Taken back: Added vessel Mine"
        assert mine not in store.all(Vessel)


def test_a_dismissal_leaves_entries_and_what_was_dealt_with_before_alone():
    bad = [
        Rejection(rejection_id=f"r{n}", topic="t", payload=bytes([n, 255]), received_at=T, faults=("a",))
        for n in range(3)
    ]
    with Store.in_memory() as store:
        store.keep([], bad)
        store.resolve_rejections(["r0"])
        revision = store.revision
        store.dismiss(["r0", "r1", "unheard of"], "Dismissed two")
        assert [r.rejection_id for r in store.rejections()] == ["r2"]
        store.undo()
        assert {r.rejection_id for r in store.rejections()} == {"r1", "r2"}
        assert {r.payload for r in store.rejections()} == {bad[1].payload, bad[2].payload}
        assert [r.rejection_id for r in store.rejections(resolved=True)] == ["r0"]
        assert store.revision == revision


def test_the_journal_tells_of_an_event_as_people_do(cellar):
    event = EventRecord(batch_id="b1", kind="dry hop", at=T + 2 * DAY)
    cellar.save(event)
    cellar.save(replace(event, amount_g=40.0))
    cellar.remove(event)
    assert [c.sentence for c in cellar.changes(3)] == [
        "Removed the dry hops of Harvest in Vessel 1",
        "Changed the dry hops of Harvest in Vessel 1",
        "Logged the dry hops of Harvest in Vessel 1",
    ]


@pytest.mark.parametrize("kind", [kind for kind in EVENT_KINDS if kind != "transfer"])
def test_each_kind_of_event_has_its_own_words_in_the_journal(cellar, kind):
    cellar.save(EventRecord(batch_id="b1", kind=kind, at=T + 2 * DAY))
    assert re.fullmatch(r"Logged the [a-z ]+ (of|to|on) Harvest in Vessel 1", cellar.changes(1)[0].sentence)
