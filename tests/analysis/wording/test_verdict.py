from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from analysis.display_units import THIN, DisplayUnits
from analysis.evidence import FloatOff, NothingYet, StoppedShort
from analysis.model import (
    EVENT_KINDS,
    PHASES,
    Assessment,
    Batch,
    Creep,
    Event,
    Forecast,
    PhaseSpan,
    Range,
    SetByHand,
    Trend,
)
from analysis.planning import BottlesWaitAgain, Obstacle, Release
from analysis.planning.constraints import Plan
from analysis.planning.outstanding import outstanding
from analysis.schemas import MARKED
from analysis.wording import (
    EVENT_WORDS,
    PHASE_WORDS,
    attenuation,
    curve_in_words,
    dates,
    ended_verdict,
    expected_finish,
    float_shows,
    how_sure,
    likely_gravity,
    next_day,
    offset_words,
    phase_word,
    phases_in_words,
    range_told,
    seen_attenuation,
    three_notions,
    verdict,
)
from analysis.wording.evidence import sentence
from dashboard.wording import voice_of
from ingest.model import Preferences
from tests.analysis.situations import free_day

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
SAY = voice_of(Preferences(time_zone="UTC"), NOW)


def forecast(middle_d: float, half_width_d: float, ceiling: float = 1.0) -> Forecast:
    chances = (0.0, 0.1 * ceiling, 0.5 * ceiling, 0.9 * ceiling, ceiling)
    offsets = (-2, -1, 0, 1, 2)
    return Forecast(tuple((NOW + timedelta(days=middle_d + half_width_d * k)).timestamp() for k in offsets), chances)


def assessed(phase: str, **facts) -> Assessment:
    values = {
        "now": NOW,
        "phase": phase,
        "finished": False,
        "stalled": False,
        "p_finished": None,
        "finish": None,
        "held_since": None,
        "held_h": 0.0,
        "hold_met": False,
        "gravity_sg": Range(1.0115, 1.012, 1.0125),
        "terminal_gravity_sg": None,
        "remaining_fall_sg": None,
        "original_gravity_sg": None,
        "apparent_attenuation": None,
        "temperature_c": 19.0,
        "evidence": (),
        "newest_reading_at": NOW,
    }
    return Assessment(**{**values, **facts})


def test_a_falling_batch_says_what_is_left_and_when_with_its_range():
    a = assessed("slowing", remaining_fall_sg=Range(0.0035, 0.004, 0.0045), finish=forecast(1.35, 0.6))
    assert verdict(a, 48, SAY) == (
        "Slowing down: about 4 points to go, likely done tomorrow evening (tomorrow morning to Friday morning)."
    )
    assert verdict(a, 48, SAY, brief=True) == "Slowing down: about 4 points to go, likely done tomorrow evening."


def test_a_wide_remaining_fall_is_said_as_a_range():
    a = assessed("active", remaining_fall_sg=Range(0.018, 0.026, 0.036), finish=forecast(6, 3))
    assert verdict(a, 48, SAY) == (
        "Still fermenting: 18 to 36 points to go, likely done Tuesday 1 Dec (Saturday to Friday 4 Dec)."
    )


def test_too_early_is_said_rather_than_a_guess():
    assert verdict(assessed("active"), 48, SAY) == "Still fermenting: too early to give a date."
    assert verdict(assessed("lag"), 48, SAY) == "No fall yet: too early to give a date."


def test_finished_and_held_are_two_things():
    likely = assessed("steady", p_finished=0.97, held_h=31.9)
    assert verdict(likely, 48, SAY) == f"Very likely done (97{THIN}%); held 31 of 48{THIN}h."
    done = assessed("finished", finished=True, p_finished=0.99, held_h=31.9)
    assert "held 31 of 48" in verdict(done, 48, SAY)
    ready = assessed("finished", finished=True, p_finished=0.99, held_h=61, hold_met=True)
    assert verdict(ready, 48, SAY) == f"Finished: the gravity has held at 1.012 for 61{THIN}h."


def test_an_end_that_seems_to_fall_is_not_called_plainly_finished():
    ended = assessed("finished", finished=True, hold_met=True, held_h=90.0, p_finished=0.93)
    falls = Trend(since_h=120.0, days=9.0, fall_sg_day=0.0001, error_sg_day=0.00006)
    said = verdict(replace(ended, trend=falls), 48, SAY)
    assert "by about 3 points a month" in said
    assert "93" in said
    assert not said.startswith("Finished")
    assert verdict(replace(ended, trend=replace(falls, fall_sg_day=0.00001)), 48, SAY).startswith("Finished")


