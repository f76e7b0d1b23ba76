"""Classical growth and decline curves: each with its formula, its derivative and its start values together.

They serve comparison and teaching; the assessment itself weighs the mechanistic courses of
`analysis.fermentation.kinetics`, because a symmetric curve has no slow tail and finishes too early.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.model import Floats

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


def _growth(x: Floats, p: Floats) -> Floats:
    return np.asarray(p[0] / (1.0 + np.exp(np.clip(p[1] - p[2] * x, -_BOUND, _BOUND))))


def _growth_jacobian(x: Floats, p: Floats) -> Floats:
    e = np.exp(np.clip(p[1] - p[2] * x, -_BOUND, _BOUND))
    s = 1.0 / (1.0 + e)
    return np.column_stack([s, -p[0] * s * (1.0 - s), p[0] * s * (1.0 - s) * x])


def _growth_guess(x: Floats, y: Floats) -> Floats:
    top = 1.05 * float(np.max(y))
    logit = np.log(np.clip(y / top, 1e-3, 1 - 1e-3) / (1 - np.clip(y / top, 1e-3, 1 - 1e-3)))
    slope, level = np.polyfit(x, logit, 1)
    return np.array([top, -level, slope])


GROWTH: Final = Curve("logistic growth", ("top", "shift", "rate"), _growth, _growth_jacobian, _growth_guess)
"""``y = b1 / (1 + exp(b2 - b3 x))``: rises from zero to `top`."""


def _richards(x: Floats, p: Floats) -> Floats:
    return np.asarray(p[0] * np.exp(-np.log1p(np.exp(np.clip(p[1] - p[2] * x, -_BOUND, _BOUND))) / p[3]))


def _richards_jacobian(x: Floats, p: Floats) -> Floats:
    e = np.exp(np.clip(p[1] - p[2] * x, -_BOUND, _BOUND))
    y = _richards(x, p)
    bend = -y * e / (1.0 + e) / p[3]
    return np.column_stack([y / p[0], bend, -bend * x, y * np.log1p(e) / p[3] ** 2])


def _richards_guess(x: Floats, y: Floats) -> Floats:
    return np.append(_growth_guess(x, y), 1.0)


RICHARDS: Final = Curve(
    "Richards growth", ("top", "shift", "rate", "skew"), _richards, _richards_jacobian, _richards_guess
)
"""``y = b1 / (1 + exp(b2 - b3 x))^(1 / b4)``: the logistic with a skew (F. J. Richards, 1959; from memory)."""
