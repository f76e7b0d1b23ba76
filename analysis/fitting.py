"""Classical growth and decline curves, fitted by least squares with standard errors.

They serve comparison and teaching: `attenuation_curve` is what the trade would draw through a batch's readings. The
assessment itself weighs the mechanistic curves of `analysis.fermentation.kinetics`, because a symmetric curve has no
slow tail and finishes too early.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.errors import ConvergenceError
from analysis.model import Floats
from analysis.thresholds import CURVE_END_TOLD, CURVE_LEAST_READINGS

if TYPE_CHECKING:
    import polars as pl

_BOUND: Final = 500.0


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve ``y = value(x, parameters)`` with ``jacobian`` of shape (len(x), parameters) and a first guess."""

    name: str
    parameters: tuple[str, ...]
    value: Callable[[Floats, Floats], Floats]
    jacobian: Callable[[Floats, Floats], Floats]
    guess: Callable[[Floats, Floats], Floats]


def _falling(x: Floats, p: Floats) -> Floats:
    end, start, rate, middle = p
    return np.asarray(end + (start - end) / (1.0 + np.exp(np.clip(rate * (x - middle), -_BOUND, _BOUND))))


def _falling_jacobian(x: Floats, p: Floats) -> Floats:
    end, start, rate, middle = p
    s = 1.0 / (1.0 + np.exp(np.clip(rate * (x - middle), -_BOUND, _BOUND)))
    bend = -(start - end) * s * (1.0 - s)
    return np.column_stack([1.0 - s, s, bend * (x - middle), -bend * rate])


def _falling_guess(x: Floats, y: Floats) -> Floats:
    start, end = float(np.max(y)), float(np.min(y))
    half = 0.5 * (start + end)
    middle = float(x[int(np.argmin(np.abs(y - half)))])
    # The steepest fall between neighbours is about rate (start - end) / 4.
    order = np.argsort(x)
    steps = np.maximum(np.diff(x[order]), 1e-9)
    steepest = float(np.max(-np.diff(y[order]) / steps))
    return np.array([end, start, max(4.0 * steepest / max(start - end, 1e-12), 1e-9), middle])


FERMENTATION: Final = Curve(
    "four-parameter logistic", ("end", "start", "rate", "middle"), _falling, _falling_jacobian, _falling_guess
)
"""``P(t) = Pe + (Pi - Pe) / (1 + exp(B (t - M)))``: extract falls from `start` to `end`, steepest at `middle`.

The form of R. A. Speers, P. Rogers and B. Smith, J. Inst. Brew. 109 (2003) 229-235, and of ASBC method Yeast-14
(form and sign from memory: with B above zero extract falls).
"""


@dataclass(frozen=True, slots=True)
class Fit:
    """Estimates, their standard errors, and what the fit rests on.

    `estimates` and `standard_errors` have shape (parameters,), in the order of `curve.parameters`;
    `residual_sum` is the sum of squared residuals, `readings` the number of points used.
    """

    curve: Curve
    estimates: Floats
    standard_errors: Floats
    residual_sum: float
    readings: int

    def value(self, x: Floats) -> Floats:
        """The fitted curve at `x`."""
        return self.curve.value(x, self.estimates)

    def named(self) -> dict[str, tuple[float, float]]:
        """Estimate and standard error by parameter name."""
        pairs = zip(self.estimates, self.standard_errors, strict=True)
        return {n: (float(e), float(s)) for n, (e, s) in zip(self.curve.parameters, pairs, strict=True)}


def fit(curve: Curve, x: Floats, y: Floats, *, start: Floats | None = None) -> Fit:
    """Least-squares fit of `curve` to the points.

    Parameters
    ----------
    x, y : shape (n,)
        More points than parameters, no NaN.
    start
        Start values; the curve's own guess unless given.

    Raises
    ------
    ValueError
        With too few points.
    ConvergenceError
        If no minimum was found, or the points do not tell the parameters apart.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    size = len(curve.parameters)
    if x.size <= size:
        raise ValueError(f"the {curve.name} has {size} parameters and needs more points than that; there are {x.size}")
    first = np.asarray(curve.guess(x, y) if start is None else start, dtype=np.float64)

    def residual(p: Floats) -> Floats:
        return curve.value(x, p) - y

    def slope(p: Floats) -> Floats:
        return curve.jacobian(x, p)

    # Loaded here: whoever only words a curve, or none, must not wait for it.
    from scipy.optimize import least_squares

    found = least_squares(
        residual,
        first,
        jac=slope,
        x_scale="jac",
        method="trf",
        ftol=1e-14,
        xtol=1e-14,
        gtol=1e-14,
        max_nfev=2000,
    )
    if not found.success or not np.all(np.isfinite(found.x)):
        raise ConvergenceError(f"the {curve.name} found no minimum: {found.message}")
    jacobian = curve.jacobian(x, found.x)
    residual_sum = float(2.0 * found.cost)
    try:
        inverse = np.linalg.inv(jacobian.T @ jacobian)
    except np.linalg.LinAlgError as problem:
        raise ConvergenceError(f"the points do not tell the parameters of the {curve.name} apart") from problem
    variance = np.diag(inverse) * residual_sum / (x.size - size)
    if not np.all(np.isfinite(variance)) or np.any(variance < 0):
        raise ConvergenceError(f"the points do not tell the parameters of the {curve.name} apart")
    return Fit(curve, np.asarray(found.x), np.sqrt(variance), residual_sum, int(x.size))


_BENT: Final = float(np.log(2 + np.sqrt(3)))
"""A logistic bends most sharply ``ln(2 + sqrt(3)) / B`` after its steepest point, where its third derivative is zero:
only readings beyond that tell its end from a fall that goes on."""


def attenuation_curve(marked: pl.DataFrame, pitched_at: datetime) -> Fit:
    """The trade's attenuation curve through a batch's readings: `FERMENTATION` in SG over hours since pitching.

    The standard errors take the readings as independent of one another; those of a float are not, so the errors are
    too small.

    Parameters
    ----------
    marked
        Readings of schema `analysis.schemas.MARKED`; what was set aside does not count.

    Raises
    ------
    ConvergenceError
        If there are too few readings, or they do not bend towards an end yet; a whole sentence.
    """
    known = marked["set_aside"].is_null() & marked["gravity_sg"].is_not_null()
    used = marked.filter(known & (marked["measured_at"] >= pitched_at))
    if used.height < CURVE_LEAST_READINGS:
        raise ConvergenceError(
            f"There are {used.height} usable readings; the classical curve asks for at least {CURVE_LEAST_READINGS}."
        )
    hours = (used["measured_at"] - pitched_at).dt.total_microseconds().to_numpy() / 3.6e9
    try:
        found = fit(FERMENTATION, hours, used["gravity_sg"].to_numpy())
    except ConvergenceError:
        raise ConvergenceError(_NOT_BENT) from None
    end, start, rate, middle = found.estimates
    fall = start - end
    if (
        fall <= 0
        or rate <= 0
        or middle + _BENT / rate > hours.max()
        or found.standard_errors[0] > CURVE_END_TOLD * fall
    ):
        raise ConvergenceError(_NOT_BENT)
    return found


_NOT_BENT: Final = "The readings do not bend towards an end yet: a classical curve through them would be a guess."
