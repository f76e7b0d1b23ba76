"""What a cellar does with the temperature later on, and that forecasts reckon with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from analysis import Batch, FinishedBatch, assess, learn
from analysis.display_units import DisplayUnits
from analysis.fermentation.temperature import ENERGY_MEAN_KJ_MOL, GAS_J_MOL_K, warmer
from analysis.inference.population import STAGES
from analysis.inference.prior import Priors
from analysis.inference.temperature_schedule import STAYS_LIKE, TemperatureSchedule, risen, warmed
from analysis.wording.evidence import sentences

HOURS = np.arange(0.0, 401.0, 1.0)
RESTED = np.where(HOURS < 100, 11.0, np.minimum(11.0 + 0.25 * (HOURS - 100), 16.0))
"""Eleven degrees, and from the hundredth hour on up to sixteen within twenty hours."""


def test_what_was_done_with_the_temperature_is_read_off_at_each_stage() -> None:
    said = warmed(HOURS, RESTED, np.array([90.0, 110.0, 130.0, 150.0]), 190.0)
    assert said[0] == pytest.approx(0.0)
    assert said[1] == pytest.approx(np.mean(RESTED[(HOURS >= 90) & (HOURS < 190)]) - 11.0, abs=0.05)
    assert said[2] == pytest.approx(2.5)
    assert said[4:] == pytest.approx((5.0, 0.0, 5.0, 0.0))


def test_how_far_it_is_warmed_counts_from_where_it_has_been() -> None:
    assert risen(HOURS, RESTED, 90.0) == 0.0
    assert risen(HOURS, RESTED, 110.0) == pytest.approx(2.5)
    assert risen(HOURS, RESTED, 0.0) == 0.0


def schedule() -> TemperatureSchedule:
    """Three that were warmed by five degrees about the middle, one that was left alone."""
    risen_c = np.array([[0.0, 4.0, 5.0, 5.0]] * 3 + [[0.0] * 4])
    later_c = np.array([[4.0, 1.0, 0.0, 0.0]] * 3 + [[0.0] * 4])
    return TemperatureSchedule(np.array(STAGES), risen_c, later_c)


def test_the_next_batch_does_what_one_that_was_treated_alike_did() -> None:
    later, chance = schedule().of_next(0.5, 0.0)
    assert chance.sum() == pytest.approx(1.0)
    assert chance[later > 3].sum() == pytest.approx(3 / (4 + STAYS_LIKE))
    # Not warmed by three quarters of the fall: like the one that never was.
    later, chance = schedule().of_next(0.75, 0.0)
    assert chance[later > 0.5].sum() < 0.05
    # Warmed further than any: nothing to go by, so it stays.
    later, chance = schedule().of_next(0.75, 15.0)
    assert chance[later == 0].sum() > 0.999


def test_draws_follow_the_chances() -> None:
    normal = np.random.default_rng(1).normal(size=20_000)
    drawn = schedule().draws(0.5, 0.0, normal)
    assert np.mean(drawn > 3) == pytest.approx(3 / (4 + STAYS_LIKE), abs=0.02)


def test_warmer_by_ten_degrees_goes_as_much_faster_as_arrhenius_says() -> None:
    """At the middle activation energy, against the formula by hand; 62 kJ/mol from 10 to 20 °C."""
    by_hand = np.exp(ENERGY_MEAN_KJ_MOL * 1000 / GAS_J_MOL_K * (1 / 283.15 - 1 / 293.15))
    [found] = warmer(10.0, np.array([10.0]), np.zeros((1, 11)))
    assert found == pytest.approx(by_hand)
    assert 2.2 < found < 2.8


def rested(fermentation: Callable[..., Any], seed: int) -> Any:
    """A lager that is warmed by five degrees once about two thirds of the fall are done."""
    begin = 205.0 + 10.0 * np.random.default_rng(seed).normal()
    temperature = lambda h: np.where(h < begin, 11.0, np.minimum(11.0 + 0.25 * (h - begin), 16.0))  # noqa: E731
    return fermentation(original_sg=1.050, half_h=80.0, days=28, temperature_c=temperature, seed=seed)


@pytest.fixture(scope="module")
def taught(fermentation: Callable[..., Any]) -> Priors:
    made = [rested(fermentation, seed) for seed in range(6)]
    batch = Batch(pitched_at=made[0].at(0), original_gravity_sg=1.050, drink="lager")
    return learn([FinishedBatch(batch, m.readings) for m in made])


def test_a_cellar_that_warms_its_lagers_is_told_a_date_that_reckons_with_it(
    fermentation: Callable[..., Any], taught: Priors
) -> None:
    without = Priors(
        {drink: tuple(replace(x, warmed=()) for x in those) for drink, those in taught.likelihoods.items()}
    )
    off: dict[bool, list[float]] = {True: [], False: []}
    said = None
    for seed in range(20, 28):
        made = rested(fermentation, seed)
        batch = Batch(pitched_at=made.at(0), original_gravity_sg=1.050, drink="lager")
        half = float(made.hours[np.argmax(made.gravity_sg < 1.050 - 0.5 * (1.050 - made.gravity_sg[-1]))])
        for knows, priors in ((True, taught), (False, without)):
            said = assess(made.readings, batch, now=made.at(half), priors=priors)
            assert said.finish is not None
            off[knows].append((said.finish.p50 - made.at(made.finish_h)) / timedelta(hours=1))
            told = [s for s in sentences(said.evidence, DisplayUnits()) if "warmer" in s]
            assert bool(told) is knows
    assert np.median(np.abs(off[True])) < 0.8 * np.median(np.abs(off[False]))
    assert np.median(off[True]) < np.median(off[False])


def test_the_habit_survives_the_trip_through_text(taught: Priors) -> None:
    again = Priors.from_json(taught.to_json())
    assert again == taught
    assert all(len(x.warmed) == 2 * len(STAGES) for x in taught.likelihoods["lager"])
