from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis import Batch, FinishedBatch, Priors, assess, learn
from analysis.display_units import DisplayUnits
from analysis.evidence import TailTakes
from analysis.fermentation import PARAMETERS
from analysis.inference.tail_duration import HINDSIGHT_SD, CellarEndings, Kind, TailDuration, tail_durations, told
from analysis.wording.evidence import sentences


def course(**changed: float) -> np.ndarray:
    """Parameters of one course, shape (1, 11): all slow sugar, no lag and no fading to speak of."""
    usual = {
        "log_rate": np.log(0.03), "log_lag": -2.0, "log_growth": 0.0, "log_fade": -7.0, "logit_slow": 9.0,
        "log_rho": np.log(0.05), "log_monod": np.log(0.06), "logit_inhibition": -9.0, "log_slow_monod": np.log(3.84),
        "warmth": 0.0, "cold": 0.0,
    }  # fmt: skip
    return np.array([[(usual | changed)[name] for name in PARAMETERS]])


@pytest.mark.parametrize("monod", [0.06, 0.24, 0.96, 3.84])
def test_the_ending_of_a_single_sugar_is_that_of_the_integrated_rate_law(monod: float) -> None:
    # Integrated Michaelis-Menten equation, textbook form (e.g. Cornish-Bowden, Fundamentals of Enzyme Kinetics;
    # from memory): time is proportional to 1 - S + K ln(1/S).
    fall = 0.040
    time = {left: 1 - left - monod * np.log(left) for left in (0.5, 0.1, 0.001 / fall)}
    by_law = np.log((time[0.001 / fall] - time[0.1]) / (time[0.1] - time[0.5]))
    found = tail_durations(course(log_slow_monod=np.log(monod)), np.array([fall]))
    assert found[0] == pytest.approx(by_law, abs=0.05)


def test_a_slower_rest_makes_a_longer_ending() -> None:
    rests = [course(logit_slow=-1.5, log_rho=np.log(r)) for r in (1.0, 0.5, 0.2, 0.1)]
    found = [float(tail_durations(rest, np.array([0.04]))[0]) for rest in rests]
    assert found == sorted(found)
    assert found[-1] > found[0] + 0.5


def test_the_ending_does_not_depend_on_the_pace() -> None:
    slow, quick = (tail_durations(course(log_rate=np.log(r)), np.array([0.04]))[0] for r in (0.01, 0.04))
    assert slow == pytest.approx(quick, abs=0.05)


def test_a_course_that_never_ends_within_the_table_still_has_a_number() -> None:
    found = tail_durations(course(log_fade=1.5, log_rate=-9.0), np.array([0.04]))
    assert np.isfinite(found).all()


def test_what_one_batch_tells_is_its_posterior_with_the_prior_taken_out() -> None:
    # Conjugate normal, by hand: prior N(0, 0.5²), observation 0.6 ± 0.25.
    grid = np.linspace(-3, 3, 4001)
    weight = np.exp(-0.5 * (grid / 0.5) ** 2 - 0.5 * ((grid - 0.6) / 0.25) ** 2)
    mean, variance = told(weight / weight.sum(), grid, TailDuration(0.0, 0.5))
    assert mean == pytest.approx(0.6, abs=0.01)
    assert variance == pytest.approx(0.25**2 + HINDSIGHT_SD**2, abs=0.002)


def test_readings_that_say_nothing_hardly_count() -> None:
    grid = np.linspace(-4, 4, 4001)
    weight = np.exp(-0.5 * (grid / 0.5) ** 2)
    _, variance = told(weight / weight.sum(), grid, TailDuration(0.0, 0.5))
    assert variance > 15 * 0.5**2


USUAL = dict.fromkeys(("ale", "lager", "mead"), (0.0, 0.5))
ALE = Kind("ale")


def cellar(*those: tuple[Kind, float, float]) -> CellarEndings:
    return CellarEndings.of(those, USUAL)


def test_many_alike_batches_turn_the_belief_into_theirs() -> None:
    before = TailDuration(0.5, 0.6)
    observed = cellar(*[(ALE, -0.2, 0.02)] * 40).observation(ALE, before)
    assert observed is not None
    precision = before.sd**-2 + observed.sd**-2
    after = (before.mean * before.sd**-2 + observed.mean * observed.sd**-2) / precision
    assert after == pytest.approx(-0.2, abs=0.05)
    assert precision**-0.5 < 0.25


def test_batches_that_differ_leave_the_next_one_open() -> None:
    alike = cellar(*[(ALE, 0.1, 0.02)] * 12).observation(ALE, TailDuration(0.0, 1.0))
    apart = cellar(*[(ALE, 0.6, 0.02), (ALE, -0.4, 0.02)] * 6).observation(ALE, TailDuration(0.0, 1.0))
    assert alike is not None
    assert apart is not None
    assert apart.sd > 1.5 * alike.sd


def test_without_better_knowledge_nothing_is_said() -> None:
    assert cellar().observation(ALE, TailDuration(0.0, 0.6)) is None
    assert cellar((ALE, 0.3, 0.5)).observation(ALE, TailDuration(0.0, 0.2)) is None


