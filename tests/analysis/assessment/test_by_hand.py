from __future__ import annotations

import importlib
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from analysis import assess
from analysis.display_units import DisplayUnits
from analysis.model import Batch, Event
from analysis.wording import Voice, curve_in_words, gravity_rule, likely_gravity, offset_words, sentences, verdict

PITCHED = datetime(2026, 3, 2, 10, tzinfo=UTC)
END_SG = 1.0155


def at(hours: float) -> datetime:
    return PITCHED + timedelta(hours=hours)


def readings(sample_h: float, *, float_off_sg: float = 0.0, sample_sg: float = END_SG) -> pl.DataFrame:
    """A float over six days, and one hand sample; a float that is set by it has no offset."""
    hours = np.arange(0.0, 144.0, 0.5)
    noise = np.random.default_rng(3).normal(0.0, 0.0003, hours.size)
    gravity = END_SG + 0.038 / (1.0 + np.exp((hours - 30.0) / 9.0)) + float_off_sg + noise
    rows = [(at(float(h)), float(g), False) for h, g in zip(hours, gravity, strict=True)]
    rows.append((at(sample_h), sample_sg, True))
    return pl.DataFrame(
        {
            "measured_at": pl.Series([r[0] for r in rows], dtype=pl.Datetime("us", "UTC")),
            "gravity_sg": [r[1] for r in rows],
            "temperature_c": [20.0] * len(rows),
            "by_hand": [r[2] for r in rows],
        }
    ).sort("measured_at")


def judged(frame: pl.DataFrame, *events: Event):
    batch = Batch(pitched_at=PITCHED, drink="ale", original_gravity_sg=1.050, events=events)
    said = assess(frame, batch, now=at(143.6))
    return said, Voice(DisplayUnits(), ZoneInfo("UTC"), said.now)


def test_after_a_hand_sample_every_place_tells_one_gravity():
    said, voice = judged(readings(142.0))
    line = float(np.interp(143.6, _hours(said.course["at"]), said.course["gravity_p50_sg"]))
    assert abs(said.gravity_sg.p50 - END_SG) < 0.0003
    assert abs(line - END_SG) < 0.0003
    figure = voice.gravity(said.gravity_sg.p50)
    assert likely_gravity(said, voice) == figure
    assert f"held at {figure} for" in verdict(said, 48.0, voice)
    assert f"to {figure} on" in curve_in_words(said, voice)
    assert gravity_rule(said, voice) == (
        "By the hand sample of Sun 8 Mar, 08:00: it sets what the float read since Mon 2 Mar, 10:00, and from then on."
    )


def test_what_is_still_to_fall_does_not_change_with_the_gravity_that_is_told(monkeypatch):
    said, _ = judged(readings(142.0))
    module = importlib.import_module("analysis.assessment.assess")
    monkeypatch.setattr(module, "moved_onto_readings", lambda posterior, *_: posterior)
    inferred, _ = judged(readings(142.0))
    assert inferred.gravity_sg.p50 < END_SG - 0.001  # else there is nothing to move
    assert said.remaining_fall_sg == inferred.remaining_fall_sg
    assert (said.finish, said.finished, said.p_finished) == (inferred.finish, inferred.finished, inferred.p_finished)
    assert said.course["gravity_p50_sg"][0] == pytest.approx(inferred.course["gravity_p50_sg"][0])


def test_hops_after_a_sample_leave_it_standing_and_say_that_they_may_shift_the_float():
    said, voice = judged(readings(138.0), Event(kind="dry hop", at=at(140.0)))
    assert abs(said.gravity_sg.p50 - END_SG) < 0.0005
    assert gravity_rule(said, voice).endswith(
        "Hops went in after it and may have shifted the float: a new sample settles it."
    )


def test_a_sample_after_the_hops_sets_the_float_since_them():
    said, voice = judged(readings(142.0), Event(kind="dry hop", at=at(140.0)))
    assert abs(said.gravity_sg.p50 - END_SG) < 0.0005
    assert "since Sun 8 Mar, 06:00" in gravity_rule(said, voice)
    # It has settled how far the float is off, also where that shows before the hops: nothing asks for another.
    earlier = (pl.col("measured_at") < at(140.0)) & ~pl.col("by_hand")
    off = readings(142.0).with_columns(gravity_sg=pl.col("gravity_sg") - pl.when(earlier).then(0.002).otherwise(0.0))
    said, voice = judged(off, Event(kind="dry hop", at=at(140.0)))
    assert not said.by_hand.why_not
    assert "a hand sample settles it" not in " ".join(sentences(said.evidence, voice.units))


def test_a_sample_before_an_addition_does_not_count_and_says_why():
    said, voice = judged(readings(120.0), Event(kind="float moved", at=at(130.0)))
    assert said.by_hand.why_not == "float moved"
    assert gravity_rule(said, voice) == (
        "The hand sample of Sat 7 Mar, 10:00 was taken before “float moved or cleaned”, so it says nothing of the "
        "gravity since: take another."
    )


def test_a_sample_that_did_not_set_the_float_is_told_apart_from_it():
    said, voice = judged(readings(142.0, sample_sg=END_SG - 0.003))
    assert said.by_hand.why_not == "float apart"
    assert "does not set the float" in gravity_rule(said, voice)


def _hours(times: pl.Series) -> np.ndarray:
    return (times.dt.epoch("us").to_numpy() / 1e6 - PITCHED.timestamp()) / 3600.0


@pytest.mark.parametrize("off_sg", [0.0, 0.0006, -0.0006])
def test_how_far_the_dots_lie_beside_the_line_is_what_a_picture_shows(off_sg):
    frame = readings(142.0, float_off_sg=off_sg).filter(~pl.col("by_hand"))
    said, _ = judged(frame)
    newest = said.marked.filter(pl.col("measured_at") > at(143.6 - 12.0), pl.col("set_aside").is_null())
    line = np.interp(_hours(newest["measured_at"]), _hours(said.course["at"]), said.course["gravity_p50_sg"])
    above = newest["gravity_sg"].to_numpy() - line
    one_side = max((above > 0).mean(), (above < 0).mean())
    assert (said.beside_sg is not None) == (one_side >= 0.75)
    if said.beside_sg is not None:
        assert said.beside_sg == pytest.approx(float(np.median(above)), abs=1e-4)
    assert one_side >= 0.75 or abs(off_sg) < 0.0005  # so that this has seen dots beside the line


def test_dots_from_before_a_sample_sets_the_float_are_told_to_lie_beside_the_line():
    low, right = readings(142.0, float_off_sg=-0.002), readings(142.0)
    before = pl.col("measured_at") < at(140.0)
    frame = pl.concat([low.filter(before), right.filter(~before)])
    said, voice = judged(frame, Event(kind="dry hop", at=at(140.0)))
    assert said.by_hand is not None
    assert said.by_hand.since == at(140.0)
    assert said.beside_sg == pytest.approx(-0.002, abs=0.0008)
    assert (offset_words(said, voice) or "").startswith("Earlier dots lie about")
