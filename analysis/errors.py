"""What can go wrong in the analysis layer.

::

    AnalysisError
    ├── ReadingsError      the frame of readings lacks a column or has the wrong type
    ├── CalibrationError   points that no monotone curve can pass through
    └── ConvergenceError   a least-squares fit that found no minimum

A plain argument out of range raises `ValueError` with the argument and its usual range.
"""

from __future__ import annotations


class AnalysisError(Exception):
    """Base of every error that this layer raises on purpose."""


class ReadingsError(AnalysisError):
    """A frame of readings without a needed column, or with a column of the wrong type."""


class CalibrationError(AnalysisError):
    """Calibration points that contradict one another, or too few of them."""


class ConvergenceError(AnalysisError):
    """A least-squares fit that found no minimum; its numbers are not to be used."""
