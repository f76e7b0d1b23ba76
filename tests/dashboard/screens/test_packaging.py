from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.model import Event
from analysis.packaging import field_of, sheet
from analysis.packaging.follow_up import FollowUp
from dashboard.charts.palette import PALETTES
from dashboard.queries import queries
from dashboard.screens.batch import page as batch
from dashboard.screens.packaging import follow_up, inputs
from dashboard.screens.today import page as today
from dashboard.sheet import screen
from dashboard.ui import lots
from dashboard.ui.forms import scale
from dashboard.wording import voice_of
from ingest.errors import EntryError
from ingest.model import BatchRecord, EventRecord, Preferences, Vessel
from ingest.monitoring import with_follow_up
from tests.dashboard.conftest import says_until_saved

NOW = datetime.now(UTC).replace(microsecond=0)


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


def number(shown, label):
    return next(i for i in shown.number_input if i.label.startswith(label))


@pytest.fixture
def held(cellar):
    """A batch that has finished and held; what was typed on its sheet is forgotten afterwards."""
    record = cellar.batches["held"]
    yield record
    inputs.keep_changes(cellar.store, record.batch_id, {})


def open_sheet(page, cellar, record, **own):
    inputs.keep_changes(cellar.store, record.batch_id, own)
    return page("packaging", id=record.batch_id)


def test_without_a_batch_those_that_can_be_packaged_are_offered(cellar, page):
    text = html_of(page("packaging"))
    assert "Which batch do you package?" in text
    assert cellar.batches["held"].batch_id in text


def test_an_empty_cellar_is_led_to_set_up(empty, page):
    assert "Add one under Set up" in html_of(page("packaging"))


def test_the_verdict_waits_for_the_kind_of_package(cellar, held, page):
    shown = open_sheet(page, cellar, held)
    text = html_of(shown)
    assert all(says_until_saved(shown, label) for label in ("Into", "Altitude, m", "Drink"))
    assert "No verdict yet." in text
    assert "Say first whether it goes into bottles or kegs." in text


def test_before_there_are_figures_what_to_take_care_of_stands_in_their_place(cellar, held, page):
    def beside(shown):
        markups = [each for each in shown.get("bidi_component") if each.proto.component_name == "tunroom_markup"]
        return " ".join(json.loads(each.proto.json) for each in markups)

    shown = open_sheet(page, cellar, held)
    assert "Against oxygen" in beside(shown)
    assert "Against oxygen" not in html_of(shown)
    chosen = open_sheet(page, cellar, held, package="bottle")
    assert "Against oxygen" not in beside(chosen)
    assert html_of(chosen).count("Against oxygen") == 1


def test_the_sheet_is_filled_in_from_the_batch(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="bottle")
    assert number(shown, "Original gravity").value == pytest.approx(1.052, abs=0.002)
    assert number(shown, "Final gravity").value == pytest.approx(1.011, abs=0.002)
    finished = next(s for s in shown.selectbox if s.label == "Has it finished?")
    assert finished.value is True


def answering(monkeypatch, *first):
    """The batch's outlook is asked for in turn: these answers, then what is kept."""
    answers, real = list(first), queries.outlook_of
    monkeypatch.setattr(queries, "outlook_of", lambda batch_id: answers.pop(0) if answers else real(batch_id))


def test_a_sheet_opened_before_the_batch_was_judged_is_drawn_once_it_is(cellar, held, page, monkeypatch):
    answering(monkeypatch, None)
    shown = open_sheet(page, cellar, held, package="bottle")
    assert number(shown, "Final gravity").value == pytest.approx(1.011, abs=0.002)
    assert "Working out" not in html_of(shown)


def test_a_verdict_does_not_outlive_the_look_that_it_rests_on(cellar, held, page, monkeypatch):
    judged = cellar.service.outlooks.of(held.batch_id)
    unseen = replace(judged, assessment=replace(judged.assessment, finished=False, held_since=None))
    answering(monkeypatch, unseen)
    text = html_of(open_sheet(page, cellar, held, package="bottle", carbonation_volumes=2.4, bottle_rating_kpa=1000.0))
    assert "<strong>Caution</strong>" in text  # and not the stop of one that ferments


