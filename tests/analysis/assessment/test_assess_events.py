from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, Event, assess
from analysis.evidence import Advice, Crept
from analysis.wording import Voice, three_notions, verdict

Ferment = Callable[..., Any]
HOPS_H = 220.0


def changed(made: Any, by: np.ndarray) -> pl.DataFrame:
    return made.readings.with_columns(gravity_sg=pl.Series(made.readings["gravity_sg"].to_numpy() + by))


def ale(made: Any, *events: Event) -> Batch:
    return Batch(
        pitched_at=made.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80), events=events
    )


def test_right_after_the_hops_it_is_no_longer_called_finished(fermentation: Ferment) -> None:
    # Kirkpatrick and Shellhammer 2018 (J. Agric. Food Chem.): 1 °P of real extract in five days after 10 g/L.
    made = fermentation(days=16)
    before = assess(made.readings, ale(made), now=made.at(HOPS_H))
    assert before.finished
    hopped = ale(made, Event("dry hop", made.at(HOPS_H)))
    after = assess(made.readings, hopped, now=made.at(HOPS_H + 1), previous=before)
    assert not after.finished
    assert before.p_finished is not None
    assert after.p_finished is not None
    # Nothing was read yet of what the hops do: about half of the hopped batches creep by a point or more.
    assert after.p_finished < 0.7 < before.p_finished
    later = assess(made.readings, hopped, now=made.at(HOPS_H + 6), previous=before)
    assert not later.finished


def test_what_held_before_the_hops_is_said_after_them_and_the_phases_stay_where_they_were(
    fermentation: Ferment,
) -> None:
    made = fermentation(days=16)
    before = assess(made.readings, ale(made), now=made.at(HOPS_H))
    hopped = ale(made, Event("dry hop", made.at(HOPS_H + 0.5)))
    after = assess(made.readings, hopped, now=made.at(HOPS_H + 1), previous=before)
    assert after.before_hops is not None
    assert after.before_hops.finished
    assert after.before_hops.held_h == before.held_h > 48
    say = Voice(now=after.now)
    told = verdict(after, 48, say)
    assert told.startswith("Finished before the hops; watching since")
    assert told.endswith("held 0 of 48\u202fh.")
    assert "It still moves." not in str(three_notions(after, 48, say))
    steady = [span for span in after.phases if span.phase == after.phase == "steady"]
    assert steady[0].began_at == before.held_since
    slowing = next(span for span in after.phases if span.phase == "slowing")
    assert slowing.began_at < steady[0].began_at
    # A hand sample, hops logged late or a restart drop what was said then: it is worked out anew, and the same is told.
    alone = assess(made.readings, hopped, now=made.at(HOPS_H + 1))
    assert verdict(alone, 48, say) == told
    assert Advice.FORCED_TEST_OF_AN_END not in alone.advice  # the watch is under way
    twice = ale(made, Event("dry hop", made.at(HOPS_H - 12)), Event("dry hop", made.at(HOPS_H + 0.5)))
    assert verdict(assess(made.readings, twice, now=made.at(HOPS_H + 1)), 48, say).startswith("Finished before the")
    # The next reading keeps what was known.
    later = assess(made.readings, hopped, now=made.at(HOPS_H + 2), previous=after)
    assert later.before_hops == after.before_hops


def test_a_creep_after_the_hops_is_seen_and_sized(fermentation: Ferment) -> None:
    made = fermentation(days=16)
    since = np.maximum(made.hours - HOPS_H, 0.0)
    crept = 0.005 * (1 - np.exp(-since / 60.0))
    hopped = ale(made, Event("dry hop", made.at(HOPS_H)))
    said = assess(changed(made, -crept), hopped, now=made.at(HOPS_H + 96))
    assert said.creep is not None
    true = float(np.interp(HOPS_H + 96, made.hours, crept))
    assert said.creep.fall_sg.p10 <= true <= said.creep.fall_sg.p90 + 0.001
    assert not said.finished
    assert said.phase == "creeping"
    assert any(isinstance(one, Crept) for one in said.evidence)


def test_hops_without_creep_leave_it_finished_after_some_days(fermentation: Ferment) -> None:
    made = fermentation(days=16)
    hopped = ale(made, Event("dry hop", made.at(HOPS_H)))
    assert assess(made.readings, hopped, now=made.at(HOPS_H + 130)).finished


def test_a_feed_opens_a_new_fall_with_a_finish_of_its_own(fermentation: Ferment) -> None:
    made = fermentation(days=16)
    fed_h = 100.0
    since = np.maximum(made.hours - fed_h, 0.0)
    jump = np.where(made.hours >= fed_h, 0.010, 0.0)
    eaten = 0.012 * (1 - np.exp(-since / 30.0))
    rows = changed(made, jump - eaten)
    fed = ale(made, Event("feed", made.at(fed_h)))
    soon = assess(rows, fed, now=made.at(fed_h + 18))
    assert not soon.finished
    assert soon.p_finished is not None
    assert soon.p_finished < 0.1
    assert soon.remaining_fall_sg is not None
    assert soon.remaining_fall_sg.p50 > 0.003
    later = assess(rows, fed, now=made.at(330))
    assert later.p_finished is not None
    assert later.p_finished > 0.6


def test_a_dilution_lowers_the_gravity_but_is_no_fermentation(fermentation: Ferment) -> None:
    made = fermentation(days=14)
    at = 60.0
    level = float(np.interp(at, made.hours, made.gravity_sg))
    share = 0.2
    diluted = np.where(made.hours >= at, -share * (made.gravity_sg - 1.0), 0.0)
    batch = ale(made, Event("dilute", made.at(at), 1.0 + (1 - share) * (level - 1.0)))
    said = assess(changed(made, diluted), batch, now=made.at(84))
    assert said.gravity_sg is not None
    true = float(np.interp(84, made.hours, made.gravity_sg + diluted))
    assert said.gravity_sg.p50 == pytest.approx(true, abs=0.003)
    assert not said.finished


def test_a_moved_float_opens_a_new_offset(fermentation: Ferment) -> None:
    made = fermentation(days=14)
    step = np.where(made.hours >= 150, -0.003, 0.0)
    rows = changed(made, step)
    known = assess(rows, ale(made, Event("float moved", made.at(150))), now=made.at(300))
    assert known.gravity_sg is not None
    assert known.gravity_sg.p50 == pytest.approx(float(np.interp(300, made.hours, made.gravity_sg)), abs=0.0025)
    assert known.finished
