"""Sensor calibration: a float's inclination curve, offsets of probes and floats, a refractometer under alcohol."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Final, Literal

import numpy as np

from analysis.display_units import DisplayUnits, Quantity
from analysis.errors import CalibrationError
from analysis.model import Floats
from analysis.thresholds import LEAST_SPAN_DEG
from analysis.units import plato_to_sg, sg_to_brix, sg_to_plato

Points = Sequence[tuple[float, float]]

CONTRADICTION_SG: Final = 0.0015
"""Points whose gravities run against their inclinations by more than this contradict one another.

A careful hand reading is good to 0.001 (common practice, no source); half as much again is for the float.
"""

ETHANOL_BX_PER_PCT: Final = 0.45
"""What 1 % of ethanol by mass adds to a refractometer's reading, °Bx.

CRC Handbook of Chemistry and Physics, "Concentrative Properties of Aqueous Solutions" (from memory): at 20 °C water
refracts 1.3330, 5 % ethanol 1.3364, 10 % ethanol 1.3395; 5 % sucrose 1.3403, 10 % sucrose 1.3478.
"""

REFRACTOMETER_SD_SG: Final = 0.002
"""Standard error of a gravity computed from a refractometer reading under alcohol.

Two published regressions differ by as much as this from one another; see the tests.
"""


@dataclass(frozen=True, slots=True)
class InclinationCurve:
    """A smooth monotone curve from a float's inclination to gravity.

    `standard_error_sg` is the root mean square by which the curve misses each inner point when that point is left out;
    None with fewer than three points. Outside `low_deg` to `high_deg` the curve goes on straight: an extrapolation.
    """

    low_deg: float
    high_deg: float
    standard_error_sg: float | None
    _knots_deg: Floats = field(repr=False)
    _knots_sg: Floats = field(repr=False)

    def gravity_sg(self, inclination_deg: Floats | float) -> Floats:
        """Gravity at inclinations in degrees, same shape; NaN stays NaN."""
        return _along(self._knots_deg, self._knots_sg, np.asarray(inclination_deg, dtype=np.float64))

    def extrapolated(self, inclination_deg: Floats | float) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether inclinations lie outside the calibrated points."""
        at = np.asarray(inclination_deg, dtype=np.float64)
        return np.asarray((at < self.low_deg) | (at > self.high_deg))


def inclination_curve(points: Points) -> InclinationCurve:
    """The curve through calibration points.

    Piecewise cubic and monotone (F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17, 1980, 238-246). Points at
    one inclination are averaged; gravities that run backwards by no more than a reading error are levelled
    (isotonic regression).

    Parameters
    ----------
    points
        Pairs of inclination in degrees and gravity in SG, in any order; gravity may rise or fall with inclination.

    Raises
    ------
    CalibrationError
        With fewer than two different inclinations, with a gravity outside 0.950 to 1.250, or where points contradict
        one another; it names them.
    """
    _check_numbers(points)
    for inclination, gravity in points:
        if not 0.95 <= gravity <= 1.25:
            raise _refused(partial(_odd_gravity, inclination, gravity))
    degrees = np.unique([p[0] for p in points])
    if degrees.size < 2 or np.ptp(degrees) < LEAST_SPAN_DEG:
        raise CalibrationError("a curve needs points at two inclinations at least, better five: water and four sugars")
    means = np.array([np.mean([g for d, g in points if d == degree]) for degree in degrees])
    rising = bool(np.polyfit(degrees, means, 1)[0] >= 0)
    from scipy.optimize import isotonic_regression  # late: the store opens before anything is calibrated

    levelled = np.asarray(isotonic_regression(means, increasing=rising).x, dtype=np.float64)
    _check_monotone(degrees, means, rising=rising)
    if np.ptp(levelled) < CONTRADICTION_SG:
        raise CalibrationError("all points have about the same gravity; add one in a sugar solution")
    return InclinationCurve(
        low_deg=float(degrees[0]),
        high_deg=float(degrees[-1]),
        standard_error_sg=_left_out_error(degrees, levelled, points),
        _knots_deg=degrees,
        _knots_sg=levelled,
    )


