from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.display_units import THIN
from analysis.model import Range
from analysis.track_record import TrackRecord
from analysis.yeast_comparison import Outcome, compare
from dashboard.queries.finished_batches import Finished
from dashboard.screens.yeasts.charts import courses_figure, differences_figure, typical
from dashboard.wording import voice_of, yeasts
from dashboard.wording.yeasts import best, fared, summaries
from ingest.model import Preferences

SAY = voice_of(Preferences(), datetime(2026, 11, 25, tzinfo=UTC))


def outcomes(yeast: str, days: float, attenuation: float, n: int, start: int = 0) -> list[Outcome]:
    rng = np.random.default_rng(start + 1)
    return [
        Outcome(
            batch_id=f"b{start + k}",
            name=f"{yeast} {k}",
            yeast=yeast,
            drink="ale",
            finish_days=float(days * np.exp(rng.normal(0, 0.05))),
            attenuation=float(attenuation + rng.normal(0, 0.008)),
            temperature_c=19.0,
            original_gravity_sg=1.05,
        )
        for k in range(n)
    ]


def finished(outcome: Outcome, days: float = 8.0) -> Finished:
    at = np.linspace(0, days, 60)
    return Finished(outcome, at, 0.78 / (1 + np.exp(-(at - 2) / 0.5)), None)


def test_a_clear_winner_is_said_first_with_its_size_and_chance():
    [found] = compare([*outcomes("Dune", 6.5, 0.77, 10), *outcomes("Marrow", 5.4, 0.77, 10, 50)])
    text = best(found, SAY)
    assert text.startswith("Marrow finishes about")
    assert f"sooner than Dune at 19.0{THIN}°C, " in text
    assert "almost certain" in text


def test_what_cannot_be_told_is_said():
    [found] = compare([*outcomes("Dune", 6.0, 0.77, 1), *outcomes("Marrow", 5.9, 0.775, 1, 50)])
    text = best(found, SAY)
    assert "oo few batches to tell finish times and attenuation apart" in text
    assert text.count("oo few batches") == 1


def test_a_difference_that_is_seen_off_the_line_is_not_said_to_be_unknown():
    [found] = compare([*outcomes("Dune", 6.0, 0.77, 1), *outcomes("Marrow", 5.9, 0.775, 1, 50)])
    leaning = [
        replace(d, amount=Range(0.002, 0.011, 0.02), p_below=0.06, more_batches=3) if d.quantity == "attenuation" else d
        for d in found.differences
    ]
    text = best(replace(found, differences=tuple(leaning)), SAY)
    assert "Dune attenuates about 1 percentage points further than Marrow, very likely" in text
    assert "too few batches to tell attenuation apart" not in text
    assert (
        "; so few batches do not yet tell whether that difference is large enough to matter"
        " (in pairs of one wort, about three more of each would)"
    ) in text
    assert "oo few batches to tell finish times apart" in text


def test_that_batches_are_too_few_is_said_once_for_all_that_leans():
    [found] = compare([*outcomes("Dune", 6.0, 0.77, 1), *outcomes("Marrow", 5.9, 0.775, 1, 50)])
    more = {"finish_days": (Range(-0.9, -0.5, -0.1), 3), "attenuation": (Range(0.002, 0.011, 0.02), 9)}
    leaning = tuple(
        replace(d, amount=more[d.quantity][0], p_below=0.9, verdict="open", more_batches=more[d.quantity][1])
        for d in found.differences
    )
    text = best(replace(found, differences=leaning), SAY)
    assert text.count("so few batches") == 1
    assert text.endswith(
        "; so few batches do not yet tell whether those differences are large enough to matter (in pairs of one wort,"
        " about three more of each would for finish times and about nine more of each would for attenuation)."
    )
    both = tuple(replace(d, more_batches=3) for d in leaning)
    assert best(replace(found, differences=both), SAY).endswith(
        "(in pairs of one wort, about three more of each would for finish times and attenuation)."
    )
    far = tuple(replace(d, more_batches=None if d.quantity == "attenuation" else 3) for d in leaning)
    assert best(replace(found, differences=far), SAY).endswith(
        "(in pairs of one wort, about three more of each would for finish times; many more would not for attenuation,"
        " for they differ by about what matters)."
    )
    never = tuple(replace(d, more_batches=None) for d in leaning)
    assert best(replace(found, differences=never), SAY).endswith(
        "(many more would not, for they differ by about what matters)."
    )


