"""Once for several vessels: a wort, an event, samples, a division, a merger."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.screens.several import choice, divide, events, merge, rows, samples, wort
from ingest.errors import EntryError
from ingest.model import BatchRecord, Device, EventRecord, HandSample, Placement, Vessel, Yeast
from tests.dashboard.conftest import opened

NOW = datetime.now(UTC).replace(microsecond=0)
HOUR = timedelta(hours=1)


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


def field(inputs, label, n=0):
    return [each for each in inputs if each.label.startswith(label)][n]


def press(shown, label):
    next(b for b in shown.button if b.label == label).click()
    shown.run()
    assert not shown.exception
    return shown


@pytest.fixture
def store(service):
    for n in (1, 2, 3):
        service.store.save(Vessel(vessel_id=f"v{n}", name=f"Jug {n}", volume_l=5.0))
    service.store.save(Device(device_id="float-1", kind="float"))
    return service.store


def common(**changed):
    return {
        "name": "Tuesday wort",
        "drink": "ale",
        "yeast": "Marrow",
        "pitched_at": NOW - HOUR,
        "original_gravity_sg": 1.05,
        "volume_l": 4.5,
        "dry_hops": 0.0,
        "notes": "",
        **changed,
    }


def row(n, vessel, yeast=None, volume=None, device=None):
    return rows.Row(n, vessel, yeast, volume, device)


def batch(store, vessel="v1", **facts):
    facts = {"name": "Harbour", "drink": "ale", "yeast": "Marrow", "pitched_at": NOW - 72 * HOUR, **facts}
    return store.save(BatchRecord(vessel_id=vessel, **facts))


def test_the_vessels_to_choose_from_stand_as_on_the_shelf_each_wort_together(store):
    for hours, vessel, lot in ((90, "v3", "Tuesday wort"), (80, "v2", None), (70, "v1", "Tuesday wort")):
        batch(store, vessel, name=lot or "Harbour", split_of=lot, pitched_at=NOW - hours * HOUR)
    shown = [choice.label(store, record) for record in choice.under_way(store)]
    assert shown == ["Jug 1: Tuesday wort", "Jug 3: Tuesday wort", "Jug 2: Harbour"]


def test_what_dividing_and_merging_do_is_said_before_a_batch_is_chosen(store, page):
    for vessel in ("v1", "v2"):
        batch(store, vessel)
    assert "Each part keeps all readings and entries up to the division" in html_of(page("several", part="divide"))
    assert "The others end; the one that you choose goes on" in html_of(page("several", part="merge"))


# One wort into many


def test_one_wort_goes_into_three_vessels_in_one_form_and_one_line_of_the_journal(store, page):
    before = len(store.changes())
    shown = page("several", part="wort")
    field(shown.number_input, "Into how many").set_value(3)
    shown.run()
    field(shown.text_input, "Name of the wort").set_value("Tuesday wort")
    field(shown.number_input, "Gravity before").set_value(1.05)
    field(shown.number_input, "Volume of each").set_value(4.5)
    for n in range(3):
        field(shown.selectbox, "Vessel", n).set_value(f"Jug {n + 1}")
    field(shown.selectbox, "Float").set_value(store.get(Device, "float-1"))
    field(shown.number_input, "Volume, L", 1).set_value(3.0)
    press(shown, "Add them all")
    made = store.active_batches()
    assert [(b.vessel_id, b.volume_l, b.split_of, b.original_gravity_sg) for b in made] == [
        ("v1", 4.5, "Tuesday wort", 1.05),
        ("v2", 3.0, "Tuesday wort", 1.05),
        ("v3", 4.5, "Tuesday wort", 1.05),
    ]
    assert [p.vessel_id for p in store.all(Placement, device_id="float-1")] == ["v1"]
    assert len(store.changes()) == before + 1
    store.undo()
    assert not store.active_batches()


def test_each_vessel_may_differ_by_yeast_and_a_new_vessel_is_made(store):
    made = wort.records(store, common(), [row(0, "Jug 1"), row(1, "Cellar jug", yeast="Dune"), row(2, "")])
    store.save_many(made, "Added")
    assert {b.yeast for b in store.active_batches()} == {"Marrow", "Dune"}
    assert {y.name for y in store.all(Yeast)} == {"Marrow", "Dune"}
    assert [v.name for v in store.all(Vessel)][-1] == "Cellar jug"


@pytest.mark.parametrize(
    ("asked", "where", "problem"),
    [
        ([row(0, "")], "vessel_id/0", "no vessel is chosen"),
        ([row(0, "Jug 1"), row(1, "jug 1")], "vessel_id/1", "stands in two rows"),
        ([row(0, "Jug 1"), row(1, "Jug 2", volume=-1.0)], "volume_l/1", "out of range"),
    ],
)
def test_what_is_wrong_in_a_row_is_said_beside_it(store, asked, where, problem):
    with pytest.raises(EntryError, match=problem) as wrong:
        wort.records(store, common(), asked)
    assert wrong.value.field == where


def test_a_vessel_that_is_taken_is_refused_beside_its_row(store):
    batch(store, "v2")
    with pytest.raises(EntryError, match="Jug 2 is taken by Harbour") as wrong:
        wort.records(store, common(), [row(0, "Jug 1"), row(1, "Jug 2")])
    assert wrong.value.field == "vessel_id/1"


def test_as_last_time_copies_plan_notes_and_hops_scaled_to_the_volume(store):
    last = batch(store, volume_l=20.0, plan={"dry_hops": 1, "crash_days": 2}, notes="mash at 66")
    store.save(
        EventRecord(
            batch_id=last.batch_id, kind="dry hop", at=NOW, amount_g=40.0, hop_variety="Brindle", hop_form="pellets"
        )
    )
    [made] = wort.records(store, common(volume_l=5.0, dry_hops=1.0, notes=last.notes), [row(0, "Jug 2")], last)[1:]
    assert made.plan["crash_days"] == 2
    assert made.plan["hops"] == [{"hop_variety": "Brindle", "hop_form": "pellets", "amount_g": 10.0}]
    assert made.notes == "mash at 66"
    assert made.split_of is None  # one vessel is no lot


def test_a_second_wort_of_the_same_name_is_another_lot(store):
    batch(store, "v3", split_of="Tuesday wort")
    made = wort.records(store, common(), [row(0, "Jug 1"), row(1, "Jug 2")])
    lots = {b.split_of for b in made if isinstance(b, BatchRecord)}
    assert len(lots) == 1
    assert lots != {"Tuesday wort"}


# One event, many samples


def test_one_event_is_logged_for_all_vessels_of_a_lot(store, page):
    three = [batch(store, f"v{n}", split_of="Tuesday wort" if n < 3 else None) for n in (1, 2, 3)]
    shown = page("several", part="event", lot="Tuesday wort")
    assert not any(b.label == "Log it for all" for b in shown.button)  # nothing is chosen that nobody chose
    field(shown.button_group, "What happened").set_value("crash")
    shown.run()
    press(shown, "Log it for all")
    assert [store.all(EventRecord, batch_id=b.batch_id, kind="crash") != [] for b in three] == [True, True, False]


def test_an_event_before_pitching_names_the_batch_that_refuses_it(store):
    chosen = [batch(store, "v1"), batch(store, "v2", name="Later", pitched_at=NOW - HOUR)]
    with pytest.raises(EntryError, match="Later: the time lies before pitching"):
        events.made("crash", chosen, NOW - 10 * HOUR, "", None)


def test_samples_of_many_are_typed_in_one_form_each_in_one_field(store, page):
    for n in (1, 2):
        batch(store, f"v{n}", name=f"Wort {n}")
    shown = page("several", part="samples")
    assert [f.label for f in shown.number_input] == ["Jug 1: Wort 1, SG", "Jug 2: Wort 2, SG"]
    field(shown.number_input, "Jug 2: Wort 2").set_value(1.02)
    press(shown, "Save the samples")
    [sample] = store.all(HandSample)
    assert (sample.value, sample.unit) == (1.02, "SG")


def test_a_sample_that_cannot_be_is_said_beside_its_vessel(store):
    record = batch(store)
    with pytest.raises(EntryError, match="out of range") as wrong:
        samples.made([(record, 1.9)], "SG", None)
    assert wrong.value.field == f"value/{record.batch_id}"


# Dividing and merging


def test_a_batch_is_divided_and_each_part_keeps_its_course(store, page):
    whole = batch(store, volume_l=10.0)
    store.save(HandSample(batch_id=whole.batch_id, at=NOW - 48 * HOUR, value=1.04))
    shown = page("several", part="divide", id=whole.batch_id)
    assert field(shown.selectbox, "Vessel").value == "Jug 1"  # what stays
    field(shown.selectbox, "Vessel", 1).set_value("Jug 2")
    press(shown, "Divide it")
    parts = store.parts_of(whole.batch_id)
    assert [p.vessel_id for p in parts] == ["v1", "v2"]
    assert {p.split_of for p in parts} == {"Harbour"}
    assert all(store.readings_of(p.batch_id).height == 1 for p in parts)
    assert store.get(BatchRecord, whole.batch_id).ended_at is not None
    store.undo()
    assert store.active_batches() == [whole]


def test_a_division_into_one_part_or_before_pitching_is_refused(store):
    whole = batch(store)
    with pytest.raises(EntryError, match="only one vessel"):
        divide.records(whole, NOW, [row(0, "Jug 1"), row(1, "")])
    with pytest.raises(EntryError, match="before pitching"):
        divide.records(whole, NOW - 100 * HOUR, [row(0, "Jug 1"), row(1, "Jug 2")])


def test_batches_are_merged_into_one_that_goes_on(store, service):
    into, other = batch(store, "v1", volume_l=10.0), batch(store, "v2", name="Rest", volume_l=2.0)
    store.save_many(merge.records(into, [other], NOW - HOUR), "Merged")
    ended = store.get(BatchRecord, other.batch_id)
    assert (ended.merged_into, ended.ended_at) == (into.batch_id, NOW - HOUR)
    [fed] = store.all(EventRecord, batch_id=into.batch_id)
    assert (fed.kind, fed.added, fed.amount_l) == ("feed", "another batch", 2.0)
    assert store.batch_in("v2") is None


# Hops as data


def test_hops_are_asked_for_when_they_are_logged_and_offered_again(store, page):
    record = batch(store, volume_l=20.0)
    store.save(EventRecord(batch_id=record.batch_id, kind="dry hop", at=NOW - HOUR, hop_variety="Brindle"))
    shown = page("several", part="event")
    field(shown.button_group, "What happened").set_value("dry hop")
    shown.run()
    assert "Brindle" in field(shown.selectbox, "Hop variety").options
    field(shown.selectbox, "Hop variety").set_value("Brindle")
    field(shown.number_input, "Amount").set_value(40.0)
    field(shown.number_input, "They stay in for").set_value(3.0)
    field(shown.button_group, "Which vessels").set_value([record.batch_id])
    press(shown, "Log it for all")
    hops = store.all(EventRecord, batch_id=record.batch_id)[-1]
    assert (hops.hop_variety, hops.amount_g, hops.contact_days) == ("Brindle", 40.0, 3.0)
    told = page("batch", id=record.batch_id)
    field(told.button_group, "More about").set_value("What was entered")
    told.run()
    # 40 g in 20 L, by hand.
    assert any(re.search("Brindle, 40(\\.0)? g, 2(\\.0+)? g/L", e.label.replace("\u202f", " ")) for e in told.expander)


def test_the_hops_of_last_time_stand_in_the_form_of_this_one(store, page):
    record = batch(store, plan={"dry_hops": 1, "hops": [{"hop_variety": "Osprey", "amount_g": 12.5}]})
    shown = opened(page("batch", id=record.batch_id), f"log event 0 {record.batch_id}")
    field(shown.button_group, "What has just").set_value("dry hop")
    shown.run()
    assert field(shown.selectbox, "Hop variety").value == "Osprey"
    press(shown, "The hops are in")
    [hops] = store.all(EventRecord, batch_id=record.batch_id)
    assert (hops.kind, hops.hop_variety, hops.amount_g) == ("dry hop", "Osprey", 12.5)


def test_an_amount_below_nothing_is_refused(store):
    record = batch(store)
    from dashboard.screens.batch import hop_form

    event = EventRecord(batch_id=record.batch_id, kind="dry hop", at=NOW)
    with pytest.raises(EntryError, match="below nothing"):
        hop_form.with_grams(event, -1.0)
    with pytest.raises(EntryError, match="out of range"):
        replace(event, contact_days=100.0)


# One float among many jugs


def test_two_taps_put_a_float_in_and_take_it_out_again(store, page):
    for n in (1, 2):
        batch(store, f"v{n}", batch_id=f"b{n}", name=f"Wort {n}")
    press(opened(page("batch", id="b1"), "move float 0 b1"), "Put float-1 in")
    assert store.floats_in("b1") == ["float-1"]
    press(opened(page("batch", id="b2"), "move float 0 b2"), "Put float-1 in")
    assert store.floats_in("b1") == []
    assert store.floats_in("b2") == ["float-1"]
    press(opened(page("batch", id="b2"), "move float 0 b2"), "Take float-1 out")
    assert store.floats_in("b2") == []
    stays = [(p.vessel_id, p.to_at is not None) for p in store.all(Placement)]
    assert stays == [("v1", True), ("v2", True)]


def test_among_two_hundred_floats_a_few_have_a_button_and_the_others_are_chosen_by_name(store, page):
    record = batch(store, "v1")
    store.save_many([Device(device_id=f"loose-{n:03}", kind="float") for n in range(200)], "Two hundred floats")
    shown = page("batch", id=record.batch_id)
    assert not any(b.label.startswith("Put ") for b in shown.button)  # to draw them for who only looks takes long
    shown = opened(shown, f"move float 0 {record.batch_id}")
    assert sum(b.label.startswith("Put ") for b in shown.button) == 6  # to draw them all took half of the page's time
    shown = next(s for s in shown.selectbox if s.label == "Another float").set_value("loose-150").run()
    press(shown, "Put loose-150 in")
    assert store.floats_in(record.batch_id) == ["loose-150"]


def test_a_part_leads_to_its_whole_and_the_whole_to_its_parts(store, page):
    whole = batch(store, batch_id="whole", volume_l=10.0)
    store.save_many(divide.records(whole, NOW - HOUR, [row(0, "Jug 1"), row(1, "Jug 2")]), "Divided")
    part = store.parts_of("whole")[1]
    assert "A part of" in html_of(page("batch", id=part.batch_id))
    told = html_of(page("batch", id="whole"))
    assert "Divided into" in told
    assert f"batch?id={part.batch_id}" in told


# -- one move


def test_one_move_takes_several_batches_into_their_vessels_as_one_entry(store, page):
    first, second = batch(store, "v1", name="One"), batch(store, "v2", name="Two")
    shown = page("several", part="move")
    for label, vessel in (("Jug 1: One", "v2"), ("Jug 2: Two", "v3")):
        next(s for s in shown.selectbox if s.label == label).set_value(vessel)
    press(shown, "Move them")
    assert [store.get(BatchRecord, b.batch_id).vessel_id for b in (first, second)] == ["v2", "v3"]
    assert len(store.all(EventRecord, kind="transfer")) == 2
    store.undo()
    assert [store.get(BatchRecord, b.batch_id).vessel_id for b in (first, second)] == ["v1", "v2"]


def test_a_move_of_none_is_refused(store, page):
    batch(store, "v1", name="One")
    assert "no batch has a new vessel" in html_of(press(page("several", part="move"), "Move them")).lower()
