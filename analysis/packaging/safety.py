"""What can hurt someone: the figures we hold a package against.

We say go, caution or stop, and never call a package free of danger. Every figure has its source beside it; the
sentences that stand beside them are in `analysis.wording.sheet_cautions`.
"""

from __future__ import annotations

from typing import Final, Literal

Verdict = Literal["go", "caution", "stop"]

CAUTION_VOLUMES: Final = 3.0
STOP_VOLUMES: Final = 3.5
"""Volumes; above the first a bottle of unknown rating gets a caution, above the second a stop. Common practice, no
source."""

UNRATED_BOTTLE_KPA: Final = 527.0
"""kPa; what a bottle of unknown rating is trusted with: 4 volumes at 30 °C by the fit of the ASBC chart. 4 volumes is
what one maker of one-way beer bottles is quoted as allowing; it is the lowest figure for an ordinary beer bottle that
we know of."""

NEW_BOTTLE_TEST_KPA: Final = 1200.0
"""kPa; pressure that a new beer bottle must bear in a short test (GB 4544, as trade pages cite it); used ones fail it
more often. A worst case above it is a stop where the rating is unknown."""

HIGHEST_BOTTLE_KPA: Final = 1600.0
"""kPa; no rating above this is believed: bottles for sparkling wine are tested to 16 bar when new and work at 5 to 6
(packaging laboratory and glass trade pages); the highest figure named for a beer bottle is 18 bar, also a test."""

UNRATED_KEG_KPA: Final = 414.0
"""kPa; what a keg of unknown rating is trusted with: 60 psi, the lowest setting of usual relief valves, and what a
maker claims for a plastic keg (trade pages; common practice)."""

HIGHEST_KEG_KPA: Final = 900.0
"""kPa; no keg rating above this is believed: small kegs are marked at most 9.0 bar, 130 psi (encyclopedia); larger ones
less."""

RATING_MARGIN: Final = 0.2
"""Fraction; share of a rating kept free: reuse, scratches and heat weaken glass. Common practice, no source."""

HEAD_SPACE_KPA: Final = 100.0
"""kPa; what air sealed in with the drink can add if the neck was not purged. One atmosphere, by Dalton's law."""

TAIL: Final = 4.0
"""Ratio; a fall of this many times its 90th percentile comes once in ten thousand. An exponential tail."""

HOTTEST_C: Final = 30.0
"""°C; the warmest place in which a package is taken to stand unless said. Common practice, no source."""

PASTEURISING_C: Final = 65.0
"""°C; where the pressure of filled bottles that are heated is reckoned. Common practice, no source."""

LEAST_CHANCE: Final = 0.001
"""Probability; a chance of passing the rating is told as a number from here on. Common practice, no source."""

SAME_VOLUMES: Final = 0.05
"""Volumes; a drink that holds no more than this beyond the wish is as wished. Rounding: half of what is shown."""

FILL_VOLUMES: Final = 0.3
"""Volumes; what filling may add in the rare case. As much as three times `carbonation.FILL_SPREAD_VOLUMES`."""
