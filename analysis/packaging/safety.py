"""What can hurt someone: the figures we hold a package against, and the sentences that stand beside them.

We say go, caution or stop, and never call a package free of danger. Every figure has its source beside it.
"""

from __future__ import annotations

from typing import Final, Literal

Verdict = Literal["go", "caution", "stop"]

CAUTION_VOLUMES: Final = 3.0
STOP_VOLUMES: Final = 3.5
"""Volumes above which a bottle of unknown rating gets a caution, then a stop (common practice, no source)."""

UNRATED_BOTTLE_KPA: Final = 527.0
"""What a bottle of unknown rating is trusted with: 4 volumes at 30 °C by the fit of the ASBC chart. 4 volumes is what
one maker of one-way beer bottles is quoted as allowing; it is the lowest figure for an ordinary beer bottle that we
know of."""

NEW_BOTTLE_TEST_KPA: Final = 1200.0
"""Pressure that a new beer bottle must bear in a short test (GB 4544, as trade pages cite it); used ones fail it more
often. A worst case above it is a stop where the rating is unknown."""

HIGHEST_BOTTLE_KPA: Final = 1600.0
"""No rating above this is believed: bottles for sparkling wine are tested to 16 bar when new and work at 5 to 6
(packaging laboratory and glass trade pages); the highest figure named for a beer bottle is 18 bar, also a test."""

UNRATED_KEG_KPA: Final = 414.0
"""What a keg of unknown rating is trusted with: 60 psi, the lowest setting of usual relief valves, and what a maker
claims for a plastic keg (trade pages; common practice)."""

HIGHEST_KEG_KPA: Final = 900.0
"""No keg rating above this is believed: small kegs are marked at most 9.0 bar, 130 psi (encyclopedia); larger ones
less."""

RATING_MARGIN: Final = 0.2
"""Share of a bottle's rating kept free: reuse, scratches and heat weaken glass (common practice, no source)."""

HEAD_SPACE_KPA: Final = 100.0
"""What air sealed in with the drink can add: one atmosphere, by Dalton's law, if the neck was not purged."""

TAIL: Final = 4.0
"""A fall of this many times its 90th percentile comes once in ten thousand (exponential tail)."""

HOTTEST_C: Final = 30.0
"""The warmest place in which bottles are taken to stand unless said."""

PASTEURISING_C: Final = 65.0

DEFER: Final = (
    "Defer to local codes, to the maker's marking on the vessel and to licensed practice; this sheet only does sums."
)
BOTTLES: Final = (
    "Wear eye and hand cover when handling filled bottles, chill before opening, and keep them boxed and cool. Glass "
    "that is scratched, reused, swing-top, thin or made for still wine holds less than a new bottle's test."
)
KEG: Final = (
    "Never set more than the lowest marked limit among keg, lines, fittings and relief valve; never plug or stiffen a "
    "relief valve; vent fully before opening any fitting."
)
GAS_IN_THE_ROOM: Final = (
    "CO2 collects near the floor, in cellars and in closed cold boxes. Air the room; limits at work are 5,000 ppm "
    "over 8 hours and 30,000 ppm over 15 minutes (OSHA, NIOSH). Do not put your head into a vessel."
)
SULFITE_HANDLING: Final = (
    "Metabisulfite in acid gives off SO2, a choking gas: weigh it in moving air, face away, and never mix it with "
    "acids or chlorine cleaners."
)
SULFITE_ASTHMA: Final = "Some people with asthma react to sulfites: tell everyone who drinks it."
SULFITE_LABEL: Final = (
    "At this dose the label must name sulfites where drinks are sold (10 mg/L of SO2 in the EU and the US)."
)
SORBATE: Final = (
    "Sorbate does not stop a running fermentation and does not kill yeast: it keeps a clear, finished, cold-settled "
    "drink with enough molecular SO2 from starting again. With lactic bacteria it can smell of geraniums."
)
NOT_IN_BEER: Final = (
    "At the pH of beer sulfite and sorbate stabilise nothing: only a filter that holds yeast back, or the cold, does."
)
HEATING: Final = "Heating filled bottles multiplies their pressure. "
HEATING_UNKNOWN: Final = "2.5 volumes reach roughly 6 bar and more at 65 °C. "
HEATING_PRACTICE: Final = (
    "That is work for licensed practice with rated glass and a guarded bath, not for a kitchen pot."
)
CREEP: Final = (
    "Dry hops can free sugar and restart a fall: 1 °P of real extract in 5 days and 2 °P in 40 were published at 10 "
    "g/L and 20 °C with yeast present (Kirkpatrick and Shellhammer 2018). Bottles wait until the gravity has held "
    "again."
)
WAYS_TO_SWEETEN: Final = "Ways out: stabilise and keep it in a cold keg, or use a sweetener that yeast cannot eat."

OXYGEN_CHECKLIST: Final = (
    "Purge the receiving keg or bottles with CO2.",
    "Transfer closed, from valve to valve, without splashing.",
    "Leave about 2 to 3 cm of headspace in a bottle, and cap on foam: a full one bursts when it warms.",
    "Add an antioxidant only if you have chosen a dose above.",
    "Keep it cold from here on, unless bottles must still carbonate.",
)
"""Against oxygen on packaging day (common practice, no source)."""

TEST_BOTTLE: Final = (
    "Fill one small plastic bottle from the lot: it shows the pressure by hand. Open one chilled bottle after a week."
)
