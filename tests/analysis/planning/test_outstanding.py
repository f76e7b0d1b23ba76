"""What is still to be done, from the plan and the batch's events alone."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Event
from analysis.planning.outstanding import days_to_come, done_so_far, due, first_of, outstanding
from analysis.planning.plan import Constraints, Plan, plan
from tests.analysis.situations import DAY, HOUR, NOW, batch, done, hops_in, hops_out

TODAY = NOW.date()


def planned(**given: Any) -> Plan:
    return Plan(made_at=NOW, **given)


def days(*ahead: int) -> tuple[date, ...]:
    return tuple(TODAY + timedelta(days=n) for n in ahead)


def acts(made: Plan, *events: Event) -> list[tuple[str, int, date]]:
    return [(t.act, t.dose, t.day) for t in outstanding(made, batch(*events), today=TODAY)]


TWICE = planned(hop_days=days(0, 2), hops_out_day=days(5)[0], packaging_day=days(7)[0], hop_chance=0.9)


def test_nothing_logged_leaves_everything_in_its_order() -> None:
    first, second, out, package = days(0, 2, 5, 7)
    assert acts(TWICE) == [
        ("hops in", 1, first),
        ("hops in", 2, second),
        ("hops out", 1, out),
        ("package", 1, package),
    ]


@pytest.mark.parametrize("at", [NOW, NOW - 2 * DAY, NOW + HOUR])
def test_a_logged_dose_is_done_also_by_a_plan_that_does_not_know_of_it(at: Any) -> None:
    """Whenever it is said to have gone in, and before the plan is made anew."""
    assert [each[:2] for each in acts(TWICE, Event("dry hop", at))] == [
        ("hops in", 2),
        ("hops out", 1),
        ("package", 1),
    ]


def test_the_dose_after_the_first_hangs_on_no_forecast() -> None:
    before = first_of(outstanding(TWICE, batch()), "hops in")
    after = first_of(outstanding(TWICE, batch(Event("dry hop", NOW))), "hops in")
    assert before is not None
    assert after is not None
    assert (before.chance, after.chance) == (0.9, None)


def test_hops_out_ends_all_doses_and_hops_after_it_are_in_again() -> None:
    assert [each[0] for each in acts(TWICE, hops_in(2), hops_out(1))] == ["package"]
    assert [each[0] for each in acts(TWICE, hops_out(1))] == ["package"]
    assert [each[0] for each in acts(TWICE, hops_in(3), hops_out(2), hops_in(1))] == ["hops out", "package"]


def test_packaged_leaves_nothing() -> None:
    assert acts(TWICE, Event("package", NOW)) == []


def test_hops_that_come_out_in_packaging_are_no_work_of_their_own() -> None:
    made = planned(hop_days=days(0), hops_out_day=days(3)[0], packaging_day=days(3)[0])
    assert [each[0] for each in acts(made)] == ["hops in", "package"]


def test_a_day_that_passed_unused_is_today() -> None:
    made = planned(hop_day=days(-2)[0], packaging_day=days(1)[0])
    assert acts(made)[0] == ("hops in", 1, TODAY)
    assert outstanding(made, batch())[0].day == days(-2)[0]


def test_hops_that_are_not_all_in_are_not_due_out() -> None:
    made = planned(hop_days=days(0), hops_out_day=TODAY, packaging_day=days(2)[0])
    to_do = outstanding(made, batch(), today=TODAY)
    assert [t.act for t in due(to_do, TODAY)] == ["hops in"]
    assert [t.act for t in due(outstanding(made, batch(Event("dry hop", NOW))), TODAY)] == ["hops out"]


def test_as_json_what_is_done_is_null() -> None:
    assert days_to_come(outstanding(TWICE, batch(hops_in(2), hops_in(0)))) == {
        "hop_day": None,
        "hop_chance": None,
        "packaging_day": days(7)[0].isoformat(),
        "packaging_chance": None,
    }


@given(
    logged=st.lists(st.tuples(st.sampled_from(("dry hop", "hops out", "package")), st.floats(0, 6)), max_size=4),
    doses=st.integers(0, 3),
    destination=st.sampled_from(("undecided", "keg", "bottle")),
    early=st.booleans(),
    passed_h=st.integers(0, 240),
)
@settings(deadline=None)
def test_plan_and_list_agree_on_what_is_done_and_nothing_done_is_listed(
    logged: list[tuple[Any, float]], doses: int, destination: Any, early: bool, passed_h: int
) -> None:
    what = batch(*(Event(kind, NOW - days_ago * DAY) for kind, days_ago in logged))
    constraints = Constraints(
        dry_hops=doses, destination=destination, early_dry_hop=early, time_zone="Pacific/Auckland"
    )
    now = NOW + passed_h * HOUR
    made = plan(done(), what, constraints, now=now)
    stale = plan(done(), batch(), constraints, now=NOW)
    seen = done_so_far(what)
    for each in (made, stale):
        to_do = outstanding(each, what, today=constraints.local_day(now))
        assert all(t.day >= constraints.local_day(now) for t in to_do)
        assert not any(seen.has(t.act, t.dose) for t in to_do)
    still = sum(t.act == "hops in" for t in outstanding(made, what))
    assert still == (0 if seen.packaged or seen.hops_out else max(0, doses - seen.doses))
