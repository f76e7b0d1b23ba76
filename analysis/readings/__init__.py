"""Readings made fit to judge: cleaned, binned, tested for stability."""

from analysis.readings.binning import Series, hours_of, original_gravity, summarise
from analysis.readings.cleaning import mark
from analysis.readings.stability import (
    Hold,
    chilled_from,
    fall_of_late,
    hold,
    levels,
    moved_by,
    moves_again,
    recent_fall,
    scatter_of,
)

__all__ = [
    "Hold",
    "Series",
    "chilled_from",
    "fall_of_late",
    "hold",
    "hours_of",
    "levels",
    "mark",
    "moved_by",
    "moves_again",
    "original_gravity",
    "recent_fall",
    "scatter_of",
    "summarise",
]
