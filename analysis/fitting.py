"""Classical least squares with standard errors: one fit that says what it found, or that it found nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from analysis.curves import Curve
from analysis.errors import ConvergenceError
from analysis.model import Floats


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
