"""Make the prior of a cellar without history: ``python tests/benchmarks/ship_prior.py DIR --write``.

Four numbers tell the shape of a course apart from its pace and its size: how long the stretches from a tenth to a
quarter of the fall and from half to three quarters take against that from a quarter to half; how long that to nine
tenths takes against the one before it; and how long the last one takes, to where a point is left, against that from
half to nine tenths. Published kinetics and the measured sets of DIR (see ``measured.py --help``) each say what they
usually are. A cellar unknown so far is taken for one more such source: mean over the sources, and a spread that grows
with how few they are. The wide general prior is weighed so that it implies the four numbers, and in nothing else more
than that takes (least relative entropy); mean and covariance of that are what ships. Drinks for which nothing was found
(mead, cider, wine, other) keep the general prior. ``--without NAME`` leaves a source out, to judge the prior by it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from analysis import Batch  # noqa: E402
from analysis.drinks import DRINK_FACTS  # noqa: E402
from analysis.fermentation import OF_THE_COURSE, PARAMETERS, Shapes  # noqa: E402
from analysis.inference.prior import ATTENUATION, FEATURES, general  # noqa: E402
from analysis.inference.shipped_prior import Shipped  # noqa: E402
from analysis.model import Drink, Floats  # noqa: E402
from analysis.thresholds import STEADY_SG  # noqa: E402
from sample_data.kinetics import FALL_PER_SUGAR  # noqa: E402
from sample_data.published import DRY_SUGAR_SHARE, PublishedRecipe, simulate_published  # noqa: E402
from tests.benchmarks.measured_sets import PITCHED, Measured, load  # noqa: E402

MODULE = ROOT / "analysis" / "inference" / "shipped_prior.py"

WITHIN_SD = (0.20, 0.15, 0.15, 0.30)
"""How much the four numbers differ between batches of one place: no source for the first three; `USUAL_SD` for the
ending. Of the in-line beers it is 0.15, 0.10, 0.26 and 0.46 (derived figures), where density is told to 0.1 °P and
the last point to hours."""

SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)
DRAWN = 60_000
ROUNDS = 4
"""A normal implies the numbers otherwise than the weighed draws it is made of: it is drawn from and weighed again."""

SPEAKS_FOR: dict[str, tuple[Drink, ...]] = {
    "speers": ("ale", "lager"),
    "reid": ("ale", "lager"),
    "toro": ("ale", "lager"),
    "ramirez": ("ale", "lager"),
    "beer_inline": ("ale", "lager"),
}
"""Which drinks each source speaks for. No evidence, no shipped prior.

