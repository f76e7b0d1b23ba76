"""Robust statistics that several modules of this room ask for."""

from __future__ import annotations

from typing import Final

SD_PER_MAD: Final = 1.4826
"""Standard deviation of normal errors by their median absolute deviation: 1 / Phi^-1(3/4), to five digits.

A constant and not `scipy.stats.median_abs_deviation`: `import analysis` loads no `scipy.stats` for it."""