def test_the_further_attenuation_belongs_to_the_right_yeast():
    [found] = compare([*outcomes("Dune", 6.0, 0.84, 10), *outcomes("Marrow", 6.0, 0.74, 10, 50)])
    assert "Dune attenuates about 10 percentage points further than Marrow" in best(found, SAY)


def test_a_single_yeast_has_nothing_to_be_compared_with():
    [found] = compare(outcomes("Dune", 6.0, 0.8, 3))
    assert best(found, SAY) == "Only Dune has finished ales so far: nothing to compare it with yet."


def test_the_table_gives_each_yeast_its_range():
    [found] = compare([*outcomes("Dune", 6.0, 0.8, 4), *outcomes("Marrow", 5.0, 0.75, 5, 50)])
    headings, rows = summaries(found)
    assert len(headings) == len(rows[0])
    assert [row[:2] for row in rows] == [["Dune", "4"], ["Marrow", "5"]]


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (TrackRecord(0, 0, 0, 0, None), "No batch has finished yet of which a date had been said 3 days ahead."),
        (
            TrackRecord(14, 12, 14, 11, 0.8),
            "Of 14 packaging days named 3 days ahead, twelve held. Of 14 ranges given 3 days ahead, which should hold "
            "eight times in ten, eleven held. Half of the time its middle was within 0.8 days of the finish.",
        ),
    ],
)
def test_the_track_record_is_said_in_counts(record, said):
    assert fared(record) == said


def test_each_yeast_has_a_panel_with_all_its_batches_and_the_typical_course():
    batches = [finished(o) for o in (*outcomes("Dune", 6, 0.8, 3), *outcomes("Marrow", 5, 0.75, 2, 50))]
    figure = courses_figure(batches, ["Dune", "Marrow"], "light", 2)
    assert sorted(str(t.xaxis) for t in figure.data) == ["x", "x", "x", "x", "x2", "x2", "x2"]


def test_the_typical_course_lies_among_its_batches():
    short, long = finished(outcomes("Dune", 6, 0.8, 1)[0], 6.0), finished(outcomes("Dune", 6, 0.8, 1)[0], 12.0)
    days, middle = typical([short, long])
    assert days[-1] == 12.0
    assert np.all(middle >= 0)
    assert np.all(middle <= 0.78)


def test_a_difference_stands_on_its_side_of_the_line_of_none():
    [found] = compare([*outcomes("Dune", 6.5, 0.8, 8), *outcomes("Marrow", 5.0, 0.8, 8, 50)])
    figure = differences_figure(found, "finish_days", "dark")
    [dot] = figure.data[0].x
    assert dot > 0
    assert dot - figure.data[0].error_x.arrayminus[0] > 0


def test_what_each_batch_taught_is_said_and_why_it_is_less_than_its_course():
    names = {"a": "Porter 3", "b": "Notebook", "c": "Empty", "d": "Quay"}
    text, less = yeasts.taught({"a": "course", "b": "by hand", "c": "few readings", "gone": "course"}, names)
    assert text == "Of three finished batches one taught its whole course, one a part of it, and one nothing."
    assert [row[0] for row in less] == ["Empty", "Notebook"]
    assert less[0][1] == "Nothing: fewer than four of its readings count"
    assert "read by hand" in less[1][1]
    assert yeasts.taught({}, names)[1] == []