def _refused(words: Callable[[DisplayUnits], str]) -> CalibrationError:
    """What is said of points that cannot be used, where it names quantities."""
    return CalibrationError(words(DisplayUnits()), words)


def _odd_gravity(inclination_deg: float, gravity_sg: float, units: DisplayUnits) -> str:
    return (
        f"the point {inclination_deg:g}° has gravity {units.typed(gravity_sg, 'gravity')}; "
        f"the usual range is {units.span(0.99, 1.16, 'gravity')}"
    )


def _check_monotone(degrees: Floats, means: Floats, *, rising: bool) -> None:
    sign = 1.0 if rising else -1.0
    for i in range(degrees.size):
        for j in range(i + 1, degrees.size):
            if sign * (means[i] - means[j]) > CONTRADICTION_SG:
                pairs = [(float(degrees[k]), float(means[k])) for k in (i, j)]
                raise _refused(partial(_contradiction, pairs, rising))


def _contradiction(pairs: Points, rising: bool, units: DisplayUnits) -> str:
    named = " and ".join(f"{degrees:g}° = {units.typed(gravity, 'gravity')}" for degrees, gravity in pairs)
    return (
        f"the points {named} contradict one another: with more inclination the gravity "
        f"{'rises' if rising else 'falls'} elsewhere. Read one of them again, or leave it out"
    )


def _along(knots_x: Floats, knots_y: Floats, at: Floats) -> Floats:
    """The monotone cubic through the knots, going on straight at both ends."""
    if knots_x.size == 2:
        return np.asarray(knots_y[0] + (at - knots_x[0]) * (knots_y[1] - knots_y[0]) / (knots_x[1] - knots_x[0]))
    from scipy.interpolate import PchipInterpolator  # late, as above

    curve = PchipInterpolator(knots_x, knots_y, extrapolate=True)
    inside = np.asarray(curve(np.clip(at, knots_x[0], knots_x[-1])))
    slopes = np.diff(knots_y) / np.diff(knots_x)
    below, above = np.minimum(at - knots_x[0], 0.0), np.maximum(at - knots_x[-1], 0.0)
    return np.asarray(inside + below * slopes[0] + above * slopes[-1])


def _left_out_error(degrees: Floats, levelled: Floats, points: Points) -> float | None:
    if degrees.size < 3:
        return None
    misses = []
    for inclination, gravity in points:
        i = int(np.searchsorted(degrees, inclination))
        if 0 < i < degrees.size - 1:
            others = np.delete(degrees, i), np.delete(levelled, i)
            misses.append(gravity - float(_along(*others, np.array(inclination))))
    return float(np.sqrt(np.mean(np.square(misses))))


@dataclass(frozen=True, slots=True)
class Offset:
    """What an instrument says, made right: ``true = intercept + slope * said``.

    `standard_error` is that of a corrected value, None where the points leave nothing over to tell.
    """

    intercept: float
    slope: float = 1.0
    standard_error: float | None = None

    def at(self, said: Floats | float) -> Floats:
        """The corrected values, same shape; NaN stays NaN."""
        return np.asarray(self.intercept + self.slope * np.asarray(said, dtype=np.float64))


_SPANS: Final = {"gravity offset": 0.02, "temperature offset": 5.0}
_GAINS: Final = {"gravity offset": 0.25, "temperature offset": 0.1}
_SHIFTS: Final = {"gravity offset": 0.03, "temperature offset": 10.0}


