"""Evidence and advice in the reader's units: nobody who chose °P or °F meets SG or °C."""

from __future__ import annotations

import re
import typing

import pytest

from analysis import evidence as kinds
from analysis.display_units import DisplayUnits
from analysis.evidence import Advice, Evidence
from analysis.wording.evidence import advice_sentences, sentence, sentences

METRIC = DisplayUnits()
OTHER = DisplayUnits("°P", "°F", "psi")

ONE_OF_EACH: tuple[Evidence, ...] = (
    kinds.NothingYet(0),
    kinds.Moved(51, -0.0002, 0.0001, 48.0, True, 1.012),
    kinds.FellSince(0.0031, 380.0, True, 1.010),
    kinds.Attenuated(0.75, 0.72, 0.78, "within", 0, 3, True),
    kinds.StillToFall(0.001, 0.83, 0.0001, 0.0004, 0.0011, 1.012),
    kinds.TooCold(4.1, 15.0),
    kinds.TailTakes(1.5, 1),
    kinds.TemperatureToCome(-2.0),
    kinds.StoppedShort(0.008, 1.010, 0.9),
    kinds.StandsByCurve(45.0, 20),
    kinds.Crept(0.0012, 1.010),
    kinds.FloatOff(0.0021, 1.011),
    kinds.SlowFall(0.00016, 0.00002, 12.0, 0.0019, True, 60.0, 0.0096, 1.007),
    kinds.SlowFall(0.00016, 0.00009, 6.0, 0.0009, False, 60.0, 0.0096, 1.008),
    kinds.AllExtract(1.085, 1.121, 2.0),
    kinds.AdditionDiffers(0.020, 0.0021, 60.0, 1.011),
    kinds.AdditionByReadings(("how much was added", "the volume of the batch"), -0.0021, 20.0, 1.011),
    kinds.NotJudged(),
    kinds.NotBegun(70.0, 1.051),
    kinds.Silent(180.0),
    kinds.ColdForIt(12.0, 16.0, 23.0, "ale", 18.0),
    kinds.EvenFall(0.0004, 336.0),
    kinds.Swings(0.0035, 70.0),
    kinds.SameFigure(335.0, 1.032),
    kinds.CannotBe(0.980, 1.050, above=False),
    kinds.CannotBe(1.170, 1.050, above=True),
    kinds.Attenuated(1.07, 0.9, 1.1, "within", 0, 0, False),
)


def test_every_kind_is_tried_here() -> None:
    assert {type(one) for one in ONE_OF_EACH} == set(typing.get_args(Evidence))


def test_sg_and_celsius_are_said_with_their_digits() -> None:
    told = [text.replace("\u202f°", " °") for text in sentences(ONE_OF_EACH, METRIC)]
    assert told[1] == "Over the last 51 h the gravity moved by 0.0002 ± 0.0001 SG (of at least 48 h asked)."
    assert told[2].startswith("It has fallen by 3.1 points since it was called finished about 16 days ago.")
    assert told[3] == (
        "75\u202f% apparent attenuation so far; within the 72\u202f% to 78\u202f% to expect by your earlier 3"
        " batches of this drink and by the range you gave."
    )
    assert told[4] == (
        "Chance that less than 0.001 SG is left: 83\u202f%; still to fall: 0.0004 SG (0.0001 to 0.0011)."
    )
    assert told[5].startswith("At 4.1 °C it is 15.0 °C colder than where it fermented: a plateau in the cold")
    assert told[8].startswith("It stopped about 8 points above the likely end of 1.010; chance that it is a halt")


def test_of_a_batch_that_has_ended_nothing_is_told_in_the_present() -> None:
    told = [text.replace("\u202f", " ") for text in sentences(ONE_OF_EACH, METRIC, ended=True)]
    now = re.compile(
        r"\b(it|float|gravity|readings) (is|has|falls|reads|shows?|stands?|decide)\b|still to fall|so far;| ago\b"
        r"|\bhand sample (tells|settles)|\bthe last \d+ h\b|[Tt]oo early|are left|is left:",
    )
    for present, past in zip(sentences(ONE_OF_EACH, METRIC), told, strict=True):
        assert not now.search(past), past
        figures = re.findall(r"\d+(?:\.\d+)?", present)
        assert re.findall(r"\d+(?:\.\d+)?", past) == figures or "380" in past  # every figure stays
    assert sum(bool(now.search(text)) for text in sentences(ONE_OF_EACH, METRIC)) > 15
    assert told[4] == (
        "Chance that less than 0.001 SG was left when it ended: 83 %; likely left by then: 0.0004 SG (0.0001 to"
        " 0.0011)."
    )