def test_the_cellars_altitude_fills_the_sheet(cellar, held, page):
    before = cellar.store.preferences()
    cellar.store.save(replace(before, altitude_m=620.0))
    try:
        assert number(open_sheet(page, cellar, held, package="bottle"), "Altitude").value == 620
    finally:
        cellar.store.save(before)
    assert number(open_sheet(page, cellar, held, package="bottle"), "Altitude").value is None


def test_bottles_without_a_hand_sample_get_at_most_caution(cellar, held, page):
    text = html_of(open_sheet(page, cellar, held, package="bottle", carbonation_volumes=2.4, bottle_rating_kpa=1000.0))
    assert "<strong>Caution</strong>" in text
    assert "hand sample" in text


def test_a_batch_that_still_ferments_is_stopped(cellar, page):
    record = cellar.batches["active"]
    text = html_of(open_sheet(page, cellar, record, package="bottle", carbonation_volumes=2.4))
    inputs.keep_changes(cellar.store, record.batch_id, {})
    assert "<strong>Stop</strong>" in text


def test_a_wrong_number_is_answered_beside_it_with_no_verdict_and_nothing_lost(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="bottle", carbonation_volumes=2.4)
    number(shown, "Volume").set_value(-5.0)
    shown.run()
    assert not shown.exception
    text = html_of(shown)
    assert "No verdict yet." in text
    assert "Usual is 1 to 2000\u202fL." in text
    assert number(shown, "Volume").value == -5.0
    assert number(shown, "Carbonation").value == pytest.approx(2.4)


def test_what_was_changed_is_there_again_after_a_reload(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="keg")
    number(shown, "Carbonation").set_value(2.6)
    shown.run()
    again = page("packaging", id=held.batch_id)
    assert number(again, "Carbonation").value == pytest.approx(2.6)
    assert inputs.own_changes(cellar.store, held.batch_id) == {"package": "keg", "carbonation_volumes": 2.6}


def test_a_number_typed_on_the_sheet_is_in_the_journal_and_can_be_undone(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="keg")
    number(shown, "Carbonation").set_value(2.6)
    shown.run()
    newest = cellar.store.changes(1)[0]
    assert newest.sentence == f"Changed “Package” and “Carbonation” on the sheet of {held.name}"  # one sitting
    assert cellar.store.undo() == f"Taken back: {newest.sentence}"
    assert inputs.own_changes(cellar.store, held.batch_id) == {}
    open_sheet(page, cellar, held, package="keg")
    assert number(page("packaging", id=held.batch_id), "Carbonation").value is None


def test_what_is_wrong_is_said_with_the_words_of_the_page(cellar, held, page):
    own = {"package": "bottle", "sulfite_ppm": 30.0, "carbonation_volumes": -3.0}
    text = html_of(open_sheet(page, cellar, held, **own))
    assert "Carbonation: \u22123\u00a0volumes cannot be used." in text
    assert "Sulfite counted as: it is missing" in text
    assert "Choose one: SO2, Potassium metabisulfite." in text
    assert "sulfite_" not in text
    assert "carbonation_" not in text


def test_packaged_batches_of_one_name_are_told_apart_by_day_and_vessel(service, page):
    for number, vessel in ((1, "Cask nine"), (2, "Cask ten")):
        kept = service.store.save(Vessel(name=vessel))
        pitched = NOW - timedelta(days=14)
        facts = {"vessel_id": kept.vessel_id, "pitched_at": pitched, "ended_at": NOW - timedelta(days=number)}
        record = service.store.save(BatchRecord(name="Split bitter", **facts))
        service.store.save(EventRecord(batch_id=record.batch_id, kind="package", at=NOW - timedelta(days=number)))
    text = html_of(page("packaging"))
    assert text.count("<b>Split bitter</b>") == 2
    assert "packaged yesterday, from Cask nine" in text
    assert "from Cask ten" in text


def test_a_number_put_back_to_the_batchs_own_is_no_longer_a_change(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="keg")
    own = number(shown, "Final gravity").value
    number(shown, "Final gravity").set_value(1.020)
    shown.run()
    assert inputs.own_changes(cellar.store, held.batch_id)["final_gravity_sg"] == pytest.approx(1.020)
    next(b for b in shown.button if b.label == "Take the batch's own figures again").click()
    shown.run()
    assert inputs.own_changes(cellar.store, held.batch_id) == {}
    assert number(page("packaging", id=held.batch_id), "Final gravity").value == pytest.approx(own)


