from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from analysis import Batch, assess
from analysis.assessment.forecast import too_vague
from analysis.model import Forecast

NOW = datetime(2026, 3, 3, tzinfo=UTC)


def test_a_date_that_was_given_does_not_come_and_go_while_the_time_to_it_runs_down() -> None:
    """At 42 h there was a date, at 48 h it was too early for one, at 54 h there was one again."""

    def wide(width_h: float, ahead_h: float) -> Forecast:
        places = zip((-1.0, -0.8, 0.0, 0.8, 1.0), (0.0, 0.1, 0.5, 0.9, 1.0), strict=True)
        told = [((NOW + timedelta(hours=ahead_h + 0.625 * width_h * k)).timestamp(), c) for k, c in places]
        return Forecast(tuple(when for when, _ in told), tuple(chance for _, chance in told))

    assert not too_vague(wide(250.0, 180.0), NOW, 0.6)
    later = NOW + timedelta(hours=20)
    assert too_vague(wide(250.0, 180.0), later, 0.7)
    assert not too_vague(wide(250.0, 180.0), later, 0.7, dated=True)
    assert too_vague(wide(600.0, 180.0), later, 0.7, dated=True), "of a guess twice as vague there is no date"


def test_an_assessment_remembers_whether_it_gave_a_date(fermentation: Callable[..., Any]) -> None:
    made = fermentation()
    batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale")
    early = assess(made.readings, batch, now=made.at(4.0))
    later = assess(made.readings, batch, now=made.at(60.0), previous=early)
    assert (early.finish, early.hysteresis.dated) == (None, False)
    assert later.finish is not None
    assert later.hysteresis.dated
