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


# Made by tests/benchmarks/ship_prior.py. Each source: medians of both numbers, courses, where from.
# speers: +0.69, -0.40, 3 courses.
# reid: +0.69, -0.40, 3 courses.
# toro: +0.50, -1.21, 9 courses.
# ramirez: +1.07, -0.10, 5 courses.
# beer_inline: +0.59, -0.55, 11 courses.
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
        mean=(0.189, 0.248, -0.108, -0.446, -0.232, 0.504, -0.351, -0.492, -0.304, -0.002, -0.058),
        covariance=(
            1.0823,
            0.0976, 1.1206,
            -0.0225, -0.0393, 1.007,
            0.0111, 0.023, -0.0103, 0.7158,
            0.0, -0.0254, 0.0019, -0.0397, 1.1544,
            0.0024, -0.0067, 0.0006, 0.0376, 0.1808, 0.7137,
            0.0218, 0.0238, -0.0167, -0.0355, 0.081, -0.0119, 0.8102,
            0.0481, 0.0667, -0.0186, -0.0575, 0.1342, -0.0501, -0.0504, 0.7548,
            0.0223, 0.018, -0.0169, -0.0088, -0.232, 0.0831, -0.0218, -0.0233, 0.9603,
            -0.0081, -0.0037, 0.0064, 0.0133, -0.0051, 0.0, -0.0034, -0.008, 0.0101, 1.0108,
            0.0041, -0.0069, 0.0077, -0.005, -0.0195, 0.0279, -0.015, 0.0065, -0.0157, 0.0015, 0.9977,
        ),
        ending=(-0.532, 0.452),
    ),
    "lager": Shipped(
        mean=(0.143, 0.19, -0.087, -0.495, -0.319, 0.779, -0.338, -0.439, -0.424, -0.002, -0.061),
        covariance=(
            1.0838,
            0.0977, 1.1279,
            -0.0244, -0.0537, 1.0207,
            0.0094, 0.0216, -0.0099, 0.7075,
            -0.0069, -0.0333, 0.0082, -0.0644, 1.3736,
            0.0, -0.0166, 0.0047, 0.0485, 0.246, 0.7067,
            0.0222, 0.0244, -0.0181, -0.0433, 0.1272, -0.0114, 0.8106,
            0.0465, 0.0619, -0.0164, -0.0704, 0.1985, -0.0459, -0.0578, 0.7542,
            0.0275, 0.0184, -0.0236, -0.0068, -0.3239, 0.0752, -0.0368, -0.0392, 0.9713,
            -0.012, -0.0009, 0.006, 0.018, -0.0058, -0.0041, -0.0025, -0.0117, 0.0113, 1.0094,
            0.0043, -0.0046, 0.0077, -0.0002, -0.0204, 0.0261, -0.0179, 0.007, -0.0193, 0.003, 0.9914,
        ),
        ending=(-0.532, 0.452),
    ),
}  # fmt: skip
