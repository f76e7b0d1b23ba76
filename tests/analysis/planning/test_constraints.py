from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from analysis.display_units import DisplayUnits
from analysis.model import DRINKS, Drink
from analysis.planning import DateMoved
from analysis.planning.plan import Constraints, moved, plan
from analysis.wording import moved as moved_words
from analysis.wording import plan_facts
from tests.analysis.situations import NOW, assessed, batch, done


def test_dates_are_those_of_the_persons_own_calendar() -> None:
    late = datetime(2026, 3, 3, 14, tzinfo=UTC)  # already the 4th, early in the morning, in Auckland
    made = plan(done(now=late), batch(drink="cider"), Constraints(time_zone="Pacific/Auckland"), now=late)
    assert made.packaging_day == date(2026, 3, 4)


@pytest.mark.parametrize("drink", DRINKS)
def test_no_drink_is_dry_hopped_unless_that_was_asked_for(drink: Drink) -> None:
    made = plan(done(), batch(drink=drink), Constraints(), now=NOW)
    assert (made.hop_day, made.hop_days) == (None, ())
    assert made.packaging_day is not None
    assert plan(done(), batch(drink=drink), Constraints(dry_hops=1), now=NOW).hop_day is not None


def test_a_day_of_the_clock_change_is_planned_at_its_local_hour() -> None:
    constraints = Constraints(time_zone="Europe/Paris", day_hour=18)
    assert constraints.instant(date(2026, 3, 28)) == datetime(2026, 3, 28, 17, tzinfo=UTC)
    assert constraints.instant(date(2026, 3, 29)) == datetime(2026, 3, 29, 16, tzinfo=UTC)


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"confidence": 1.5}, "0.7 to 0.95"),
        ({"hold_h": -1}, "24 to 96 hours"),
        ({"hop_weekdays": ()}, "at least one weekday"),
        ({"package_weekdays": (7,)}, "Monday is 0"),
        ({"time_zone": "Mars/Olympus"}, "Europe/Paris"),
        ({"contact_days": -3}, "2 to 5 days"),
        ({"busy_dates": ("next week",)}, "2026-12-24"),
    ],
)
def test_a_wish_that_cannot_be_is_refused_with_what_is_usual(wrong: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        Constraints(**wrong)


def test_a_move_of_more_than_a_day_becomes_a_sentence() -> None:
    assert moved(date(2026, 3, 7), date(2026, 3, 8)) is None
    change = moved(date(2026, 3, 7), date(2026, 3, 10))
    assert change == DateMoved(date(2026, 3, 7), date(2026, 3, 10))
    assert moved_words(change, "Packaging day") == (
        "Packaging day moved 3 days later, from Saturday 7 Mar to Tuesday 10 Mar."
    )
    assert moved(None, date(2026, 3, 10)) is None


def test_the_plan_is_json_ready() -> None:
    as_json = plan_facts(plan(assessed(), batch(), Constraints(dry_hops=1), now=NOW), DisplayUnits())
    assert as_json["hop_day"] == "2026-03-07"
    assert as_json["packaging_day"] == "2026-03-10"
    assert 0.8 <= as_json["hop_chance"] <= 1
    assert as_json["reason"]
