"""Readings made fit to judge: cleaned, binned, tested for stability."""

from analysis.readings.binning import Series, hours_of, original_gravity, summarise
from analysis.readings.cleaning import hours_since, mark
from analysis.readings.robust import medians
from analysis.readings.stability import (
    Hold,
    chilled_from,
    fall_of_late,
    hold,
    levels,
    moved_by,
    moves_again,
    moves_off,
    recent_fall,
    scatter_of,
    without_silence,
)

__all__ = [
    "Hold",
    "Series",
    "chilled_from",
    "fall_of_late",
    "hold",
    "hours_of",
    "hours_since",
    "levels",
    "mark",
    "medians",
    "moved_by",
    "moves_again",
    "moves_off",
    "original_gravity",
    "recent_fall",
    "scatter_of",
    "summarise",
    "without_silence",
]