Other measured sets are laboratory ferments in the warm: they say nothing of a cool must that takes three weeks.
"""

CITED = {
    "speers": "four-parameter logistic, which described industrial lagers best: R. A. Speers, P. Rogers, B. Smith,"
    " J. Inst. Brew. 109(3), 2003, 229-235",
    "reid": "four-parameter logistic, fitted to seven sets of ale, lager and whisky: S. J. Reid et al., Fermentation"
    " 7(1), 2021, 13",
    "toro": "B. de Andres-Toro et al., Mathematics and Computers in Simulation 48, 1998, 65-74, lagers at 10 to 14 °C",
    "ramirez": "D. A. Gee, W. F. Ramirez, J. Inst. Brew. 100, 1994, 321-329, growth model, 10 to 20 °C (constants from"
    " memory)",
    "beer_inline": "E. Lwele, Sheffield Hallam University 2025, 11 beers that reached their end; derived figures only",
}


@dataclass(frozen=True)
class Source:
    """The four numbers of each course of a source, natural logarithms of ratios of hours, shape (courses, 4)."""

    name: str
    shapes: Floats

    @property
    def usual(self) -> Floats:
        """Medians over its courses."""
        return np.asarray(np.median(self.shapes, axis=0))


def four_numbers(*hours: Floats) -> Floats:
    """From the hours of `SHARES` and of the last point: logarithms of ratios of stretches, see above, shape (n, 4)."""
    tenth, quarter, half, three, most, last = hours
    second = half - quarter
    third, fourth = three - half, most - three
    ratios = (quarter - tenth) / second, third / second, fourth / third, (last - most) / (most - half)
    return np.log(np.stack(ratios, axis=-1))


def of_course(hours: Floats, fall_sg: Floats) -> Floats:
    """The four numbers of one course that is known throughout."""
    total = float(fall_sg[-1])
    at = [np.interp(x, fall_sg, hours) for x in (*(share * total for share in SHARES), total - STEADY_SG)]
    return four_numbers(*(np.asarray(x) for x in at))


def logistic() -> Floats:
    """Of logistics with falls of 30 to 50 points: the pace cancels out."""
    falls = np.array([0.030, 0.040, 0.050])
    hour = [np.log(share / (1 - share)) * np.ones(3) for share in SHARES]
    return four_numbers(*hour, np.log(falls / STEADY_SG - 1.0))


def toro() -> Floats:
    """Of the published lager model, with its own constants."""
    cases = [(sugar, warm) for sugar in (80.0, 95.0, 120.0) for warm in (10.0, 12.0, 13.5)]
    recipes = [PublishedRecipe(extract=sugar / DRY_SUGAR_SHARE, sugars=(0, 0, 0, 0), sugar=sugar) for sugar, _ in cases]
    warmth = np.repeat(np.array([[warm] for _, warm in cases]), 1400, axis=1)
    course = simulate_published(recipes, warmth, np.ones_like(warmth))
    return np.array([of_course(course.times_h, fall) for fall in course.fall_sg])


RAMIREZ = {
    "V_G": (35.77, 22.6), "V_M": (16.40, 11.3), "V_N": (10.59, 7.16), "K_G": (-121.3, -68.6), "K_M": (-19.15, -14.4),
    "K_N": (-26.78, -19.9), "inhibition_G": (23.33, 10.2), "inhibition_M": (55.61, 26.3),
}  # fmt: skip
"""Each constant is exp(a - E / R T), E in kcal/mol; mol, m³, h. From memory; energies and yields of uptake agree
with what independent public code uses."""
GAS_KCAL = 1.987e-3


def ramirez() -> Floats:
    """Of the published growth model on glucose, maltose and maltotriose."""
    return np.array([_ramirez(warm) for warm in (10.0, 12.0, 15.0, 18.0, 20.0)])


def _ramirez(temperature_c: float) -> Floats:
    k = {name: np.exp(a - e / (GAS_KCAL * (temperature_c + 273.15))) for name, (a, e) in RAMIREZ.items()}

    def change(_: float, now: Floats) -> list[float]:
        glucose, maltose, triose, yeast = np.maximum(now, 0.0)
        held = k["inhibition_G"] / (k["inhibition_G"] + glucose)
        one = k["V_G"] * glucose / (k["K_G"] + glucose)
        two = k["V_M"] * maltose / (k["K_M"] + maltose) * held
        three = k["V_N"] * triose / (k["K_N"] + triose) * held * k["inhibition_M"] / (k["inhibition_M"] + maltose)
        grown = 0.134 * one + 0.268 * two + 0.402 * three
        return [-one * yeast, -two * yeast, -three * yeast, grown * yeast]

    hours = np.arange(0.0, 2000.0, 0.5)
    run = solve_ivp(change, (0.0, 2000.0), [70.0, 220.0, 40.0, 125.0], method="LSODA", t_eval=hours, rtol=1e-6)
    kg = np.array([0.180, 0.342, 0.504]) @ run.y[:3]  # g/L: molar masses of the sugars, kg/mol
    return of_course(hours, (kg[0] - kg) * FALL_PER_SUGAR)


def measured(those: list[Measured]) -> Floats:
    """Of measured batches that ended: hours of their shares, between sparse readings by a monotone curve."""
    found = []
    for one in those:
        if one.finish_h is None:
            continue
        gravity, hours = one.readings["gravity_sg"].to_numpy(), np.array(one.hours)
        keep = ~np.isnan(gravity) & (hours <= one.until_h)
        gravity, hours = np.minimum.accumulate(gravity[keep]), hours[keep]
        end = gravity[-6:].min() if one.sparse else np.median(gravity[hours > hours[-1] - 6.0])
        fine = np.arange(hours[0], hours[-1], 0.25)
        share = (gravity[0] - PchipInterpolator(hours, gravity)(fine)) / (gravity[0] - end)
        at = [np.asarray(fine[int(np.argmax(share >= x))]) for x in SHARES] + [np.asarray(np.mean(one.finish_h))]
        if np.all(np.diff(at) > 0.0):
            found.append(four_numbers(*at))
    return np.array(found)


def sources(folder: Path, without: str = "") -> Iterator[Source]:
    """Every source but the one that is left out."""
    kinetics = {"speers": logistic, "reid": logistic, "toro": toro, "ramirez": ramirez}
    for name, shapes in kinetics.items():
        if name != without:
            yield Source(name, shapes())
    sets = load(folder)
    for name in sorted({one.source for one in sets}):
        if name != without and name in SPEAKS_FOR:
            yield Source(name, measured([one for one in sets if one.source == name]))


def unknown_cellar(those: list[Source]) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the four numbers in a cellar that is one more source.

    Of the first only the mean is theirs: a model without a lag and a logistic begin so differently that no normal of
    our family of courses holds both, and one that tried would lose the ends.
    """
    usual = np.array([one.usual for one in those])
    n = len(those)
    between = usual.std(axis=0, ddof=1) * np.sqrt(1.0 + 1.0 / n)
    between[0] = 0.0
    return usual.mean(axis=0), np.hypot(between, WITHIN_SD)


