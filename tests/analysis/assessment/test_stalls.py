"""A stall stays called so while nothing moves, and one by cold says how short and how cold."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import Assessment, Batch, assess
from analysis.display_units import DisplayUnits
from analysis.evidence import Advice, ColdForIt, StoppedShort
from analysis.model import Event
from analysis.planning import Constraints, Obstacle
from analysis.planning.plan import steady_plan
from analysis.wording import Voice, verdict
from analysis.wording.formatting import zone_of
from tests.analysis.curves import PITCHED, at, every_half_hour, s_curve, sent

ALE = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale")


def said(a: Assessment) -> str:
    return verdict(a, 48, Voice(DisplayUnits(), zone_of("UTC"), a.now))


@pytest.mark.parametrize("seed", [9])
@pytest.mark.parametrize("remembers", [True, False])
def test_a_stall_does_not_flicker_while_nothing_moves(seed: int, remembers: bool) -> None:
    """Stuck at 1.030 for weeks; a float of half a point wanders enough to look like a fall on some day."""
    hours = every_half_hour(28)
    readings = sent(hours, np.maximum(s_curve(hours), 1.030), seed=seed, scatter_sg=0.0005)
    before, days = None, None
    for day in range(6, 28, 3):
        a = assess(readings, ALE, now=at(24 * day), previous=before)
        made = steady_plan(a, ALE, Constraints(dry_hops=1), now=a.now, said=days)
        assert (a.phase, a.stalled, a.finish) == ("stalled", True, None), day
        assert (made.blocked_by, made.hop_day, made.packaging_day) == (Obstacle.STALLED, None, None), day
        if remembers:
            before, days = a, (made.hop_day, made.packaging_day)


def test_a_stall_that_moves_again_is_taken_back_within_a_day() -> None:
    hours = every_half_hour(16)
    stuck = np.maximum(s_curve(hours), 1.030)
    goes_on = 1.030 - (1.030 - s_curve(np.maximum(hours - 24 * 12, 0), original=1.030, middle_h=30, width_h=8))
    readings = sent(hours, np.where(hours < 24 * 12, stuck, goes_on))
    before = assess(readings, ALE, now=at(24 * 12))
    assert before.stalled
    falls = float(np.interp(1.030 - 0.002, goes_on[::-1], hours[::-1]))
    after = assess(readings, ALE, now=at(falls + 24), previous=before)
    assert not after.stalled


def test_a_stall_in_the_cold_says_how_far_short_and_how_cold_beside_what_is_usual() -> None:
    hours = every_half_hour(10)
    cooling = np.where(hours < 60, 18.0, np.maximum(18.0 - (hours - 60) / 10, 12.5))
    readings = sent(hours, np.maximum(s_curve(hours), 1.026), temperature_c=cooling)
    a = assess(readings, ALE, now=at(24 * 8))
    assert a.stalled
    [cold] = [one for one in a.evidence if isinstance(one, ColdForIt)]
    assert cold.temperature_c == pytest.approx(12.5, abs=0.4)
    assert cold.fermented_c == pytest.approx(18.0, abs=0.4)
    assert (cold.low_c, cold.high_c) == (16.0, 23.0)
    assert [one for one in a.evidence if isinstance(one, StoppedShort)]
    assert "points above where it should end; at 12" in said(a)
    assert "it is cold for it" in said(a)
    assert Advice.WARM in a.advice
    warm = assess(sent(hours, np.maximum(s_curve(hours), 1.026)), ALE, now=at(24 * 8))
    assert warm.stalled
    assert "cold" not in said(warm)


def test_what_was_chilled_too_soon_says_how_far_short_it_is() -> None:
    hours = every_half_hour(10)
    crash = np.where(hours < 60, 19.0, np.maximum(19.0 - (hours - 60) / 2, 3.0))
    batch = Batch(pitched_at=PITCHED, original_gravity_sg=1.051, drink="ale", events=(Event("crash", at(60)),))
    a = assess(sent(hours, np.maximum(s_curve(hours), 1.024), temperature_c=crash), batch, now=at(24 * 8))
    assert (a.phase, a.finished) == ("chilled", False)
    assert "points above where it should end: it stands still because it is cold" in said(a)
    assert [one for one in a.evidence if isinstance(one, StoppedShort)]
