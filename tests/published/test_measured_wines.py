"""Wines measured in a laboratory, judged as they would have been: dryness is known to the day."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from analysis import assess, learn
from tests.benchmarks.measured_sets import Measured, load

# Stellenbosch-University-Process-Eng/Lab-scale-red-wine-fermentation, commit 7adda1f, RawDataCondensed.xlsx (MIT, see
# wine_lab.LICENSE): 18 red wines, sugar, alcohol and must temperature; gravity estimated from sugar and alcohol. Day 11
# is a pressed sample and is left out.
WINES = [one for one in load(Path(__file__).parent) if one.source == "wine_lab"]


def test_all_wines_are_there_without_their_pressed_sample() -> None:
    assert len(WINES) == 18
    assert {one.group for one in WINES} == {"Cabernet", "Shiraz"}
    assert max(one.hours[-1] for one in WINES) <= 240.0
    for one in WINES:
        assert one.finish_h is not None
        assert 96.0 <= one.finish_h[0] < one.finish_h[1] <= 192.0


@pytest.fixture(scope="module")
def forecasts() -> list[tuple[Measured, float, float]]:
    """Of each wine and reading before its end, where there is a forecast: its 10 and 90 %, hours since pitching."""
    found = []
    for one in WINES:
        assert one.finish_h is not None
        previous = None
        for hour, _ in one.looks():
            now = one.batch.pitched_at + timedelta(hours=hour)
            previous = assess(one.readings, one.batch, now=now, previous=previous)
            assert not (previous.finished and one.left_sg(hour) >= 0.002), (one.name, hour)
            if previous.finish is not None and hour < one.finish_h[0]:
                ends = (previous.finish.p10, previous.finish.p90 or previous.finish.last)
                p10, p90 = ((when - one.batch.pitched_at).total_seconds() / 3600 for when in ends)
                found.append((one, p10, p90))
    return found


def test_no_wine_is_called_finished_before_it_is_dry_and_ranges_meet_the_day(
    forecasts: list[tuple[Measured, float, float]],
) -> None:
    met = [p10 <= one.finish_h[1] and p90 >= one.finish_h[0] for one, p10, p90 in forecasts if one.finish_h is not None]
    assert len(met) >= 3, "most looks are too early for a date, but not all of them"
    # 80 % ranges of readings so few: by chance one of four may miss.
    assert sum(met) >= 0.75 * len(met)


def test_nearly_all_wines_are_called_finished_by_their_last_reading() -> None:
    """Day 10: before the pressed sample. All were dry by day 8."""
    said = 0
    for one in WINES:
        previous = None
        for hour, _ in one.looks():
            now = one.batch.pitched_at + timedelta(hours=hour)
            previous = assess(one.readings, one.batch, now=now, previous=previous)
        said += previous is not None and previous.finished
    assert said >= 16


def test_one_grapes_wines_make_the_ranges_of_the_others_a_third_narrower(
    forecasts: list[tuple[Measured, float, float]],
) -> None:
    """Four to ten readings each: most people's history."""
    cold = {(one.name, p90 - p10) for one, p10, p90 in forecasts}
    priors = {grape: learn([one.finished for one in WINES if one.group != grape]) for grape in ("Cabernet", "Shiraz")}
    widths, met = [], []
    for one in WINES:
        previous = None
        assert one.finish_h is not None
        for hour, _ in one.looks():
            now = one.batch.pitched_at + timedelta(hours=hour)
            previous = assess(one.readings, one.batch, now=now, previous=previous, priors=priors[one.group])
            assert not (previous.finished and one.left_sg(hour) >= 0.002), (one.name, hour)
            if previous.finish is not None and hour < one.finish_h[0]:
                ends = (previous.finish.p10, previous.finish.p90 or previous.finish.last)
                p10, p90 = ((when - one.batch.pitched_at).total_seconds() / 3600 for when in ends)
                widths.append(p90 - p10)
                met.append(p10 <= one.finish_h[1] and p90 >= one.finish_h[0])
    assert len(widths) > len(cold), "what was too early for a date has one now"
    assert sum(widths) / len(widths) <= 2 / 3 * sum(width for _, width in cold) / len(cold)
    # 80 % ranges, of fifteen looks at eighteen wines of two grapes: by chance three may miss more than should.
    assert sum(met) >= 0.7 * len(met)