def weighed(drink: Drink, mean: Floats, sd: Floats, seed: int = 1) -> Shipped:
    """The general prior of a drink, weighed by what the four numbers are."""
    rng = np.random.default_rng(seed)
    centre, cov = np.zeros(len(FEATURES)), np.eye(len(FEATURES))
    rest = slice(len(OF_THE_COURSE), None)
    for _ in range(ROUNDS):
        x = centre + rng.standard_normal((DRAWN, centre.size)) @ np.linalg.cholesky(cov).T
        weight = nearest(implied(drink, x), mean, sd)
        centre = weight @ x
        off = x - centre
        cov = (off * weight[:, None]).T @ off
        # How it falls tells nothing of how far, nor of the float.
        centre[rest], cov[rest], cov[:, rest] = 0.0, 0.0, 0.0
        cov[rest, rest] = np.eye(centre.size)[rest, rest]
    lower = cov[np.tril_indices(cov.shape[0])]
    return Shipped(
        mean=tuple(round(float(v), 3) for v in centre),
        covariance=tuple(round(float(v), 4) for v in lower),
        ending=(round(float(mean[-1]), 3), round(float(np.sqrt(sd[-1] ** 2 - WITHIN_SD[-1] ** 2)), 3)),
    )


def nearest(numbers: Floats, mean: Floats, sd: Floats) -> Floats:
    """Weights of draws, as even as can be, by which the numbers have this mean and standard deviation.

    Of all such weights those of least relative entropy to even ones: an exponential family, found by its convex dual.
    """
    middle, spread = usual_of(numbers)
    off = np.clip((numbers - middle) / spread, -4.0, 4.0)
    goal, goal_sd = (mean - middle) / spread, sd / spread
    told = np.column_stack([off, np.square(off)])
    wanted = np.concatenate([goal, np.square(goal_sd) + np.square(goal)])

    def dual(by: Floats) -> tuple[float, Floats]:
        log = (told - wanted) @ by
        weight = np.exp(log - log.max())
        total = weight.sum()
        # A trace of a penalty: where hardly a draw reaches, the weights stay even.
        return float(np.log(total) + log.max() + 1e-3 * by @ by), weight @ (told - wanted) / total + 2e-3 * by

    log = told @ minimize(dual, np.zeros(wanted.size), jac=True, method="BFGS").x
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())