def offset(kind: Literal["gravity offset", "temperature offset"], points: Points) -> Offset:
    """The correction through points of what an instrument said and what was true.

    Points close together (within 0.020 SG or 5 °C) give a shift alone, their mean; points further apart, such as ice
    water and a warm reference, give a line by least squares.

    Raises
    ------
    CalibrationError
        Without points, where the shift is larger than any sound instrument's, or where the points contradict one
        another (a line that departs from slope 1 by more than 10 %, for gravity 25 %).
    """
    _check_numbers(points)
    if not points:
        raise CalibrationError("an offset needs one point at least: what the instrument said, and what was true")
    said, true = np.array(points, dtype=np.float64).T
    limit = _SHIFTS[kind]
    worst = int(np.argmax(np.abs(true - said)))
    if abs(true[worst] - said[worst]) > limit:
        pair = (float(said[worst]), float(true[worst]))
        raise _refused(partial(_too_far, kind, pair))
    if np.ptp(said) < _SPANS[kind]:
        shifts = true - said
        error = float(np.std(shifts, ddof=1)) if shifts.size > 1 else None
        return Offset(float(np.mean(shifts)), 1.0, error)
    slope, intercept = (float(x) for x in np.polyfit(said, true, 1))
    if abs(slope - 1) > _GAINS[kind]:
        raise CalibrationError(
            f"between these points the truth changes {slope:.2f} times as much as the instrument says; "
            "that is no offset. Read the points again"
        )
    left = true - (intercept + slope * said)
    error = float(np.sqrt(np.sum(left**2) / (said.size - 2))) if said.size > 2 else None
    return Offset(intercept, slope, error)


def _too_far(
    kind: Literal["gravity offset", "temperature offset"], pair: tuple[float, float], units: DisplayUnits
) -> str:
    quantity: Quantity = "gravity" if kind == "gravity offset" else "temperature"
    said, true = (units.typed(value, quantity) for value in pair)
    limit = _SHIFTS[kind]
    named = units.fall(limit) if kind == "gravity offset" else units.warmer_by(limit, 0)
    return (
        f"the instrument said {said} where {true} was true; more than {named} is not an offset. "
        "Look whether the two numbers are in the same unit"
    )


def check_points(kind: Literal["inclination", "gravity offset", "temperature offset"], points: Points) -> None:
    """Raise `CalibrationError` where the points cannot make a calibration of this kind."""
    if kind == "inclination":
        inclination_curve(points)
    else:
        offset(kind, points)


def _check_numbers(points: Points) -> None:
    for point in points:
        if len(point) != 2 or not all(np.isfinite(point)):
            raise CalibrationError(f"a point is a pair of two numbers, not {point!r}")


def refractometer_sg(
    reading_bx: float, original_gravity_sg: float, *, wort_factor: float = 1.0, ethanol: float = ETHANOL_BX_PER_PCT
) -> float:
    """Gravity of a fermenting liquid from a refractometer, corrected for its alcohol.

    Sugar and alcohol add up in what a refractometer sees: ``reading = real extract + ethanol * alcohol``. Balling's
    relations tie the two to the original extract: ``alcohol = (original - real) / (2.0665 - 0.010665 original)`` (both
    % by mass) and ``real = 0.1808 original + 0.8192 apparent`` (C. J. N. Balling 1865, as quoted in J. De Clerck, A
    Textbook of Brewing, 1957; from memory). Three equations, three unknowns.

    Parameters
    ----------
    reading_bx
        As read, °Bx, compensated for temperature.
    original_gravity_sg
        Gravity before pitching.
    wort_factor
        What the refractometer reads in this unfermented liquid over its extract in °P: 1 for sugar solutions, honey
        and juice, 1.02 to 1.06 for wort (common practice, no source).

    Returns
    -------
    float
        Specific gravity 20/20 °C; its standard error is about `REFRACTOMETER_SD_SG`.

    Raises
    ------
    ValueError
        If the reading or the gravity is out of any sensible range, or the reading is above the original extract by
        more than 2 °Bx: then the two do not belong together.
    """
    if not -1.0 <= reading_bx <= 50.0:
        raise ValueError(f"reading_bx is {reading_bx:g}; a refractometer reads 0 to 32 °Bx, in honey must up to 45")
    if not 1.0 < original_gravity_sg <= 1.2:
        raise ValueError(f"original_gravity_sg is {original_gravity_sg:g}; the usual range is 1.020 to 1.160")
    original = sg_to_plato(original_gravity_sg)
    seen = reading_bx / wort_factor
    if seen > original + 2.0:
        raise ValueError(
            f"the reading, {seen:.1f} °Bx, is above that before pitching, {sg_to_brix(original_gravity_sg):.1f} °Bx; "
            "look whether the original gravity or the sample is of another batch"
        )
    balling = 2.0665 - 0.010665 * original
    real = (seen * balling - ethanol * original) / (balling - ethanol)
    return plato_to_sg((real - 0.1808 * original) / 0.8192)
