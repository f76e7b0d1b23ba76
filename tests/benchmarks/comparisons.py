"""How far comparisons of yeasts can be trusted: ``python -m tests.benchmarks.comparisons --count 500``.

Worlds are drawn that are not those of the model: yeasts, lots and vessels with their own spreads, some with heavy
tails, effects of temperature that differ from what is expected, batches whose temperature nobody noted. Printed is how
often the 80 % intervals of differences hold the true one, in how many comparisons any difference is claimed, also where
there is none at all, and how often one is claimed that goes the other way.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from analysis.trials import SCALES, Measured, MilestoneName, compare_groups

COMPARED: tuple[MilestoneName, ...] = ("finish_h", "apparent_attenuation")


@dataclass(frozen=True)
class World:
    """How a simulated cellar differs from what the comparison expects; spreads in multiples of the expected ones."""

    name: str
    between: float = 1.0
    within: float = 1.0
    lots: float = 0.5
    freedom: float | None = None
    """Of Student's t, by which vessels differ; None: normal."""
    slope: float = 1.0
    """How strong the effect of temperature is, in what is expected."""
    unknown: float = 0.0
    """Share of the batches of which no temperature is known."""


WORLDS = (
    World("as expected"),
    World("yeasts nearly alike", between=0.3),
    World("yeasts far apart", between=2.0),
    World("vessels alike", within=0.5),
    World("vessels differ widely", within=1.6),
    World("odd vessels", freedom=3.0),
    World("warmth does less", slope=0.5),
    World("half the temperatures unknown", unknown=0.5),
)


@dataclass(frozen=True)
class Drawn:
    """One simulated comparison, and what is true of its yeasts, on the scale of the comparison."""

    measured: list[Measured]
    true: dict[str, float]


def draw(rng: np.random.Generator, world: World, quantity: MilestoneName) -> Drawn:
    """Two to five yeasts with one to five batches each, of worts that some of them share."""
    scale = SCALES[quantity]
    base = {"finish_h": np.log(150.0), "apparent_attenuation": 0.77}[quantity]
    names = [chr(65 + n) for n in range(rng.integers(2, 6))]
    true = {name: float(base + world.between * scale.between * rng.normal()) for name in names}
    worts = [float(world.lots * scale.between * rng.normal()) for _ in range(4)]
    measured = []
    for name in names:
        for _ in range(rng.integers(1, 6)):
            wort, celsius = int(rng.integers(0, 4)), float(rng.normal(19.0, 1.5))
            original = float(rng.normal(1.050, 0.006))
            odd = rng.normal() if world.freedom is None else rng.standard_t(world.freedom) / np.sqrt(3.0)
            value = true[name] + worts[wort] + world.within * scale.within * odd
            value += world.slope * scale.per_degree[0] * (celsius - 19.0)
            value += scale.per_point[0] * 1000.0 * (original - 1.050)
            measured.append(
                Measured(
                    group=name,
                    value=float(np.exp(value)) if scale.logarithmic else value,
                    temperature_c=None if rng.random() < world.unknown else celsius,
                    original_gravity_sg=original,
                    lot=f"wort {wort}",
                )
            )
    return Drawn(measured, true)


@dataclass
class Tally:
    """What came of many comparisons."""

    comparisons: int = 0
    differences: int = 0
    held: int = 0
    claiming: int = 0
    """Comparisons in which any difference is claimed."""
    wrong_way: int = 0
    claimed: int = 0

    def add(self, drawn: Drawn, quantity: MilestoneName) -> None:
        found = compare_groups(quantity, drawn.measured)
        self.comparisons += 1
        self.claiming += any(d.verdict == "differ" for d in found.differences)
        typical = float(np.exp(np.mean(np.log([m.value for m in drawn.measured]))))
        for d in found.differences:
            true = drawn.true[d.first] - drawn.true[d.second]
            if SCALES[quantity].logarithmic:
                true = 2.0 * typical * float(np.sinh(true / 2.0))
            self.differences += 1
            self.held += d.amount.p10 <= true <= d.amount.p90
            if d.verdict == "differ":
                self.claimed += 1
                self.wrong_way += (d.amount.p50 > 0) != (true > 0)


def evaluate(quantities: tuple[MilestoneName, ...], count: int, seed: int) -> None:
    """Print the tables."""
    print(f"{'quantity':22}{'world':34}{'80 % hold':>10}{'claims':>9}{'wrong way':>11}")
    for quantity in quantities:
        for world in WORLDS:
            rng, tally = np.random.default_rng(seed), Tally()
            for _ in range(count):
                tally.add(draw(rng, world, quantity), quantity)
            print(
                f"{quantity:22}{world.name:34}{tally.held / tally.differences:>9.1%}{tally.claiming / count:>9.1%}"
                f"{tally.wrong_way / max(tally.claimed, 1):>10.1%}"
            )
        for world in (
            World("no spread between yeasts", between=0.0),
            World("none, odd vessels", between=0.0, freedom=3.0),
        ):
            rng, tally = np.random.default_rng(seed + 1), Tally()
            for _ in range(count):
                tally.add(draw(rng, world, quantity), quantity)
            print(f"{quantity:22}{world.name:34}{'':>10}{tally.claiming / count:>8.1%}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quantity", choices=COMPARED, action="append", help="both unless given")
    parser.add_argument("--count", type=int, default=500, help="comparisons a world")
    parser.add_argument("--seed", type=int, default=2026)
    given = parser.parse_args()
    evaluate(tuple(given.quantity or COMPARED), given.count, given.seed)
