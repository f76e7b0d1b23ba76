"""Sensor calibration: a float's inclination curve, and the offsets of probes and floats."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from analysis.errors import CalibrationError

Points = Sequence[tuple[float, float]]


def check_points(kind: Literal["inclination", "gravity offset", "temperature offset"], points: Points) -> None:
    """Raise `CalibrationError` where the points cannot make a calibration of this kind."""
    if not points:
        raise CalibrationError("a calibration needs at least one point")