def test_a_hold_is_never_rounded_up_to_what_was_asked():
    assert "held 47 of 48" in verdict(assessed("steady", p_finished=0.9, held_h=47.99), 48, SAY)


def test_standing_still_is_not_called_done_where_that_is_unlikely():
    text = verdict(assessed("steady", p_finished=0.2, held_h=10), 48, SAY)
    assert text.startswith("Standing still, but probably not done")


def test_chilled_is_not_finished():
    text = verdict(assessed("chilled", temperature_c=4.0), 48, SAY)
    assert text == (
        f"Chilled at 4.0{THIN}°C: it stands still because it is cold, which does not say that it has finished."
    )


def test_a_stall_says_how_far_above_its_end_it_stands():
    a = assessed("stalled", stalled=True, remaining_fall_sg=Range(0.006, 0.009, 0.012))
    assert verdict(a, 48, SAY) == "Stalled at 1.012, about 9 points above where it should end."


def test_renewed_fall_says_its_size_and_since_when():
    a = assessed("creeping", creep=Creep(Range(0.001, 0.002, 0.003), NOW - timedelta(hours=20)))
    assert verdict(a, 48, SAY) == "Falling again since yesterday afternoon: 1 to 3 points so far."


def test_no_readings_is_said_in_any_phase():
    assert verdict(assessed("lag", newest_reading_at=None), 48, SAY).startswith("No readings yet")


@pytest.mark.parametrize("phase", PHASES)
def test_every_phase_has_a_word_and_a_sentence_with_the_least_facts(phase):
    assert PHASE_WORDS[phase]
    text = verdict(assessed(phase, gravity_sg=None, temperature_c=None), 48, SAY)
    assert text.endswith(".")
    assert "None" not in text


@pytest.mark.parametrize("kind", EVENT_KINDS)
def test_every_event_has_a_word(kind):
    assert EVENT_WORDS[kind]


def test_a_finish_that_may_never_come_is_not_given_a_plain_date():
    may_stop_short = forecast(3, 1, ceiling=0.7)
    assert may_stop_short.p90 is None
    assert may_stop_short.when(0.7) == may_stop_short.last
    told = range_told(may_stop_short, SAY)
    assert told.startswith("Nine times out of ten after")
    assert f"30{THIN}%" in told
    assert range_told(forecast(3, 1), SAY).startswith("Eight times out of ten between")
    assert "if it goes on" in expected_finish(forecast(3, 1, ceiling=0.7), SAY)


def test_a_range_that_began_before_now_is_not_said_in_the_past():
    assert expected_finish(forecast(0.2, 1), SAY).startswith("perhaps done already, very likely by")
    assert expected_finish(forecast(-5, 1), SAY) == "likely done by now"


def test_a_stall_that_the_levels_do_not_show_is_not_said_to_move():
    told = {question: small for question, _, small in three_notions(assessed("stalled", stalled=True), 48, SAY)}
    assert "scatter" in told["Has it been seen to hold?"]
    assert "moves" not in told["Has it been seen to hold?"]


def test_the_three_notions_have_three_answers():
    a = assessed("steady", p_finished=0.93, finish=forecast(-0.5, 0.3), held_h=31, held_since=NOW - timedelta(hours=31))
    answers = {question: answer for question, answer, _ in three_notions(a, 48, SAY)}
    assert answers == {
        "When does it finish?": "Likely done by now",
        "Has it finished?": f"Very likely (93{THIN}%)",
        "Has it been seen to hold?": f"Held 31 of 48{THIN}h",
    }


def test_a_finish_after_which_a_last_point_may_come_says_so():
    a = assessed("finished", finished=True, p_finished=0.45, held_h=20)
    answers = {question: answer for question, answer, _ in three_notions(a, 48, SAY)}
    assert answers["Has it finished?"] == f"Yes, though one point may still come (45{THIN}%)"
    said = f"Done, though one point may still come (45{THIN}% that none does); held 20 of 48{THIN}h."
    assert verdict(a, 48, SAY) == said
    assert how_sure(a, SAY.units) == " (though one point may still come)"
    assert "though one point might still have come" in ended_verdict(a, 48, SAY)
    surer = assessed("finished", finished=True, p_finished=0.8, held_h=20)
    assert "point" not in verdict(surer, 48, SAY)
    assert how_sure(surer, SAY.units) == f" (80{THIN}%)"