def test_a_keg_above_its_rating_is_stopped(cellar, held, page):
    own = {"package": "keg", "carbonation_volumes": 4.0, "serving_c": 25.0, "keg_rating_kpa": 200.0}
    text = html_of(open_sheet(page, cellar, held, **own))
    assert "<strong>Stop</strong>" in text
    assert "above the keg&#39;s rating" in text


SOUND_KEG = {
    "package": "keg",
    "drink": "ale",
    "original_gravity_sg": 1.050,
    "final_gravity_sg": 1.011,
    "remaining_fall_sg": 0.0005,
    "carbonation_volumes": 2.4,
    "serving_c": 6.0,
    "finished": True,
    "hold_met": True,
    "hand_sample": True,
    "keg_rating_kpa": 900.0,
}


def test_a_keg_gets_go_only_with_everything_seen():
    assert screen.light(sheet(SOUND_KEG), (), Preferences()) == ("go", [])
    cold = {**SOUND_KEG, "storage_c": 8.0}  # where it is warmer, a keg of unknown rating is a stop
    for key in ("finished", "hold_met", "hand_sample", "keg_rating_kpa", "remaining_fall_sg", "serving_c"):
        given = {**cold, key: None}
        word, reasons = screen.light(sheet(given), (), Preferences())
        assert word == "caution", key
        assert len(reasons) == 1, key
    for key in ("drink", "final_gravity_sg"):
        given = {**cold, key: None}
        assert screen.light(sheet(given), (), Preferences())[0] == "stop", key


def test_a_refusal_turns_any_verdict_into_stop():
    too_much = {"jurisdiction": "EU", "sulfite_ppm": 60, "sulfite_as": "so2"}
    word, reasons = screen.light(sheet({**SOUND_KEG, **too_much}), (), Preferences())
    assert word == "stop"
    assert reasons[0].startswith("60 mg/L of SO2 is at or over the limit")


def test_the_word_safe_never_stands_on_the_sheet(cellar, held, page):
    own = {"package": "bottle", "carbonation_volumes": 2.4, "bottle_rating_kpa": 1000.0, "hand_sample": True}
    text = html_of(open_sheet(page, cellar, held, **own)).casefold()
    assert " safe" not in text


@pytest.mark.parametrize(
    ("text", "shares"),
    [
        ("", None),
        ("Brindle", {"Brindle": 1.0}),
        ("Brindle 2, Osprey 1", {"Brindle": 2.0, "Osprey": 1.0}),
        ("Grey Heron 1.5", {"Grey Heron": 1.5}),
        ("Grey Heron", {"Grey Heron": 1.0}),
        ("Brindle 2,5, Osprey 1", {"Brindle": 2.5, "Osprey": 1.0}),
        ("Brindle 2,Osprey 12,25", {"Brindle": 2.0, "Osprey": 12.25}),
        ("Brindle nan", {"Brindle nan": 1.0}),
    ],
)
def test_a_blend_is_read_as_people_write_it(text, shares):
    assert inputs.parsed_shares(text) == shares


def test_a_share_of_nothing_is_refused():
    with pytest.raises(EntryError, match="the share of Brindle is 0"):
        inputs.parsed_shares("Brindle 0")
    assert inputs.parsed_shares("glucose monohydrate 2, honey", "priming_shares") == {
        "glucose monohydrate": 2.0,
        "honey": 1.0,
    }
    with pytest.raises(EntryError, match="Write such as sucrose 2, honey 1") as error:
        inputs.parsed_shares("honey 0", "priming_shares")
    assert error.value.field == "priming_shares"


# After packaging


def test_logging_the_packaging_ends_the_batch(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="keg")
    next(b for b in shown.button if b.label == "Log it and end the batch").click()
    shown.run()
    assert not shown.exception
    assert cellar.store.get(BatchRecord, held.batch_id).ended_at is not None
    assert "Open a test bottle" in html_of(shown)
    cellar.store.undo()
    assert cellar.store.get(BatchRecord, held.batch_id) == held


