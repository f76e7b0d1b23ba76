"""Which glasses each taster gets, under which codes and in which order.

What stands first is scored otherwise than what stands last, and what came before colours what comes after. Orders are
therefore balanced for both. References: E. J. Williams, Experimental designs balanced for the estimation of residual
effects of treatments, Australian Journal of Scientific Research A 2, 1949, 149-168 (construction; from memory);
ISO 6658 (codes and orders), ISO 29842 (incomplete blocks) and ISO 4120 (the six orders of a triangle), by their
subjects, from memory.

Everything here is random by a `seed` alone, so that it can be made again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Final

import numpy as np

from analysis.thresholds import MOST_GLASSES

Order = tuple[int, ...]
"""The glasses of one taster in the order of serving, each by its number from 0."""

TRIANGLE_ORDERS: Final = ((0, 0, 1), (0, 1, 0), (1, 0, 0), (1, 1, 0), (1, 0, 1), (0, 1, 1))
"""The six orders of two alike and one other (ISO 4120)."""

_SAME_DIGITS: Final = frozenset(range(111, 1000, 111))
_STARTS: Final = 12
"""Beginnings of each search; the best of their ends is taken."""


def glass_codes(count: int, seed: int) -> tuple[str, ...]:
    """Different three-digit codes, in random order, that say nothing; none with three like digits.

    Raises
    ------
    ValueError
        If `count` is not from 1 to 100.
    """
    if not 1 <= count <= 100:
        raise ValueError(f"count must be from 1 to 100 glasses, got {count}")
    allowed = [n for n in range(100, 1000) if n not in _SAME_DIGITS]
    drawn = np.random.default_rng(seed).choice(allowed, size=count, replace=False)
    return tuple(str(n) for n in drawn)


def williams(count: int) -> tuple[Order, ...]:
    """Orders in which each of `count` glasses stands in each place, and comes after each other, equally often.

    Parameters
    ----------
    count
        Glasses, 2 or more.

    Returns
    -------
    tuple of Order
        `count` orders where it is even, twice as many where it is odd; the first `count` are balanced for place.

    Raises
    ------
    ValueError
        If there are fewer than two.
    """
    if count < 2:
        raise ValueError(f"count must be 2 glasses or more, got {count}")
    first, low, high = [0], 1, count - 1
    while len(first) < count:
        first.append(low)
        low += 1
        if len(first) < count:
            first.append(high)
            high -= 1
    rows = [tuple((n + shift) % count for n in first) for shift in range(count)]
    return tuple(rows + [row[::-1] for row in rows]) if count % 2 else tuple(rows)


def serving_orders(glasses: int, tasters: int, seed: int, most: int = MOST_GLASSES) -> tuple[Order, ...]:
    """One order for each taster.

    Up to `most` glasses everybody gets all of them, by a Williams design whose rows are used up before any comes again.
    Of more, everybody gets `most`, so chosen that each glass is served, and meets each other, as equally often as
    can be.

    Raises
    ------
    ValueError
        If there are fewer than two glasses or no taster, or `most` is below two.
    """
    if tasters < 1 or most < 2:
        raise ValueError(f"there must be a taster and a flight of two, got {tasters} tasters and flights of {most}")
    rng = np.random.default_rng(seed)
    if glasses > most:
        return _ordered(incomplete_blocks(glasses, tasters, most, seed), rng)
    square = williams(glasses)
    found: list[Order] = []
    while len(found) < tasters:
        names = rng.permutation(glasses)
        for half in (square[:glasses], square[glasses:]):  # the first half alone is balanced for place
            found += [tuple(int(names[n]) for n in half[row]) for row in rng.permutation(len(half))]
    return tuple(found[:tasters])


def triangle_orders(tasters: int, seed: int) -> tuple[Order, ...]:
    """For each taster three of the glasses 0 and 1 (both of one drink) and 2 and 3 (both of the other).

    The six orders of ISO 4120 are used up before any comes again.
    """
    rng = np.random.default_rng(seed)
    found: list[Order] = []
    while len(found) < tasters:
        for row in rng.permutation(len(TRIANGLE_ORDERS)):
            spare = [list(rng.permutation([0, 1])), list(rng.permutation([2, 3]))]
            found.append(tuple(int(spare[drink].pop()) for drink in TRIANGLE_ORDERS[row]))
    return tuple(found[:tasters])


def incomplete_blocks(glasses: int, tasters: int, size: int, seed: int) -> tuple[tuple[int, ...], ...]:
    """For each taster `size` of the glasses: each glass as often as the others, each pair as often as other pairs.

    Where a balanced incomplete block design exists (ISO 29842) the search usually ends in one; `balance` tells.

    Raises
    ------
    ValueError
        If `size` is not below `glasses`.
    """
    if not 2 <= size < glasses:
        raise ValueError(f"size must be from 2 to {glasses - 1} of {glasses} glasses, got {size}")
    rng = np.random.default_rng(seed)
    tries = [_exchanged(_dealt(glasses, tasters, size, rng), glasses) for _ in range(_STARTS)]
    best = min(tries, key=lambda blocks: _unevenness(_meetings(blocks, glasses)))
    return tuple(tuple(sorted(block)) for block in best)


def _dealt(glasses: int, tasters: int, size: int, rng: np.random.Generator) -> list[set[int]]:
    """Blocks that take the glass that was taken least, at random among equals."""
    taken = np.zeros(glasses)
    blocks = []
    for _ in range(tasters):
        block = np.lexsort((rng.random(glasses), taken))[:size]
        taken[block] += 1
        blocks.append({int(n) for n in block})
    return blocks


def _meetings(blocks: Sequence[set[int]], glasses: int) -> np.ndarray:
    """How often each pair is in one block; the diagonal is 0."""
    within = np.zeros((len(blocks), glasses), dtype=int)
    for row, block in enumerate(blocks):
        within[row, list(block)] = 1
    found: np.ndarray = within.T @ within
    np.fill_diagonal(found, 0)
    return found


def _unevenness(meetings: np.ndarray) -> int:
    return int((meetings**2).sum())


def _exchanged(blocks: list[set[int]], glasses: int) -> list[set[int]]:
    """Two glasses of two blocks change places as long as pairs become more even; how often each is served stays."""
    best = _unevenness(_meetings(blocks, glasses))
    better = True
    while better:
        better = False
        for one, other in combinations(range(len(blocks)), 2):
            for out in sorted(blocks[one] - blocks[other]):
                for into in sorted(blocks[other] - blocks[one]):
                    tried = list(blocks)
                    tried[one] = (blocks[one] - {out}) | {into}
                    tried[other] = (blocks[other] - {into}) | {out}
                    found = _unevenness(_meetings(tried, glasses))
                    if found < best:
                        blocks, best, better = tried, found, True
                        break
                if better:
                    break
            if better:
                break
    return blocks


def _ordered(blocks: Sequence[tuple[int, ...]], rng: np.random.Generator) -> tuple[Order, ...]:
    """Each block in an order, so that no glass stands in one place, or after one other, more often than need be."""
    best: list[list[int]] = []
    for _ in range(_STARTS):
        rows = [[int(n) for n in rng.permutation(block)] for block in blocks]
        found, better = _repeats(rows), True
        while better:
            better = False
            for row in rows:
                for i, j in combinations(range(len(row)), 2):
                    row[i], row[j] = row[j], row[i]
                    tried = _repeats(rows)
                    if tried < found:
                        found, better = tried, True
                    else:
                        row[i], row[j] = row[j], row[i]
        if not best or found < _repeats(best):
            best = rows
    return tuple(tuple(row) for row in best)


def _repeats(rows: Sequence[Sequence[int]]) -> int:
    places = Counter((place, n) for row in rows for place, n in enumerate(row))
    after = Counter(pair for row in rows for pair in pairwise(row))
    return sum(n * n for n in places.values()) + sum(n * n for n in after.values())


@dataclass(frozen=True, slots=True)
class Balance:
    """How even the orders are: each the least and the most of it, over all glasses."""

    served: tuple[int, int]
    """How often a glass is served."""
    in_a_place: tuple[int, int]
    """How often a glass stands in one place of the order."""
    after_another: tuple[int, int]
    """How often a glass comes directly after one other."""
    with_another: tuple[int, int]
    """How many tasters get a certain pair of glasses."""


def balance(orders: Sequence[Order], glasses: int) -> Balance:
    """How even these orders are."""
    longest = max(map(len, orders))
    served = Counter(n for row in orders for n in row)
    places = Counter((place, n) for row in orders for place, n in enumerate(row))
    after = Counter(pair for row in orders for pair in pairwise(row))
    pairs = Counter(pair for row in orders for pair in combinations(sorted(row), 2))
    every = range(glasses)
    return Balance(
        _ends([served[n] for n in every]),
        _ends([places[place, n] for place in range(longest) for n in every]),
        _ends([after[a, b] for a in every for b in every if a != b]),
        _ends([pairs[pair] for pair in combinations(every, 2)]),
    )


def _ends(counts: Sequence[int]) -> tuple[int, int]:
    return min(counts), max(counts)
