"""Medians of many stretches at once, against numpy's of each."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.readings import medians


@pytest.mark.parametrize("longest", [1, 2, 7, 64, 65, 200])
def test_medians_of_stretches_are_those_of_numpy(longest):
    rng = np.random.default_rng(longest)
    values = rng.normal(1.02, 0.01, 400).round(4)
    starts = rng.integers(0, 400 - longest, 300)
    ends = starts + rng.integers(1, longest + 1, 300)
    ends[0] = starts[0] + longest
    expected = [np.median(values[a:b]) for a, b in zip(starts, ends, strict=True)]
    assert medians(values, starts, ends).tolist() == expected


def test_no_stretch_has_no_median_and_an_empty_one_is_refused():
    none = np.empty(0, dtype=np.intp)
    assert medians(np.ones(3), none, none).size == 0
    with pytest.raises(ValueError, match="at least one value"):
        medians(np.ones(3), np.array([1]), np.array([1]))
