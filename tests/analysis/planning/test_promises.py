from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Assessment, Batch
from analysis.planning.plan import Constraints, Plan, plan
from tests.analysis.situations import HOUR, NOW, assessed, batch, done, hops_in, hops_out, normal
from tests.examples import examples


@st.composite
def situations(draw: Callable[..., Any]) -> tuple[Assessment, Batch, Constraints]:
    held = draw(st.floats(0, 100))
    finished = draw(st.booleans())
    look = done if finished else assessed
    given: dict[str, Any] = {"finish": normal(draw(st.floats(-100, 300)), draw(st.floats(1, 100)))}
    if finished:
        given |= {"held_since": NOW - held * HOUR, "held_h": held, "hold_met": held >= 48}
    given["hand_sample_agrees"] = draw(st.sampled_from([True, False, None]))
    events = []
    if draw(st.booleans()):
        events.append(hops_in(draw(st.floats(0.1, 6))))
        if draw(st.booleans()):
            events.append(hops_out(0.05))
    constraints = Constraints(
        hold_h=draw(st.sampled_from([24.0, 48.0, 72.0])),
        contact_days=draw(st.sampled_from([2.0, 3.0, 4.5])),
        confidence=draw(st.floats(0.5, 0.95)),
        hop_weekdays=tuple(draw(st.sets(st.integers(0, 6), min_size=1))),
        package_weekdays=tuple(draw(st.sets(st.integers(0, 6), min_size=1))),
        rest_days=draw(st.sampled_from([0.0, 2.0])),
        dry_hops=draw(st.integers(0, 2)),
        early_dry_hop=draw(st.booleans()),
        crash_days=draw(st.sampled_from([0.0, 2.0])),
        crash_counts_as_contact=draw(st.booleans()),
        destination=draw(st.sampled_from(["undecided", "keg", "bottle"])),
        time_zone=draw(st.sampled_from(["UTC", "Europe/Paris", "America/Los_Angeles", "Pacific/Auckland"])),
    )
    return look(**given), batch(*events), constraints


@given(situations())
@settings(max_examples=examples(80), deadline=None)
def test_every_plan_keeps_its_promises(situation: tuple[Assessment, Batch, Constraints]) -> None:
    assessment, made_of, constraints = situation
    made: Plan = plan(assessment, made_of, constraints, now=NOW)
    today = constraints.local_day(NOW)
    assert made.reason
    if made.packaging_day is None:
        assert made.blocked_by
        assert not made.may_package
        return
    assert constraints.can_package(made.packaging_day)
    assert made.packaging_day >= today
    assert made.packaging_chance is not None
    assert made.packaging_chance >= constraints.confidence - 1e-9
    if made.hop_days and not made_of.events:
        assert all(constraints.can_hop(day) for day in made.hop_days)
        contact = made.packaging_day - made.hop_days[-1]
        assert contact >= timedelta(days=constraints.contact_days)
    if made.may_package:
        assert assessment.finished
        assert assessment.held_h >= constraints.hold_h
        assert assessment.hand_sample_agrees is True
    if made.latest_packaging is not None:
        assert made.latest_packaging >= made.packaging_day
