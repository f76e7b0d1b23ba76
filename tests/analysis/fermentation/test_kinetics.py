from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.fermentation import PARAMETERS, Shapes
from analysis.fermentation.temperature import ENERGY_MEAN_KJ_MOL, GAS_J_MOL_K, speeds
from analysis.inference.posterior import first_below
from tests.examples import examples


def theta(**changed: float) -> np.ndarray:
    usual = {
        "log_rate": np.log(1 / 28), "log_lag": np.log(14), "log_growth": 1.0, "log_fade": -3.0, "logit_slow": -1.7,
        "log_rho": -0.3, "log_monod": -2.8, "logit_inhibition": 0.4, "log_slow_monod": 0.0, "warmth": 0.0, "cold": 0.0,
    }  # fmt: skip
    return np.array([[{**usual, **changed}[name] for name in PARAMETERS]])


TAU = np.linspace(0.0, 2000.0, 500)[None, :]


@settings(max_examples=examples(30), deadline=None)
@given(st.lists(st.floats(-2.5, 2.5), min_size=11, max_size=11))
def test_every_course_falls_from_nothing_to_at_most_all_of_it_and_never_rises(z: list[float]) -> None:
    course = theta() + np.array([z]) * np.array([0.5, 0.6, 0.35, 0.9, 1.1, 0.6, 0.9, 1.1, 1.1, 1, 1])
    done = Shapes.of(course).fall(TAU)[0]
    assert done[0] == pytest.approx(0.0, abs=1e-6)
    assert np.all(np.diff(done) >= -1e-6)
    assert done[-1] <= 1.0 + 1e-6


def test_half_of_the_easy_sugar_is_gone_after_the_lag_and_the_half_time() -> None:
    # Without a slow sugar and without fading, one unit of work takes up half of it, whatever the uptake law.
    for monod in (-3.5, -1.0, 0.3):
        for inhibition in (-3.0, 0.5, 2.0):
            course = theta(
                logit_slow=-20.0, log_fade=-7.0, log_monod=monod, logit_inhibition=inhibition, log_growth=2.0
            )
            done = Shapes.of(course).fall(np.array([[14.0 + 28.0]]))[0, 0]
            assert done == pytest.approx(0.5, abs=0.02)


def test_a_slow_sugar_leaves_a_tail() -> None:
    without = Shapes.of(theta(logit_slow=-6.0)).fall(TAU)[0]
    with_it = Shapes.of(theta(logit_slow=-1.0, log_rho=-1.2)).fall(TAU)[0]
    assert np.interp(0.98, with_it, TAU[0]) > 1.5 * np.interp(0.98, without, TAU[0])


def test_rate_follows_arrhenius_for_the_middle_law() -> None:
    # Svante Arrhenius' law with the molar gas constant of CODATA 2018; ten degrees at 62 kJ/mol are a factor of 2.3.
    laws = speeds(np.array([12.0, 22.0]), 20.0, 20.0)
    at = laws[len(laws) // 2]
    expected = np.exp(ENERGY_MEAN_KJ_MOL * 1000 / GAS_J_MOL_K * (1 / 285.15 - 1 / 295.15))
    awake = (1 / (1 + np.exp(-(22 - 10) / 1.2))) / (1 / (1 + np.exp(-(12 - 10) / 1.2)))
    assert at[1] / at[0] == pytest.approx(expected * awake, rel=1e-9)


def test_in_the_cold_the_yeast_sleeps() -> None:
    assert np.all(speeds(np.array([2.0]), 20.0, 20.0) < 0.03)


def test_the_finish_is_where_the_last_point_begins() -> None:
    at = np.array([0.0, 10.0, 20.0, 30.0])
    left = np.array([[0.01, 0.004, 0.0005, 0.0001], [0.01, 0.009, 0.008, 0.007], [0.0005, 0.0004, 0.0003, 0.0002]])
    when = first_below(at, left, 0.001)
    assert 10 < when[0] < 20
    assert when[1] == np.inf
    assert when[2] == 0.0