def test_a_gushing_test_bottle_warns_for_the_rest_of_the_lot_and_teaches_the_next(cellar, page):
    ended = cellar.batches["ended Marrow"]
    shown = page("packaging", id=ended.batch_id)
    next(s for s in shown.selectbox if s.label == "It was").set_value("gushing")
    next(b for b in shown.button if b.label == "Save what it showed").click()
    shown.run()
    assert not shown.exception
    assert "Warning for the rest of the lot" in html_of(shown)
    held = cellar.batches["held"]  # the same yeast
    assert [f.result for f in follow_up.earlier(cellar.store, held)] == ["gushing"]
    outlook = cellar.outlooks.of(held.batch_id)
    assert inputs.from_batch(cellar.store, outlook)["remaining_fall_sg"] >= 0.003
    cellar.store.undo()


def test_a_lot_that_burst_is_told_wherever_its_wort_or_yeast_went(cellar, page):
    ended, held, say = cellar.batches["ended Marrow"], cellar.batches["held"], queries.voice()
    assert today.lot_lines(say) == ""
    shown = page("packaging", id=ended.batch_id)
    next(s for s in shown.selectbox if s.label == "It was").set_value("burst")
    next(b for b in shown.button if b.label == "Save what it showed").click()
    shown.run()
    told = html_of(shown)
    assert f"{ended.name}: a bottle burst." in told
    assert "Why is not known" not in told  # nor is it said: what may be behind is listed
    for cause in ("Too much priming sugar", "A diastatic or wild yeast", "Bacteria", "Glass that was weak"):
        assert cause in told
    assert f"id={held.batch_id}" in told  # among those in doubt
    assert "tunroom does not know where packages went" in told
    lines, head = today.lot_lines(say), batch.verdict_html(cellar.outlooks.of(held.batch_id), say)
    for text in (lines, head, html_of(page("packaging", id=held.batch_id))):
        assert f"A bottle of {ended.name} burst" in text
    # A good bottle afterwards takes nothing back; only a person's word quiets the first screen.
    record = cellar.store.get(BatchRecord, ended.batch_id)
    cellar.store.save(replace(record, plan=with_follow_up(record, FollowUp("right", say.today()))))
    assert today.lot_lines(say) == lines
    shown = page("packaging", id=ended.batch_id)
    assert "any of the other bottles may burst too" in html_of(shown)
    next(b for b in shown.button if "found and looked after" in b.label).click()
    shown.run()
    assert today.lot_lines(say) == ""
    assert f"A bottle of {ended.name} burst" in batch.verdict_html(cellar.outlooks.of(held.batch_id), say)
    for _ in range(3):
        cellar.store.undo()


def test_a_test_bottle_is_waited_for_a_week_after_packaging(service, page):
    store = service.store
    vessel = store.save(Vessel(name="Vessel 1"))
    done = NOW - timedelta(days=3)
    record = store.save(
        BatchRecord(name="Harbour Pale", vessel_id=vessel.vessel_id, pitched_at=NOW - timedelta(days=20), ended_at=done)
    )
    store.save(EventRecord(batch_id=record.batch_id, kind="package", at=done))
    assert "Harbour Pale" in html_of(page("packaging"))
    store.save(replace(record, plan={"follow_up": FollowUp("right", done.date()).as_dict()}))
    assert "Harbour Pale" not in html_of(page("packaging"))


def test_the_picture_follows_the_pages_colours():
    answer = sheet({"package": "bottle", "carbonation_volumes": 2.4})
    light, dark = (screen.picture_html(answer, Preferences(), edition) for edition in ("light", "dark"))
    assert PALETTES["light"].inferred in light
    assert PALETTES["dark"].inferred in dark
    assert PALETTES["light"].ink not in dark


def test_percent_and_points_are_what_the_person_reads():
    mine = voice_of(Preferences(gravity_unit="SG"))
    fall = scale(field_of("remaining_fall_sg").quantity, mine)
    assert (fall.unit, fall.shown(0.004), fall.kept(4.0)) == ("points", pytest.approx(4.0), pytest.approx(0.004))
    share = scale(field_of("expected_low").quantity, mine)
    assert (share.unit, share.shown(0.75)) == ("%", 75.0)


def test_only_what_matters_for_the_package_is_asked(cellar, held, page):
    def labels(**own):
        shown = open_sheet(page, cellar, held, **own)
        return {each.label.split(",")[0] for each in shown.number_input}

    bottles, kegs = labels(package="bottle"), labels(package="keg")
    assert "Bottle rated for" in bottles - kegs
    assert "Keg rated for" in kegs - bottles
    assert "Strength of the priming juice" not in bottles
    assert "Strength of the priming juice" in labels(package="bottle", priming_sugar="fruit juice")


