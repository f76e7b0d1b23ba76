"""How far what tasters say can be trusted: ``python -m tests.benchmarks.panels --count 500``.

Cellars are drawn that are not those of the model: five hops, four tastings of two to four of them, tasters who score
high or low, a first glass that gets more, whole numbers cut off at 0 and 100, tastes with heavy tails. Printed is for
panels of three to ten how often the 80 % intervals hold the truth: those of single drinks in one tasting, and those of
differences between hops over all tastings; and in how many cellars a difference of hops is claimed where there is none.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from analysis.trials import Judged, Measured, compare_scores, points_of, score_error, scores, serving_orders

HOPS = 5
TASTINGS = 4
TASTERS = (3, 4, 6, 10)
SINGLE = 6.0
"""Points of 100, standard deviation: by how much drinks with one hop differ all the same."""
FIRST_GLASS = 3.0
"""Points of 100 that whatever is drunk first gets more."""


@dataclass(frozen=True)
class World:
    """How people taste; points of 100."""

    name: str
    between: float = 8.0
    rest: float = 11.0
    freedom: float | None = None
    """Of Student's t, by which single scores stray; None: normal."""


WORLDS = (
    World("as expected"),
    World("drinks far apart", between=16.0),
    World("drinks nearly alike", between=3.0),
    World("steady tasters", rest=6.0),
    World("unsteady tasters", rest=18.0),
    World("odd tasters", freedom=3.0),
)
NONE = (World("hops do nothing", between=0.0), World("nothing, odd tasters", between=0.0, freedom=3.0))


def panel(rng: np.random.Generator, world: World, worth: np.ndarray, tasters: int) -> list[Judged]:
    """What a panel gives drinks of this worth."""
    found = []
    for taster, order in enumerate(serving_orders(len(worth), tasters, int(rng.integers(1 << 30)))):
        level = rng.normal(55.0, 12.0)
        for place, drink in enumerate(order):
            odd = rng.normal() if world.freedom is None else rng.standard_t(world.freedom) / np.sqrt(3.0)
            score = level + worth[drink] + FIRST_GLASS * (place == 0) + world.rest * odd
            found.append(Judged(taster, drink, place, float(np.clip(np.round(score), 0, 100))))
    return found


@dataclass
class Tally:
    """What came of many cellars."""

    drinks: int = 0
    drinks_held: int = 0
    differences: int = 0
    held: int = 0
    claiming: int = 0

    def add(self, rng: np.random.Generator, world: World, tasters: int) -> None:
        """Draw a cellar, and compare its hops."""
        hops = rng.normal(0.0, world.between, HOPS)
        measured = []
        for tasting in range(TASTINGS):
            served = rng.choice(HOPS, int(rng.integers(2, 5)), replace=False)
            worth = hops[served] + rng.normal(0.0, SINGLE, len(served))
            judged = panel(rng, world, worth, tasters)
            if tasting == 0:
                self._drinks(judged, worth, int(rng.integers(1 << 30)))
            for arm, (value, error) in points_of(judged).items():
                error = score_error(error, unknown=0, several_worts=False, times=1)
                measured.append(Measured(group=str(served[arm]), value=value, standard_error=error, lot=str(tasting)))
        found = compare_scores(measured)
        self.claiming += any(d.verdict == "differ" for d in found.differences)
        for d in found.differences:
            self.differences += 1
            self.held += d.amount.p10 <= hops[int(d.first)] - hops[int(d.second)] <= d.amount.p90

    def _drinks(self, judged: list[Judged], worth: np.ndarray, seed: int) -> None:
        found = scores(judged, len(worth), seed)
        assert found is not None, "everybody scored everything"
        low, high = np.quantile(found.draws, (0.1, 0.9), axis=0)
        centred = worth - worth.mean()
        self.drinks += len(worth)
        self.drinks_held += int(((low <= centred) & (centred <= high)).sum())


def evaluate(count: int, seed: int, panels: tuple[int, ...], worlds: tuple[str, ...]) -> None:
    """Print the table."""
    print(f"{'tasters':>8}  {'world':24}{'drinks hold':>12}{'hops hold':>11}{'claims':>9}")
    for tasters in panels:
        for n, world in enumerate((*WORLDS, *NONE)):
            if worlds and world.name not in worlds:
                continue
            rng, tally = np.random.default_rng((seed, tasters, n)), Tally()
            for _ in range(count):
                tally.add(rng, world, tasters)
            print(
                f"{tasters:>8}  {world.name:24}{tally.drinks_held / tally.drinks:>11.1%}"
                f"{tally.held / tally.differences:>10.1%}{tally.claiming / count:>9.1%}",
                flush=True,
            )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tasters", type=int, choices=TASTERS, action="append", help="all four unless given")
    names = [world.name for world in (*WORLDS, *NONE)]
    parser.add_argument("--world", choices=names, action="append", help="all unless given")
    parser.add_argument("--count", type=int, default=500, help="cellars a world")
    parser.add_argument("--seed", type=int, default=2026)
    given = parser.parse_args()
    evaluate(given.count, given.seed, tuple(given.tasters or TASTERS), tuple(given.world or ()))
