from __future__ import annotations

import numpy as np
import pytest

from analysis.inference.importance_sampling import sample


@pytest.mark.parametrize("d", [6, 12, 16])
def test_a_narrow_normal_likelihood_gives_its_exact_posterior_and_evidence(d: int) -> None:
    # About 250 draws count, so each mean scatters by 0.06 of its own deviation and each deviation by 0.045: the
    # bounds are two and a half and three times that, in every dimension by itself.
    centre = np.linspace(-1.5, 1.5, d)
    sd = np.linspace(0.03, 0.4, d)

    def log_likelihood(z: np.ndarray) -> tuple[np.ndarray, ...]:
        return (-0.5 * np.square((z - centre) / sd).sum(axis=1), z[:, 0] * 2.0)

    weighted = sample(log_likelihood, d)
    exact_variance = 1.0 / (1.0 + 1.0 / sd**2)
    exact_mean = exact_variance * centre / sd**2
    mean = weighted.weight @ weighted.z
    spread = np.sqrt(weighted.weight @ np.square(weighted.z - mean))
    np.testing.assert_allclose((mean - exact_mean) / np.sqrt(exact_variance), 0.0, atol=0.15)
    np.testing.assert_allclose(spread, np.sqrt(exact_variance), rtol=0.13)
    exact = -0.5 * np.sum(centre**2 / (1 + sd**2)) + np.sum(np.log(sd / np.sqrt(1 + sd**2)))
    assert weighted.log_evidence == pytest.approx(exact, abs=0.2)
    np.testing.assert_array_equal(weighted.extra[0], weighted.z[:, 0] * 2.0)


def test_two_peaks_keep_their_shares() -> None:
    def log_likelihood(z: np.ndarray) -> tuple[np.ndarray, ...]:
        left = -0.5 * np.square((z - 1.0) / 0.25).sum(axis=1)
        right = -0.5 * np.square((z + 1.0) / 0.25).sum(axis=1) + np.log(3.0)
        return (np.logaddexp(left, right),)

    weighted = sample(log_likelihood, 2)
    assert float(weighted.weight[weighted.z[:, 0] < 0].sum()) == pytest.approx(0.75, abs=0.1)


def test_the_same_question_gets_the_same_answer() -> None:
    def log_likelihood(z: np.ndarray) -> tuple[np.ndarray, ...]:
        return (-0.5 * np.square((z - 0.3) / 0.1).sum(axis=1),)

    first, second = sample(log_likelihood, 5), sample(log_likelihood, 5)
    np.testing.assert_array_equal(first.weight, second.weight)
    np.testing.assert_array_equal(first.z, second.z)