def test_the_likely_gravity_is_not_taken_for_what_the_float_shows():
    at = Range(1.0105, 1.011, 1.0115)
    off = assessed("steady", gravity_sg=at, evidence=(FloatOff(0.0048, 1.011),))
    assert likely_gravity(off, SAY) == "1.011 (the float shows 1.016)"
    assert float_shows(off) == pytest.approx(1.0158)
    assert likely_gravity(assessed("steady", gravity_sg=at), SAY) == "1.011"
    assert likely_gravity(assessed("lag", gravity_sg=None), SAY) is None


def test_in_a_steep_fall_the_readings_of_the_last_hours_are_not_what_the_float_shows():
    at = [NOW - timedelta(hours=4 - n) for n in range(5)]
    falling = pl.DataFrame(
        {
            "measured_at": at,
            "gravity_sg": [1.031, 1.029, 1.027, 1.025, 1.023],
            "temperature_c": [19.0] * 5,
            "by_hand": [False] * 5,
            "set_aside": [None] * 5,
        },
        schema=MARKED,
    )
    active = assessed("active", gravity_sg=Range(1.022, 1.023, 1.024), marked=falling)
    assert likely_gravity(active, SAY) == "1.023"  # the median of those readings is 1.027


def test_the_picture_says_why_its_line_runs_beside_the_dots():
    low = assessed("active", evidence=(FloatOff(-0.0012, 1.020),))
    assert offset_words(low, SAY) == "Dots lie about 1 point low: the float's likely offset"
    assert "high" in (offset_words(assessed("active", evidence=(FloatOff(0.002, 1.020),)), SAY) or "")
    assert offset_words(assessed("active"), SAY) is None


def test_the_picture_says_why_also_where_its_line_runs_less_than_a_point_beside_the_dots():
    words = "Dots lie a little high: the float's likely offset, less than one point"
    assert offset_words(assessed("steady", beside_sg=0.0007), SAY) == words
    assert offset_words(assessed("steady", beside_sg=-0.0003), SAY) == words.replace("high", "low")
    assert offset_words(assessed("steady", beside_sg=0.0002), SAY) is None  # within the width of the line
    plato = replace(SAY, units=DisplayUnits(gravity_unit="°P"))
    assert "less than 0.3" in (offset_words(assessed("steady", beside_sg=0.0007), plato) or "")
    both = assessed("steady", beside_sg=0.0012, evidence=(FloatOff(0.0012, 1.020),))
    assert offset_words(both, SAY) == "Dots lie about 1 point high: the float's likely offset"
    set_by = SetByHand(NOW, 1.012, NOW)
    assert offset_words(assessed("steady", beside_sg=None, by_hand=set_by), SAY) is None
    before = offset_words(assessed("steady", beside_sg=-0.0007, by_hand=set_by), SAY)
    assert before == "Earlier dots lie a little low: the hand sample sets the float since Wed 25 Nov, 12:00"
    assert "about 2 points high" in (offset_words(assessed("steady", beside_sg=0.002, by_hand=set_by), SAY) or "")


def test_too_few_readings_are_no_phase():
    assert phase_word(assessed("lag", evidence=(NothingYet(1),))) == "Too early to say"
    assert phase_word(assessed("lag")) == "Not begun"


def test_no_attenuation_is_told_before_a_fall_was_seen():
    assert seen_attenuation(assessed("lag", apparent_attenuation=0.03)) is None
    assert seen_attenuation(assessed("active", apparent_attenuation=0.03)) == 0.03


def test_attenuation_beyond_a_hundred_percent_says_why():
    assert attenuation(1.07) == f"107{THIN}% (past 100{THIN}%, since alcohol is lighter than water)"
    assert attenuation(0.78) == f"78{THIN}%"


def test_a_finished_batch_has_no_finish_to_come():
    a = assessed("finished", finished=True, p_finished=0.8, finish=forecast(-0.5, 5), held_h=60)
    [(_, answer, _), *_] = three_notions(a, 48, SAY)
    assert answer == "Done by now, as far as can be told"


def test_what_has_slowed_down_and_has_no_date_is_not_too_early():
    a = assessed("slowing", remaining_fall_sg=Range(0.008, 0.013, 0.023))
    assert verdict(a, 48, SAY) == "Slowing down: 8 to 23 points to go, but the readings do not yet say when."


def test_one_with_too_few_readings_is_not_said_to_show_no_fall():
    assert verdict(assessed("lag", evidence=(NothingYet(1),)), 48, SAY).startswith("Too few readings yet")


def plan(**facts) -> Plan:
    return Plan(made_at=NOW, **facts)


BATCH = Batch(pitched_at=NOW - timedelta(days=6))
CLEARED = Release(at=NOW, held_h=60.0, hold_h=48.0, reading_age=timedelta(0), conditions=())