def test_a_stronger_batch_is_expected_to_end_later() -> None:
    those = [(Kind("ale", strength=s), 0.3 * s, 0.02) for s in (-0.5, 0.0, 0.5, 1.0) for _ in range(4)]
    usual, strong = (cellar(*those).of_next(Kind("ale", strength=s))[0] for s in (0.0, 1.5))
    assert strong > usual + 0.3


def test_one_batch_counts_like_a_conjugate_normal() -> None:
    # By hand: cellar, drink and yeast have variances that add up; what is the batch's own keeps 0.3² nearly.
    mean, spread = cellar((Kind("ale", "Fen"), 0.5, 0.05)).of_next(Kind("ale", "Fen"))
    common = 0.4**2 + (0.5**2 - 0.4**2) + 0.1**2
    own = 0.3**2
    assert mean == pytest.approx(0.5 * common / (common + own + 0.05), abs=0.03)
    assert spread == pytest.approx(own * 1.2 + common * (own + 0.05) / (common + own + 0.05), abs=0.04)


def test_what_is_more_alike_tells_more_and_what_is_less_alike_leaves_more_open() -> None:
    seen = cellar(*[(Kind("ale", "Fen"), 0.6, 0.02)] * 10)
    same, other_yeast, other_drink, lingering = (
        seen.of_next(kind)
        for kind in (Kind("ale", "Fen"), Kind("ale", "Moor"), Kind("mead"), Kind("ale", "Fen", lingers=True))
    )
    assert same[0] > other_yeast[0] > other_drink[0] > 0.2, "late ends in a cellar's ales are late ends in its meads"
    assert same[1] < other_yeast[1] < other_drink[1]
    assert lingering[0] > same[0]
    assert lingering[1] > same[1] + 0.1
    none_of_it = cellar().of_next(Kind("mead"))
    assert other_drink[1] < none_of_it[1]


def test_those_that_were_fed_tell_most_of_those_that_are_fed() -> None:
    fed = Kind("mead", added=True)
    late = cellar(*[(fed, 0.6, 0.02)] * 6, *[(Kind("mead"), 0.1, 0.02)] * 6)
    assert late.of_next(fed)[0] > late.of_next(Kind("mead"))[0] + 0.15
    unfed = cellar(*[(Kind("mead"), 0.1, 0.02)] * 6)
    assert unfed.of_next(fed)[1] > unfed.of_next(Kind("mead"))[1]  # nobody has fed one here


def test_a_yeast_that_ends_late_is_told_from_one_that_does_not() -> None:
    those = [(Kind("ale", "Fen"), 0.4, 0.02), (Kind("ale", "Moor"), -0.1, 0.02)] * 12
    fen, moor, unknown = (cellar(*those).of_next(Kind("ale", name))[0] for name in ("Fen", "Moor", "Tarn"))
    assert fen > unknown + 0.1 > moor + 0.2


def test_only_batches_of_its_kind_are_counted_for_it() -> None:
    seen = [(ALE, 0.0, 0.02)] * 3 + [(Kind("ale", lingers=True), 0.5, 0.02)] * 2 + [(Kind("mead"), 0.3, 0.02)] * 4
    counts = []
    for kind in (ALE, Kind("ale", lingers=True), Kind("mead"), Kind("lager")):
        found = cellar(*seen).observation(kind, TailDuration(0.0, 3.0))
        assert found is not None
        counts.append(found.batches)
    assert counts == [3, 2, 4, 0]


def test_earlier_batches_sharpen_the_belief_of_the_ending(fermentation: Callable[..., Any]) -> None:
    made = [fermentation(seed=k, attenuation=0.8, half_h=45.0, days=12) for k in range(8)]
    earlier = [
        FinishedBatch(Batch(pitched_at=m.at(0), original_gravity_sg=1.052, drink="ale"), m.readings) for m in made
    ]
    batch = earlier[0].batch
    believed = learn(earlier).prior(batch)
    assert believed.ending is not None
    implied = replace(believed, ending=None).implied_ending(1.052)
    after = (implied.sd**-2 + believed.ending.sd**-2) ** -0.5
    assert after < 0.9 * implied.sd
    assert after < 0.75 * Priors().prior(batch).implied_ending(1.052).sd


def test_the_evidence_tells_how_long_endings_take_and_that_is_about_so(fermentation: Callable[..., Any]) -> None:
    made = [fermentation(seed=k, attenuation=0.8, half_h=45.0, days=12) for k in range(8)]
    batch = Batch(pitched_at=made[0].at(0), original_gravity_sg=1.052, drink="ale")
    priors = learn([FinishedBatch(batch, m.readings) for m in made[1:]])
    now = made[0].at(0.75 * made[0].finish_h)
    seen = made[0].readings.filter(pl.col("measured_at") <= now)
    evidence = assess(seen, batch, now=now, priors=priors).evidence
    said = [s for s in sentences(evidence, DisplayUnits()) if s.startswith("The last stretch")]
    assert len(said) == 1
    assert said[0].endswith("going by 7 earlier batches of its kind.")
    left = made[0].left_sg / made[0].left_sg[0]
    half, most = (float(made[0].hours[np.argmax(left < share)]) for share in (0.5, 0.1))
    truly = (made[0].finish_h - most) / (most - half)
    assert float(re.findall(r"about (\d+\.\d) times", said[0])[0]) == pytest.approx(truly, rel=0.35)
    without = assess(seen, batch, now=now)
    assert not any(isinstance(one, TailTakes) for one in without.evidence)
