"""Partial pooling against published worked examples, and in the limits in which its answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.trials.pooling import Expected, Grid, Observed, errors_with_more, pool

# D. B. Rubin, Estimation in parallel randomized experiments, Journal of Educational Statistics 6 (1981) 377: effects of
# coaching in eight schools and their standard errors, as printed in many places (read there).
SCHOOLS = ((28, 15), (8, 10), (-3, 16), (7, 11), (-1, 9), (1, 11), (18, 10), (12, 18))
EFFECTS, ERRORS = (np.array(each, dtype=float) for each in zip(*SCHOOLS, strict=True))
EIGHT = Observed(EFFECTS, np.arange(8), 8, ERRORS)


def eight_schools(between: Grid, typical: tuple[float, float]):
    """The model of the example: each school's error is known."""
    return pool(EIGHT, Expected(typical, between, Grid.known(1e-4), Grid.known(1.0)))


def test_the_eight_schools_with_flat_priors_are_those_of_the_quadrature():
    # Gelman et al., Bayesian Data Analysis 5.5: flat priors on the mean and on the spread. The figures were computed by
    # another quadrature (spread up to 150), to 0.02.
    tau = np.arange(0.05, 150.0, 0.1)
    found = eight_schools(Grid(tau, np.full(tau.size, 1 / tau.size)), (0.0, 1e4))
    expected = (11.4, 7.895, 6.131, 7.645, 5.126, 6.138, 10.667, 8.457)
    means = [found.of(found.group(g)).moments[0] for g in range(8)]
    assert means == pytest.approx(expected, abs=0.03)
    common = np.zeros(found.mean.shape[1])
    common[0] = 1.0
    assert found.of(common).moments[0] == pytest.approx(7.932, abs=0.02)
    median = np.quantile(found.between, 0.5, weights=found.weight, method="inverted_cdf")
    assert median == pytest.approx(5.238, abs=0.1)


def test_the_eight_schools_are_those_of_a_published_run_of_a_sampler():
    # A published notebook's run of a Hamiltonian sampler, 4 chains of 50,000, with mean ~ N(0, 10) and
    # log spread ~ N(5, 1) (read there): mean 5.803, log spread 2.451, standardised effect of school A 0.654.
    log_tau = np.linspace(-3.0, 9.0, 800)
    found = eight_schools(Grid(np.exp(log_tau), np.exp(-0.5 * (log_tau - 5.0) ** 2)), (0.0, 10.0))
    common = np.zeros(found.mean.shape[1])
    common[0] = 1.0
    assert found.of(common).moments[0] == pytest.approx(5.803, abs=0.05)
    assert found.weight @ np.log(found.between) == pytest.approx(2.451, abs=0.02)
    assert found.weight @ (found.mean[:, 1] / found.between) == pytest.approx(0.654, abs=0.02)


def groups(values: list[list[float]], *, between: float = 1.0, within: float = 1.0):
    flat = [(v, g) for g, each in enumerate(values) for v in each]
    observed = Observed(np.array([v for v, _ in flat]), np.array([g for _, g in flat]), len(values))
    return pool(observed, Expected((0.0, 50.0), Grid.half_t(between), Grid.log_normal(within, 0.5), Grid.known(1.0)))


def test_one_batch_cannot_carry_its_group_away_and_many_can():
    others = [[0.1, -0.2, 0.0, 0.1, -0.1, 0.1], [-0.1, 0.1, 0.2, -0.2, 0.0, 0.0]]
    one = groups([*others, [2.0]], between=0.3, within=0.3)
    many = groups([*others, [2.0] * 6], between=0.3, within=0.3)
    of_one, of_many = (found.of(found.group(2)).moments for found in (one, many))
    assert of_one[0] < of_many[0] < 2.0
    assert of_many[0] == pytest.approx(2.0, abs=0.15)
    assert of_one[1] > 1.5 * of_many[1]


def test_a_spread_that_is_known_gives_the_textbook_weights():
    # By hand: two groups, spread 1 between and 1 within, known; a mean of four values 4 apart from the other's 0 is
    # drawn towards the common mean by 1 / (1 + 1/4) = 0.8 of its deviation.
    observed = Observed(np.array([4.0] * 4 + [0.0] * 4), np.array([0] * 4 + [1] * 4), 2)
    found = pool(observed, Expected((0.0, 1e4), Grid.known(1.0), Grid.known(1.0), Grid.known(1.0)))
    first, second = (found.of(found.group(g)).moments[0] for g in (0, 1))
    assert (first, second) == (pytest.approx(2 + 0.8 * 2, abs=1e-3), pytest.approx(2 - 0.8 * 2, abs=1e-3))


def test_quantiles_are_where_their_chances_say():
    found = groups([[1.0, 1.5], [0.0, 0.3]])
    mixture = found.of(found.group(0) - found.group(1))
    for chance, value in zip((0.1, 0.5, 0.9), mixture.quantiles(), strict=True):
        assert mixture.below(value) == pytest.approx(chance, abs=1e-6)


def test_the_chances_of_being_best_add_up_and_follow_the_values():
    best = groups([[3.0, 3.1, 2.9], [0.0, 0.1], [0.2, -0.1]], within=0.2).best(greatest=True)
    assert best.sum() == pytest.approx(1.0)
    assert best[0] > 0.95


def test_more_batches_make_the_error_smaller_towards_nothing():
    found = groups([[1.0, 1.5], [0.0, 0.3]])
    errors = list(errors_with_more(found, 0, 1, 1000))
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 0.1 * errors[0]
    # By hand: with spread s from vessel to vessel, of n more each the error comes to s √(2/n).
    assert errors[-1] == pytest.approx(found.vessel_spread[1] * np.sqrt(2 / 1000), rel=0.02)


def test_replicates_elsewhere_weigh_a_spread_as_by_the_chi_square():
    # By hand: the likelihood of s alone, s^-40 exp(-40 / (2 s^2)), is greatest at 1; a wide prior hardly moves it.
    seen = Grid.log_normal(3.0, 1.0, 40.0, 40, points=200)
    middle = np.quantile(seen.values, 0.5, weights=seen.weight, method="inverted_cdf")
    assert middle == pytest.approx(1.0, abs=0.08)
    blind = Grid.log_normal(3.0, 1.0)
    assert np.quantile(blind.values, 0.5, weights=blind.weight, method="inverted_cdf") == pytest.approx(3.0, rel=0.1)
