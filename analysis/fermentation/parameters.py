"""The unknowns of a fermentation curve, by name: which column of a table of parameters holds which."""

from __future__ import annotations

from enum import IntEnum
from typing import Final


class Parameter(IntEnum):
    """Columns of `theta`, shape (n, 11), each on the scale on which it is about normal.

    Those up to `LOG_SLOW_MONOD` belong to the curve at one temperature; `WARMTH` and `COLD` say what temperature does
    to it, in standard deviations.
    """

    LOG_RATE = 0
    LOG_LAG = 1
    LOG_GROWTH = 2
    LOG_FADE = 3
    LOGIT_SLOW = 4
    LOG_RHO = 5
    LOG_MONOD = 6
    LOGIT_INHIBITION = 7
    LOG_SLOW_MONOD = 8
    WARMTH = 9
    COLD = 10


PARAMETERS: Final = tuple(parameter.name.lower() for parameter in Parameter)
"""All unknowns: those of the course, and of what temperature does to it."""

OF_THE_COURSE: Final = PARAMETERS[: Parameter.WARMTH]
"""The unknowns of a course at one temperature."""