def test_the_answer_stands_in_a_line_of_its_own_with_the_step_that_is_open(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="bottle", carbonation_volumes=2.4, bottle_rating_kpa=1000.0)
    asked = inputs.sheet({"package": "bottle"})
    line = screen.answer_line_html("stop", asked, Preferences())
    assert 'role="status"' in line
    assert "<b>Stop</b>" in line
    assert "Priming sugar" not in line  # nothing is told that is not known
    press_next = next(b for b in shown.button if b.label == "Next: Batch")
    press_next.click()
    shown.run()
    assert any(b.label == "Back: Carbonation" for b in shown.button)
    rule = next(str(h.value) for h in shown.get("html") if "display: none" in str(h.value))
    assert ".st-key-step-carbonation" in rule
    assert ".st-key-step-batch" not in rule


def test_a_number_that_was_emptied_stays_empty_also_after_a_reload(cellar, held, page):
    shown = open_sheet(page, cellar, held, package="bottle")
    assert number(shown, "Final gravity").value is not None
    number(shown, "Final gravity").set_value(None).run()
    number(shown, "Carbonation").set_value(2.4).run()
    assert number(shown, "Final gravity").value is None
    again = page("packaging", id=held.batch_id)
    assert number(again, "Final gravity").value is None
    assert inputs.own_changes(cellar.store, held.batch_id)["final_gravity_sg"] is None


def test_two_windows_on_one_sheet_keep_what_each_entered(cellar, held, page):
    mine, other = (open_sheet(page, cellar, held, package="bottle") for _ in range(2))
    number(other, "Original gravity").set_value(1.061).run()
    number(mine, "Carbonation").set_value(2.4).run()
    own = inputs.own_changes(cellar.store, held.batch_id)
    assert (own["original_gravity_sg"], own["carbonation_volumes"]) == (1.061, 2.4)
    assert number(mine, "Original gravity").value == 1.061


def test_a_field_of_a_sheet_that_both_windows_changed_is_told_with_both_values(cellar, held, page):
    mine, other = (open_sheet(page, cellar, held, package="bottle", carbonation_volumes=2.0) for _ in range(2))
    number(other, "Carbonation").set_value(2.6).run()
    number(mine, "Carbonation").set_value(2.4).run()
    assert inputs.own_changes(cellar.store, held.batch_id)["carbonation_volumes"] == 2.6
    assert number(mine, "Carbonation").value == 2.6
    text = html_of(mine)
    assert "it now says 2.60 volumes; your value was 2.40 volumes" in text
    number(mine, "Carbonation").set_value(2.4).run()
    assert inputs.own_changes(cellar.store, held.batch_id)["carbonation_volumes"] == 2.4


def test_what_is_changed_on_a_sheet_in_one_sitting_is_one_line_and_goes_back_as_one(cellar, held, page):
    shown = open_sheet(page, cellar, held)
    lines = len(cellar.store.changes(1000))
    number(shown, "Original gravity").set_value(1.061).run()
    number(shown, "Final gravity").set_value(1.014).run()
    [line] = cellar.store.changes(1000)[: len(cellar.store.changes(1000)) - lines]
    assert line.sentence == f"Changed “Original gravity” and “Final gravity” on the sheet of {held.name}"
    cellar.store.undo()
    assert inputs.own_changes(cellar.store, held.batch_id) == {}


def test_packages_of_a_batch_that_had_not_ended_are_warned_of_until_one_was_opened(cellar):
    say = queries.voice()
    seen = cellar.outlooks.of(cellar.batches["active"].batch_id)
    packaged = Event(kind="package", at=NOW)
    early = replace(seen, batch=replace(seen.batch, events=(*seen.batch.events, packaged)))
    assert "may build pressure until it bursts" in lots.early_html(early, say)
    assert lots.early_html(seen, say) == ""
    ended = replace(early, record=replace(seen.record, ended_at=NOW))
    assert 'role="alert"' in batch.verdict_html(ended, say)
    opened = replace(seen.record, plan=with_follow_up(seen.record, FollowUp("right", NOW.date(), "")))
    assert lots.early_html(replace(early, record=opened), say) == ""
