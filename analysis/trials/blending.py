"""Which shares of these drinks are liked best together, how surely, and which blends to try next.

What a blend is worth is the shares' mean of what its drinks are worth, and for each pair of them a gain or loss that is
greatest at halves: Scheffé's quadratic mixture model (H. Scheffé, Experiments with mixtures, Journal of the Royal
Statistical Society B 20, 1958, 344-360; from memory). Gains are drawn towards none, and a blend may stray from what its
shares explain. Tasters and places are taken out as in `analysis.trials.scoring`.

A blend of finished drinks is not the same as one batch with both hops or both yeasts in it; it is where to begin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise
from typing import Final

import numpy as np

from analysis.model import Floats, Range
from analysis.thresholds import BLEND_GAIN, BLEND_STEP, BLEND_STRAY
from analysis.trials.scoring import Judged, Worth, averaged, believed, range_of

MOST_DRINKS: Final = 5
"""Drinks in one blend; more would leave hundreds of blends to tell apart."""
_APART: Final = 0.3
"""Shares by which proposals differ from one another, summed over the drinks."""
_NEW: Final = 0.2
"""Shares by which they differ from what was tasted."""
_LIKELY: Final = 0.02
"""Chance to be the best of all below which a blend is not worth a glass."""

Shares = tuple[float, ...]
"""One share for each drink, by volume; they add up to 1."""


@dataclass(frozen=True, slots=True)
class Blend:
    """What the tastings say of blending some drinks."""

    liked: Shares
    """The shares that are worth most, as far as is known."""
    shares: tuple[Range, ...]
    """Where each share of the best blend may lie."""
    gain: Range
    """Points of 100 by which the blend `liked` exceeds the best of the drinks alone."""
    p_better: float
    """Chance that it exceeds it at all."""
    proposals: tuple[Shares, ...]
    """Blends to try next, where the best may lie; none that was tried, and none that is hardly the best."""
    tried: int
    """Blends of two drinks or more that were tasted."""


@lru_cache(maxsize=8)
def simplex(drinks: int, step: float = BLEND_STEP) -> tuple[Shares, ...]:
    """All shares in steps, each drink alone among them."""
    parts = round(1 / step)
    cuts = combinations(range(parts + drinks - 1), drinks - 1)
    found = []
    for cut in cuts:
        ends = (-1, *cut, parts + drinks - 1)
        found.append(tuple((b - a - 1) / parts for a, b in pairwise(ends)))
    return tuple(found)


def mixture_terms(shares: Floats) -> Floats:
    """Scheffé's quadratic terms: each share, and four times the product of each pair, so that halves give 1.

    Parameters
    ----------
    shares : shape (n, drinks)

    Returns
    -------
    shape (n, drinks + pairs)
    """
    pairs = [4 * shares[:, a] * shares[:, b] for a, b in combinations(range(shares.shape[1]), 2)]
    return np.column_stack([shares, *pairs])


def blend(judged: Sequence[Judged], tasted: Sequence[Shares], proposals: int = 4, seed: int = 0) -> Blend | None:
    """What scores of these drinks and their blends say.

    Parameters
    ----------
    judged
        `Judged.arm` counts the entries of `tasted`; tasters of different tastings have different numbers.
    tasted
        The shares of each drink that was tasted; one that was tasted alone has 1 at its place.
    proposals
        How many blends to try to name.
    seed
        Of the draws.

    Returns
    -------
    Blend or None
        None where nobody judged two of them.

    Raises
    ------
    ValueError
        If there are fewer than two drinks or more than five, or shares that do not add up to 1.
    """
    matrix = np.array(tasted, dtype=float)
    drinks = matrix.shape[1] if matrix.ndim == 2 else 0
    if not 2 <= drinks <= MOST_DRINKS:
        raise ValueError(f"a blend takes 2 to {MOST_DRINKS} drinks, got {drinks}")
    if (matrix < 0).any() or not np.allclose(matrix.sum(axis=1), 1.0, atol=1e-6):
        raise ValueError("shares must not be below 0 and must add up to 1 for each drink")
    cells = averaged(list(judged))
    if len({each.taster for each in cells}) == len(cells):
        return None
    rng = np.random.default_rng(seed)
    said = believed(cells, rng, _worth(matrix))
    grid = simplex(drinks)
    points = mixture_terms(np.array(grid))
    value = said.worth[:, : points.shape[1]] @ points.T
    alone = [n for n, shares in enumerate(grid) if max(shares) == 1.0]
    liked = int(np.argmax(value.mean(axis=0)))
    single = alone[int(np.argmax(value[:, alone].mean(axis=0)))]
    gain = value[:, liked] - value[:, single]
    best = np.argmax(value, axis=1)
    where = np.array(grid)[best]
    return Blend(
        grid[liked],
        tuple(range_of(where[:, n]) for n in range(drinks)),
        range_of(gain),
        float(np.mean(gain > 0)),
        _proposed(grid, np.bincount(best, minlength=len(grid)), tasted, proposals),
        sum(max(shares) < 1.0 for shares in set(tasted)),
    )


def _worth(matrix: Floats) -> Worth:
    drinks, count = matrix.shape[1], matrix.shape[0]
    terms = np.hstack([mixture_terms(matrix), np.eye(count)])
    pairs = drinks * (drinks - 1) // 2
    scale = np.concatenate([np.ones(drinks), np.full(pairs, BLEND_GAIN), np.full(count, BLEND_STRAY)])
    return Worth(terms, scale)


def _proposed(grid: Sequence[Shares], best: np.ndarray, tasted: Sequence[Shares], count: int) -> tuple[Shares, ...]:
    """The blends that are the best in most draws, each some way from the others and from what was tasted."""
    found: list[Shares] = []
    for n in np.argsort(-best, kind="stable"):
        shares = grid[n]
        if len(found) == count or best[n] < _LIKELY * best.sum():
            break
        new = all(_distance(shares, other) >= _NEW for other in tasted)
        if max(shares) < 1.0 and new and all(_distance(shares, other) >= _APART for other in found):
            found.append(shares)
    return tuple(found)


def _distance(one: Shares, other: Shares) -> float:
    return round(sum(abs(a - b) for a, b in zip(one, other, strict=True)), 9)


@dataclass(frozen=True, slots=True)
class Dose:
    """Hops of one variety in a batch; `grams_per_litre` is None where the grams or the batch's volume is not known."""

    variety: str
    grams_per_litre: float | None


@dataclass(frozen=True, slots=True)
class NextBatch:
    """The shares liked best, for so many litres."""

    litres: tuple[float, ...]
    """Of each drink, if finished drinks are blended."""
    hops_g: dict[str, float | None]
    """Grams of each variety, if it is made anew; None where it cannot be said."""


def next_batch(shares: Shares, doses: Sequence[Sequence[Dose]], litres: float) -> NextBatch:
    """Scale a blend to a batch: each drink's hops in grams a litre, by its share.

    Raises
    ------
    ValueError
        If `litres` is not above zero.
    """
    if not litres > 0:
        raise ValueError(f"litres must be above 0, got {litres:g}")
    hops: dict[str, float | None] = {}
    for share, given in zip(shares, doses, strict=True):
        for dose in given if share > 0 else ():
            so_far = hops.get(dose.variety, 0.0)
            known = so_far is not None and dose.grams_per_litre is not None
            hops[dose.variety] = (so_far or 0.0) + share * litres * (dose.grams_per_litre or 0.0) if known else None
    return NextBatch(tuple(share * litres for share in shares), hops)