def implied(drink: Drink, x: Floats) -> Floats:
    """The four numbers of courses with these features, in general standard deviations, shape (n, 4)."""
    middle, scale = general(Batch(pitched_at=PITCHED, drink=drink))
    features = middle + scale * x
    theta = np.zeros((len(x), len(PARAMETERS)))
    theta[:, : len(OF_THE_COURSE)] = features[:, : len(OF_THE_COURSE)]
    return _of_courses(theta, features[:, ATTENUATION] * (DRINK_FACTS[drink].original_gravity_sg - 1.0))


def usual_of(numbers: Floats) -> tuple[Floats, Floats]:
    """Middle and spread of the core of the four numbers: what a few odd ones cannot move."""
    low, middle, high = np.quantile(numbers, (0.1, 0.5, 0.9), axis=0)
    return middle, (high - low) / 2.5631


def _of_courses(theta: Floats, fall_sg: Floats, at_once: int = 4000) -> Floats:
    grid = np.geomspace(0.02, 200.0, 260)
    out = []
    for k in range(0, len(theta), at_once):
        shapes = Shapes.of(theta[k : k + at_once])
        tau = (1.0 / shapes.rate + shapes.lag)[:, None] * grid
        fall = np.asarray(shapes.fall(tau), dtype=np.float64)
        last = 1.0 - np.minimum(STEADY_SG / np.maximum(fall_sg[k : k + at_once], STEADY_SG), 0.07)
        hours = []
        for share in (*SHARES, last):
            i = np.clip((fall < np.broadcast_to(share, len(fall))[:, None]).sum(axis=1), 1, grid.size - 1)
            rows = np.arange(len(fall))
            low, high = fall[rows, i - 1], fall[rows, i]
            part = np.clip((share - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
            hours.append(tau[rows, i - 1] + part * (tau[rows, i] - tau[rows, i - 1]))
        apart = np.maximum.accumulate(np.array(hours) + 1e-3 * np.arange(6)[:, None], axis=0)
        out.append(four_numbers(*apart))
    return np.concatenate(out)


def shipped(those: list[Source]) -> dict[Drink, Shipped]:
    """What ships, by drink."""
    out: dict[Drink, Shipped] = {}
    for drink in DRINK_FACTS:
        its = [one for one in those if drink in SPEAKS_FOR[one.name]]
        if len(its) >= 2:
            out[drink] = weighed(drink, *unknown_cellar(its))
    return out


def module(those: list[Source], made: dict[Drink, Shipped]) -> str:
    """The module's text: its head as it stands, then the table."""
    head = MODULE.read_text(encoding="utf-8").split("# Made by", maxsplit=1)[0]
    lines = ["# Made by tests/benchmarks/ship_prior.py. Each source: medians of its numbers, courses, where from."]
    lines += [f"# {one.name}: {', '.join(f'{v:+.2f}' for v in one.usual)}, {len(one.shapes)} courses." for one in those]
    for one in those:
        words = f"{one.name}: {CITED[one.name]}.".split()
        line = "#"
        for word in words:
            if len(line) + len(word) > 116:
                lines.append(line)
                line = "#  "
            line += f" {word}"
        lines.append(line)
    lines.append("SHIPPED: Final[dict[str, Shipped]] = {")
    for drink, one in made.items():
        lines += [
            f'    "{drink}": Shipped(',
            f"        mean={one.mean},",
            "        covariance=(",
            *(f"            {', '.join(map(str, row))}," for row in _rows(one.covariance)),
            "        ),",
            f"        ending={one.ending},",
            "    ),",
        ]
    return head + "\n".join([*lines, "}  # fmt: skip", ""])


def _rows(lower: tuple[float, ...]) -> Iterator[tuple[float, ...]]:
    """The rows of a lower triangle."""
    first = 0
    while first < len(lower):
        size = round(np.sqrt(2 * first + 0.25) + 0.5)
        yield lower[first : first + size]
        first += size


def main() -> None:
    """Read the options, make, print or write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder with NAME.csv and NAME_batches.csv")
    parser.add_argument("--without", default="", choices=("", *SPEAKS_FOR), help="leave this source out")
    parser.add_argument("--write", action="store_true", help=f"write {MODULE.name}")
    args = parser.parse_args()
    those = list(sources(args.folder, args.without))
    text = module(those, shipped(those))
    if args.write:
        MODULE.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()