def test_both_dates_are_said_with_their_chance_and_reason():
    found = dates(
        plan(
            hop_day=date(2026, 11, 28),
            hop_chance=0.86,
            packaging_day=date(2026, 12, 1),
            packaging_chance=0.84,
            reason=free_day(date(2026, 11, 28)),
        ),
        BATCH,
        SAY,
    )
    assert [(what, when) for what, when, _ in found] == [
        ("Dry hop", f"Saturday, likely (86{THIN}%)"),
        ("Package", f"Tuesday 1 Dec, likely (84{THIN}%)"),
    ]
    assert found[1][2].startswith("Saturday 28 Nov is the first free day after")


def test_no_date_says_what_it_waits_for():
    [found] = dates(plan(blocked_by=Obstacle.END_UNKNOWN), BATCH, SAY)
    assert found == (
        "Package",
        "No day yet",
        "No date yet: the readings do not say where it will end.",
    )


def test_a_packaged_batch_has_no_plans():
    packaged = Batch(pitched_at=BATCH.pitched_at, events=(Event("package", NOW - timedelta(days=1)),))
    [(what, when, _)] = dates(plan(packaging_day=date(2026, 12, 1)), packaged, SAY)
    assert (what, when) == ("Packaged", "Yesterday")


def test_the_dates_of_a_batch_name_the_dose_that_is_still_to_come():
    hopped = replace(BATCH, drink="ale", events=(Event("dry hop", NOW),))
    found = dates(
        plan(
            hop_day=date(2026, 11, 27),
            hop_days=(date(2026, 11, 25), date(2026, 11, 27)),
            hops_out_day=date(2026, 11, 30),
            packaging_day=date(2026, 12, 2),
        ),
        hopped,
        SAY,
    )
    assert [(what, when) for what, when, _ in found] == [
        ("Hops went in", "Today"),
        ("Dry hop (dose 2 of 2)", "Friday"),
        ("Hops come out", "Monday"),
        ("Package", "Wednesday 2 Dec"),
    ]


def test_the_day_on_which_hops_come_out_is_named_also_where_that_is_packaging_day():
    hopped = replace(BATCH, drink="ale", events=(Event("dry hop", NOW),))
    both = plan(hop_days=(SAY.today(),), hops_out_day=date(2026, 11, 28), packaging_day=date(2026, 11, 28))
    assert [what for what, _, _ in dates(both, hopped, SAY)] == ["Hops went in", "Hops come out", "Package"]
    out = replace(hopped, events=(*hopped.events, Event("hops out", NOW)))
    assert [what for what, _, _ in dates(both, out, SAY)] == ["Hops went in", "Hops came out", "Package"]


def test_the_next_day_is_short_and_a_stalled_batch_has_none():
    a = assessed("slowing", finish=forecast(2, 1))

    def said(*events: Event, **days) -> str:
        return next_day(a, outstanding(plan(**days), replace(BATCH, events=events), today=SAY.today()), SAY)

    assert said(hop_day=date(2026, 11, 28)) == "Hops Sat"
    assert said(packaging_day=date(2026, 11, 25), release=CLEARED) == "Package today"
    assert said(packaging_day=date(2026, 11, 25)) == "Package once cleared"  # what must hold does not, whatever the day
    assert said() == "Done about Fri"
    hopped = Event("dry hop", NOW)
    after = {"hop_days": (SAY.today(),), "hops_out_day": date(2026, 11, 28)}
    assert said(hopped, packaging_day=date(2026, 11, 28), **after) == "Package Sat"
    assert said(hopped, packaging_day=date(2026, 11, 30), **after) == "Hops out Sat"
    assert said(hopped, hop_days=(SAY.today(), date(2026, 11, 27))) == "Hops Fri"
    assert said(Event("package", NOW), packaging_day=SAY.today()) == "Done about Fri"
    stalled = assessed("stalled", stalled=True, phases=(PhaseSpan("stalled", NOW - timedelta(days=3)),))
    assert next_day(stalled, (), SAY) == "Still since Sun 22 Nov"


def test_every_phase_is_told_with_its_day_also_where_the_picture_has_no_room_for_its_word() -> None:
    spans = tuple(PhaseSpan(p, NOW - timedelta(days=d)) for p, d in (("lag", 5), ("active", 4), ("steady", 1)))  # type: ignore[arg-type]
    assert phases_in_words(assessed("steady", phases=spans), SAY) == (
        "Not begun from 20 Nov, active from 21 Nov, steady from 24 Nov."
    )
    assert phases_in_words(assessed("lag", phases=spans[:1]), SAY) == ""


