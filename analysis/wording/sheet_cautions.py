"""What stands beside the figures of every packaging sheet: cautions for hands, eyes, lungs and glass."""

from __future__ import annotations

from typing import Final

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
HEATED_KPA: Final = 600.0
"""kPa above the atmosphere; what 2.5 volumes reach when bottles are heated, roughly."""
HEATING_UNKNOWN: Final = "2.5 volumes reach roughly {pressure} and more at {temperature}. "
HEATING_PRACTICE: Final = (
    "That is work for licensed practice with rated glass and a guarded bath, not for a kitchen pot."
)
CREEP_HOPS_G_PER_L: Final = 10.0
CREEP_C: Final = 20.0
CREEP: Final = (
    "Dry hops can free sugar and restart a fall: 1 % by mass of real extract in 5 days and 2 % in 40 were published "
    "at {dose} and {temperature} with yeast present (Kirkpatrick and Shellhammer 2018). Bottles wait until the "
    "gravity has held again."
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
