"""What can go wrong in the analysis layer.

::

    AnalysisError
    ├── ReadingsError      the frame of readings lacks a column or has the wrong type
    ├── CalibrationError   points that no monotone curve can pass through
    └── ConvergenceError   a least-squares fit that found no minimum

A plain argument out of range raises `ValueError` with the argument and its usual range.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


class AnalysisError(Exception):
    """Base of every error that this layer raises on purpose."""


class ReadingsError(AnalysisError):
    """A frame of readings without a needed column, or with a column of the wrong type."""


class CalibrationError(AnalysisError):
    """Calibration points that contradict one another, or too few of them.

    `problem` is what is wrong in SG and °C; `words`, where it names quantities, says it in a person's `DisplayUnits`.
    """

    def __init__(self, problem: str, words: Callable[[Any], str] | None = None) -> None:
        super().__init__(problem)
        self._words = words

    def in_units(self, units: object) -> str:
        """What is wrong, in these `DisplayUnits`."""
        return str(self) if self._words is None else self._words(units)


class ConvergenceError(AnalysisError):
    """A least-squares fit that found no minimum; its numbers are not to be used."""