def test_a_date_for_a_cold_keg_names_the_later_one_of_bottles_beside_it() -> None:
    wait = BottlesWaitAgain(3.0, date(2026, 12, 1))
    made = plan(hop_day=date(2026, 11, 26), packaging_day=date(2026, 11, 29), cautions=(wait,))
    assert "That is for a keg that stays cold; bottles about Tuesday 1 Dec" in dates(made, BATCH, SAY)[-1][2]
    same = replace(made, cautions=(replace(wait, until=date(2026, 11, 29)),))
    assert "bottles" not in dates(same, BATCH, SAY)[-1][2]


# Checked by hand: 1.0344 is printed 1.034 and 1.0316 1.032, so that 2 points lie between them, not 2.8.
def test_a_difference_is_that_of_the_figures_as_they_are_printed() -> None:
    ends = {"gravity_sg": Range(1.034, 1.0344, 1.035), "terminal_gravity_sg": Range(1.030, 1.0316, 1.033)}
    stalled = assessed("stalled", stalled=True, remaining_fall_sg=Range(0.002, 0.0028, 0.004), **ends)
    assert verdict(stalled, 48, SAY) == "Stalled at 1.034, about 2 points above where it should end."
    assert "stopped about 2 points above the likely end of 1.032;" in sentence(
        StoppedShort(1.0344 - 1.0316, 1.0316, 0.9), DisplayUnits()
    )
    off = assessed("active", gravity_sg=Range(1.034, 1.0344, 1.035), evidence=(FloatOff(-0.0016, 1.0344),))
    assert likely_gravity(off, SAY) == "1.034 (the float shows 1.033)"
    assert offset_words(off, SAY) == "Dots lie about 1 point low: the float's likely offset"
    assert "reads about 1 point below" in sentence(off.evidence[0], DisplayUnits())
    wide = {"gravity_sg": Range(1.008, 1.0083, 1.009), "terminal_gravity_sg": Range(0.9952, 0.999, 1.0018)}
    falling = assessed("slowing", remaining_fall_sg=Range(0.0061, 0.010, 0.0136), **wide)
    assert verdict(falling, 48, SAY).startswith("Slowing down: 6 to 13 points to go")
    # 8.54 and 8.02 °P are printed 8.5 and 8.0.
    plato = DisplayUnits(gravity_unit="°P")
    assert plato.apart(float(plato.entered(8.54, "gravity")), float(plato.entered(8.02, "gravity"))) == f"0.5{THIN}°P"
    assert DisplayUnits().colder_by(16.24, 19.05) == f"{19.1 - 16.2:.1f}{THIN}°C"


def test_one_reading_has_not_stood_from_then_to_then() -> None:
    rows = pl.DataFrame(
        {"measured_at": [NOW], "gravity_sg": [1.014], "set_aside": [None]},
        schema={"measured_at": pl.Datetime("us", "UTC"), "gravity_sg": pl.Float64, "set_aside": pl.String},
    )
    assert curve_in_words(assessed("lag", marked=rows), SAY) == "One reading so far: 1.014 on Wed 25 Nov, 12:00."


def test_where_the_float_is_off_a_finish_tells_the_gravity_that_the_figures_beside_it_tell():
    a = assessed(
        "finished", finished=True, p_finished=0.99, held_h=61, hold_met=True, held_sg=1.009,
        gravity_sg=Range(1.012, 1.013, 1.014), evidence=(FloatOff(-0.004, 1.013),),
    )  # fmt: skip
    assert verdict(a, 48, SAY) == f"Finished: the gravity has held at 1.013 for 61{THIN}h."
    assert likely_gravity(a, SAY) == "1.013 (the float shows 1.009)"


@pytest.mark.parametrize("p_finished", [0.05, 0.6])
def test_what_has_very_unlikely_finished_is_not_said_to_be_done_by_now(p_finished):
    left = Range(0.0, 0.0001, 0.0004)
    over = assessed("slowing", remaining_fall_sg=left, finish=forecast(-2, 0.5), p_finished=p_finished)
    soon = assessed("slowing", remaining_fall_sg=left, finish=forecast(0.2, 0.6), p_finished=p_finished)
    unlikely = p_finished < 0.1
    for a, word in ((over, "by now"), (soon, "perhaps done already")):
        told = f"{verdict(a, 48, SAY)} {three_notions(a, 48, SAY)[0][1]} {verdict(a, 48, SAY, brief=True)}".lower()
        assert (word in told) != unlikely
    assert ("the readings still come down" in verdict(over, 48, SAY)) == unlikely
