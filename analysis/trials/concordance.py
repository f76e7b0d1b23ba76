"""Do the tasters agree, or would chance do as well? Ranks within each taster, whatever scale each of them used.

One statistic covers complete and incomplete servings: with everybody tasting everything it is Friedman's with the
correction for ties, in a balanced incomplete block design it is Durbin's (J. Durbin, 1951); for unequal blocks see
Benard and van Elteren, 1953 (all from memory; the tests compare with published examples). ISO 8587 (ranking) and
ISO 29842 (incomplete blocks) use the first two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.model import Floats

_SHUFFLES: Final = 9_999
"""Random ones; with it the chance is known to 0.002 near 0.05."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether the tasters put the glasses into one order."""

    statistic: float
    """Friedman's or Durbin's, corrected for ties."""
    degrees_of_freedom: int
    p_large_sample: float
    """By the chi-squared distribution, which needs many tasters."""
    p_value: float
    """Chance of so much agreement if everybody ordered at random; by shuffling, so right for few tasters too."""
    kendall_w: float | None
    """Kendall's W from 0 (none) to 1 (one order); None where not everybody ranked every glass."""
    rank_sums: tuple[float, ...]
    tasters: int
    """Those who ranked two glasses or more."""


def agreement(values: Floats, seed: int = 0) -> Agreement | None:
    """How far the tasters agree.

    Parameters
    ----------
    values : shape (tasters, glasses)
        Scores, or ranks; the larger the higher a rank. NaN where a taster did not get or passed a glass.
    seed
        Of the shuffles.

    Returns
    -------
    Agreement or None
        None where nothing can be told: fewer than two tasters with two glasses each, or everybody found all alike.
    """
    from scipy import special  # late: guests' pages are routed at the start, which waits for none of it

    given = np.asarray(values, dtype=float)
    counted = given[(~np.isnan(given)).sum(axis=1) >= 2]
    if len(counted) < 2:
        return None
    within = [np.flatnonzero(~np.isnan(row)) for row in counted]
    ranks = [_ranks(row[here]) for row, here in zip(counted, within, strict=True)]
    centred = [r - r.mean() for r in ranks]
    total = np.zeros(given.shape[1])
    cov = np.zeros((given.shape[1], given.shape[1]))
    for here, c in zip(within, centred, strict=True):
        total[here] += c
        k = len(here)
        cov[np.ix_(here, here)] += (c @ c) / (k - 1) * (np.eye(k) - 1.0 / k)
    inverse, df = _generalised_inverse(cov)
    if df == 0:
        return None

    statistic = float(total @ inverse @ total)
    sums = np.zeros(given.shape[1])
    for here, r in zip(within, ranks, strict=True):
        sums[here] += r
    complete = all(len(here) == given.shape[1] for here in within)
    return Agreement(
        statistic,
        df,
        float(special.chdtrc(df, statistic)),
        _by_shuffling(within, centred, inverse, statistic, seed),
        statistic / (len(counted) * (given.shape[1] - 1)) if complete else None,
        tuple(float(s) for s in sums),
        len(counted),
    )


def least_significant_difference(tasters: int, glasses: int, alpha: float = 0.05) -> float:
    """By so much two rank sums differ, where each taster ranked every glass without ties (ISO 8587).

    Tell it only where the tasters agree as a whole, else one of many pairs passes by chance.
    """
    from scipy import special  # late: guests' pages are routed at the start, which waits for none of it

    return float(-special.ndtri(alpha / 2)) * math.sqrt(tasters * glasses * (glasses + 1) / 6)


def _ranks(values: Floats) -> Floats:
    """Ranks from 1 for the least; equal values share the mean of theirs."""
    less = (values[None, :] < values[:, None]).sum(axis=1)
    same = (values[None, :] == values[:, None]).sum(axis=1)
    found: Floats = less + (same + 1) / 2
    return found


def _generalised_inverse(cov: Floats) -> tuple[Floats, int]:
    size, vectors = np.linalg.eigh(cov)
    kept = size > 1e-9 * max(float(size.max(initial=0.0)), 1e-300)
    if not kept.any():
        return np.zeros_like(cov), 0
    found: Floats = (vectors[:, kept] / size[kept]) @ vectors[:, kept].T
    return found, int(kept.sum())


def _by_shuffling(within: list[np.ndarray], centred: list[Floats], inverse: Floats, seen: float, seed: int) -> float:
    rng = np.random.default_rng(seed)
    total = np.zeros((_SHUFFLES, len(inverse)))
    for here, c in zip(within, centred, strict=True):
        total[:, here] += rng.permuted(np.tile(c, (_SHUFFLES, 1)), axis=1)
    drawn = np.einsum("ni,ij,nj->n", total, inverse, total)
    return (1 + int((drawn >= seen - 1e-9).sum())) / (_SHUFFLES + 1)
