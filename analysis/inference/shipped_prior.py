"""What is expected of a course in a cellar without history: a table, made from published kinetics and measured sets.

Made by ``tests/benchmarks/ship_prior.py``, which says how. A drink that is not here has no evidence: the general prior
of `analysis.inference.prior`, wider still, stands for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipped:
    """What is expected of one drink, in standard deviations from the general mean.

    `covariance` is that of the next batch of an unknown cellar, its lower triangle. `ending` is the mean of a cellar's
    usual ending (see `analysis.inference.tail_duration`) and how far cellars differ in it.
    """

    mean: tuple[float, ...]
    covariance: tuple[float, ...]
    ending: tuple[float, float]


# Made by tests/benchmarks/ship_prior.py. Each source: medians of its numbers, courses, where from.
# speers: -0.00, +0.00, +0.00, -0.40, 3 courses.
# reid: -0.00, +0.00, +0.00, -0.40, 3 courses.
# toro: -0.27, -0.02, -0.37, -1.21, 9 courses.
# ramirez: -1.10, +0.31, +0.13, -0.10, 5 courses.
# beer_inline: -0.19, +0.03, -0.26, -0.55, 11 courses.
# speers: four-parameter logistic, which described industrial lagers best: R. A. Speers, P. Rogers, B. Smith, J.
#   Inst. Brew. 109(3), 2003, 229-235.
# reid: four-parameter logistic, fitted to seven sets of ale, lager and whisky: S. J. Reid et al., Fermentation 7(1),
#   2021, 13.
# toro: B. de Andres-Toro et al., Mathematics and Computers in Simulation 48, 1998, 65-74, lagers at 10 to 14 °C.
# ramirez: D. A. Gee, W. F. Ramirez, J. Inst. Brew. 100, 1994, 321-329, growth model, 10 to 20 °C (constants from
#   memory).
# beer_inline: E. Lwele, Sheffield Hallam University 2025, 11 beers that reached their end; derived figures only.
SHIPPED: Final[dict[str, Shipped]] = {
    "ale": Shipped(
        mean=(0.761, 1.014, -0.317, -0.641, 0.464, 0.501, -0.387, -0.668, -0.577, 0.0, 0.0),
        covariance=(
            1.2594,
            0.3438, 1.4806,
            0.0115, 0.011, 0.866,
            -0.1206, -0.2834, 0.0188, 1.0479,
            0.0309, 0.1324, -0.1293, -0.2871, 2.3423,
            0.1007, 0.0837, 0.0413, -0.023, -0.2977, 0.9759,
            -0.0523, -0.0712, 0.0214, -0.0027, -0.0816, 0.0168, 0.8104,
            -0.0792, -0.1383, 0.0252, 0.1358, -0.0693, 0.0029, 0.0046, 0.8544,
            -0.0181, -0.0909, 0.0296, 0.1695, -0.5444, 0.0668, 0.041, 0.0479, 1.0738,
            0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0,
            0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0,
        ),
        ending=(-0.532, 0.452),
    ),
    "lager": Shipped(
        mean=(0.896, 1.183, -0.27, -0.703, 0.237, 0.871, -0.383, -0.669, -0.65, 0.0, 0.0),
        covariance=(
            1.2743,
            0.366, 1.4584,
            0.0607, 0.0452, 0.8163,
            -0.1655, -0.2332, 0.0216, 0.9015,
            0.0472, 0.1258, -0.1099, -0.3477, 2.7515,
            0.131, 0.0985, -0.0035, -0.0412, -0.0413, 0.9542,
            -0.0404, -0.0468, -0.01, -0.0157, 0.0675, -0.0462, 0.8081,
            -0.0892, -0.1707, 0.0185, 0.1212, -0.0648, -0.0328, -0.0114, 0.844,
            -0.0163, -0.0716, 0.0197, 0.1423, -0.6767, 0.0245, -0.0052, 0.0695, 1.0851,
            0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0,
            0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0,
        ),
        ending=(-0.532, 0.452),
    ),
}  # fmt: skip