def test_what_is_odd_about_a_float_is_named_and_a_hand_sample_asked_for() -> None:
    told = {type(one): sentence(one, METRIC) for one in ONE_OF_EACH}
    drift = told[kinds.EvenFall]
    assert drift.startswith("The float falls evenly, by about 0.4 points a day for 14 days, without slowing down")
    assert "drifts" in drift
    assert "hand sample" in drift
    assert "up and down by about 4 points for 3 days" in told[kinds.Swings]
    assert "bubbles" in told[kinds.Swings]
    assert "degassed" in told[kinds.Swings]
    assert "1.032 to the last digit for 14 days" in told[kinds.SameFigure]
    assert "wall" in told[kinds.SameFigure]
    assert "1.170" in told[kinds.CannotBe]
    assert "degassed" in advice_sentences([Advice.HAND_SAMPLE_OF_A_DOUBT], METRIC)[0]


def test_a_stall_by_cold_says_how_cold_beside_what_is_usual() -> None:
    said = sentence(kinds.ColdForIt(12.5, 16.0, 23.0, "ale", 18.0), METRIC)
    assert said.startswith(
        "It is at 12.5\u202f°C, 5.5\u202f°C colder than where it fermented (18.0\u202f°C); usual for an ale is 16 to 23"
    )


# A must fermented dry ends below 1.000, since ethanol is lighter than water (0.789 g/mL at 20 °C, CRC Handbook, from
# memory): 1.090 to 0.994 is 96 of 90 points, 107 %.
def test_more_than_a_hundred_percent_of_attenuation_is_explained() -> None:
    over = sentence(kinds.Attenuated(1.07, 0.9, 1.1, "within", 0, 0, False), METRIC)
    assert over.startswith("107\u202f% apparent attenuation so far;")
    assert "passes 100\u202f% where a drink ends lighter than water" in over
    assert "passes" not in sentence(kinds.Attenuated(0.98, 0.9, 1.1, "within", 0, 0, False), METRIC)


def test_additions_are_said_with_what_is_missing_and_what_was_found() -> None:
    by_name = {type(one): sentence(one, METRIC) for one in ONE_OF_EACH}
    assert by_name[kinds.AllExtract].startswith("Pitched at 1.085; with what was added all extract counts as 1.121,")
    assert "The spirit brings 2.0 % vol besides" in by_name[kinds.AllExtract]
    assert by_name[kinds.AdditionDiffers].startswith(
        "The addition of 2 days ago was to move the gravity by +20.0 points; by the readings it moved by +2.1 points."
    )
    assert by_name[kinds.AdditionByReadings] == (
        "Of the addition of 20 h ago we do not know how much was added and the volume of the batch: the readings"
        " decide, and show a step of \N{MINUS SIGN}2.1 points."
    )


def test_plato_and_fahrenheit_leave_no_trace_of_sg_and_celsius() -> None:
    ended = sentences(ONE_OF_EACH, OTHER, ended=True)
    for text in (*sentences(ONE_OF_EACH, OTHER), *ended, *advice_sentences(Advice, OTHER)):
        assert "SG" not in text
        assert "°C" not in text
        assert " point" not in text
        assert "1.0" not in text


@pytest.mark.parametrize(
    ("one", "says"),
    [
        # ASBC table of extract (from memory): 1.012 is 3.07 °P, 1.010 is 2.56 °P, 1.004 is 1.03 °P.
        (kinds.StoppedShort(0.002, 1.010, 0.9), "about 0.5 °P above the likely end of 2.6 °P"),
        (kinds.FellSince(0.008, 24.0, False, 1.004), "fallen by 2.04 °P since it seemed finished 24 h ago"),
        # 15 degrees Celsius of difference are 27 of Fahrenheit; 4.1 °C is 39.4 °F (by their definition).
        (kinds.TooCold(4.1, 15.0), "At 39.4 °F it is 27.0 °F colder"),
        (kinds.TemperatureToCome(5.0), "about 9 °F warmer"),
    ],
)
def test_differences_are_converted_as_differences(one: Evidence, says: str) -> None:
    assert says in sentence(one, OTHER).replace("\u202f", " ")


def test_advice_in_fahrenheit_warms_by_as_much() -> None:
    assert "by 2 to 3 °C" in advice_sentences([Advice.WARM], METRIC)[0]
    assert "by 4 to 5 °F" in advice_sentences([Advice.WARM], OTHER)[0]


@pytest.mark.parametrize(
    ("usable", "says"), [(0, "is no gravity reading"), (1, "is one gravity reading"), (2, "are 2 gravity readings")]
)
def test_too_early_says_how_much_there_is(usable: int, says: str) -> None:
    assert f"so far there {says} to go by" in sentence(kinds.NothingYet(usable), METRIC)
